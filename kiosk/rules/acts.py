"""Which lines are somebody's work, and which a kiosk writes by itself.

Where a shop asks for a badge, a line of work without somebody signed in is not written (`desk.session.write`); a
kind of line that is not named here is work.
"""

from __future__ import annotations

from kiosk.rules import lines as L
from kiosk.rules.audit import Action

# Said by whoever comes and goes, by the program that starts, and by refusals; a PIN says itself whose it is.
_ALWAYS = (L.SignedIn, L.SignedOut, L.PinGiven, L.TurnedAway, L.KioskStarted, L.Restored, L.AuditPaused)


def of_itself(entry: L.Entry) -> bool:
    """Whether a kiosk writes this line without a hand: time has passed, somebody came, something was refused."""
    match entry:
        case L.HoldEnded(by=by):
            return by == "time"
        case L.DifferenceSettled(action=action):
            return action == Action.COOLED.value
        case L.SettingChanged(reason=reason):
            return reason == L.OUTSIDE
        case _:
            return isinstance(entry, _ALWAYS)


def from_presetter(entry: L.Entry) -> bool:
    """Whether an instrument may say this without a hand."""
    return isinstance(entry, L.MeasuredLine)
