"""How long a hold lasts: the ledger's facts put to the rules, with what was computed kept for the next second.

The one seam between the book and the cooling model.  It computes only when the facts of a hold or what was
learnt about it change; in between it interpolates.  A hold that cannot be computed needs a reading, and stops
nothing else.
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

# What arithmetic and data raise where the facts of a hold cannot be worked out (CoolingError and OutlineError too).
NOT_COMPUTABLE = (ArithmeticError, ValueError, LookupError)


class _Kept(NamedTuple):
    """What was computed from facts; `found` None: it could not be."""

    facts: HoldFacts
    taught: int
    beliefs: dict[Way, Belief]
    found: Assessment | None


class Holds:
    """Answers about holds for one desk.  `lessons`: the ledger's rows of what readings taught about a pair.

    rules: the shop's values as they are set now; a hold that began under stricter ones keeps those (`rules_of`).
    """

    def __init__(self, settings: HeatSettings, lessons: Callable[[str], list[Row]]) -> None:
        self.rules = rules_set(settings)
        self._lessons = lessons
        self._kept: dict[str, _Kept] = {}
        self._taught = 0

    def learnt(self) -> None:
        """A reading was written: beliefs are replayed from now on."""
        self._taught += 1

    def rules_of(self, facts: HoldFacts) -> HoldRules:
        """The values this hold is worked out with: the stricter of those it began with and those set now."""
        return self.rules.stricter(facts.began)

    def view(self, facts: HoldFacts, moment: Moment) -> HoldView:
        rules, kept = self.rules_of(facts), self._found(facts)
        if kept.found is None or not facts.watched:
            return hold.not_computable(facts, rules)
        return hold.view(facts, rules, kept.found, kept.beliefs, moment.watched_s)

    def curve(self, facts: HoldFacts, moment: Moment) -> HeatCurve | None:
        """None where it cannot be computed."""
        found = self._found(facts).found
        if found is None or not facts.watched:
            return None
        return hold.curve(facts, self.rules_of(facts), found, moment.watched_s)

    def expected(self, facts: HoldFacts, until_s: float) -> HeatCurve:
        """What was expected of a heating that is over, by what had been learnt when it began.

        until_s: watched time of its end, which the curve marks.  Keeps nothing: the hold that runs now is not
        this one.
        """
        beliefs = {
            way: self._belief(facts, way, place, facts.heated_at_s) for way, place in hold.last_place(facts).items()
        }
        rules = self.rules_of(facts)
        return hold.curve(facts, rules, hold.assessment(facts, rules, beliefs), until_s, whole=True)

    def judge(self, facts: HoldFacts, reading: Reading) -> Verdict | None:
        """None where the hold cannot be computed: then readings all over are the only proof."""
        kept = self._found(facts)
        if kept.found is None or not facts.watched:
            return None
        try:
            return hold.verdict(facts, self.rules_of(facts), kept.found, kept.beliefs, reading)
        except NOT_COMPUTABLE:
            return None

    def length_error_um(self, facts: HoldFacts, moment: Moment) -> float | None:
        """How much too long it would be measured now, µm.  None where it cannot be computed."""
        found = self._found(facts).found
        if found is None or not facts.watched:
            return None
        return hold.length_error_um(facts, self.rules_of(facts), found, moment.watched_s)

    def _found(self, facts: HoldFacts) -> _Kept:
        key = facts.holder.key
        kept = self._kept.get(key)
        if kept is None or kept.facts != facts or kept.taught != self._taught:
            kept = self._compute(facts)
            self._kept[key] = kept
        return kept

    def _compute(self, facts: HoldFacts) -> _Kept:
        beliefs: dict[Way, Belief] = {}
        try:
            beliefs |= {way: self._belief(facts, way, place) for way, place in hold.last_place(facts).items()}
            found = hold.assessment(facts, self.rules_of(facts), beliefs)
        except NOT_COMPUTABLE:
            return _Kept(facts, self._taught, beliefs, None)
        return _Kept(facts, self._taught, beliefs, found if hold.is_sound(found) else None)

    def _belief(self, facts: HoldFacts, way: Way, place: str | None, before_s: float | None = None) -> Belief:
        lessons = map(_lesson, self._lessons(hold.pair(facts.holder, place)))
        return replay(way, (each for each in lessons if before_s is None or each.at_s < before_s))


def rules_set(settings: HeatSettings) -> HoldRules:
    """The shop's values as these settings have them."""
    room = Room(settings.ambient_c, settings.limit_c, settings.length_tolerance_um)
    return HoldRules(room, settings.temp_c, settings.heating_s)


def _lesson(row: Row) -> Lesson:
    seen = Prediction(row["ambient_c"], row["expected_c"], row["by_heat_k"], row["by_film_k"], row["other_sd_k"])
    return Lesson(row["watched_s"], Zone(row["where"]), Instrument(row["instrument"]), row["value_c"], seen)
