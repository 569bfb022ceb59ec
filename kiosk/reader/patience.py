"""When a hint is said, which one, and how long it stays.

One frame proves nothing: a label must be seen three times at about the same place, in at least half of the looks, and
stay unread for a while before anything is said, and what was said stays long enough to be read.  It must never speak
over a label that was just read.  Pure: time comes with the looks; the times are what a person at arm's length needs.
"""

from __future__ import annotations

import math
from collections import Counter, deque
from dataclasses import dataclass

from kiosk.reader.hints import Hint
from kiosk.reader.symbols import Corners, centre

HINT_AFTER_S = 0.6
"""A label must stay unread this long before a hint helps more than it distracts."""
SHOWN_S = 1.5
"""A hint stays at least this long, so that it can be read; only a reading ends it sooner."""
FORGET_S = 0.6
"""A label not seen for this long is gone."""
QUIET_S = 1.0
"""After a reading nothing is said for this long: the label is being taken away."""
VOTED_S = 1.0
"""What was seen within this time has a vote on the hint."""


@dataclass(frozen=True, slots=True)
class Sight:
    """An unread label in one look: where, and what would help."""

    corners: Corners
    hint: Hint
    at_s: float


class Patience:
    """Turns looks at frames into the hint that is shown."""

    def __init__(self) -> None:
        self.hint: Hint | None = None
        self._since_s = 0.0
        self._quiet_until_s = -math.inf
        self._looks: deque[tuple[float, Sight | None]] = deque()

    @property
    def curious(self) -> bool:
        """Whether one of the last looks showed something."""
        return any(sight is not None for _, sight in list(self._looks)[-2:])

    @property
    def latest(self) -> Sight | None:
        """What the last look that showed something showed, while it has a vote."""
        return next((sight for _, sight in reversed(self._looks) if sight is not None), None)

    @property
    def confirmed(self) -> Sight | None:
        """The label seen in two of the last three looks, where it was last."""
        seen = [sight for _, sight in list(self._looks)[-3:] if sight is not None]
        return next(
            (seen[n] for n in reversed(range(1, len(seen))) if any(_near(seen[n], one) for one in seen[:n])), None
        )

    def read(self, at_s: float) -> None:
        """A label was read: whatever was said is settled."""
        self.hint = None
        self._looks.clear()
        self._quiet_until_s = at_s + QUIET_S

    def look(self, sight: Sight | None, at_s: float) -> Hint | None:
        """A look at a frame in which nothing was read; the hint to show from now on."""
        self._looks.append((at_s, sight))
        while at_s - self._looks[0][0] > VOTED_S:
            self._looks.popleft()
        if self.hint is None or at_s - self._since_s >= SHOWN_S:
            due = self._due(at_s)
            if due is not self.hint:
                self.hint, self._since_s = due, at_s
        return self.hint

    def _due(self, at_s: float) -> Hint | None:
        seen = [sight for _, sight in self._looks if sight is not None]
        if not seen or at_s < self._quiet_until_s or at_s - seen[-1].at_s >= FORGET_S:
            return None
        # What a look took for a label elsewhere is outvoted by where it was seen most.
        label = max(([other for other in seen if _near(one, other)] for one in seen), key=len)
        looks = sum(when >= label[0].at_s for when, _ in self._looks)
        if self.hint is None and (len(label) < 3 or at_s - label[0].at_s < HINT_AFTER_S or 2 * len(label) < looks):
            return None
        votes = Counter(sight.hint for sight in label)
        most = max(votes.values())
        if self.hint is not None and votes[self.hint] == most:
            return self.hint
        return next(sight.hint for sight in reversed(label) if votes[sight.hint] == most)


def _near(one: Sight, other: Sight) -> bool:
    """Whether two sights are of one label in a hand that moves: less than a label apart, about the same size."""
    (ax, ay), (bx, by) = centre(one.corners), centre(other.corners)
    size, other_size = _width(one.corners), _width(other.corners)
    larger, smaller = max(size, other_size), min(size, other_size)
    return math.hypot(ax - bx, ay - by) < larger and larger < 2.5 * smaller + 1


def _width(corners: Corners) -> float:
    return max(math.dist(corners[0], corners[2]), math.dist(corners[1], corners[3]), 1.0)
