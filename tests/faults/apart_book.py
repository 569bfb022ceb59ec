"""One holder as several kiosks' lines have it: what `ledger.fold` makes of it, without tables, so that it is quick.

`test_apart.py` tells the same lines to the fold itself and compares.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import NamedTuple

from kiosk.rules.ages import StayName
from kiosk.rules.merge import Made, Matter, has_seen, with_claim

RATE = {"station": 0.8, "air": 1.0, "sleeve": 5.0, "slot": 1.0}  # how fast it cools, beside free air
WAITS = 2**40


def cools(place: str | None) -> str:
    """How, as far as it matters for where heat is in the steel."""
    return "sleeve" if place == "sleeve" else "free air"



@dataclass
class Line:
    """kind: heated, moved, ended, read (a probe found it cool, and that ended its hold), started, rests, gone.

    goal: where to; which kiosk is gone.  heats: whether heatings were booked at that one.
    """

    kind: str
    chain: str
    number: int
    seen: int
    goal: str = ""
    origin: str | None = None
    stay: StayName | None = None
    age_s: float | None = None
    heating: StayName | None = None
    n: int = 0
    heats: bool = False
    true_s: float = 0.0  # when it was written, which nobody knows

    @property
    def name(self) -> StayName:
        return StayName(self.chain, self.number)


class Stage(NamedTuple):
    """A stay.  at: id of its line.  longer: it went on for longer than is counted."""

    place: str | None
    since_s: float
    name: StayName
    at: int
    longer: bool = False
    least: bool = False  # only the least of it is known


@dataclass
class Book:
    """One holder as the lines have it."""

    place: str | None = "slot"
    last: str | None = None
    heat: str = "cool"
    stages: list[Stage] = field(default_factory=list)
    heating: StayName | None = None
    reading_only: bool = False
    runs: bool = False
    made: tuple[Made, ...] = ()
    apart: tuple[Made, ...] = ()  # the claims of an open difference
    resting: frozenset[str] = frozenset()
    woke: dict[str, int] = field(default_factory=dict)  # id of the first line since a kiosk rested
    gone: dict[str, int] = field(default_factory=dict)  # id of the line that says so
    to_be_heated: bool = False  # only its last step, to the station, leaves it to readings
    tips: dict[str, int] = field(default_factory=dict)  # id of the last line of each kiosk

    def tell(self, line: Line, at: int) -> None:
        self._tell(line, at)
        self.tips = self.tips | {line.chain: at}

    def _tell(self, line: Line, at: int) -> None:
        if line.chain in self.resting and line.kind != "rests":
            self.resting -= {line.chain}
            self.woke = self.woke | {line.chain: at}
        if line.kind in ("started", "rests", "gone"):
            self._of_a_kiosk(line, at)
            return
        saw_all = all(has_seen(line.chain, line.seen, each) for each in self.made)
        if line.kind == "moved":
            self._moved(line, at)
        elif line.kind == "heated":
            behind = any(last > line.seen for chain, last in self.tips.items() if chain != line.chain)
            warm = behind and self.runs and self.reading_only and not self.to_be_heated
            self._claims(line, at)
            self.place = None if self.apart or not saw_all else self.place
            self.heat, self.runs, self.heating = "held", True, line.name
            self.reading_only = bool(self.apart) or not saw_all or warm or self._lost_one(line)
            self.stages, self.to_be_heated = [Stage(line.goal, 0.0, line.name, at)], False
        elif (
            saw_all and not self._lost_one(line)
            and (self.heating == line.heating if line.heating is not None else not self.runs)
        ):  # fmt: skip
            self.heat, self.runs = "cool", False
            self.last = line.chain if line.kind == "read" else self.last

    def _of_a_kiosk(self, line: Line, at: int) -> None:
        if line.kind == "rests":
            self.resting |= {line.chain}
            self.woke = {name: woke for name, woke in self.woke.items() if name != line.chain}
        elif line.kind == "started":
            if self.runs and self._counts(line.chain):
                self.stages[-1] = self.stages[-1]._replace(longer=True)
        else:
            self.gone = self.gone | {line.goal: at}
            if line.goal not in self.resting:
                if self.runs:
                    self.reading_only, self.to_be_heated = True, False
                self.heat = "unknown" if line.heats and self.heat == "cool" else self.heat

    def _lost_one(self, line: Line) -> bool:
        return any(at > line.seen and name not in self.resting for name, at in self.gone.items())

    def _counts(self, chain: str) -> bool:
        """Whether that kiosk may have counted the last stay from its beginning, as far as the tables say."""
        began_at = self.stages[-1].at
        return self.last == chain and not any(each.line == began_at and each.kiosk != chain for each in self.made)

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
                self.apart, goal = with_claim(Matter.PLACE, self.apart, new), None
        elif against:
            self.apart, goal = (*against, new), None
        self.made = with_claim(Matter.PLACE, self.made, new)
        return goal

    def _moved(self, line: Line, at: int) -> None:
        itself = self.runs and self._counts(line.chain) and line.stay == self.stages[-1].name and line.age_s is not None
        unseen = [each for each in self.made if not has_seen(line.chain, line.seen, each)]
        goal = self._claims(line, at)
        if goal is not None and goal == self.place:
            stood = [cools(each.place) for each in self.stages if each.at > line.seen]
            if self.runs and unseen and any(each != cools(goal) for each in stood):
                self.reading_only, self.to_be_heated = True, False
            return
        if self.runs:
            before = self.stages[-1]
            if not itself:
                self.stages[-1] = before._replace(least=True)
            if cools(before.place) != cools(goal):
                self._leaves(cools(before.place))
            self.stages.append(Stage(goal, self._since_heated_s(line), line.name, at))
            if goal in (None, "station"):
                self.to_be_heated = goal is not None and not self.reading_only
                self.reading_only = True
        elif goal in (None, "station"):  # there it is heated: a line says so next, or nobody saw it
            self.heat = "unknown"
        self.place, self.last = goal, line.chain

    def _leaves(self, cooled: str) -> None:
        """What it came through that cooled it so, and of which only the least is known, may have been longer."""
        for at in reversed(range(len(self.stages))):
            each = self.stages[at]
            if cools(each.place) != cooled:
                return
            self.stages[at] = each._replace(longer=each.longer or each.least)

    def _since_heated_s(self, line: Line) -> float:
        last = self.stages[-1]
        return last.since_s + (line.age_s or 0.0 if line.stay == last.name else 0.0)

    def cooled(self, age_s: float) -> float:
        """How far it has cooled at least, where its last stay has lasted so long."""
        ends = [each.since_s for each in self.stages[1:]] + [self.stages[-1].since_s + age_s]
        stays = zip(self.stages, ends, strict=True)
        return sum(RATE[each.place or "air"] * (end_s - each.since_s) for each, end_s in stays)
