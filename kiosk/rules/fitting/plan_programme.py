"""The placement of a setup as a mixed-integer linear programme, solved by HiGHS through SciPy.

Neighbours become clique inequalities, and assemblies that block alike share variables; what the rows leave out
(rings, rows of a shelf, circles of assemblies that wait for each other) is added where a solution breaks it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import ceil, floor, inf
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from kiosk.rules.assembly import Assembly
from kiosk.rules.fitting.change_plan import Aim, Report
from kiosk.rules.fitting.magazine import Loaded, Magazine
from kiosk.rules.fitting.obstacles import allowed_pockets
from kiosk.rules.fitting.plan_steps import a_circle, waits
from kiosk.rules.fitting.pockets import HAIR_MM, beside, clashes, reaches_mm, travel_mm


class ProgrammeRow(NamedTuple):
    """least <= sum(weights * columns) <= most"""

    columns: NDArray[np.int64]
    weights: NDArray[np.float64]
    least: float
    most: float


class Stay(NamedTuple):
    """A column for one assembly that stays where it is."""

    entry: Assembly
    at: int
    wanted: bool


class Programme:
    """Columns and rows of one placement.

    There is a column for one of a group in a pocket, one for each assembly that may stay where it is, and with `apart`
    one for each wanted one inside that steps outside on its way to another pocket.  Without `apart` such ways are not
    seen: those that change places then seem to pass through each other.
    """

    def __init__(
        self,
        magazine: Magazine,
        owners: Mapping[int, str],
        wanted: Sequence[Assembly],
        loose: Sequence[Loaded],
        pinned: Sequence[Loaded],
        *,
        apart: bool = False,
    ) -> None:
        """loose: those inside that may be touched.  pinned: those that keep their pocket, there or on the way back."""
        self.magazine = magazine
        self.loose = loose
        keys = {entry.key for entry in wanted}
        free = {entry.key: allowed_pockets(magazine, owners, entry) for entry in wanted}
        for held in loose:
            free.setdefault(held.assembly.key, np.ones(magazine.pockets, dtype=np.bool_))
        everyone = [*wanted, *(held.assembly for held in loose if held.assembly.key not in keys)]
        for entry in everyone:
            for held in pinned:
                if held.assembly.key != entry.key:
                    blocks = clashes(magazine, held.assembly.diameter_mm, entry.diameter_mm)
                    free[entry.key] = free[entry.key] & ~blocks[held.pocket - magazine.first]
        self.present = {held.assembly.key: held.pocket - magazine.first for held in loose}
        self.guests = [held for held in loose if held.assembly.key not in keys]
        whose = {key: key if apart else "inside" for key in keys & set(self.present)}
        self.groups = _alike(magazine, wanted, free, everyone, whose)
        self.spots = [
            (group, int(at)) for group, members in enumerate(self.groups) for at in np.flatnonzero(free[members[0].key])
        ]
        self.stays = [
            Stay(entry, self.present[entry.key], entry.key in keys)
            for entry in everyone
            if entry.key in self.present and free[entry.key][self.present[entry.key]]
        ]
        self.detours = [entry.key for entry in wanted if apart and entry.key in self.present]
        self.where = np.array([at for _, at in self.spots] + [stay.at for stay in self.stays], dtype=np.int64)
        self.wide_mm = np.array(
            [self.groups[group][0].diameter_mm for group, _ in self.spots]
            + [stay.entry.diameter_mm for stay in self.stays]
        )
        self.size = len(self.where) + len(self.detours)
        self.places = self._columns(
            [1.0] * len(self.spots), [float(stay.wanted) for stay in self.stays], [0.0] * len(self.detours)
        )
        # whoever is inside is carried, within or out, unless it stays; a newcomer is carried in
        inside = [self.groups[group][0].key in self.present for group, _ in self.spots]
        self.carries = self._columns(
            [float(not there) for there in inside], [-1.0] * len(self.stays), [1.0] * len(self.detours)
        )
        self.most_carries = len(wanted) - len(keys & set(self.present)) + len(self.detours)
        way = np.concatenate([travel_mm(magazine)[self.where], np.zeros(len(self.detours))])
        self.travel = way * self.places

    @staticmethod
    def _columns(*parts: list[float]) -> NDArray[np.float64]:
        return np.array([value for part in parts for value in part], dtype=np.float64)

    def rows(self) -> list[ProgrammeRow]:
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

    def _points(self) -> list[ProgrammeRow]:
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
        rows: list[ProgrammeRow] = []
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
        picked = np.flatnonzero(chosen[: len(self.where)] > 0.5).tolist()
        for at, one in enumerate(picked):
            for other in picked[:at]:
                spot = (self.where[one], self.where[other])
                found[spot] = clashes(self.magazine, float(self.wide_mm[one]), float(self.wide_mm[other]))[spot]
        return found | found.T

    def circles(self, chosen: NDArray[np.float64]) -> list[ProgrammeRow]:
        """Of those that wait for each other in a circle one must step outside: a row for a circle in this choice."""
        outside = {key for key, share in zip(self.detours, chosen[len(self.where) :], strict=True) if share > 0.5}
        goals = {key: at for key, at in self.named(chosen > 0.5).items() if key in self.detours and key not in outside}
        widths = {members[0].key: members[0].diameter_mm for members in self.groups}
        circle = a_circle(waits(self.magazine, self.present, goals, widths))
        if not circle:
            return []
        columns: list[int] = []
        for key, following in zip(circle, [*circle[1:], circle[0]], strict=True):
            blocked = clashes(self.magazine, widths[key], widths[following])[:, self.present[following]]
            columns += [
                column
                for column, (group, at) in enumerate(self.spots)
                if self.groups[group][0].key == key and blocked[at] and at != self.present[key]
            ]
        ways_out = [len(self.where) + self.detours.index(key) for key in circle]
        weights = np.array([1.0] * len(columns) + [-1.0] * len(ways_out))
        return [ProgrammeRow(np.array(columns + ways_out, dtype=np.int64), weights, -inf, len(circle) - 1.0)]

    def pairs(self, which: NDArray[np.bool_]) -> list[ProgrammeRow]:
        """No two that clash, for each pair of pockets in `which`: every width that is told apart.

        What is at least `width` wide in one pocket excludes whatever clashes with that width in the other, and
        in either pocket stands one at most, so all of these together are one at most.
        """
        pockets = [np.flatnonzero(self.where == at) for at in range(self.magazine.pockets)]
        rows: list[ProgrammeRow] = []
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
            placed.update(zip((entry.key for entry in waiting), spots, strict=False))
        return placed

    def _staying(self, chosen: NDArray[np.bool_]) -> list[Stay]:
        return [stay for column, stay in enumerate(self.stays, len(self.spots)) if chosen[column]]


def _row(columns: Sequence[int] | NDArray[np.int64], most: float) -> ProgrammeRow:
    whole = np.asarray(columns, dtype=np.int64)
    return ProgrammeRow(whole, np.ones(len(whole)), 0.0, most)


def _alike(
    magazine: Magazine,
    wanted: Sequence[Assembly],
    free: Mapping[str, NDArray[np.bool_]],
    everyone: Sequence[Assembly],
    whose: Mapping[str, str],
) -> list[list[Assembly]]:
    """Wanted assemblies in groups that may stand in the same pockets and clash with the same others.

    whose: by key, what else keeps some of them apart.
    """
    widths = sorted({entry.diameter_mm for entry in everyone})
    meets = {
        entry.diameter_mm: b"".join(clashes(magazine, entry.diameter_mm, mm).tobytes() for mm in widths)
        for entry in wanted
    }
    groups: dict[tuple[bytes, bytes, str], list[Assembly]] = {}
    for entry in wanted:
        kind = (free[entry.key].tobytes(), meets[entry.diameter_mm], whose.get(entry.key, ""))
        groups.setdefault(kind, []).append(entry)
    return list(groups.values())


class Reached(NamedTuple):
    """What a placement comes to, or what none can do better than."""

    placed: float
    moves: float
    travel: float

    @property
    def rank(self) -> tuple[float, float, float]:
        return -self.placed, self.moves, self.travel


def solve(programme: Programme, seconds: float, report: Report | None) -> tuple[dict[str, int] | None, Reached]:
    """Pocket index by assembly key, None where time ran out before any, and what no placement can do better than."""
    inside = float(len(programme.loose))
    if not len(programme.where):
        return {}, Reached(0.0, inside, 0.0)
    rows = programme.rows()
    if report is not None:
        report(Aim.MOVES, 0.0)
    # one more placed outweighs every move there is
    weight = inside + programme.most_carries + 1
    counts = programme.carries - weight * programme.places
    chosen, least = _best(counts, programme, rows, seconds)
    # carries lie between -inside and most_carries, so the whole weights in the bound are places
    most = float(floor((programme.most_carries - least) / weight + 1e-6))
    fewest = max(0.0, ceil(least - 1e-6) + weight * most + inside)
    if chosen is None:
        return None, Reached(most, fewest, 0.0)
    rows.append(ProgrammeRow(np.arange(programme.size), counts, -inf, float(counts @ chosen) + 1e-6))
    if report is not None:
        report(Aim.TRAVEL, 0.5)
    nearer, nearest = _best(programme.travel, programme, rows, seconds)
    chosen = chosen if nearer is None else nearer
    return programme.named(chosen > 0.5), Reached(most, fewest, nearest)


def _best(
    cost: NDArray[np.float64], programme: Programme, rows: list[ProgrammeRow], seconds: float
) -> tuple[NDArray[np.float64] | None, float]:
    """The cheapest choice of columns found in time, None if none, and what none can be cheaper than.

    Adds to `rows` what they left out where that matters; for pockets in a line and nobody in a circle it never does.
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
        missed = programme.pairs(broken) if broken.any() else programme.circles(chosen)
        if not missed:
            return chosen, least
        rows += missed


def _constraint(rows: Sequence[ProgrammeRow], size: int) -> Any:
    from scipy.optimize import LinearConstraint
    from scipy.sparse import csr_array

    starts = np.cumsum([0, *(len(row.columns) for row in rows)])
    weights = np.concatenate([row.weights for row in rows])
    columns = np.concatenate([row.columns for row in rows])
    matrix = csr_array((weights, columns, starts), shape=(len(rows), size))
    return LinearConstraint(matrix, [row.least for row in rows], [row.most for row in rows])
