"""What can be picked out of the book's lines, in the trade's words: groups of kinds, and stretches of days.

Every kind of line is in exactly one group, so that nothing in the book is out of reach; a test holds that.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from enum import Enum

from kiosk.rules import lines as L
from kiosk.screens.dates import day_span, week_span

GROUPS: Mapping[str, frozenset[str]] = {
    "moved": frozenset({L.Moved.kind}),
    "heated": frozenset({L.Heated.kind, L.HoldEnded.kind}),
    "read": frozenset({L.TemperatureRead.kind, L.ReadingWithdrawn.kind}),
    "built": frozenset({L.Built.kind, L.TornDown.kind, L.ConditionSaid.kind, L.CutterReground.kind}),
    "measured": frozenset({L.MeasuredLine.kind, L.BalancedLine.kind, L.ToolNumbered.kind}),
    "refused": frozenset({L.TurnedAway.kind}),
    "audits": frozenset(
        {L.AuditOpened.kind, L.Seen.kind, L.DifferenceSettled.kind, L.AuditPaused.kind, L.AuditClosed.kind}
    ),
    "labels": frozenset({L.CodeBound.kind, L.LabelPrinted.kind, L.LabelWorn.kind, L.CodeRetired.kind}),
    "changed": frozenset(
        {
            L.HolderRegistered.kind, L.HolderRetired.kind, L.CutterAdded.kind, L.CutterRetired.kind,
            L.PlaceAdded.kind, L.PlaceRetired.kind, L.PocketAssigned.kind, L.SettingChanged.kind, L.Imported.kind,
            L.ImportUndone.kind, L.Restored.kind, L.KioskStarted.kind,
            L.KioskStands.kind, L.KioskRests.kind, L.KioskLockedOut.kind, L.ClaimSettled.kind,
        }
    ),
    "people": frozenset(
        {
            L.OperatorAdded.kind, L.OperatorRetired.kind, L.SignedIn.kind, L.SignedOut.kind, L.PinGiven.kind,
            L.PhonePaired.kind, L.PhoneEnded.kind,
        }
    ),
}  # fmt: skip


class When(Enum):
    """Which days."""

    ALWAYS = "always"
    TODAY = "today"
    YESTERDAY = "yesterday"
    WEEK = "week"
    DAY = "day"  # one that was chosen


def span_of(when: When, day: datetime, now: datetime) -> tuple[float, float] | None:
    """From when to when, seconds UTC, the end not included; None: no bound.  day: the one chosen."""
    match when:
        case When.ALWAYS:
            return None
        case When.TODAY:
            return day_span(now)
        case When.YESTERDAY:
            return day_span(now - timedelta(days=1))
        case When.WEEK:
            return week_span(now)
        case When.DAY:
            return day_span(day)
