"""A whole setup placed in a magazine at once: fewest moves first, then nearest to the change point.

It never breaks a rule of `magazine` to get a better plan, and never calls a plan the best unless that is proven:
otherwise it says how far it can still be from it.  The placement is a mixed-integer linear programme solved by
HiGHS through SciPy; neighbours become clique inequalities, and assemblies that block alike share variables.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from math import ceil, inf
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from kiosk.rules.assembly import Assembly
from kiosk.rules.magazine import (
    Loaded,
    Magazine,
    Obstacle,
    Proposal,
    allowed_pockets,
    clashes,
    limits,
    obstacles,
    propose,
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


Report = Callable[[Aim, float], None]  # the aim about to be solved, share of the work already done


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
        """All that any placement must keep to."""
        group_of = {entry.key: group for group, members in enumerate(self.groups) for entry in members}
        members: list[list[int]] = [[] for _ in self.groups]
        for column, (group, _) in enumerate(self.spots):
            members[group].append(column)
        for column, stay in enumerate(self.stays, len(self.spots)):
            if stay.wanted:
                members[group_of[stay.entry.key]].append(column)
        counts = [_row(columns, float(len(group))) for columns, group in zip(members, self.groups, strict=True)]
        return [*counts, *self._room()]

    def _room(self) -> list[_Row]:
        """One in a pocket, and no two that clash: for each pair of pockets, every width that is told apart.

        What is at least `width` wide in one pocket excludes whatever clashes with that width in the other, and
        in either pocket stands one at most, so all of these together are one at most.
        """
        pockets = [np.flatnonzero(self.where == at) for at in range(self.magazine.pockets)]
        rows = [_row(columns, 1.0) for columns in pockets if len(columns)]
        least_of: dict[tuple[int, int], dict[float, float]] = {}
        widths = sorted(set(self.wide_mm.tolist()))
        for one_mm in widths:
            for other_mm in reversed(widths):
                for pair in np.argwhere(np.triu(clashes(self.magazine, one_mm, other_mm), 1)).tolist():
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
    chosen, proofs = _solve(programme, seconds, report)
    if chosen is None:
        chosen, proofs = _one_by_one(programme, standing, owners, coming, returning)
    steps = _steps(programme, standing, chosen, settled, coming, owners)
    there = settled | set(chosen)
    unplaced = tuple(Unplaced(entry, refused[entry.key]) for entry in wanted if entry.key not in there)
    return ChangePlan(steps, unplaced, proofs)


def _solve(
    programme: _Programme, seconds: float, report: Report | None
) -> tuple[dict[str, int] | None, tuple[Proof, ...]]:
    """Pocket index by assembly key, and what is proven of it; None where time ran out before any plan."""
    size = len(programme.where)
    guests = float(len(programme.guests))
    if not size:
        return {}, (Proof(Aim.PLACED, 0, 0), Proof(Aim.MOVES, guests, guests), Proof(Aim.TRAVEL, 0, 0))
    rows = programme.rows()
    best: NDArray[np.float64] | None = None
    proofs: list[Proof] = []
    aims = (
        (Aim.PLACED, -programme.places, 0.0, -1.0),
        (Aim.MOVES, programme.carries, guests, 1.0),
        (Aim.TRAVEL, programme.travel, 0.0, 1.0),
    )
    for turn, (aim, cost, shift, sign) in enumerate(aims):
        if report is not None:
            report(aim, turn / len(aims))
        least = float(cost[cost < 0].sum())
        found = milp(
            cost,
            integrality=np.ones(size),
            bounds=Bounds(0.0, 1.0),
            constraints=_constraint(rows, size),
            options={"time_limit": seconds, "mip_rel_gap": 0.0},
        )
        if found.x is not None:
            best = np.round(found.x)
            least = found.mip_dual_bound if found.mip_dual_bound is not None else least
        if best is None:
            return None, ()
        value = float(cost @ best)
        if aim is not Aim.TRAVEL:
            least = ceil(least - 1e-6)  # counts are whole
        proofs.append(Proof(aim, shift + sign * value, shift + sign * min(least, value)))
        # what has been reached must be kept while the next aim is sought
        rows.append(_Row(np.arange(size), cost, -inf, value + 1e-6))
    assert best is not None
    return programme.named(best > 0.5), tuple(proofs)


def _constraint(rows: Sequence[_Row], size: int) -> LinearConstraint:
    starts = np.cumsum([0, *(len(row.columns) for row in rows)])
    weights = np.concatenate([row.weights for row in rows])
    columns = np.concatenate([row.columns for row in rows])
    matrix = csr_array((weights, columns, starts), shape=(len(rows), size))
    return LinearConstraint(matrix, [row.least for row in rows], [row.most for row in rows])


def _one_by_one(
    programme: _Programme,
    standing: Sequence[Loaded],
    owners: Mapping[int, str],
    coming: Sequence[Assembly],
    returning: Sequence[Loaded],
) -> tuple[dict[str, int], tuple[Proof, ...]]:
    """A plan without the solver: nothing is moved, each newcomer gets the best pocket left."""
    magazine = programme.magazine
    inside = list(standing)
    placed = dict(programme.present)
    waiting = [entry for entry in coming if entry.key not in placed]
    newcomers = len(waiting)
    while waiting:
        entry = waiting.pop(0)
        answer = propose(magazine, inside, owners, entry, waiting, returning)
        if isinstance(answer, Proposal):
            placed[entry.key] = answer.pocket - magazine.first
            inside.append(Loaded(answer.pocket, entry))
    travel = travel_mm(magazine)
    there = [entry.key for entry in coming if entry.key in placed]
    moves = sum(key not in programme.present for key in there)
    way = float(sum(travel[placed[key]] for key in there))
    return placed, (
        Proof(Aim.PLACED, len(there), len(coming)),
        Proof(Aim.MOVES, moves, min(moves, newcomers)),
        Proof(Aim.TRAVEL, way, 0.0),
    )


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
