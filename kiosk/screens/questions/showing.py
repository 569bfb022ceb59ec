"""Questions of a rehearsed shift that is shown in the window."""

from __future__ import annotations

from pathlib import Path

from kiosk import rehearsal
from kiosk.desk import Desk
from kiosk.desk.desk import Scanned
from kiosk.desk.session import NotThere
from kiosk.rehearsal import PretendedTime, held_in_hand, settle_by_hand
from kiosk.screens.questions import Question


def being_read() -> Question[str]:
    """Key of the holder that a reading is about: the one scanned just now, else the hottest.  Raises NotThere."""

    def answer(desk: Desk) -> str:
        card = held_in_hand(desk)
        if card is None:
            raise NotThere("hold on", "any holder")
        return card.holder.key

    return answer


def wait(clock: PretendedTime, wait_s: float) -> Question[None]:
    """So much pretended time goes by."""
    return lambda desk: rehearsal.wait(desk, clock, wait_s)


def open_audit(name: str) -> Question[str]:
    """An audit of a place by its name begins.  Raises NotThere."""

    def answer(desk: Desk) -> str:
        code = desk.session.cards.find_place(name)
        if code is None:
            raise NotThere("place", name)
        desk.audits.open(code)
        return code

    return answer


def settle(path: Path, holder: str, action: str, reason: str) -> Question[Scanned]:
    """A difference that the audit found about a holder is closed.  Raises StepFault."""
    return lambda desk: Scanned("", settle_by_hand(desk, path, holder, action, reason), (), desk.now())


def close_audit() -> Question[Scanned]:
    """The audit is to be closed."""
    return lambda desk: Scanned("", desk.audits.close(), (), desk.now())
