"""How long a hold lasts: the ledger's facts put to the rules, with what was computed kept for the next second.

The one seam between the book and the cooling model; computes only when the facts of a hold change.
"""

from __future__ import annotations

from kiosk.rules.cards import HoldView, Moment
from kiosk.rules.hold import HoldFacts, Reading, TimedHolds, Verdict
from kiosk.settings import HeatSettings


class Holds:
    """Answers about holds for one desk."""

    def __init__(self, settings: HeatSettings) -> None:
        self._rule = TimedHolds(limit_c=settings.limit_c, hottest_c=settings.temp_c)

    def view(self, facts: HoldFacts, moment: Moment) -> HoldView:
        return self._rule.view(facts, moment.watched_s)

    def judge(self, facts: HoldFacts, reading: Reading) -> Verdict:
        return self._rule.judge(facts, reading)

    def length_error_um(self, facts: HoldFacts, moment: Moment) -> float:
        """How much too long it would be measured now, µm."""
        return self._rule.length_error_um(facts, moment.watched_s)
