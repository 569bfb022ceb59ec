"""Change plans found without the planner: every state of a small magazine that hands can reach, by fewest motions.

A state says where each assembly stands; a motion takes one out, puts one in or carries one within, and must be allowed
by `obstacles` when its turn comes.  It knows nothing of the solver, of groups or of the planner's count.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import product

from kiosk.rules.assembly import Assembly
from kiosk.rules.fitting.magazine import Loaded, Magazine
from kiosk.rules.fitting.obstacles import limits, obstacles
from kiosk.rules.fitting.pockets import travel_mm

State = tuple[int, ...]
OUT = -1  # outside; elsewhere a state holds pocket indices


class Hands:
    """One magazine and what is to be done with it; fixed ones and those in a pocket of their own are never touched."""

    def __init__(
        self,
        magazine: Magazine,
        loaded: Sequence[Loaded],
        owners: Mapping[int, str],
        wanted: Sequence[Assembly],
        returning: Sequence[Loaded] = (),
    ) -> None:
        pinned = [held for held in loaded if held.fixed or owners.get(held.pocket) == held.assembly.holder.key]
        free = {held.assembly.key: held for held in loaded if held not in pinned}
        settled = {held.assembly.key for held in pinned}
        # a wanted one that may stand nowhere here is like any other that is not wanted
        coming = [entry for entry in wanted if entry.key not in settled and not limits(magazine, entry)]
        keys = [entry.key for entry in coming]
        self.parts = [*coming, *(held.assembly for key, held in free.items() if key not in keys)]
        self.wanted = len(coming)
        self.start = tuple(free[part.key].pocket - magazine.first if part.key in free else OUT for part in self.parts)
        self.way = [float(mm) for mm in travel_mm(magazine)]
        room = replace(magazine, mass_max_kg=None, diameter_max_free_mm=None, fixed=frozenset(), closed=frozenset())
        numbers = magazine.numbers
        # may be put there; may be left there
        self.enters = [
            [not obstacles(magazine, pinned, owners, number, part, returning) for number in numbers]
            for part in self.parts
        ]
        self.stays = [
            [
                not obstacles(room, [*pinned, *returning], {}, number, part)
                if index >= self.wanted
                else self.enters[index][number - magazine.first]
                for number in numbers
            ]
            for index, part in enumerate(self.parts)
        ]
        self.apart = {
            (one, at, other, there): not obstacles(
                room, [Loaded(there + magazine.first, self.parts[other])], {}, at + magazine.first, self.parts[one]
            )
            for one, other in product(range(len(self.parts)), repeat=2)
            for at, there in product(range(magazine.pockets), repeat=2)
            if one != other
        }
        self.pockets = range(magazine.pockets)

    def clear(self, state: State, index: int, at: int) -> bool:
        """Whether nobody who stands there now speaks against one of them at a pocket."""
        return all(
            there == OUT or other == index or self.apart[index, at, other, there] for other, there in enumerate(state)
        )

    def good(self, state: State) -> bool:
        """Nobody wanted stands where it may not, and nobody at all in another's way."""
        return all(at == OUT or (self.stays[one][at] and self.clear(state, one, at)) for one, at in enumerate(state))

    def motions(self, state: State) -> Iterator[State]:
        for index, at in enumerate(state):
            if at != OUT:
                yield (*state[:index], OUT, *state[index + 1 :])
            elif index >= self.wanted:
                continue  # what nobody wants is not brought back
            for goal in self.pockets:
                if goal != at and self.enters[index][goal] and self.clear(state, index, goal):
                    yield (*state[:index], goal, *state[index + 1 :])

    def placed(self, state: State) -> int:
        return sum(at != OUT for at in state[: self.wanted])

    def most(self) -> int:
        """Most that can be placed at all: everything can be taken out first."""
        choices = [[OUT, *(at for at in self.pockets if self.enters[index][at])] for index in range(self.wanted)]
        return max(
            (self.placed(state) for state in product(*choices) if self.good(state)),
            default=0,
        )

    def best(self) -> tuple[float, float, float]:
        """(placed, motions, travel mm): most wanted ones where they may stand, fewest motions, then nearest."""
        most = self.most()
        seen, edge, motions = {self.start}, [self.start], 0
        while True:
            done = [state for state in edge if self.placed(state) == most and self.good(state)]
            if done:
                ways = [sum(self.way[at] for at in state[: self.wanted] if at != OUT) for state in done]
                return float(most), float(motions), min(ways)
            edge = list({after for state in edge for after in self.motions(state)} - seen)
            seen.update(edge)
            motions += 1
