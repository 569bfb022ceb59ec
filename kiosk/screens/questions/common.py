"""Questions that more than one place of work asks, and the folders papers are laid into."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from kiosk.screens.questions import Question

if TYPE_CHECKING:  # the clerk, who asks these, is there before the desk is loaded
    from collections.abc import Mapping
    from pathlib import Path

    from kiosk.desk import Desk
    from kiosk.desk.desk import Scanned
    from kiosk.desk.inbox import Inbox, Paper
    from kiosk.rules.cards import HolderCard
    from kiosk.rules.lines import SettingChanged
    from kiosk.rules.say import Say


class Folder(NamedTuple):
    """Where papers of one kind are to be put, in words a person can follow, and those that lie there."""

    where: str
    papers: tuple[Paper, ...]


def scan(text: str) -> Question[Scanned]:
    """What a label's text does now."""
    return lambda desk: desk.scan(text)


def watch(text: str) -> Question[Scanned | None]:
    """What heat has to say of a label that a screen keeps for itself; None: nothing."""
    return lambda desk: desk.watch(text)


def labels_looked_at(spent: Mapping[str, float]) -> Question[None]:
    """How damaged labels were seen to be: share of their error correction, by text."""
    return lambda desk: desk.label_wear.saw(spent)


def air(text: str) -> Question[None]:
    """What the shop's thermometer typed."""
    return lambda desk: desk.air.typed(text)


def undo() -> Question[Scanned]:
    """The last step taken back."""
    return lambda desk: desk.undo()


def known(text: str) -> Question[bool]:
    """Whether this text is somebody's label, though it may look like none of ours."""
    return lambda desk: desk.session.cards.is_bound(text)


def called(text: str) -> Question[str | None]:
    """What people call the thing, place or person that a label is on; None: nobody knows the label."""
    return lambda desk: getattr(desk.session.cards.subject(text), "name", None)


def take_more() -> Question[bool]:
    """One slice of what other kiosks did; whether there is more."""
    return lambda desk: desk.kiosks is not None and desk.kiosks.take(desk.session.is_asked)


def holder(key: str) -> Question[HolderCard]:
    """A holder as it stands now.  Raises NotThere."""
    return lambda desk: desk.session.holder(key)


def tool_number(key: str) -> Question[int | None]:
    """What the controls call the assembly in a holder; None: nothing.  Raises NotThere."""
    return lambda desk: desk.build.number_of(key)


def next_step(key: str) -> Question[Say | None]:
    """What comes next for a holder, and where.  Raises NotThere."""

    def answer(desk: Desk) -> Say | None:
        from kiosk.desk.next_step import next_of

        return next_of(desk.session, desk.session.holder(key))

    return answer


def code_of(key: str) -> Question[str]:
    """What the label of a holder, place or person says.  Raises NotThere."""
    return lambda desk: desk.shop.code_of(key)


def changed_outside() -> Question[tuple[SettingChanged, ...]]:
    """Settings that were found changed in the file when the kiosk was started."""
    return lambda desk: desk.changed_outside


def past_lost() -> Question[str | None]:
    """Why the past of the book was not whole when the kiosk was started; None: it was."""
    return lambda desk: desk.past_lost


def folder(desk: Desk, kind: Inbox) -> Folder:
    """The papers of a kind that wait."""
    from kiosk.desk.inbox import papers, where_to_put

    data = desk.session.book.path.parent
    return Folder(where_to_put(data, kind), papers(data, kind))


def warm_up(desk: Desk) -> None:
    """Read what only a later touch needs, on the desk's thread."""
    from kiosk.screens.questions import find

    find.warm()(desk)


def copies_due(desk: Desk) -> tuple[Path, tuple[Path, ...], int] | None:
    """What `copies.backup` needs when the day's copy is due."""
    return copies_go(desk) if desk.copies.due() else None


def copies_go(desk: Desk) -> tuple[Path, tuple[Path, ...], int]:
    """What `copies.backup` needs: the data folder, the folders for copies, how many are kept."""
    session = desk.session
    return session.book.path.parent, desk.copies.folders(), int(session.settings.backup.keep)
