"""The best pocket for one assembly, or the one move that makes room for it; and room for many, tightly packed.

It proposes nothing that `obstacles` would refuse.  Packing is good, not proven best: that is the change plan's work.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kiosk.rules.assembly import Assembly
from kiosk.rules.fitting.magazine import Loaded, Magazine
from kiosk.rules.fitting.obstacles import Obstacle, allowed_pockets, limits, obstacles
from kiosk.rules.fitting.pockets import clashes, distance_mm, travel_mm


@dataclass(frozen=True, slots=True)
class Relocation:
    """One assembly taken from one pocket to another, or out of the magazine (`goal` None)."""

    assembly: Assembly
    origin: int
    goal: int | None


@dataclass(frozen=True, slots=True)
class Proposal:
    """The pocket to use.  `left_over`: of what is still to come, how many will then find no room."""

    pocket: int
    left_over: int = 0


@dataclass(frozen=True, slots=True)
class NoRoom:
    """No pocket will do.  `move` then `pocket` makes room where one move can; `obstacles` say why not now.

    obstacles: those of the whole magazine where there are any, else those of the pocket that comes closest.
    """

    obstacles: tuple[Obstacle, ...]
    move: Relocation | None = None
    pocket: int | None = None


class _Room:
    """Free pockets while assemblies are put in one after another; a scratch pad for `propose`."""

    def __init__(
        self,
        magazine: Magazine,
        loaded: Sequence[Loaded],
        owners: Mapping[int, str],
        returning: Sequence[Loaded] = (),
    ) -> None:
        self.magazine = magazine
        self.owners = owners
        self.standing = [
            (entry.pocket - magazine.first, entry.assembly.diameter_mm, entry.assembly.key)
            for entry in (*loaded, *returning)
            if entry.pocket in magazine
        ]
        self.travel = travel_mm(magazine)
        self._blocks: dict[tuple[float, float], NDArray[np.float32]] = {}

    def blocks(self, one_mm: float, other_mm: float) -> NDArray[np.float32]:
        """`clashes` as numbers, to be added up."""
        pair = (one_mm, other_mm)
        if pair not in self._blocks:
            self._blocks[pair] = clashes(self.magazine, *pair).astype(np.float32)
        return self._blocks[pair]

    def open_to(self, assembly: Assembly, without: str = "") -> NDArray[np.bool_]:
        """(pockets,) where `assembly` may go; `without` leaves out one more by its key."""
        free = allowed_pockets(self.magazine, self.owners, assembly)
        for at, diameter_mm, key in self.standing:
            if key not in (assembly.key, without):
                free = free & ~clashes(self.magazine, diameter_mm, assembly.diameter_mm)[at]
        return free

    def nearest(self, free: NDArray[np.bool_]) -> list[int]:
        """Indices of free pockets, the nearest to the change point first, then by number."""
        order = np.argsort(np.where(free, self.travel, np.inf), kind="stable")
        return [int(at) for at in order[: int(free.sum())]]

    def packed(
        self, coming: Sequence[tuple[Assembly, NDArray[np.bool_]]], taken: tuple[int, Assembly] | None = None
    ) -> dict[str, int]:
        """A pocket index for as many of `coming` as this finds room for, by key; the widest choose first.

        coming: each with the pockets open to it now.  taken: an assembly put somewhere before them.  Each goes
        where it spoils the fewest pockets for the others: tight packing, not an exact count.
        """
        frees = {entry.key: free.astype(np.float32) for entry, free in coming}
        waiting = [entry for entry, _ in coming]
        if taken is not None:
            self._spoil(frees, waiting, *taken)
        waiting.sort(key=lambda entry: (-entry.diameter_mm, float(frees[entry.key].sum()), entry.key))
        found: dict[str, int] = {}
        while waiting:
            entry = waiting.pop(0)
            free = frees[entry.key]
            if not free.any():
                continue
            spoiled = np.zeros(self.magazine.pockets, dtype=np.float32)
            for other in waiting:
                spoiled += self.blocks(entry.diameter_mm, other.diameter_mm) @ frees[other.key]
            best = int(np.lexsort((self.travel, np.where(free > 0, spoiled, np.inf)))[0])
            found[entry.key] = best
            self._spoil(frees, waiting, best, entry)
        return found

    def _spoil(
        self, frees: dict[str, NDArray[np.float32]], waiting: Sequence[Assembly], at: int, entry: Assembly
    ) -> None:
        """Takes away what `entry` at pocket index `at` leaves nobody."""
        for other in waiting:
            frees[other.key] = frees[other.key] * (1 - self.blocks(entry.diameter_mm, other.diameter_mm)[at])


def pack(
    magazine: Magazine,
    loaded: Sequence[Loaded],
    owners: Mapping[int, str],
    coming: Sequence[Assembly],
    returning: Sequence[Loaded] = (),
) -> dict[str, int]:
    """A pocket for as many of `coming` as tight packing finds room for beside what is there, by assembly key."""
    room = _Room(magazine, loaded, owners, returning)
    found = room.packed([(entry, room.open_to(entry)) for entry in coming])
    return {key: at + magazine.first for key, at in found.items()}


def propose(
    magazine: Magazine,
    loaded: Sequence[Loaded],
    owners: Mapping[int, str],
    assembly: Assembly,
    still_to_come: Sequence[Assembly] = (),
    returning: Sequence[Loaded] = (),
) -> Proposal | NoRoom:
    """The best pocket: the assembly's own fixed one, else free, leaving room, nearest to the change point.

    still_to_come: the rest of the setup, for which room is left where that can be had.
    """
    room = _Room(magazine, loaded, owners, returning)
    coming = [(entry, room.open_to(entry)) for entry in still_to_come if entry.key != assembly.key]
    choice = room.nearest(room.open_to(assembly))
    if not choice:
        return _no_room(magazine, loaded, owners, assembly, returning)
    best: Proposal | None = None
    for at in choice:
        missed = len(coming) - len(room.packed(coming, (at, assembly)))
        if best is None or missed < best.left_over:
            best = Proposal(at + magazine.first, missed)
        if missed == 0:
            break
    assert best is not None
    return best


def _no_room(
    magazine: Magazine,
    loaded: Sequence[Loaded],
    owners: Mapping[int, str],
    assembly: Assembly,
    returning: Sequence[Loaded],
) -> NoRoom:
    """Why nothing fits, and the single move that changes it: within the magazine, else out of it."""
    if general := limits(magazine, assembly):
        return NoRoom(general)
    room = _Room(magazine, loaded, owners, returning)
    choices: list[tuple[tuple[bool, float, float, int], Relocation, int]] = []
    for entry in loaded:
        key = entry.assembly.key
        stays = entry.fixed or entry.assembly.holder.key in owners.values()
        if stays or key == assembly.key or entry.pocket not in magazine:
            continue
        ours = room.open_to(assembly, without=key)
        if not ours.any():
            continue
        at = room.nearest(ours)[0]
        out = Relocation(entry.assembly, entry.pocket, None)
        choices.append(((True, float(room.travel[at]), 0.0, entry.pocket), out, at + magazine.first))
        goals = room.open_to(entry.assembly)
        goals[entry.pocket - magazine.first] = False
        clash = clashes(magazine, entry.assembly.diameter_mm, assembly.diameter_mm)
        for goal, at in np.argwhere(goals[:, None] & ours[None, :] & ~clash).tolist():
            walk_mm = distance_mm(magazine, entry.pocket, goal + magazine.first)
            move = Relocation(entry.assembly, entry.pocket, goal + magazine.first)
            choices.append(((False, float(room.travel[at]), walk_mm, goal), move, at + magazine.first))
    closest = min(
        (obstacles(magazine, loaded, owners, at, assembly, returning) for at in magazine.numbers),
        key=len,
    )
    if not choices:
        return NoRoom(closest)
    _, move, pocket = min(choices, key=lambda choice: choice[0])
    return NoRoom(closest, move, pocket)
