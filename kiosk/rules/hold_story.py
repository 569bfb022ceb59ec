"""A heating afterwards: what was expected of it, what each reading did to the wait, and what readings saved.

Told from the same facts and by the same rules as the hold itself ran, so that it says what the kiosk said then.  It
never counts as saved what nobody waited for: without an end there is no saving.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from kiosk.rules.cards import HeatCurve
from kiosk.rules.hold import curve
from kiosk.rules.hold_cases import assessment, solved, weighed
from kiosk.rules.hold_facts import HoldFacts, HoldRules, Reading, Stay, cooling_from_s
from kiosk.rules.lessons import Known


@dataclass(frozen=True, slots=True)
class ReadingStep:
    """What a reading did.  at_s and holds: seconds since it began to cool; None: no time could be given."""

    reading: Reading
    at_s: float
    hold_before_s: float | None
    hold_after_s: float | None

    @property
    def shortens_s(self) -> float:
        """By how much it shortened the hold; negative: it lengthened it."""
        if self.hold_before_s is None or self.hold_after_s is None:
            return 0.0
        return max(self.hold_before_s, self.at_s) - max(self.hold_after_s, self.at_s)


@dataclass(frozen=True, slots=True)
class HoldStory:
    """expected: the band before any reading of this heat.  released_s: when it ended, since it began to cool; None:
    it runs.  without_s: when it would have ended without its readings; None: only a reading would have ended it."""

    expected: HeatCurve
    steps: tuple[ReadingStep, ...]
    released_s: float | None
    without_s: float | None

    @property
    def saved_s(self) -> float:
        """How much sooner it was free for its readings."""
        if self.released_s is None or self.without_s is None or not self.steps:
            return 0.0
        return max(0.0, self.without_s - self.released_s)


def story(facts: HoldFacts, rules: HoldRules, known: Known | None, ended_s: float | None, now_s: float) -> HoldStory:
    """The story of a heating up to watched time `now_s`; ended_s: watched time of its end.  rules: as they are set now.

    Raises CoolingError.
    """
    start_s = cooling_from_s(facts, rules)
    usual = assessment(replace(facts, readings=()), rules, known)
    steps = []
    for count, reading in enumerate(facts.readings):
        then = replace(facts, stays=_until(facts, reading.at_s), readings=facts.readings[:count])
        cases = solved(then, rules, known)
        counted = replace(then, readings=facts.readings[: count + 1])
        before, after = (weighed(cases, each, rules).found.hold_s for each in (then, counted))
        steps.append(ReadingStep(reading, reading.at_s - start_s, before, after))
    released_s = None if ended_s is None else max(ended_s - start_s, 0.0)
    plot = curve(facts, rules, usual, now_s if ended_s is None else ended_s, whole=True)
    return HoldStory(plot, tuple(steps), released_s, usual.hold_s)


def _until(facts: HoldFacts, at_s: float) -> tuple[Stay, ...]:
    """Where it had stood by then."""
    return tuple(stay for stay in facts.stays if stay.since_s <= at_s) or facts.stays[:1]
