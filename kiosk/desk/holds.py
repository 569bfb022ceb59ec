"""How long a hold lasts: the ledger's facts put to the rules, with what was computed kept for the next second.

The one seam between the book and the cooling model.  It computes only when the facts of a hold or what was
learnt about it change; in between it interpolates.  A hold that cannot be computed needs a reading, and stops
nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from typing import NamedTuple

import msgspec

from kiosk.ledger.derive import TableRow
from kiosk.ledger.state import SHARED_CLOCK
from kiosk.rules import hold
from kiosk.rules.apart import Answer, Apart, about_time
from kiosk.rules.belief import FilmSlope, Instrument, Lesson, Prediction, Standing, take
from kiosk.rules.cards import HeatCurve, HoldView, Moment
from kiosk.rules.cooling.assessment import Advice, Room, Way, Zone
from kiosk.rules.hearing import WITHIN_S
from kiosk.rules.hold import Verdict
from kiosk.rules.hold_cases import Case, Weighed, solved, weighed
from kiosk.rules.hold_facts import HoldFacts, HoldRules, Reading, pair, passed, type_of
from kiosk.rules.hold_story import HoldStory, story
from kiosk.rules.lessons import Heats, Known
from kiosk.rules.skin import HoldSkin, solved_skin
from kiosk.rules.skin_slices import SkinNow, unknown_skin
from kiosk.settings import HeatSettings

# What arithmetic and data raise where the facts of a hold cannot be worked out (CoolingError and OutlineError too).
NOT_COMPUTABLE = (ArithmeticError, ValueError, LookupError)

_BEFORE_ALL = 0  # lines are numbered from 1
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
        return max(self.made_s, self.advice.at_s if self.advice else self.made_s) + _STALE_S


class _Learnt:
    """What readings taught, in order."""

    def __init__(self) -> None:
        self._standings: dict[str, Standing] = {}
        self._heats = Heats()

    def take(self, row: TableRow) -> None:
        lesson, name = _lesson(row), row["pair"]
        self._standings[name], _, accepted = take(self._standings.get(name, Standing()), lesson)
        for each in accepted:
            # A doubted one is known when it is confirmed: what ran before then is the same after a restart.
            heating = each.heating if each.heating is not None else -each.line
            self._heats.add(replace(each, line=lesson.line, heating=heating))

    def standing(self, facts: HoldFacts) -> Standing:
        return self._standings.get(pair(facts.holder, facts.stays[-1].place), Standing())

    def known(self, facts: HoldFacts) -> Known:
        """What earlier heats taught; what is read during a heat counts for it by itself, and only once."""
        of_type = type_of(pair(facts.holder, None))
        return self._heats.known(of_type, passed(facts), facts.heating)


class Holds:
    """Answers about holds for one desk.  `lessons`: the ledger's rows of what readings taught after a line.

    rules: the shop's values as they are set now; a hold that began under stricter ones keeps those (`rules_of`).
    """

    def __init__(
        self,
        settings: HeatSettings,
        lessons: Callable[[int], list[TableRow]],
        age_of: Callable[[int], float | None] = lambda line: None,
        apart: Callable[[], Apart | None] = lambda: None,
    ) -> None:
        """age_of: how long the stay that began with a line has lasted at least, where holds count by ages.

        apart: how far this kiosk is cut off from others.
        """
        self.rules = rules_set(settings)
        self._age_of = age_of
        self._apart = apart
        self._lessons = lessons
        self._kept: dict[str, _Kept] = {}
        self._advised: dict[str, _Advised] = {}
        self._skins: dict[str, tuple[HoldFacts, HoldSkin | None]] = {}
        self._taught: list[TableRow] = []  # all lessons as they were read
        self._read_to = _BEFORE_ALL  # number of the last lesson's line
        self._slips: list[tuple[int, int]] = []  # lines by which lessons were withdrawn, in order, and those lessons'
        self._learnt: dict[int, _Learnt] = {}  # what was known when so many of them were withdrawn
        self.unlearnt()

    def learnt(self) -> None:
        """Readings were written: what they teach counts for heatings from now on."""
        for row in self._lessons(self._read_to):
            for state in self._learnt.values():
                state.take(row)
            self._read_to = row["line"]
            self._taught.append(row)

    def told_by_others(self) -> None:
        """Lines of other kiosks came.  Where they teach nothing else, all that was worked out stands: it took long."""
        if self._lessons(_BEFORE_ALL) != self._taught:
            self.unlearnt()

    def unlearnt(self) -> None:
        """A reading was withdrawn, or nothing was looked at yet: everything is learnt from the beginning."""
        self._kept.clear()
        self._advised.clear()
        self._skins.clear()
        self._learnt.clear()
        rows = self._lessons(_BEFORE_ALL)
        self._taught = list(rows)
        self._slips = sorted((row["withdrawn"], row["line"]) for row in rows if row["withdrawn"] is not None)
        self._read_to = rows[-1]["line"] if rows else _BEFORE_ALL
        self._known_after(len(self._slips), rows)

    def keep_only(self, holders: Collection[str]) -> None:
        """Forgets what was computed of holders that are cold by now: 0.4 to 2.7 MB each, and a shop has hundreds."""
        for kept in (self._kept, self._advised, self._skins):
            for gone in kept.keys() - holders:
                del kept[gone]

    def _known_after(self, count: int, rows: Sequence[TableRow] | None = None) -> _Learnt:
        """What was known when the first `count` slips were withdrawn.  rows: all lessons, where they are at hand."""
        if count not in self._learnt:
            gone = {line for _, line in self._slips[:count]}
            self._learnt[count] = state = _Learnt()
            for row in self._lessons(_BEFORE_ALL) if rows is None else rows:
                if row["line"] not in gone:
                    state.take(row)
        return self._learnt[count]

    @property
    def _now(self) -> _Learnt:
        return self._known_after(len(self._slips))

    def _earlier(self, facts: HoldFacts) -> list[_Learnt]:
        """What was known since a heating began that is not known any more, because it was a slip.

        The hold that runs is freed no sooner by that: what a slip made longer stays as long, and what it made shorter
        is as if it had never been read.
        """
        began = facts.heating or _BEFORE_ALL
        return [
            self._known_after(count)
            for count, (withdrawn, line) in enumerate(self._slips)
            if line < began < withdrawn
        ]

    def rules_of(self, facts: HoldFacts) -> HoldRules:
        """For each value the strictest of those it may have begun with and those set now."""
        return self.rules.stricter(facts.began)

    def moment(self, facts: HoldFacts, moment: Moment, heard_s: float = 0.0) -> Moment:
        """That moment by the clock of a hold's facts.  heard_s: so long ago, where several kiosks count it."""
        if facts.clock != SHARED_CLOCK:
            return moment
        age_s = max(0.0, (self._age_of(facts.stay) or 0.0) - heard_s)
        return replace(moment, watched_s=facts.stays[-1].since_s + age_s)

    def view(self, facts: HoldFacts, moment: Moment) -> HoldView:
        """The hold then; where others may move the holder, as of when all that they did is known."""
        found = self._view(facts, self.moment(facts, moment, WITHIN_S))
        return replace(found, unheard=True) if about_time(self._apart()) is Answer.READING_ONLY else found

    def _view(self, facts: HoldFacts, moment: Moment) -> HoldView:
        now = self._worked_out(facts).now
        if now is None or not facts.watched:
            return hold.not_computable(facts, self.rules)
        seen = hold.view(facts, self.rules, now.found, self._now.standing(facts), moment.watched_s)
        began = facts.heating or _BEFORE_ALL
        since = (count for count, (withdrawn, _) in enumerate(self._slips) if withdrawn > began)
        doubted = any(self._known_after(count).standing(facts).needs_reading for count in since)
        return replace(seen, needs_reading=True) if doubted else seen

    def curve(self, facts: HoldFacts, moment: Moment) -> HeatCurve | None:
        """None where it cannot be computed."""
        now = self._worked_out(facts).now
        if now is None or not facts.watched:
            return None
        return hold.curve(facts, self.rules, now.found, self.moment(facts, moment).watched_s)

    def advice(self, facts: HoldFacts, moment: Moment) -> Advice | None:
        """The best next reading, its times watched ones; None where none is worth it or it cannot be computed."""
        now, now_s = self._worked_out(facts).now, self.moment(facts, moment).watched_s
        if now is None or not facts.watched:
            return None
        made = self._advised.get(facts.holder.key)
        if made is None or made.facts != facts or now_s > made.good_s:
            tolerance_k = self.rules_of(facts).probe_tolerance_k
            made = _Advised(facts, now_s, hold.advice(facts, now.longest, now_s, tolerance_k))
            self._advised[facts.holder.key] = made
        return made.advice

    def skin(self, facts: HoldFacts, moment: Moment) -> SkinNow:
        """How warm each part may be; all of it not known where the hold cannot be computed."""
        seen, key = self.view(facts, moment), facts.holder.key
        kept, skin = self._skins.get(key, (None, None))
        if kept != facts:
            skin = self._solved_skin(facts)
            self._skins[key] = facts, skin
        if skin is None or not facts.watched:
            return unknown_skin(self.rules_of(facts).room.limit_c, seen.where)
        return skin.now(facts, self.rules, seen, self.moment(facts, moment, WITHIN_S).watched_s)

    def _solved_skin(self, facts: HoldFacts) -> HoldSkin | None:
        kept = self._worked_out(facts)
        if kept.now is None:
            return None
        try:
            return solved_skin(facts, kept.cases)
        except NOT_COMPUTABLE:
            return None

    def story(self, facts: HoldFacts, ended_s: float | None, moment: Moment) -> HoldStory:
        """What was expected of a heating by what had been learnt when it began, what its readings did and saved.

        Keeps nothing: the hold that runs now may be another one.  Raises as computing does.
        """
        return story(facts, self.rules, self._known(facts), ended_s, moment.watched_s)

    def judge(self, facts: HoldFacts, reading: Reading) -> Verdict | None:
        """None where the hold cannot be computed: then readings all over are the only proof."""
        kept = self._worked_out(facts)
        if kept.now is None or not facts.watched:
            return None
        try:
            return hold.verdict(facts, self.rules, kept.cases, kept.now.found, self._now.standing(facts), reading)
        except NOT_COMPUTABLE:
            return None

    def length_error_um(self, facts: HoldFacts, moment: Moment) -> float | None:
        """How much too long it would be measured now, µm.  None where it cannot be computed."""
        now = self._worked_out(facts).now
        if now is None or not facts.watched:
            return None
        return hold.length_error_um(facts, self.rules, now.found, self.moment(facts, moment, WITHIN_S).watched_s)

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
        if kept and kept.cases and _unread(kept.facts) == _unread(facts):
            return kept.cases
        cases = solved(facts, self.rules, self._known(facts))
        for state in self._earlier(facts):
            cases += solved(facts, self.rules, state.known(facts))
        return cases

    def _known(self, facts: HoldFacts) -> Known:
        return self._now.known(facts)


def _unread(facts: HoldFacts) -> HoldFacts:
    """What has to be solved: the facts without their readings."""
    return replace(facts, readings=(), withdrawn=(), gaps=0)


def rules_set(settings: HeatSettings) -> HoldRules:
    """The shop's values as these settings have them."""
    room = Room(
        settings.ambient_c, settings.limit_c, settings.length_tolerance_um, ambient_sd_k=settings.ambient_sd_k
    )
    return HoldRules(room, settings.temp_c, settings.heating_s, settings.probe_tolerance_k)


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
