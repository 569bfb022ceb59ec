"""Questions about the shop's kiosks: who there is, one more, one less, and where this one stands."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from kiosk.desk import Desk
from kiosk.desk.beats import is_of_this_version
from kiosk.desk.together import LockedOut as LockedOut
from kiosk.rules.cards import PlaceCard
from kiosk.screens.questions import Question
from kiosk.words import t

HEARD_S = 10.0  # a kiosk says something every two seconds


class How(StrEnum):
    """How a kiosk of the shop is to be reached."""

    HEARD = "heard"
    OTHER_VERSION = "other_version"
    NOT_HEARD = "not_heard"
    AT_REST = "at_rest"
    TO_JOIN = "to_join"
    LEFT = "left"


@dataclass(frozen=True, slots=True)
class KioskRow:
    """A kiosk of the shop.  since_at: seconds since the epoch, when it was heard last; None: it is switched off.

    off_s: its clock less the server's.  counts: the others listen to it; one whom only the server knows to be gone
    can be locked out once more, so that they no longer wait to hear it.
    """

    key: str
    name: str
    mine: bool
    how: How
    since_at: float | None
    waiting: int
    version: str
    off_s: float
    counts: bool = True


class Anew(StrEnum):
    """How a kiosk whose book the shop does not take any more comes to a shop again."""

    BY_ITSELF = "by_itself"
    WITH_A_CODE = "with_a_code"


@dataclass(frozen=True, slots=True)
class Kiosks:
    """The shop's kiosks as last heard.  joined: this one belongs to a shop with a server.  here: where it stands.

    parted: why the shop does not take its book any more, and anew how it joins again; None: nothing of the kind.
    """

    joined: bool
    rows: tuple[KioskRow, ...]
    here: str | None
    name: str
    parted: Exception | None = None
    anew: Anew | None = None


@dataclass(frozen=True, slots=True)
class Invitation:
    """The code for one more kiosk, where to type it, and rows of dark modules of the picture that says both."""

    code: str
    server: str
    modules: tuple[tuple[bool, ...], ...]


def kiosks() -> Question[Kiosks]:
    """Who there is."""

    def answer(desk: Desk) -> Kiosks:
        session = desk.session
        place = session.cards.place(session.here) if session.here else None
        here = place.name if place else None
        parted, anew = _parted(desk)
        if desk.kiosks is None:
            return Kiosks(False, (), here, session.settings.kiosk.name, parted, anew)
        now_s, mine = time.time(), desk.kiosks.membership.kiosk
        members = session.book.sharing.members() if session.book.sharing else {}
        rows = []
        silent_s = desk.kiosks.standing().silent_s or 0.0  # what the server said of them is so old
        for each in desk.kiosks.list():
            ago_s = None if each.ago_s is None else each.ago_s + silent_s
            told = members.get(each.kiosk)
            if each.retired_n is not None:
                how = How.TO_JOIN if each.retired_n == 0 else How.LEFT
            elif told is not None and told.rests:
                how = How.AT_REST
            else:
                how = How.HEARD if ago_s is not None and ago_s < HEARD_S else How.NOT_HEARD
                if how is How.HEARD and each.kiosk != mine and not is_of_this_version(each):
                    how = How.OTHER_VERSION
            since_at = None if ago_s is None else now_s - ago_s
            rows.append(
                KioskRow(
                    each.kiosk,
                    each.name,
                    each.kiosk == mine,
                    how,
                    since_at,
                    each.waiting,
                    each.version,
                    each.clock_off_s,
                    told is not None and not told.gone,
                )
            )
        return Kiosks(True, tuple(rows), here, desk.kiosks.membership.name, parted, anew)

    return answer


def _parted(desk: Desk) -> tuple[Exception | None, Anew | None]:
    fault = desk.not_shared
    if fault is None and desk.kiosks is not None:
        fault = desk.kiosks.standing().fault
    match fault.cause.value if fault else "":
        case "forked" | "twice" | "copied":
            return fault, Anew.BY_ITSELF
        case "locked_out" | "unnamed":
            return fault, Anew.WITH_A_CODE
        case _:
            return None, None


def invite() -> Question[Invitation]:
    """A code for one more kiosk.  Raises LinkFault, Locked."""

    def answer(desk: Desk) -> Invitation:
        import qrcode

        desk.session.supervised()
        if desk.kiosks is None:
            raise _alone()
        code, said = desk.kiosks.invite()
        symbol = qrcode.QRCode(border=0)
        symbol.add_data(said)
        symbol.make()
        modules = tuple(tuple(bool(dark) for dark in row) for row in symbol.modules)
        return Invitation(code, said.partition("@")[2], modules)

    return answer


def lock_out(kiosk: str) -> Question[LockedOut]:
    """That kiosk works here no more.  Raises LinkFault, Locked, ActRefused, NotThere."""
    return lambda desk: desk.lock_out(kiosk)


def _alone() -> Exception:
    from kiosk.link.faults import Cause, LinkFault

    return LinkFault(Cause.ALONE)


def stands() -> Question[tuple[tuple[PlaceCard, ...], str]]:
    """The places where a kiosk can stand, and the code of the one where this one does; empty: at none."""
    return lambda desk: (tuple(desk.shop.places()), desk.session.here or "")


def stand_at(code: str) -> Question[str | None]:
    """This kiosk stands at that place from now on, or at none; its name.  Raises SettingsFault, Locked, NotThere."""

    def answer(desk: Desk) -> str | None:
        card = desk.session.place(code) if code else None
        desk.people.change_setting("kiosk", "at", code, t("settings.on_screen"))
        desk.session.here = code or None
        return card.name if card else None

    return answer


def where_data_is() -> Question[Path]:
    """The folder a kiosk joins with."""
    return lambda desk: desk.session.book.path.parent


def joins(folder: Path, said: str, name: str) -> Callable[[], object]:
    """What is done while the desk is closed: this kiosk becomes one of the shop's.  Raises LinkFault, LedgerFault.

    said: what another kiosk shows; empty where it lets itself in anew, then under the name it had.
    """

    def join() -> None:
        from kiosk.desk.joining import join
        from kiosk.link.address import invited

        address, code = invited(said) if said else (None, "")
        join(folder, address, code, name)

    return join
