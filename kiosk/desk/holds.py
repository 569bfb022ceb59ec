"""How long a hold lasts: the ledger's facts put to the rules, with what was computed kept for the next second.

The one seam between the book and the cooling model.  It computes only when the facts of a hold or what was
learnt about it change; in between it interpolates.  A hold that cannot be computed needs a reading, and stops
nothing else.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

import msgspec

from kiosk.ledger.derive import TableRow
from kiosk.rules import hold
from kiosk.rules.belief import FilmSlope, Instrument, Lesson, Prediction, Standing, take
from kiosk.rules.cards import HeatCurve, HoldView, Moment
from kiosk.rules.cooling.assessment import Advice, Room, Way, Zone
from kiosk.rules.hold import Verdict
from kiosk.rules.hold_cases import Case, Weighed, assessment, solved, weighed
from kiosk.rules.hold_facts import HoldFacts, HoldRules, Reading, last_place, pair, type_of
from kiosk.rules.hold_story import HoldStory, story
from kiosk.rules.lessons import Heats, Known
from kiosk.settings import HeatSettings

# What arithmetic and data raise where the facts of a hold cannot be worked out (CoolingError and OutlineError too).
NOT_COMPUTABLE = (ArithmeticError, ValueError, LookupError)


_STALE_S = 120.0  # after which a moment that was advised is past


class _Kept(NamedTuple):
    """What was computed from facts; None: it could not be."""

    facts: HoldFacts
    cases: tuple[Case, ...] = ()
    now: Weighed | None = None


class _Advised(NamedTuple):
    """Advice for facts; stale once its moment is past by `_STALE_S`."""

    facts: HoldFacts
    made_s: float
    advice: Advice | None

    @property
    def good_s(self) -> float:
        """Until when it may be shown."""
        return (self.advice.at_s if self.advice and self.advice.at_s > self.made_s else self.made_s) + _STALE_S


class Holds:
    """Answers about holds for one desk.  `lessons`: the ledger's rows of what readings taught after a line.

    rules: the shop's values as they are set now; a hold that began under stricter ones keeps those (`rules_of`).
    """

    def __init__(self, settings: HeatSettings, lessons: Callable[[int], list[TableRow]]) -> None:
        self.rules = rules_set(settings)
        self._lessons = lessons
        self._kept: dict[str, _Kept] = {}
        self._advised: dict[str, _Advised] = {}
        self._read_to = 0
        self._standings: dict[str, Standing] = {}
        self._heats = Heats()
        self.learnt()

    def learnt(self) -> None:
        """Readings were written: what they teach counts for heatings from now on."""
        for row in self._lessons(self._read_to):
            lesson, name = _lesson(row), row["pair"]
            standing, _, accepted = take(self._standings.get(name, Standing()), lesson)
            self._standings[name] = standing
            for each in accepted:
                self._heats.add(each)
            self._read_to = row["line"]

    def rules_of(self, facts: HoldFacts) -> HoldRules:
        """For each value the strictest of those it may have begun with and those set now."""
        return self.rules.stricter(facts.began)

    def view(self, facts: HoldFacts, moment: Moment) -> HoldView:
        now = self._worked_out(facts).now
        if now is None or not facts.watched:
            return hold.not_computable(facts, self.rules)
        return hold.view(facts, self.rules, now.found, self._standing(facts), moment.watched_s)

    def curve(self, facts: HoldFacts, moment: Moment) -> HeatCurve | None:
        """None where it cannot be computed."""
        now = self._worked_out(facts).now
        if now is None or not facts.watched:
            return None
        return hold.curve(facts, self.rules, now.found, moment.watched_s)

    def expected(self, facts: HoldFacts, until_s: float) -> HeatCurve:
        """What was expected of a heating that is over, by what had been learnt when it began.

        until_s: watched time of its end, which the curve marks.  Keeps nothing: the hold that runs now is not
        this one.
        """
        found = assessment(replace(facts, readings=()), self.rules, self._known(facts))
        return hold.curve(facts, self.rules, found, until_s, whole=True)

    def advice(self, facts: HoldFacts, moment: Moment) -> Advice | None:
        """The best next reading, its times watched ones; None where none is worth it or it cannot be computed."""
        now, now_s = self._worked_out(facts).now, moment.watched_s
        if now is None or not facts.watched:
            return None
        made = self._advised.get(facts.holder.key)
        if made is None or made.facts != facts or now_s > made.good_s:
            made = _Advised(facts, now_s, hold.advice(facts, now.longest, now_s))
            self._advised[facts.holder.key] = made
        return made.advice

    def story(self, facts: HoldFacts, ended_s: float | None, moment: Moment) -> HoldStory:
        """What was expected of a heating, what its readings did, and what they saved.  Raises as computing does."""
        return story(facts, self.rules, self._known(facts), ended_s, moment.watched_s)

    def judge(self, facts: HoldFacts, reading: Reading) -> Verdict | None:
        """None where the hold cannot be computed: then readings all over are the only proof."""
        kept = self._worked_out(facts)
        if kept.now is None or not facts.watched:
            return None
        try:
            return hold.verdict(facts, self.rules, kept.cases, kept.now.found, self._standing(facts), reading)
        except NOT_COMPUTABLE:
            return None

    def length_error_um(self, facts: HoldFacts, moment: Moment) -> float | None:
        """How much too long it would be measured now, µm.  None where it cannot be computed."""
        now = self._worked_out(facts).now
        if now is None or not facts.watched:
            return None
        return hold.length_error_um(facts, self.rules, now.found, moment.watched_s)

    def _worked_out(self, facts: HoldFacts) -> _Kept:
        key = facts.holder.key
        kept = self._kept.get(key)
        if kept is None or kept.facts != facts:
            kept = self._compute(facts)
            self._kept[key] = kept
        return kept

    def _compute(self, facts: HoldFacts) -> _Kept:
        self.learnt()
        try:
            cases = self._solved(facts)
            now = weighed(cases, facts, self.rules)
        except NOT_COMPUTABLE:
            return _Kept(facts)
        return _Kept(facts, cases, now if hold.is_sound(now.found) else None)

    def _solved(self, facts: HoldFacts) -> tuple[Case, ...]:
        """A reading changes nothing that has to be solved again."""
        kept = self._kept.get(facts.holder.key)
        if kept and kept.cases and replace(kept.facts, readings=(), gaps=0) == replace(facts, readings=(), gaps=0):
            return kept.cases
        return solved(facts, self.rules, self._known(facts))

    def _standing(self, facts: HoldFacts) -> Standing:
        return self._standings.get(pair(facts.holder, facts.stays[-1].place), Standing())

    def _known(self, facts: HoldFacts) -> Known:
        """What earlier heats taught; what is read during a heat counts for it by itself, and only once."""
        of_type = type_of(pair(facts.holder, None))
        return self._heats.known(of_type, last_place(facts), facts.heating)


def rules_set(settings: HeatSettings) -> HoldRules:
    """The shop's values as these settings have them."""
    room = Room(settings.ambient_c, settings.limit_c, settings.length_tolerance_um)
    return HoldRules(room, settings.temp_c, settings.heating_s)


def _lesson(row: TableRow) -> Lesson:
    seen = Prediction(
        ambient_c=row["ambient_c"],
        expected_c=row["expected_c"],
        by_heat_k=row["by_heat_k"],
        by_film_k=row["by_film_k"],
        other_sd_k=row["other_sd_k"],
        spread_k=row["spread_k"],
        usual_c=row["usual_c"],
        about_heat=row["about_heat"],
        films=msgspec.json.decode(row["films"], type=tuple[FilmSlope, ...]),
    )
    return Lesson(
        row["watched_s"],
        Zone(row["where"]),
        Instrument(row["instrument"]),
        row["value_c"],
        seen,
        Way(row["way"]),
        type_of(row["pair"]),
        row["heating"],
        row["line"],
        row["kiosk"],
    )
