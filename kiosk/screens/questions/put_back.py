"""Questions of a copy that is put back: who may, which there are, what is in each, what is lost, and doing it.

Everything below the second rule asks nothing of the desk, so that it can be asked where the book does not open, and
takes its time: it belongs on a `Press`.  What reads every line is done in a process of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from kiosk.desk import Desk, beside, copies, far_folder, putting_back
from kiosk.desk.putting_back import Kept, Lies, Lost, Seen
from kiosk.ledger.backup import CopyFault, RestoreDone
from kiosk.ledger.trouble import Cause, cause_of
from kiosk.ledger.upgrade import NewerLedger
from kiosk.ledger.verify import Stopped
from kiosk.screens.questions import Question
from kiosk.telling import fault_words
from kiosk.words import t

__all__ = [
    "Kept", "Lies", "Lost", "RestoreDone", "Seen", "Where", "found", "look", "lost", "may", "put_back", "where", "why",
]  # fmt: skip

Progress = Callable[[int, int], None]


class Where(NamedTuple):
    """The data folder, and the second folder for copies; empty: none is set."""

    data: Path
    second: str


def where() -> Question[Where]:
    """Where the book and its copies are."""

    def answer(desk: Desk) -> Where:
        session = desk.session
        return Where(session.book.path.parent, session.settings.backup.second_folder)

    return answer


def may() -> Question[str | None]:
    """The supervisor who answers for it; None: nobody has a PIN yet, or none can be read any more.  Raises Locked."""

    def answer(desk: Desk) -> str | None:
        try:
            return desk.session.supervised()
        except Exception as error:
            if cause_of(error) is not Cause.DAMAGED:
                raise
            return None

    return answer


# Files ----------------------------------------------------------------------------------------------------------


def found(at: Where) -> tuple[Kept, ...]:
    """Every copy that can be found, the newest first."""
    return putting_back.found(at.data, at.second)


def look(kept: Kept, tell: Progress, cancelled: Callable[[], bool]) -> Seen | None:
    """Reads every line of a copy, and waits for no share that hangs; None: somebody wanted something else meanwhile."""

    def going(done: int, total: int) -> None:
        if cancelled():
            raise Stopped
        tell(done, total)

    try:
        return far_folder.work(kept.path.parent, lambda: beside.run(putting_back.look, kept.path, tell=going))
    except far_folder.Silent as error:
        return Seen(0, "", "", error)
    except Stopped:
        return None


def lost(at: Where, kept: Kept, seen: Seen) -> Lost:
    """What the book has that a copy lacks."""
    return putting_back.lost(at.data, kept.path, seen)


def put_back(at: Where, kept: Kept, tell: Progress) -> RestoreDone:
    """Puts a copy in the place of the book, while no desk has that open; for a share that hangs nobody waits.

    Raises InUse, CopyFault, NewerLedger, LedgerFault, SettingsFault.
    """
    try:
        with putting_back.near(at.data, kept, tell) as path:
            return beside.run(copies.restore, at.data, path, tell=tell)
    except CopyFault as fault:
        if fault.path == kept.path and not _is_there(kept.path):  # pulled out: what failed first was something else
            raise CopyFault(kept.path, "is not there") from None
        raise


def _is_there(path: Path) -> bool:
    """Or its folder does not answer: then that is the reason."""
    try:
        return far_folder.ask(path.parent, lambda _: path.exists())
    except far_folder.Silent:
        return True


def why(error: Exception) -> str:
    """Why a copy cannot be put back, and what to do, in words."""
    if isinstance(error, NewerLedger):
        return t("put_back.newer")
    if not isinstance(error, CopyFault):
        return fault_words(error)
    said = error.__cause__
    if isinstance(said, far_folder.Silent):
        return fault_words(said)
    if isinstance(said, Exception) and (cause := cause_of(said)) not in (None, Cause.DAMAGED):
        return t("put_back.gone") if cause is Cause.GONE else fault_words(said)
    return t("put_back.gone" if error.why == "is not there" else "put_back.damaged")
