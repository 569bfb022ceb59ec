"""How long a hold lasts: the ledger's facts put to the rules, with what was computed kept for the next second.

The one seam between the book and the cooling model.  It computes only when the facts of a hold or what was
learnt about it change; in between it interpolates.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from kiosk.ledger.derive import Row
from kiosk.rules import hold
from kiosk.rules.belief import Belief, Instrument, Lesson, Prediction, replay
from kiosk.rules.cards import HeatCurve, HoldView, Moment
from kiosk.rules.cooling import Assessment, Room, Way, Zone
from kiosk.rules.hold import HoldFacts, HoldRules, Reading, Verdict
from kiosk.settings import HeatSettings


class _Kept(NamedTuple):
    facts: HoldFacts
    taught: int
    beliefs: dict[Way, Belief]
    found: Assessment


class Holds:
    """Answers about holds for one desk.  `lessons`: the ledger's rows of what readings taught about a pair."""

    def __init__(self, settings: HeatSettings, lessons: Callable[[str], list[Row]]) -> None:
        room = Room(settings.ambient_c, settings.limit_c, settings.length_tolerance_um)
        self.rules = HoldRules(room, settings.temp_c, settings.heating_s)
        self._lessons = lessons
        self._kept: dict[str, _Kept] = {}
        self._taught = 0

    def learnt(self) -> None:
        """A reading was written: beliefs are replayed from now on."""
        self._taught += 1

    def view(self, facts: HoldFacts, moment: Moment) -> HoldView:
        kept = self._found(facts)
        return hold.view(facts, self.rules, kept.found, kept.beliefs, moment.watched_s)

    def curve(self, facts: HoldFacts, moment: Moment) -> HeatCurve:
        return hold.curve(facts, self.rules, self._found(facts).found, moment.watched_s)

    def expected(self, facts: HoldFacts, until_s: float) -> HeatCurve:
        """What was expected of a heating that is over, by what had been learnt when it began.

        until_s: watched time of its end, which the curve marks.  Keeps nothing: the hold that runs now is not
        this one.
        """
        beliefs = {
            way: self._belief(facts, way, place, facts.heated_at_s) for way, place in hold.last_place(facts).items()
        }
        return hold.curve(facts, self.rules, hold.assessment(facts, self.rules, beliefs), until_s, whole=True)

    def judge(self, facts: HoldFacts, reading: Reading) -> Verdict:
        kept = self._found(facts)
        return hold.verdict(facts, self.rules, kept.found, kept.beliefs, reading)

    def length_error_um(self, facts: HoldFacts, moment: Moment) -> float:
        """How much too long it would be measured now, µm."""
        return hold.length_error_um(facts, self.rules, self._found(facts).found, moment.watched_s)

    def _found(self, facts: HoldFacts) -> _Kept:
        key = facts.holder.key
        kept = self._kept.get(key)
        if kept is None or kept.facts != facts or kept.taught != self._taught:
            beliefs = {way: self._belief(facts, way, place) for way, place in hold.last_place(facts).items()}
            kept = _Kept(facts, self._taught, beliefs, hold.assessment(facts, self.rules, beliefs))
            self._kept[key] = kept
        return kept

    def _belief(self, facts: HoldFacts, way: Way, place: str | None, before_s: float | None = None) -> Belief:
        lessons = map(_lesson, self._lessons(hold.pair(facts.holder, place)))
        return replay(way, (each for each in lessons if before_s is None or each.at_s < before_s))


def _lesson(row: Row) -> Lesson:
    seen = Prediction(row["ambient_c"], row["expected_c"], row["by_heat_k"], row["by_film_k"], row["other_sd_k"])
    return Lesson(row["watched_s"], Zone(row["where"]), Instrument(row["instrument"]), row["value_c"], seen)
