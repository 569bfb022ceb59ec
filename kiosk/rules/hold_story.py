"""A heating afterwards: what was expected of it, what each reading did to the wait, and what readings saved.

Told from the same facts and by the same rules as the hold itself ran, so that it says what the kiosk said then.  It
never counts as saved what nobody waited for: without an end there is no saving.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from kiosk.rules.belief import Verdict as Word
from kiosk.rules.cards import HeatCurve
from kiosk.rules.hold import curve
from kiosk.rules.hold_cases import Case, assessment, solved, weighed
from kiosk.rules.hold_facts import HoldFacts, HoldRules, Reading, Stay, cooling_from_s
from kiosk.rules.lessons import Known
from kiosk.rules.say import Say, say

_WORD_S = 30.0  # less is not worth a word


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

    @property
    def say(self) -> tuple[Say, ...]:
        """What each reading did, and how long it would have been without them."""
        told = [_said(step) for step in self.steps]
        if self.steps and self.without_s is not None:
            ended = "running" if self.released_s is None else "saved" if self.saved_s >= _WORD_S else "same"
            told.append(say(f"heatings.without.{ended}", without_s=self.without_s, saved_min=self.saved_s // 60))
        return tuple(told)


def _said(step: ReadingStep) -> Say:
    reading, shorter_s = step.reading, step.shortens_s
    if reading.verdict == Word.QUESTIONED.value:
        did = "doubted"
    else:
        did = "sooner" if shorter_s >= _WORD_S else "later" if shorter_s <= -_WORD_S else "nothing"
    return say(
        f"heatings.read.{did}",
        where=f"term.{reading.where}",
        value_c=reading.value_c,
        after_s=step.at_s,
        by_min=round(abs(shorter_s) / 60),
    )


def story(facts: HoldFacts, rules: HoldRules, known: Known | None, ended_s: float | None, now_s: float) -> HoldStory:
    """The story of a heating up to watched time `now_s`; ended_s: watched time of its end.  rules: as they are set now.

    Raises CoolingError.
    """
    start_s = cooling_from_s(facts, rules)
    usual = assessment(replace(facts, readings=()), rules, known)
    steps: list[ReadingStep] = []
    cases: tuple[Case, ...] = ()
    stood: tuple[Stay, ...] = ()
    after: float | None = None
    for count, reading in enumerate(facts.readings):
        then = replace(facts, stays=_until(facts, reading.at_s), readings=facts.readings[:count])
        before = after
        if then.stays != stood:  # between two readings at one place nothing has to be solved again
            cases, stood = solved(then, rules, known), then.stays
            before = weighed(cases, then, rules).found.hold_s
        counted = replace(then, readings=facts.readings[: count + 1])
        after = weighed(cases, counted, rules).found.hold_s
        steps.append(ReadingStep(reading, reading.at_s - start_s, before, after))
    released_s = None if ended_s is None else max(ended_s - start_s, 0.0)
    plot = curve(facts, rules, usual, now_s if ended_s is None else ended_s, whole=True)
    return HoldStory(plot, tuple(steps), released_s, usual.hold_s)


def _until(facts: HoldFacts, at_s: float) -> tuple[Stay, ...]:
    """Where it had stood by then."""
    return tuple(stay for stay in facts.stays if stay.since_s <= at_s) or facts.stays[:1]
