"""A whole setup placed in a magazine at once: fewest moves first, then nearest to the change point.

It never breaks a rule of `magazine` to get a better plan, and never calls a plan the best unless that is proven:
otherwise it says how far it can still be from it.  The placement is a mixed-integer linear programme solved by
HiGHS through SciPy; neighbours become clique inequalities, and assemblies that block alike share variables.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from math import ceil, floor, inf
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from kiosk.rules.assembly import Assembly
from kiosk.rules.magazine import (
    HAIR_MM,
    Loaded,
    Magazine,
    Obstacle,
    allowed_pockets,
    beside,
    clashes,
    limits,
    obstacles,
    pack,
    reaches_mm,
    travel_mm,
)


class Doing(Enum):
    """What is done with one assembly; the value is the tail of the message id."""

    LEAVE = "leave"
    TAKE_OUT = "take_out"
    MOVE = "move"
    PUT_IN = "put_in"


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the change plan.  `origin` None: from outside.  `goal` None: to the cabinet."""

    doing: Doing
    assembly: Assembly
    origin: int | None
    goal: int | None


@dataclass(frozen=True, slots=True)
class Unplaced:
    """What could not be placed; `obstacles` are the machine's limits, empty where only room was lacking."""

    assembly: Assembly
    obstacles: tuple[Obstacle, ...]


class Aim(Enum):
    """What is made best, in this order; the value is the tail of the message id."""

    PLACED = "placed"  # wanted assemblies that find a pocket
    MOVES = "moves"  # assemblies put in, moved within, or taken out to make room, each counted once
    TRAVEL = "travel"  # distances of the wanted ones from the change point added up, mm


@dataclass(frozen=True, slots=True)
class Proof:
    """How good one aim is.  `bound`: no plan can be better than this; equal to `value` where proven best."""

    aim: Aim
    value: float
    bound: float

    @property
    def proven(self) -> bool:
        return abs(self.value - self.bound) <= 1e-6 * max(1.0, abs(self.value))

    @property
    def gap(self) -> float:
        """Share of the value by which a better plan could still beat it; 0 where proven best."""
        return 0.0 if self.proven else abs(self.value - self.bound) / max(abs(self.value), 1.0)


@dataclass(frozen=True, slots=True)
class ChangePlan:
    """Steps in working order, each allowed by the magazine's rules when its turn comes.

    First what is left alone, then out, within and in.  Two that change places cost a way out and in again.
    """

    steps: tuple[Step, ...]
    unplaced: tuple[Unplaced, ...]
    proofs: tuple[Proof, ...]

    @property
    def proven(self) -> bool:
        """Whether no plan can place more, move less, or with as few moves stand nearer."""
        return all(proof.proven for proof in self.proofs)

    @property
    def after(self) -> dict[int, Assembly]:
        """What of these stands in each pocket once the plan is done."""
        standing: dict[str, tuple[int | None, Assembly]] = {}
        for step in self.steps:
            standing[step.assembly.key] = (step.goal, step.assembly)
        return {pocket: entry for pocket, entry in standing.values() if pocket is not None}


Report = Callable[[Aim, float], None]  # what is sought next (MOVES: as many and as few moves), share already done


class _Row(NamedTuple):
    """least <= sum(weights * columns) <= most"""

    columns: NDArray[np.int64]
    weights: NDArray[np.float64]
    least: float
    most: float


class _Stay(NamedTuple):
    """A column for one assembly that stays where it is."""

    entry: Assembly
    at: int
    wanted: bool


class _Programme:
    """Columns and rows of one placement.

    There is a column for one of a group in a pocket, and one for each assembly that may stay where it is.
    """

    def __init__(
        self,
        magazine: Magazine,
        owners: Mapping[int, str],
        wanted: Sequence[Assembly],
        loose: Sequence[Loaded],
        pinned: Sequence[Loaded],
    ) -> None:
        self.magazine = magazine
        free = {entry.key: allowed_pockets(magazine, owners, entry) for entry in wanted}
        keys = set(free)
        for held in loose:
            free.setdefault(held.assembly.key, np.ones(magazine.pockets, dtype=np.bool_))
        everyone = [*wanted, *(held.assembly for held in loose if held.assembly.key not in keys)]
        for entry in everyone:
            for held in pinned:
                blocks = clashes(magazine, held.assembly.diameter_mm, entry.diameter_mm)
                free[entry.key] = free[entry.key] & ~blocks[held.pocket - magazine.first]
        self.present = {held.assembly.key: held.pocket - magazine.first for held in loose}
        self.guests = [held for held in loose if held.assembly.key not in keys]
        self.groups = _alike(magazine, wanted, free, everyone)
        self.spots = [
            (group, int(at)) for group, members in enumerate(self.groups) for at in np.flatnonzero(free[members[0].key])
        ]
        self.stays = [
            _Stay(entry, self.present[entry.key], entry.key in keys)
            for entry in everyone
            if entry.key in self.present and free[entry.key][self.present[entry.key]]
        ]
        self.where = np.array([at for _, at in self.spots] + [stay.at for stay in self.stays], dtype=np.int64)
        self.wide_mm = np.array(
            [self.groups[group][0].diameter_mm for group, _ in self.spots]
            + [stay.entry.diameter_mm for stay in self.stays]
        )
        places = [True] * len(self.spots) + [stay.wanted for stay in self.stays]
        self.places = np.array(places, dtype=np.float64)
        # a spot is a carry; a guest that stays saves one
        spares = [-float(not stay.wanted) for stay in self.stays]
        self.carries = np.array([1.0] * len(self.spots) + spares)
        self.travel = travel_mm(magazine)[self.where] * self.places

    def rows(self) -> list[_Row]:
        """What any placement must keep to, but for what only `pairs` says of pockets that are not in a line."""
        group_of = {entry.key: group for group, members in enumerate(self.groups) for entry in members}
        members: list[list[int]] = [[] for _ in self.groups]
        for column, (group, _) in enumerate(self.spots):
            members[group].append(column)
        for column, stay in enumerate(self.stays, len(self.spots)):
            if stay.wanted:
                members[group_of[stay.entry.key]].append(column)
        counts = [_row(columns, float(len(group))) for columns, group in zip(members, self.groups, strict=True)]
        rows = [*counts, *self._points()]
        limit_mm = self.magazine.diameter_max_mm
        if limit_mm is not None and self.wide_mm.max() > limit_mm:
            rows += self.pairs(beside(self.magazine))
        return rows

    def _points(self) -> list[_Row]:
        """At each point of the magazine at most one assembly, half the clearance around it included.

        Any two that cover one point clash, whatever the magazine's shape.  On a line two that clash do cover a
        point just inside the far edge of one of them, so there these rows say all there is to say.
        """
        pitch_mm = self.magazine.pitch_mm
        half_mm = (self.wide_mm + self.magazine.clearance_mm - HAIR_MM) / 2
        centres_mm = self.where * pitch_mm
        edges_mm = np.union1d(centres_mm, centres_mm + half_mm)
        end_mm = self.magazine.pockets * pitch_mm
        along_mm = np.unique(edges_mm % end_mm if self.magazine.kind.wraps else edges_mm[edges_mm < end_mm])
        covers = reaches_mm(self.magazine, along_mm)[:, self.where] <= half_mm[None, :] + 1e-9
        rows: list[_Row] = []
        kept = np.zeros(len(half_mm), dtype=np.bool_)
        for at, here in enumerate(covers):
            # what the next or the last row says too need not be said
            if np.any(here & ~kept) and (at + 1 == len(covers) or np.any(here & ~covers[at + 1])):
                kept = here
                rows.append(_row(np.flatnonzero(here), 1.0))
        return rows

    def clashing(self, chosen: NDArray[np.float64]) -> NDArray[np.bool_]:
        """(pockets, pockets) where a choice of columns breaks a rule about neighbours after all."""
        found = np.zeros((self.magazine.pockets, self.magazine.pockets), dtype=np.bool_)
        picked = np.flatnonzero(chosen > 0.5).tolist()
        for at, one in enumerate(picked):
            for other in picked[:at]:
                spot = (self.where[one], self.where[other])
                found[spot] = clashes(self.magazine, float(self.wide_mm[one]), float(self.wide_mm[other]))[spot]
        return found | found.T

    def pairs(self, which: NDArray[np.bool_]) -> list[_Row]:
        """No two that clash, for each pair of pockets in `which`: every width that is told apart.

        What is at least `width` wide in one pocket excludes whatever clashes with that width in the other, and
        in either pocket stands one at most, so all of these together are one at most.
        """
        pockets = [np.flatnonzero(self.where == at) for at in range(self.magazine.pockets)]
        rows: list[_Row] = []
        which = np.triu(which, 1)
        least_of: dict[tuple[int, int], dict[float, float]] = {}
        widths = sorted(set(self.wide_mm.tolist()))
        for one_mm in widths:
            for other_mm in reversed(widths):
                for pair in np.argwhere(clashes(self.magazine, one_mm, other_mm) & which).tolist():
                    least_of.setdefault((pair[0], pair[1]), {})[one_mm] = other_mm
        for (one, other), least in least_of.items():
            seen = set()
            for width, partner in least.items():
                left = pockets[one][self.wide_mm[pockets[one]] >= width]
                right = pockets[other][self.wide_mm[pockets[other]] >= partner]
                columns = np.concatenate([left, right])
                if len(left) and len(right) and columns.tobytes() not in seen:
                    seen.add(columns.tobytes())
                    rows.append(_row(columns, 1.0))
        return rows

    def named(self, chosen: NDArray[np.bool_]) -> dict[str, int]:
        """Pocket index by assembly key of a solution; in a group whoever stands there already stays."""
        placed = {stay.entry.key: stay.at for stay in self._staying(chosen)}
        for group, members in enumerate(self.groups):
            spots = [at for column, (of, at) in enumerate(self.spots) if of == group and chosen[column]]
            waiting = [entry for entry in members if entry.key not in placed]
            for entry in list(waiting):
                if self.present.get(entry.key) in spots:
                    placed[entry.key] = self.present[entry.key]
                    spots.remove(placed[entry.key])
                    waiting.remove(entry)
            waiting.sort(key=lambda entry: entry.key not in self.present)
            placed.update(zip((entry.key for entry in waiting), spots, strict=False))
        return placed

    def _staying(self, chosen: NDArray[np.bool_]) -> list[_Stay]:
        return [stay for column, stay in enumerate(self.stays, len(self.spots)) if chosen[column]]


def _row(columns: Sequence[int] | NDArray[np.int64], most: float) -> _Row:
    whole = np.asarray(columns, dtype=np.int64)
    return _Row(whole, np.ones(len(whole)), 0.0, most)


def _alike(
    magazine: Magazine,
    wanted: Sequence[Assembly],
    free: Mapping[str, NDArray[np.bool_]],
    everyone: Sequence[Assembly],
) -> list[list[Assembly]]:
    """Wanted assemblies in groups that may stand in the same pockets and clash with the same others."""
    widths = sorted({entry.diameter_mm for entry in everyone})
    meets = {
        entry.diameter_mm: b"".join(clashes(magazine, entry.diameter_mm, mm).tobytes() for mm in widths)
        for entry in wanted
    }
    groups: dict[tuple[bytes, bytes], list[Assembly]] = {}
    for entry in wanted:
        groups.setdefault((free[entry.key].tobytes(), meets[entry.diameter_mm]), []).append(entry)
    return list(groups.values())


def plan(
    magazine: Magazine,
    loaded: Sequence[Loaded],
    owners: Mapping[int, str],
    wanted: Sequence[Assembly],
    returning: Sequence[Loaded] = (),
    seconds: float = 20.0,
    report: Report | None = None,
) -> ChangePlan:
    """The change plan that brings every wanted assembly into the magazine.

    loaded: what stands there.  Entries that are fixed, or in a pocket of their own, are never touched; the rest
    may be moved, and what is not wanted taken out, but only to make room.  returning: as in `obstacles`.
    seconds: most that each aim may take; what is then not proven has a gap.
    """
    wanted = list({entry.key: entry for entry in wanted}.values())
    keys = {entry.key for entry in wanted}
    standing = [held for held in loaded if held.pocket in magazine]
    pinned = [held for held in standing if held.fixed or owners.get(held.pocket) == held.assembly.holder.key]
    settled = {held.assembly.key for held in pinned}
    kept = [held for held in returning if held.assembly.key not in keys and held.pocket in magazine]
    refused = {entry.key: limits(magazine, entry) for entry in wanted if entry.key not in settled}
    coming = [entry for entry in wanted if entry.key not in settled and not refused[entry.key]]
    loose = [held for held in standing if held.assembly.key not in settled]
    programme = _Programme(magazine, owners, coming, loose, [*pinned, *kept])
    chosen, bounds = _solve(programme, seconds, report)
    values = None if chosen is None else _values(programme, chosen, coming)
    if values is None or (values.placed, values.moves) != (bounds.placed, bounds.moves):
        # the solver ran out of time: what plain packing finds may be better
        plainly = _packed(programme, standing, owners, coming, returning)
        other = _values(programme, plainly, coming)
        if values is None or other.rank < values.rank:
            chosen, values, bounds = plainly, other, bounds._replace(travel=0.0)
    assert chosen is not None  # it has values
    proofs = (
        Proof(Aim.PLACED, values.placed, max(values.placed, bounds.placed)),
        # with fewer placed than might be, fewer moves might do as well
        Proof(Aim.MOVES, values.moves, min(values.moves, bounds.moves) if values.placed >= bounds.placed else 0.0),
        Proof(Aim.TRAVEL, values.travel, min(values.travel, bounds.travel)),
    )
    steps = _steps(programme, standing, chosen, settled, coming, owners)
    there = settled | set(chosen)
    unplaced = tuple(Unplaced(entry, refused[entry.key]) for entry in wanted if entry.key not in there)
    return ChangePlan(steps, unplaced, proofs)


class _Values(NamedTuple):
    """What a plan comes to, or can come to at best, for each aim."""

    placed: float
    moves: float
    travel: float

    @property
    def rank(self) -> tuple[float, float, float]:
        return -self.placed, self.moves, self.travel


def _values(programme: _Programme, chosen: Mapping[str, int], coming: Sequence[Assembly]) -> _Values:
    way = travel_mm(programme.magazine)
    there = [entry.key for entry in coming if entry.key in chosen]
    carried = sum(programme.present.get(key) != chosen[key] for key in there)
    out = sum(held.assembly.key not in chosen for held in programme.guests)
    return _Values(float(len(there)), float(carried + out), float(sum(way[chosen[key]] for key in there)))


def _solve(programme: _Programme, seconds: float, report: Report | None) -> tuple[dict[str, int] | None, _Values]:
    """Pocket index by assembly key, None where time ran out before any, and what no plan can do better than."""
    size = len(programme.where)
    guests = float(len(programme.guests))
    if not size:
        return {}, _Values(0.0, guests, 0.0)
    rows = programme.rows()
    if report is not None:
        report(Aim.MOVES, 0.0)
    # one more placed outweighs every move there is
    weight = guests + programme.magazine.pockets + 1
    counts = programme.carries - weight * programme.places
    chosen, least = _best(counts, programme, rows, seconds)
    # carries lie between -guests and pockets, so the whole weights in the bound are places
    most = float(floor((programme.magazine.pockets - least) / weight))
    fewest = max(0.0, ceil(least - 1e-6) + weight * most + guests)
    if chosen is None:
        return None, _Values(most, fewest, 0.0)
    rows.append(_Row(np.arange(size), counts, -inf, float(counts @ chosen) + 1e-6))
    if report is not None:
        report(Aim.TRAVEL, 0.5)
    nearer, nearest = _best(programme.travel, programme, rows, seconds)
    chosen = chosen if nearer is None else nearer
    return programme.named(chosen > 0.5), _Values(most, fewest, nearest)


def _best(
    cost: NDArray[np.float64], programme: _Programme, rows: list[_Row], seconds: float
) -> tuple[NDArray[np.float64] | None, float]:
    """The cheapest choice of columns found in time, None if none, and what none can be cheaper than.

    Adds to `rows` what they left out where that matters; for pockets in a line it never does.
    """
    from scipy.optimize import Bounds, milp  # only where it is asked: it takes long to load

    size = len(cost)
    while True:
        found = milp(
            cost,
            integrality=np.ones(size),
            bounds=Bounds(0.0, 1.0),
            constraints=_constraint(rows, size),
            options={"time_limit": seconds, "mip_rel_gap": 0.0},
        )
        least = float(cost[cost < 0].sum()) if found.mip_dual_bound is None else float(found.mip_dual_bound)
        if found.x is None:
            return None, least
        chosen = np.round(found.x)
        broken = programme.clashing(chosen)
        if not broken.any():
            return chosen, least
        rows += programme.pairs(broken)


def _constraint(rows: Sequence[_Row], size: int) -> Any:
    from scipy.optimize import LinearConstraint
    from scipy.sparse import csr_array

    starts = np.cumsum([0, *(len(row.columns) for row in rows)])
    weights = np.concatenate([row.weights for row in rows])
    columns = np.concatenate([row.columns for row in rows])
    matrix = csr_array((weights, columns, starts), shape=(len(rows), size))
    return LinearConstraint(matrix, [row.least for row in rows], [row.most for row in rows])


def _packed(
    programme: _Programme,
    standing: Sequence[Loaded],
    owners: Mapping[int, str],
    coming: Sequence[Assembly],
    returning: Sequence[Loaded],
) -> dict[str, int]:
    """Pocket index by assembly key without the solver: newcomers beside what is there, or where that is too
    tight, all guests out, newcomers in, and back each guest whose pocket is still open to it.
    """
    magazine = programme.magazine
    fresh = [entry for entry in coming if entry.key not in programme.present]
    newcomers = {entry.key: entry for entry in fresh}
    inside = list(standing)
    found = pack(magazine, inside, owners, fresh, returning)
    if len(found) < len(fresh):
        strangers = {held.assembly.key for held in programme.guests}
        inside = [held for held in standing if held.assembly.key not in strangers]
        found = pack(magazine, inside, owners, fresh, returning)
        inside += [Loaded(pocket, newcomers[key]) for key, pocket in found.items()]
        for held in programme.guests:
            if not obstacles(magazine, inside, owners, held.pocket, held.assembly, returning):
                inside.append(held)
    else:
        inside += [Loaded(pocket, newcomers[key]) for key, pocket in found.items()]
    settled = {held.assembly.key for held in standing} - set(programme.present)
    return {held.assembly.key: held.pocket - magazine.first for held in inside if held.assembly.key not in settled}


def _steps(
    programme: _Programme,
    standing: Sequence[Loaded],
    chosen: Mapping[str, int],
    settled: set[str],
    coming: Sequence[Assembly],
    owners: Mapping[int, str],
) -> tuple[Step, ...]:
    """The steps in an order in which each is allowed when its turn comes."""
    magazine = programme.magazine
    goals = {key: at + magazine.first for key, at in chosen.items()}
    inside = {held.assembly.key: held for held in standing}
    leave, out, within = [], [], []
    for held in sorted(standing, key=lambda held: held.pocket):
        goal = held.pocket if held.assembly.key in settled else goals.get(held.assembly.key)
        if goal == held.pocket:
            leave.append(Step(Doing.LEAVE, held.assembly, goal, goal))
        elif goal is None:
            out.append(Step(Doing.TAKE_OUT, held.assembly, held.pocket, None))
            del inside[held.assembly.key]
        else:
            within.append(held)
    moved = []
    while within:
        ready = next(
            (
                held
                for held in within
                if not obstacles(magazine, list(inside.values()), owners, goals[held.assembly.key], held.assembly)
            ),
            None,
        )
        held = ready or within[0]
        within.remove(held)
        if ready is None:
            # everyone waits for everyone: one steps outside and comes back last
            moved.append(Step(Doing.TAKE_OUT, held.assembly, held.pocket, None))
            del inside[held.assembly.key]
            continue
        goal = goals[held.assembly.key]
        moved.append(Step(Doing.MOVE, held.assembly, held.pocket, goal))
        inside[held.assembly.key] = Loaded(goal, held.assembly)
    travel = travel_mm(magazine)
    bring = [entry for entry in coming if entry.key in goals and entry.key not in inside]
    bring.sort(key=lambda entry: (travel[chosen[entry.key]], chosen[entry.key]))
    put_in = [Step(Doing.PUT_IN, entry, None, goals[entry.key]) for entry in bring]
    return (*leave, *out, *moved, *put_in)
