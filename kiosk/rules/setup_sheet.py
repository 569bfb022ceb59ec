"""What a job needs against what the shop has: in the machine, in which drawer, hot until when, or to be built.

One assembly is promised once; what is hot, worn or broken is never counted as ready; and what cannot be had is
said, not left out.  All needs are matched at once (an assignment problem), so that a loose wish does not take
what a strict one can only have; where things stand comes from the book.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum, IntEnum
from math import inf

import numpy as np

from kiosk.rules.assembly import Assembly, Condition, Cutter
from kiosk.rules.compare import plain
from kiosk.rules.fits import Fit, FitRules, Question, fit, usual_insert_mm
from kiosk.rules.loads import rated_rpm
from kiosk.rules.magazine import Machine
from kiosk.rules.places import Kind
from kiosk.rules.say import Say, say
from kiosk.rules.stock import BookEntry, in_reading_order

SAME_SIZE_MM = 0.05  # a wished diameter is nominal, a cutter's may be as ground
SAME_RADIUS_MM = 0.02


@dataclass(frozen=True, slots=True)
class Need:
    """One line of a setup sheet: a name, or cutting data, or both.  None: no matter.

    lu_mm: usable length that is needed at least.  rpm: speed it must stand.
    """

    line: int
    name: str = ""
    quantity: int = 1
    machine: str = ""
    dc_mm: float | None = None
    re_mm: float | None = None
    lu_mm: float | None = None
    zefp: int | None = None
    rpm: float | None = None

    @property
    def says_something(self) -> bool:
        data = (self.dc_mm, self.re_mm, self.lu_mm, self.zefp)
        return bool(self.name) or any(value is not None for value in data)


class Supply(IntEnum):
    """How a need is met, the easiest first; the name in small letters is the tail of the message id."""

    IN_MACHINE = 0
    IN_CABINET = 1
    ELSEWHERE = 2  # bench, presetter, rack: cool, and its place is known
    HOT = 3
    IN_OTHER_MACHINE = 4
    BUILD = 5
    NO_HOLDER = 6  # a cutter is there, no free holder takes it
    MISSING = 7


@dataclass(frozen=True, slots=True)
class Met:
    """One piece of one need.  `entry` for what is there; `cutter`, `holder`, `fit` for what is to be built."""

    need: Need
    piece: int  # from 1 to the need's quantity
    supply: Supply
    entry: BookEntry | None = None
    cutter: Cutter | None = None
    holder: BookEntry | None = None
    fit: Fit | None = None

    @property
    def say(self) -> Say:
        """Where it is, until when it is hot, or what it is to be built from."""
        at = self.entry or self.holder
        return say(
            f"setup.{self.supply.name.lower()}",
            place=at.place if at else None,
            safe_in_s=self.entry.safe_in_s if self.entry else None,
            cutter=self.cutter.name if self.cutter else None,
            holder=self.holder.holder.name if self.holder else None,
        )


@dataclass(frozen=True, slots=True)
class Stock:
    """What there is: every holder with what is in it, and cutters that are in none."""

    entries: tuple[BookEntry, ...]
    cutters: tuple[Cutter, ...] = ()
    machines: tuple[Machine, ...] = ()


def _suits(need: Need, cutter: Cutter, names: Iterable[str], rpm: float | None) -> bool:
    """Whether a cutter is what the need asks for."""
    if need.name and plain(need.name) not in {plain(name) for name in names}:
        return False
    if need.dc_mm is not None and abs(cutter.dc_mm - need.dc_mm) > SAME_SIZE_MM:
        return False
    if need.re_mm is not None and abs(cutter.re_mm - need.re_mm) > SAME_RADIUS_MM:
        return False
    if need.lu_mm is not None and (cutter.lu_mm is None or cutter.lu_mm < need.lu_mm):
        return False
    if need.zefp is not None and cutter.zefp != need.zefp:
        return False
    return need.rpm is None or (rpm is not None and rpm >= need.rpm)


def _stored(entry: BookEntry) -> bool:
    return entry.kind is not None and entry.kind.stores


def _ready(built: Assembly) -> bool:
    """Neither worn, broken, in doubt nor at the end of its life."""
    spent = built.cutter.life_min is not None and built.used_min >= built.cutter.life_min
    return built.condition is Condition.GOOD and not spent


def _supply_of(need: Need, entry: BookEntry) -> Supply | None:
    built = entry.assembly
    if built is None or not _ready(built):
        return None
    names = (built.name, built.key, entry.code, built.cutter.name)
    if not _suits(need, built.cutter, names, rated_rpm(built)):
        return None
    if entry.machine is not None:
        # a sheet that names no machine is content with any
        return Supply.IN_MACHINE if need.machine in ("", entry.machine) else Supply.IN_OTHER_MACHINE
    if entry.hot:
        return Supply.HOT
    if entry.kind in (None, Kind.OUT):
        return None
    return Supply.IN_CABINET if _stored(entry) else Supply.ELSEWHERE


def match(needs: Sequence[Need], stock: Stock, rules: FitRules) -> tuple[Met, ...]:
    """Every piece of every need with the easiest way to meet it, in the order of the sheet.

    As many as can be are met by what is there, and in sum in the easiest ways; among equals the one that is
    safe sooner, then by place.
    """
    pieces = [(need, piece) for need in needs for piece in range(1, need.quantity + 1)]
    entries = sorted(stock.entries, key=_ease)
    ways = [[_supply_of(need, entry) for entry in entries] for need, _ in pieces]
    # the small share keeps to the order of the entries among equals
    share = 1 / (len(entries) + 1) / (len(pieces) + 1)
    cost = [[inf if supply is None else supply + column * share for column, supply in enumerate(row)] for row in ways]
    answer: list[Met | None] = []
    for (need, piece), row, column in zip(pieces, ways, _assigned(cost, len(entries)), strict=True):
        supply = None if column is None else row[column]
        met = None if column is None or supply is None else Met(need, piece, supply, entries[column])
        answer.append(met)
    waiting = [at for at, met in enumerate(answer) if met is None]
    for at, met in zip(waiting, _to_build([pieces[at] for at in waiting], stock, rules), strict=True):
        answer[at] = met
    return _in_order(needs, [met for met in answer if met is not None])


def _in_order(needs: Sequence[Need], found: Sequence[Met]) -> tuple[Met, ...]:
    """The pieces of each need with the easiest first, numbered so."""
    ordered: list[Met] = []
    start = 0
    for need in needs:
        pieces = sorted(found[start : start + need.quantity], key=lambda met: met.supply)
        ordered += [replace(met, piece=piece) for piece, met in enumerate(pieces, 1)]
        start += need.quantity
    return tuple(ordered)


def _ease(entry: BookEntry) -> tuple[float, object]:
    wait_s = 0.0 if not entry.hot else entry.safe_in_s if entry.safe_in_s is not None else inf
    return wait_s, in_reading_order(entry.place or "")


def _assigned(cost: Sequence[Sequence[float]], columns: int) -> list[int | None]:
    """A column for each row, none twice: as many rows as can be, then least in sum.  inf: cannot be."""
    from scipy.optimize import linear_sum_assignment  # only where it is asked: it takes long to load

    if not cost:
        return []
    rows = len(cost)
    wide = np.array(cost, dtype=np.float64).reshape(rows, columns)
    possible = np.isfinite(wide)
    without = (float(wide[possible].max(initial=0.0)) + 1.0) * (rows + 1)
    # one column of its own for each row: going without, dearer than any way of having it
    whole = np.full((rows, columns + rows), 2 * without * (rows + 1))
    whole[:, :columns][possible] = wide[possible]
    whole[np.arange(rows), columns + np.arange(rows)] = without
    _, chosen = linear_sum_assignment(whole)
    return [at if at < columns else None for at in chosen.tolist()]


def _to_build(pieces: Sequence[tuple[Need, int]], stock: Stock, rules: FitRules) -> list[Met]:
    """For pieces nothing is built for: a spare cutter each, and a free holder that takes it."""
    free = [
        entry
        for entry in stock.entries
        if entry.assembly is None and not entry.hot and entry.machine is None and entry.kind not in (None, Kind.OUT)
    ]
    machines = {machine.name: machine for machine in stock.machines}
    fits = {
        (need, cutter.key): [_built(entry, cutter, need, rules, machines) for entry in free]
        for need in dict.fromkeys(need for need, _ in pieces)
        for cutter in stock.cutters
        if _suits(need, cutter, (cutter.name, cutter.key), _speed_of(cutter))
    }
    # a cutter that many holders take leaves the next piece more to choose from
    scarce = {key: sum(map(_good, answers)) for key, answers in fits.items()}
    cost = [
        [
            inf if (need, cutter.key) not in fits else 0.0 if scarce[need, cutter.key] else 1.0
            for cutter in stock.cutters
        ]
        for need, _ in pieces
    ]
    cutters = [None if at is None else stock.cutters[at] for at in _assigned(cost, len(stock.cutters))]
    cost = [
        [inf] * len(free)
        if cutter is None
        else [len(answer.findings) if _good(answer) else inf for answer in fits[need, cutter.key]]
        for (need, _), cutter in zip(pieces, cutters, strict=True)
    ]
    found = []
    for (need, piece), cutter, at in zip(pieces, cutters, _assigned(cost, len(free)), strict=True):
        if cutter is None:
            found.append(Met(need, piece, Supply.MISSING))
        elif at is None:
            found.append(Met(need, piece, Supply.NO_HOLDER, cutter=cutter))
        else:
            answer = fits[need, cutter.key][at]
            found.append(Met(need, piece, Supply.BUILD, cutter=cutter, holder=free[at], fit=answer))
    return found


def _speed_of(cutter: Cutter) -> float:
    """A cutter without a limit of its own stands what its holder stands; `fit` looks at that."""
    return inf if cutter.rpmx_rpm is None else cutter.rpmx_rpm


def _good(answer: Fit) -> bool:
    return answer.ok and not any(machine.obstacles for machine in answer.machines)


def _built(entry: BookEntry, cutter: Cutter, need: Need, rules: FitRules, machines: Mapping[str, Machine]) -> Fit:
    question = Question(
        entry.holder,
        cutter,
        usual_insert_mm(entry.holder, cutter),
        rpm=need.rpm,
        heats_used=entry.heats,
    )
    wanted = [machines[need.machine]] if need.machine in machines else []
    return fit(question, rules, wanted)


class Picked(Enum):
    """What a scan on the pick round means; the value is the tail of the message id."""

    TAKEN = "taken"
    AGAIN = "again"
    NOT_LISTED = "not_listed"
    DONE = "done"  # taken, and it was the last


@dataclass(frozen=True, slots=True)
class PickRound:
    """A walk through the cabinet in drawer order; each holder is scanned as it is taken out."""

    stops: tuple[BookEntry, ...]
    taken: frozenset[str] = field(default_factory=frozenset)  # codes

    @property
    def next(self) -> BookEntry | None:
        """The next one to take, or None when all are taken."""
        return next((stop for stop in self.stops if stop.code not in self.taken), None)

    def scan(self, code: str) -> tuple[PickRound, Picked]:
        """The round after a scan, in whatever order the hand takes them."""
        if code not in {stop.code for stop in self.stops}:
            return self, Picked.NOT_LISTED
        if code in self.taken:
            return self, Picked.AGAIN
        after = PickRound(self.stops, self.taken | {code})
        return after, Picked.TAKEN if after.next else Picked.DONE


def pick_round(answer: Iterable[Met]) -> PickRound:
    """Everything of a setup that is to be taken from the cabinet, holders to build with too."""
    stops: dict[str, BookEntry] = {}
    for met in answer:
        for entry in (met.entry if met.supply is Supply.IN_CABINET else None, met.holder):
            if entry is not None and _stored(entry):
                stops[entry.code] = entry
    return PickRound(tuple(sorted(stops.values(), key=lambda entry: in_reading_order(entry.place or ""))))


def assemblies(answer: Iterable[Met], machine: str) -> tuple[Assembly, ...]:
    """What is there of a setup for one machine, for `magazine_plan.plan`; hot ones too, they will be cool."""
    return tuple(
        met.entry.assembly
        for met in answer
        if met.entry is not None and met.entry.assembly is not None and met.need.machine in ("", machine)
    )
