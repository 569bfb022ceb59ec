"""What a job needs against what the shop has: in the machine, in which drawer, hot until when, or to be built.

One assembly is promised once; what is hot, worn or broken is never counted as ready; and what cannot be had is
said, not left out.  The whole sheet is matched at once, with what is there and what can be built, so that a loose wish
does not take what a strict one can only have, whichever line stands first; where things stand comes from the book.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum, IntEnum
from math import inf
from typing import TypeVar

from kiosk.rules.assembly import Assembly, Condition, Cutter
from kiosk.rules.bounds import Bound
from kiosk.rules.compare import plain
from kiosk.rules.fitting.fits import Fit, FitRules, Question, fit, heats_left, usual_insert_mm
from kiosk.rules.fitting.loads import rated_rpm
from kiosk.rules.fitting.magazine import Machine
from kiosk.rules.fitting.sheet_choice import Way, choose
from kiosk.rules.places import Kind
from kiosk.rules.say import Say, say
from kiosk.rules.stock import BookEntry, in_reading_order

PIECES = Bound(1, 200)  # of one line
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
    if not _suits(need, built.cutter, _called(entry, built), rated_rpm(built)):
        return None
    if entry.machine is not None:
        # a sheet that names no machine is content with any
        return Supply.IN_MACHINE if need.machine in ("", entry.machine) else Supply.IN_OTHER_MACHINE
    if entry.hot:
        return Supply.HOT
    if entry.kind in (None, Kind.OUT):
        return None
    return Supply.IN_CABINET if _stored(entry) else Supply.ELSEWHERE


def _called(entry: BookEntry, built: Assembly) -> tuple[str, ...]:
    """What a sheet may call something that is built."""
    return built.name, built.key, entry.code, built.cutter.name


def match(needs: Sequence[Need], stock: Stock, rules: FitRules) -> tuple[Met, ...]:
    """Every piece of every need with the way to meet it, in the order of the sheet, of each need the easiest first.

    Most lines are met whole, then most pieces, in sum in the easiest ways; among equals those that are safe sooner,
    those built with fewer warnings, then by place.  The order of lines and of stock changes nothing.
    """
    order = sorted(range(len(needs)), key=lambda at: _content(needs[at]))
    shop = _Shop(needs, stock, rules)
    ways: list[Way] = []
    means: list[_Means] = []
    for line, at in enumerate(order):
        for mean in shop.means(needs[at]):
            ways.append(mean.way(line))
            means.append(mean)
    counts = choose(ways, [max(needs[at].quantity, 0) for at in order], shop.counts, Supply.MISSING)
    found: dict[int, list[Met]] = {at: [] for at in order}
    chosen = [(way, mean) for way, mean, count in zip(ways, means, counts, strict=True) for _ in range(count)]
    chosen.sort(key=lambda pair: (pair[0].trouble, pair[0].wait_s, pair[0].warnings, pair[0].rank))
    for way, mean in chosen:
        at = order[way.line]
        found[at].append(shop.take(mean, needs[at]))
    answer: list[Met] = []
    for at, need in enumerate(needs):
        missing = [Met(need, 0, Supply.MISSING)] * (need.quantity - len(found[at]))
        answer += [replace(met, piece=piece) for piece, met in enumerate([*found[at], *missing], 1)]
    return tuple(answer)


def _content(need: Need) -> tuple[object, ...]:
    """A sort key by what is asked, so that the place on the sheet matters only between equals."""
    data = (need.dc_mm, need.re_mm, need.lu_mm, need.zefp, need.rpm)
    sizes = [-inf if value is None else value for value in data]
    return plain(need.name), need.name, need.machine, *sizes, need.quantity, need.line


def _wait_s(entry: BookEntry) -> float:
    return 0.0 if not entry.hot else entry.safe_in_s if entry.safe_in_s is not None else inf


def _ease(entry: BookEntry) -> tuple[object, ...]:
    return _wait_s(entry), in_reading_order(entry.place or ""), entry.code, entry.holder.key


@dataclass(frozen=True, slots=True)
class _Means:
    """What one piece can be met with: one that is there, or a cutter with or without a holder; indices in `_Shop`."""

    supply: Supply
    entry: int | None = None
    cutter: int | None = None
    holder: int | None = None
    warnings: int = 0
    wait_s: float = 0.0

    def way(self, line: int) -> Way:
        uses = tuple(at for at in (self.entry, self.cutter, self.holder) if at is not None)
        met = self.supply < Supply.NO_HOLDER
        return Way(line, uses, met, self.supply, self.wait_s, self.warnings, sum(uses))


class _Shelf:
    """Numbered things by name and by diameter, so that a need looks only at what may suit it, not at a whole shop."""

    def __init__(self, things: Iterable[tuple[int, float, Iterable[str]]]) -> None:
        """things: number, diameter in mm, names; the numbers ascend."""
        self._all: list[int] = []
        self._named: dict[str, list[int]] = {}
        sized: list[tuple[float, int]] = []
        for number, dc_mm, names in things:
            self._all.append(number)
            sized.append((dc_mm, number))
            for name in {plain(name) for name in names}:
                self._named.setdefault(name, []).append(number)
        self._sized = sorted(sized)

    def perhaps(self, need: Need) -> Sequence[int]:
        """Numbers of all that `_suits` may find to suit, ascending; some of them may not."""
        if need.name:
            return self._named.get(plain(need.name), ())
        if need.dc_mm is None:
            return self._all
        # A little further than `_suits` goes, which looks at a difference and not at two ends.
        low, high = need.dc_mm - 2 * SAME_SIZE_MM, need.dc_mm + 2 * SAME_SIZE_MM
        found = self._sized[bisect_left(self._sized, (low, -1)) : bisect_left(self._sized, (high, inf))]
        return sorted(number for _, number in found)


_Asked = tuple[int, int, float | None, str]  # alike holders, alike cutters, speed, machine


class _Shop:
    """What there is, alike things together, and what of it can meet a need; taken from in the order of places.

    Things are numbered through: each that is built, then cutters, then holders, alike ones under one number.
    """

    def __init__(self, needs: Sequence[Need], stock: Stock, rules: FitRules) -> None:
        self._rules = rules
        self._machines = {machine.name: machine for machine in stock.machines}
        entries = sorted(stock.entries, key=_ease)
        self._built = [entry for entry in entries if entry.assembly is not None]
        asked = {plain(need.name) for need in needs if need.name}
        cutters = sorted(stock.cutters, key=lambda cutter: (in_reading_order(cutter.name), cutter.key))
        self._cutters = _alike(
            cutters, lambda cutter: (replace(cutter, key="", name=""), frozenset(map(plain, _names(cutter))) & asked)
        )
        self._holders = _alike([entry for entry in entries if _free(entry)], self._steel)
        self._ready = _Shelf(
            (at, entry.assembly.cutter.dc_mm, _called(entry, entry.assembly))
            for at, entry in enumerate(self._built)
            if entry.assembly is not None and _ready(entry.assembly)
        )
        self._loose = _Shelf((at, group[0].dc_mm, _names(group[0])) for at, group in enumerate(self._cutters))
        self._first_cutter = len(self._built)
        self._first_holder = self._first_cutter + len(self._cutters)
        self._taken = [0] * (self._first_holder + len(self._holders))
        self._fits: dict[_Asked, Fit] = {}
        self.counts = [1] * len(self._built) + [len(group) for group in self._cutters]
        self.counts += [len(group) for group in self._holders]

    def _steel(self, entry: BookEntry) -> object:
        """What of a free holder a fit depends on; how often it was heated only towards the end."""
        left = heats_left(entry.holder, entry.heats, self._rules)
        few = left if left <= self._rules.shrink.heats_warn_left else None
        return replace(entry.holder, key="", name=""), few

    def means(self, need: Need) -> Iterator[_Means]:
        """Every way to meet one piece."""
        for at in self._ready.perhaps(need):
            entry = self._built[at]
            supply = _supply_of(need, entry)
            if supply is not None:
                yield _Means(supply, entry=at, wait_s=_wait_s(entry))
        for number in self._loose.perhaps(need):
            cutter = self._cutters[number][0]
            if not _suits(need, cutter, _names(cutter), _speed_of(cutter)):
                continue
            at = self._first_cutter + number
            yield _Means(Supply.NO_HOLDER, cutter=at)
            for group, holders in enumerate(self._holders):
                answer = self._fit(holders[0], (group, number, need.rpm, need.machine), cutter, need)
                if _good(answer):
                    yield _Means(Supply.BUILD, None, at, self._first_holder + group, len(answer.findings))

    def take(self, means: _Means, need: Need) -> Met:
        """One piece met so; of things that are alike the next."""
        entry = None if means.entry is None else self._built[means.entry]
        cutter = None if means.cutter is None else self._next(self._cutters, means.cutter, self._first_cutter)
        if cutter is None or means.holder is None:
            return Met(need, 0, means.supply, entry, cutter)
        holder = self._next(self._holders, means.holder, self._first_holder)
        return Met(need, 0, means.supply, entry, cutter, holder, self._built_from(holder, cutter, need))

    def _next(self, groups: Sequence[Sequence[_Thing]], at: int, first: int) -> _Thing:
        self._taken[at] += 1
        return groups[at - first][self._taken[at] - 1]

    def _fit(self, entry: BookEntry, asked: _Asked, cutter: Cutter, need: Need) -> Fit:
        if asked not in self._fits:
            self._fits[asked] = self._built_from(entry, cutter, need)
        return self._fits[asked]

    def _built_from(self, entry: BookEntry, cutter: Cutter, need: Need) -> Fit:
        insert_mm = usual_insert_mm(entry.holder, cutter)
        question = Question(entry.holder, cutter, insert_mm, rpm=need.rpm, heats_used=entry.heats)
        wanted = [self._machines[need.machine]] if need.machine in self._machines else []
        return fit(question, self._rules, wanted)


_Thing = TypeVar("_Thing")


def _alike(things: Sequence[_Thing], what: Callable[[_Thing], object]) -> list[list[_Thing]]:
    """Things of which the same can be said together, in their order."""
    groups: dict[object, list[_Thing]] = {}
    for thing in things:
        groups.setdefault(what(thing), []).append(thing)
    return list(groups.values())


def _names(cutter: Cutter) -> tuple[str, str]:
    return cutter.name, cutter.key


def _free(entry: BookEntry) -> bool:
    """Whether a holder can be built with: empty, cold and at hand."""
    empty = entry.assembly is None and not entry.hot
    return empty and entry.machine is None and entry.kind not in (None, Kind.OUT)


def _speed_of(cutter: Cutter) -> float:
    """A cutter without a limit of its own stands what its holder stands; `fit` looks at that."""
    return inf if cutter.rpmx_rpm is None else cutter.rpmx_rpm


def _good(answer: Fit) -> bool:
    return answer.ok and not any(machine.obstacles for machine in answer.machines)


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
