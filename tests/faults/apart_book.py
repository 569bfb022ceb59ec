"""One holder as several kiosks' lines have it: what `ledger.fold` makes of it, without tables, so that it is quick.

`test_apart.py` tells the same lines to the fold itself and compares.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from kiosk.rules.ages import StayName
from kiosk.rules.merge import Made, has_seen, with_claim

RATE = {"station": 0.8, "air": 1.0, "sleeve": 5.0, "slot": 1.0}  # how fast it cools, beside free air
WAITS = 2**40


@dataclass
class Line:
    kind: str  # heated, moved, ended, read (a probe found it cool, and that ended its hold)
    chain: str
    number: int
    seen: int
    goal: str = ""
    origin: str | None = None
    stay: StayName | None = None
    age_s: float = 0.0
    heating: StayName | None = None
    told_s: float = 0.0  # watched time of its kiosk
    n: int = 0

    @property
    def name(self) -> StayName:
        return StayName(self.chain, self.number)


@dataclass
class Book:
    """One holder as the lines have it."""

    place: str | None = "slot"
    last: str | None = None
    heat: str = "cool"
    stages: list[tuple[str | None, float, StayName]] = field(default_factory=list)
    heating: StayName | None = None
    reading_only: bool = False
    runs: bool = False
    made: tuple[Made, ...] = ()
    apart: tuple[Made, ...] = ()  # the claims of an open difference

    def tell(self, line: Line, at: int) -> None:
        saw_all = all(has_seen(line.chain, line.seen, each) for each in self.made)
        if line.kind == "moved":
            self._moved(line, at)
        elif line.kind == "heated":
            self._claims(line, at)
            self.place = None if self.apart or not saw_all else self.place
            self.heat, self.runs, self.heating = "held", True, line.name
            self.reading_only = bool(self.apart) or not saw_all
            self.stages = [(line.goal, 0.0, line.name)]
        elif saw_all and (self.heating == line.heating if line.heating is not None else not self.runs):
            self.heat, self.runs = "cool", False

    def copy(self) -> Book:
        return replace(self, stages=list(self.stages))

    def _claims(self, line: Line, at: int) -> str | None:
        """Where the holder is by the line; None: nowhere known, for others claim otherwise."""
        new = Made(at, line.chain, line.goal)
        unseen = [each for each in self.made if not has_seen(line.chain, line.seen, each)]
        against = tuple(each for each in unseen if each.value != line.goal)
        goal: str | None = line.goal
        if self.apart:
            if all(has_seen(line.chain, line.seen, each) for each in self.apart):
                self.apart = ()
            elif any(not has_seen(line.chain, line.seen, each) and each.value != line.goal for each in self.apart):
                self.apart, goal = with_claim(self.apart, new), None
        elif against:
            self.apart, goal = (*against, new), None
        self.made = with_claim(self.made, new)
        return goal

    def _moved(self, line: Line, at: int) -> None:
        goal = self._claims(line, at)
        if goal is not None and goal == self.place:
            return
        if self.runs:
            self.stages.append((goal, self._since_heated_s(line), line.name))
            self.reading_only |= goal in (None, "station")
        elif goal in (None, "station"):  # there it is heated: a line says so next, or nobody saw it
            self.heat = "unknown"
        self.place, self.last = goal, line.chain

    def _since_heated_s(self, line: Line) -> float:
        _, since_s, name = self.stages[-1]
        return since_s + (line.age_s if line.stay == name else 0.0)

    def cooled(self, age_s: float) -> float:
        """How far it has cooled at least, where its last stay has lasted so long."""
        ends = [since_s for _, since_s, _ in self.stages[1:]] + [self.stages[-1][1] + age_s]
        stays = zip(self.stages, ends, strict=True)
        return sum(RATE[place or "air"] * (end - since_s) for (place, since_s, _), end in stays)
