"""What the model answered once is remembered: a kiosk that starts again asks it the same, dozens of times a shift.

The model is arithmetic on values that do not change, so the same question has the same answer, and only the waiting
for it is saved.  Now and then a remembered answer is worked out from the start all the same, and must be the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any
from unittest.mock import patch

from kiosk.rules import hold_cases
from kiosk.rules.cooling.assessment import Assessment, Heat, Room, Stage, Touch, assess_bound, bound_of
from kiosk.rules.cooling.bound import Bound
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
        self._given = 0

    def bound_of(
        self, profile: Profile, heat: Heat, stages: Sequence[Stage], room: Room, known: Known | None = None
    ) -> Bound:
        taught = (known.mean.tobytes(), known.cov.tobytes()) if known else None
        asked = (profile, heat, tuple(stages), (*room[:3], id(room.films)), taught)
        if asked not in self._bounds:
            if len(self._bounds) >= MOST:
                for kept in (self._bounds, self._questions, self._answers):
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
        self._given += 1
        if self._given % AGAIN_EVERY == 0 and assess_bound(bound_of(*self._questions[bound]), read) != found:
            raise TwoAnswers(f"another answer than before to {self._questions[bound]} read {read}")
        return found


_remembered = Remembered()


@contextmanager
def answers_kept() -> Iterator[None]:
    """The model is asked only what it was not asked before in this process."""
    with (
        patch.object(hold_cases, "bound_of", _remembered.bound_of),
        patch.object(hold_cases, "assess_bound", _remembered.assess_bound),
    ):
        yield
