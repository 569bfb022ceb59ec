"""The steps of a change plan in an order in which each is allowed, and who must step outside on the way.

Those that move within wait for whoever still stands in their way.  Where they wait in a circle somebody steps
outside and comes back last, which costs one more motion; as few do so as break every circle.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set

from kiosk.rules.assembly import Assembly
from kiosk.rules.fitting.change_plan import Doing, Step
from kiosk.rules.fitting.magazine import Loaded, Magazine
from kiosk.rules.fitting.obstacles import obstacles
from kiosk.rules.fitting.pockets import clashes, travel_mm

Waits = Mapping[str, Set[str]]  # by key, the keys of those that must leave their pockets first
TRIES = 20_000  # circles looked at before a smallest set of ways out is no longer sought


def waits(
    magazine: Magazine, present: Mapping[str, int], goals: Mapping[str, int], widths_mm: Mapping[str, float]
) -> Waits:
    """Who waits for whom, of those that stand in one pocket and go to another; pocket indices by key."""
    movers = [key for key, at in goals.items() if key in present and present[key] != at]
    return {
        one: {
            other
            for other in movers
            if other != one and clashes(magazine, widths_mm[one], widths_mm[other])[goals[one], present[other]]
        }
        for one in movers
    }


def a_circle(waiting: Waits, without: Set[str] = frozenset()) -> list[str]:
    """Keys of which each waits for the next and the last for the first, as few as there are; empty: there are none."""
    shortest: list[str] = []
    for start in sorted(set(waiting) - without):
        came_from: dict[str, str] = {}
        edge = [start]
        while edge and start not in came_from:
            following = []
            for key in edge:
                for other in sorted(waiting[key] - without):
                    if other not in came_from:
                        came_from[other] = key
                        following.append(other)
            edge = following
        if start in came_from:
            circle = [start]
            while came_from[circle[-1]] != start:
                circle.append(came_from[circle[-1]])
            if not shortest or len(circle) < len(shortest):
                shortest = circle[::-1]
    return shortest


def stepping_outside(waiting: Waits) -> frozenset[str]:
    """As few as can be without whom nobody waits in a circle; some more where that takes too long to find."""
    tries = 0

    def cut(gone: frozenset[str], more: int) -> frozenset[str] | None:
        nonlocal tries
        tries += 1
        circle = a_circle(waiting, gone)
        if not circle:
            return gone
        if more == 0 or tries > TRIES:
            return None
        for key in circle:
            if (found := cut(gone | {key}, more - 1)) is not None:
                return found
        return None

    for count in range(len(waiting) + 1):
        found = cut(frozenset(), count)
        if found is not None:
            return found
        if tries > TRIES:
            break
    greedy: frozenset[str] = frozenset()
    while circle := a_circle(waiting, greedy):
        greedy |= {circle[0]}
    return greedy


def steps(
    magazine: Magazine,
    standing: Sequence[Loaded],
    goals: Mapping[str, int],
    settled: Set[str],
    coming: Sequence[Assembly],
    owners: Mapping[int, str],
) -> tuple[Step, ...]:
    """The steps that take those `standing` to their goals and bring those `coming` that have one.

    goals: pocket numbers by assembly key; who has none is taken out, but those `settled` stay.
    """
    inside = {held.assembly.key: held for held in standing}
    present = {held.assembly.key: held.pocket - magazine.first for held in standing}
    widths_mm = {held.assembly.key: held.assembly.diameter_mm for held in standing}
    ends = {key: goal - magazine.first for key, goal in goals.items()}
    outside = stepping_outside(waits(magazine, present, ends, widths_mm))
    leave, out, within = [], [], []
    for held in sorted(standing, key=lambda held: held.pocket):
        key = held.assembly.key
        goal = held.pocket if key in settled else goals.get(key)
        if goal == held.pocket:
            leave.append(Step(Doing.LEAVE, held.assembly, goal, goal))
        elif goal is None or key in outside:
            out.append(Step(Doing.TAKE_OUT, held.assembly, held.pocket, None))
            del inside[key]
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
            # a book in which two already stand in one place: nothing but the outside is sure
            moved.append(Step(Doing.TAKE_OUT, held.assembly, held.pocket, None))
            del inside[held.assembly.key]
            continue
        goal = goals[held.assembly.key]
        moved.append(Step(Doing.MOVE, held.assembly, held.pocket, goal))
        inside[held.assembly.key] = Loaded(goal, held.assembly)
    way_mm = travel_mm(magazine)
    bring = [entry for entry in coming if entry.key in goals and entry.key not in inside]
    bring.sort(key=lambda entry: (way_mm[ends[entry.key]], ends[entry.key]))
    put_in = [Step(Doing.PUT_IN, entry, None, goals[entry.key]) for entry in bring]
    return (*leave, *out, *moved, *put_in)
