"""How long a stay has lasted at least: ages in place of clocks, for kiosks whose counters cannot be compared.

A stay begins with a line (a heating, a step) and ends with the next.  Its age is 0 at its line and grows with the
counter of each awake kiosk from the moment that kiosk has the line; kiosks tell each other what they counted, and the
largest counts.  A message takes time and a counter may stop, so an age is never more than the true time, as long as no
counter runs faster than `FASTEST` of true time; one that others' round trips show to run fast is not believed at all.
Nothing here looks at a clock: each moment is given, in seconds of this kiosk's own counter.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

FASTEST = 1.03  # a tablet's counter against true time; what runs faster is found by round trips or not covered here
COUNTED = 1.0 / FASTEST - 1e-3  # what a counted second is worth
TOO_FAST = 1.01  # against another's, by round trips: no pair of sound counters differs by so much


class StayName(NamedTuple):
    """The line a stay began with: whose chain, and its number there."""

    kiosk: str
    number: int


@dataclass(frozen=True, slots=True)
class _Counted:
    """An age that was known at a moment of this kiosk's counter."""

    age_s: float
    at_s: float


class Ages:
    """What one kiosk knows of the stays that matter.  Its counter never goes back; it may stop (asleep, off)."""

    def __init__(self) -> None:
        self._known: dict[StayName, _Counted] = {}
        self.runs_fast = False  # this kiosk's own counter, by the others' round trips

    def began(self, stay: StayName, now_s: float) -> None:
        """This kiosk has the line from now on.  Told again, it changes nothing."""
        self._known.setdefault(stay, _Counted(0.0, now_s))

    def age_s(self, stay: StayName, now_s: float) -> float:
        """How long it has lasted at least; 0 for a stay nobody told of."""
        known = self._known.get(stay)
        if known is None:
            return 0.0
        return known.age_s + (0.0 if self.runs_fast else max(0.0, now_s - known.at_s) * COUNTED)

    def heard(self, told: Mapping[StayName, float], now_s: float, *, believed: bool) -> None:
        """What another kiosk counted until it said so.  believed: its counter does not run fast by round trips."""
        if not believed:
            return
        for stay, age_s in told.items():
            if age_s > self.age_s(stay, now_s):
                self._known[stay] = _Counted(age_s, now_s)

    def found_fast(self, now_s: float) -> None:
        """From now on nothing more is counted here: what others count is all that grows.

        What was counted before stands, for until then `COUNTED` bounds it.
        """
        if not self.runs_fast:
            self._known = {stay: _Counted(self.age_s(stay, now_s), now_s) for stay in self._known}
            self.runs_fast = True

    def over(self, stay: StayName) -> None:
        """The stay ended; what it had come to stands in the line that ended it."""
        self._known.pop(stay, None)

    def told(self, now_s: float) -> dict[StayName, float]:
        """What this kiosk tells the others."""
        return {stay: self.age_s(stay, now_s) for stay in self._known}


class Trip(NamedTuple):
    """A round trip: sent and answered by this kiosk's counter; the other's counter when it answered."""

    sent_s: float
    other_s: float
    back_s: float


class Pace(NamedTuple):
    """Another's counter for each second of this one's, between its least and most by round trips."""

    least: float
    most: float

    @property
    def other_runs_fast(self) -> bool:
        return self.least > TOO_FAST

    @property
    def own_runs_fast(self) -> bool:
        return self.most < 1.0 / TOO_FAST


def pace(first: Trip, later: Trip) -> Pace | None:
    """How two counters run against each other between two round trips; None where these say nothing.

    The other's two answers lie within their trips, so true time between them is at least from the end of the first
    trip to the start of the later, and at most from start to end.
    """
    least_s, most_s = later.sent_s - first.back_s, later.back_s - first.sent_s
    counted_s = later.other_s - first.other_s
    if least_s <= 0.0 or counted_s < 0.0:
        return None
    return Pace(counted_s / most_s, counted_s / least_s)
