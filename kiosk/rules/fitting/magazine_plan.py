"""A whole setup placed in a magazine at once: fewest motions of the hand first, then nearest to the change point.

It never breaks a rule of `magazine` to get a better plan, and never calls a plan the best unless that is proven:
otherwise it says how far it can still be from it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from kiosk.rules.assembly import Assembly
from kiosk.rules.fitting.change_plan import Aim, ChangePlan, Doing, Proof, Report, Step, Unplaced
from kiosk.rules.fitting.magazine import Loaded, Magazine
from kiosk.rules.fitting.obstacles import limits
from kiosk.rules.fitting.plan_programme import Programme, Reached, solve
from kiosk.rules.fitting.plan_steps import steps
from kiosk.rules.fitting.pockets import clashes, travel_mm
from kiosk.rules.fitting.proposals import pack


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
    may be moved, and what is not wanted taken out, but only to make room.  A wanted one over a limit of the machine
    is not wanted here, and named wherever it stands.  returning: as in `obstacles`; their pockets are kept for them.
    seconds: most that each search may take (two, four where some change places); what is then not proven has a gap.
    """
    wanted = list({entry.key: entry for entry in wanted}.values())
    standing = [held for held in loaded if held.pocket in magazine]
    pinned = [held for held in standing if held.fixed or owners.get(held.pocket) == held.assembly.holder.key]
    settled = {held.assembly.key for held in pinned}
    kept = [held for held in returning if held.pocket in magazine]
    refused = {entry.key: limits(magazine, entry) for entry in wanted}
    coming = [entry for entry in wanted if entry.key not in settled and not refused[entry.key]]
    loose = [held for held in standing if held.assembly.key not in settled]

    def ordered(chosen: Mapping[str, int]) -> tuple[Step, ...]:
        goals = {key: at + magazine.first for key, at in chosen.items()}
        return steps(magazine, standing, goals, settled, coming, owners)

    def reached(chosen: Mapping[str, int]) -> Reached:
        way_mm = travel_mm(magazine)
        there = [chosen[entry.key] for entry in coming if entry.key in chosen]
        moves = sum(step.doing is not Doing.LEAVE for step in ordered(chosen))
        return Reached(float(len(there)), float(moves), float(sum(way_mm[at] for at in there)))

    programme = Programme(magazine, owners, coming, loose, [*pinned, *kept])
    chosen, bounds = solve(programme, seconds, report)
    if chosen is not None and _by_the_outside(ordered(chosen)):
        # the programme did not see that some wait for each other in a circle
        programme = Programme(magazine, owners, coming, loose, [*pinned, *kept], apart=True)
        again, tighter = solve(programme, seconds, report)
        if again is not None and reached(again).rank <= reached(chosen).rank:
            chosen = again
        bounds = tighter if tighter.moves >= bounds.moves and tighter.placed <= bounds.placed else bounds
    values = None if chosen is None else reached(chosen)
    if values is None or (values.placed, values.moves) != (bounds.placed, bounds.moves):
        # the solver ran out of time: what plain packing finds may be better
        plainly = _packed(programme, pinned, owners, coming, kept)
        other = reached(plainly)
        if values is None or other.rank < values.rank:
            chosen, values, bounds = plainly, other, bounds._replace(travel=0.0)
    assert chosen is not None  # it has values
    proofs = (
        Proof(Aim.PLACED, values.placed, max(values.placed, bounds.placed)),
        # with fewer placed than might be, fewer moves might do as well
        Proof(Aim.MOVES, values.moves, min(values.moves, bounds.moves) if values.placed >= bounds.placed else 0.0),
        Proof(Aim.TRAVEL, values.travel, min(values.travel, bounds.travel)),
    )
    made = ChangePlan(ordered(chosen), (), proofs)
    stands = {entry.key: pocket for pocket, entry in made.after.items()}
    unplaced = tuple(
        Unplaced(entry, refused[entry.key], stands.get(entry.key))
        for entry in wanted
        if entry.key not in stands or refused[entry.key]
    )
    return ChangePlan(made.steps, unplaced, proofs)


def _by_the_outside(ordered: Sequence[Step]) -> bool:
    """Whether somebody is taken out and put in again."""
    out = {step.assembly.key for step in ordered if step.doing is Doing.TAKE_OUT}
    return any(step.doing is Doing.PUT_IN and step.assembly.key in out for step in ordered)


def _packed(
    programme: Programme,
    pinned: Sequence[Loaded],
    owners: Mapping[int, str],
    coming: Sequence[Assembly],
    kept: Sequence[Loaded],
) -> dict[str, int]:
    """Pocket index by assembly key without the solver: newcomers beside what is there, or where that is too
    tight, all guests out, newcomers in, and back each guest whose pocket is still open to it.
    """
    magazine = programme.magazine
    inside = list(pinned)
    stays = {stay.entry.key: stay for stay in programme.stays}
    staying = [held for held in programme.loose if held.assembly.key in stays]
    for held in sorted(staying, key=lambda held: not stays[held.assembly.key].wanted):
        if _clear(magazine, inside, held):
            inside.append(held)
    there = {held.assembly.key for held in inside}
    fresh = [entry for entry in coming if entry.key not in there]
    found = pack(magazine, inside, owners, fresh, kept)
    guests = [held for held in inside if held in programme.guests]
    if len(found) < len(fresh):
        inside = [held for held in inside if held not in guests]
        found = pack(magazine, inside, owners, fresh, kept)
    else:
        guests = []
    newcomers = {entry.key: entry for entry in fresh}
    inside += [Loaded(pocket, newcomers[key]) for key, pocket in found.items()]
    for held in guests:
        if _clear(magazine, inside, held):
            inside.append(held)
    settled = {held.assembly.key for held in pinned}
    return {held.assembly.key: held.pocket - magazine.first for held in inside if held.assembly.key not in settled}


def _clear(magazine: Magazine, inside: Sequence[Loaded], held: Loaded) -> bool:
    """Whether nobody inside is in the way of one that stays."""
    at = held.pocket - magazine.first
    return not any(
        clashes(magazine, held.assembly.diameter_mm, other.assembly.diameter_mm)[at, other.pocket - magazine.first]
        for other in inside
    )
