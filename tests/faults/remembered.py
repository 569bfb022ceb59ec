"""What the model answered once is remembered: a kiosk that starts again asks it the same, dozens of times a shift.

The model is arithmetic on values that do not change, so the same question has the same answer, and only the waiting
for it is saved.  Now and then a remembered answer is worked out from the start all the same, and must be the same.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from typing import Any
from unittest.mock import patch

from kiosk import cli
from kiosk.desk import holds
from kiosk.rules import hold_cases
from kiosk.rules.cooling.assessment import Assessment, Heat, Room, Stage, Touch, assess_bound, bound_of
from kiosk.rules.cooling.bound import Bound
from kiosk.rules.hold_cases import Case, Weighed, weighed
from kiosk.rules.hold_facts import HoldFacts, HoldRules
from kiosk.rules.lessons import Known
from kiosk.rules.outline import Profile

AGAIN_EVERY = 40  # remembered answers
MOST = 256  # holds kept, solved


class TwoAnswers(AssertionError):
    """The model answered the same question in two ways."""


class Remembered:
    """The model's answers by its questions, for as many kiosks as one process pretends."""

    def __init__(self) -> None:
        self._bounds: dict[Any, Bound] = {}
        self._questions: dict[Bound, Any] = {}
        self._answers: dict[tuple[Bound, tuple[Touch, ...]], Assessment] = {}
        self._weighed: dict[Any, Weighed] = {}
        self._given: Counter[str] = Counter()  # remembered answers, by what was asked

    def bound_of(
        self, profile: Profile, heat: Heat, stages: Sequence[Stage], room: Room, known: Known | None = None
    ) -> Bound:
        taught = (known.mean.tobytes(), known.cov.tobytes()) if known else None
        asked = (profile, heat, tuple(stages), (*room[:3], id(room.films)), taught)
        if asked not in self._bounds:
            if len(self._bounds) >= MOST:
                for kept in (self._bounds, self._questions, self._answers, self._weighed):
                    kept.clear()
            bound = bound_of(profile, heat, stages, room, known)
            self._bounds[asked], self._questions[bound] = bound, (profile, heat, tuple(stages), room, known)
        return self._bounds[asked]

    def assess_bound(self, bound: Bound, touches: Sequence[Touch] = ()) -> Assessment:
        read = tuple(touches)
        found = self._answers.get((bound, read))
        if found is None:
            found = assess_bound(bound, read)
            if bound in self._questions:
                self._answers[bound, read] = found
            return found
        if self._again("assessed") and assess_bound(bound_of(*self._questions[bound]), read) != found:
            raise TwoAnswers(f"another answer than before to {self._questions[bound]} read {read}")
        return found

    def weighed(self, cases: Sequence[Case], facts: HoldFacts, rules: HoldRules) -> Weighed:
        asked = (tuple(cases), facts, (*rules.room[:3], id(rules.room.films)), rules.temp_c, rules.heating_s)
        found = self._weighed.get(asked)
        if found is None:
            found = weighed(cases, facts, rules)
            if all(case.bound in self._questions for case in cases):
                self._weighed[asked] = found
        elif self._again("weighed") and weighed(cases, facts, rules) != found:
            raise TwoAnswers(f"another answer than before to {facts}")
        return found

    def _again(self, what: str) -> bool:
        self._given[what] += 1
        return self._given[what] % AGAIN_EVERY == 0


_remembered = Remembered()
_parser = cache(cli._parser)  # what may be said on a command line is the same for all of them


@contextmanager
def answers_kept() -> Iterator[None]:
    """The model is asked only what it was not asked before in this process."""
    with (
        patch.object(hold_cases, "bound_of", _remembered.bound_of),
        patch.object(hold_cases, "assess_bound", _remembered.assess_bound),
        patch.object(holds, "weighed", _remembered.weighed),
        patch.object(cli, "_parser", _parser),
    ):
        yield
