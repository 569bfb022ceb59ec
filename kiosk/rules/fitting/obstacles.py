"""Everything that speaks against an assembly in a pocket: the machine's limits, whose pocket it is, who stands near.

Two assemblies never overlap, a limit is never exceeded and a fixed pocket is never given to another holder; what is
not known about an assembly counts against it where the magazine has a limit for it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from kiosk.rules.assembly import Assembly, Family
from kiosk.rules.fitting.loads import mass_kg, moment_nm, rated_rpm
from kiosk.rules.fitting.magazine import Loaded, Magazine
from kiosk.rules.fitting.pockets import HAIR_MM, clashes, distance_mm
from kiosk.rules.say import Value


class ObstacleReason(Enum):
    """Why an assembly may not stand in a pocket; the value is the tail of the message id."""

    NO_SUCH_POCKET = "no_such_pocket"
    CLOSED = "closed"
    OCCUPIED = "occupied"
    KEPT_FOR_ANOTHER = "kept_for_another"  # fixed pocket of another holder
    KEPT_UNASSIGNED = "kept_unassigned"  # fixed pocket that no holder has been assigned to
    OWN_POCKET = "own_pocket"  # this holder has a fixed pocket elsewhere
    NEIGHBOUR = "neighbour"  # would overlap what stands in another pocket
    NEIGHBOUR_RETURNS = "neighbour_returns"  # would overlap what comes back to its fixed pocket
    NEEDS_FREE_NEIGHBOURS = "needs_free_neighbours"  # too wide beside anything
    COUPLING = "coupling"
    KNOB = "knob"
    MASS = "mass"
    MASS_UNKNOWN = "mass_unknown"
    MOMENT = "moment"
    MOMENT_UNKNOWN = "moment_unknown"
    LENGTH = "length"
    LENGTH_UNKNOWN = "length_unknown"
    DIAMETER = "diameter"
    SPEED = "speed"
    SPEED_UNKNOWN = "speed_unknown"


@dataclass(frozen=True, slots=True)
class Obstacle:
    """One reason against a pocket.

    pocket: the pocket it is about (the neighbour's for NEIGHBOUR, its own for OWN_POCKET), None for a limit
    of the whole magazine.  other: name of what stands there, key of the holder it belongs to.  actual,
    allowed: in the unit of the reason (mm, kg, Nm, rpm).  actual_text, allowed_text: couplings and knobs.
    """

    reason: ObstacleReason
    pocket: int | None = None
    other: str = ""
    actual: float | None = None
    allowed: float | None = None
    actual_text: str = ""
    allowed_text: str = ""

    @property
    def message_id(self) -> str:
        return f"magazine.{self.reason.value}"

    @property
    def values(self) -> dict[str, Value]:
        """What the message shows, numbers under a name that ends in their unit; None where there is none."""
        unit = _UNITS.get(self.reason)
        ending = f"_{unit}" if unit else ""
        return {
            "pocket": self.pocket,
            "other": self.other or None,
            f"actual{ending}": self.actual_text or self.actual,
            f"allowed{ending}": self.allowed_text or self.allowed,
        }


_UNITS = {
    ObstacleReason.NEIGHBOUR: "mm",
    ObstacleReason.NEIGHBOUR_RETURNS: "mm",
    ObstacleReason.NEEDS_FREE_NEIGHBOURS: "mm",
    ObstacleReason.MASS: "kg",
    ObstacleReason.MASS_UNKNOWN: "kg",
    ObstacleReason.MOMENT: "nm",
    ObstacleReason.MOMENT_UNKNOWN: "nm",
    ObstacleReason.LENGTH: "mm",
    ObstacleReason.LENGTH_UNKNOWN: "mm",
    ObstacleReason.DIAMETER: "mm",
    ObstacleReason.SPEED: "rpm",
    ObstacleReason.SPEED_UNKNOWN: "rpm",
}


class Note(Enum):
    """What to mind about an assembly that is let in; the value is the tail of the message id."""

    HOLD_SPEED = "hold_speed"  # program must stay under the assembly's rated speed
    NO_COOLANT_HERE = "no_coolant_here"  # cutter has channels, the spindle gives none
    NO_CHANNEL = "no_channel"  # spindle gives coolant, holder has no channel: do not switch it on


def limits(magazine: Magazine, assembly: Assembly) -> tuple[Obstacle, ...]:
    """What speaks against the assembly in any pocket of this machine, and in its spindle."""
    against: list[Obstacle] = []
    coupling, knob = assembly.holder.coupling, assembly.holder.knob
    if magazine.couplings and coupling not in magazine.couplings:
        takes = ", ".join(str(known) for known in sorted(magazine.couplings, key=str))
        against.append(Obstacle(ObstacleReason.COUPLING, actual_text=str(coupling), allowed_text=takes))
    elif coupling.family is not Family.HOLLOW_TAPER and magazine.knob is not None and knob != magazine.knob:
        against.append(Obstacle(ObstacleReason.KNOB, actual_text=knob or "", allowed_text=magazine.knob))
    checks = (
        (magazine.mass_max_kg, mass_kg(assembly), ObstacleReason.MASS, ObstacleReason.MASS_UNKNOWN),
        (magazine.moment_max_nm, moment_nm(assembly), ObstacleReason.MOMENT, ObstacleReason.MOMENT_UNKNOWN),
        (magazine.length_max_mm, assembly.length_mm, ObstacleReason.LENGTH, ObstacleReason.LENGTH_UNKNOWN),
        (magazine.diameter_max_free_mm, assembly.diameter_mm, ObstacleReason.DIAMETER, ObstacleReason.DIAMETER),
    )
    for allowed, actual, reason, unknown in checks:
        if allowed is None:
            continue
        if actual is None:
            against.append(Obstacle(unknown, allowed=allowed))
        elif not actual <= allowed + HAIR_MM:
            against.append(Obstacle(reason, actual=actual, allowed=allowed))
    if magazine.rpm_needed is not None:
        rated = rated_rpm(assembly)
        if rated is None:
            against.append(Obstacle(ObstacleReason.SPEED_UNKNOWN, allowed=magazine.rpm_needed))
        elif rated < magazine.rpm_needed:
            against.append(Obstacle(ObstacleReason.SPEED, actual=rated, allowed=magazine.rpm_needed))
    return tuple(against)


def notes(magazine: Magazine, assembly: Assembly) -> tuple[Note, ...]:
    """What the operator should mind although the assembly may go in."""
    notes: list[Note] = []
    rated = rated_rpm(assembly)
    if magazine.rpm_max is not None and rated is not None and rated < magazine.rpm_max:
        notes.append(Note.HOLD_SPEED)
    if assembly.cutter.coolant and not magazine.coolant:
        notes.append(Note.NO_COOLANT_HERE)
    if magazine.coolant and not assembly.holder.coolant:
        notes.append(Note.NO_CHANNEL)
    return tuple(notes)


def _kept(magazine: Magazine, owners: Mapping[int, str], pocket: int, assembly: Assembly) -> tuple[Obstacle, ...]:
    """What the pocket itself has against the assembly, whatever stands around it."""
    if pocket in magazine.closed:
        return (Obstacle(ObstacleReason.CLOSED, pocket),)
    mine = [own for own, holder in owners.items() if holder == assembly.holder.key]
    owner = owners.get(pocket)
    if owner is not None and owner != assembly.holder.key:
        return (Obstacle(ObstacleReason.KEPT_FOR_ANOTHER, pocket, other=owner),)
    if mine and pocket not in mine:
        return (Obstacle(ObstacleReason.OWN_POCKET, min(mine)),)
    if owner is None and pocket in magazine.fixed:
        return (Obstacle(ObstacleReason.KEPT_UNASSIGNED, pocket),)
    return ()


def obstacles(
    magazine: Magazine,
    loaded: Sequence[Loaded],
    owners: Mapping[int, str],
    pocket: int,
    assembly: Assembly,
    returning: Sequence[Loaded] = (),
) -> tuple[Obstacle, ...]:
    """Everything against putting `assembly` into `pocket`; empty: it may go there.

    loaded: what stands in the magazine (the assembly's own entry, if any, is looked past, so that a move
    within the magazine can be asked about).  owners: holder key of each fixed pocket.  returning: assemblies
    that are away from their fixed pockets (in the spindle, on the bench) and must find room again.
    """
    if pocket not in magazine:
        return (Obstacle(ObstacleReason.NO_SUCH_POCKET, pocket, allowed=magazine.pockets),)
    against = list(_kept(magazine, owners, pocket, assembly))
    at = pocket - magazine.first
    for others, reason in ((loaded, ObstacleReason.NEIGHBOUR), (returning, ObstacleReason.NEIGHBOUR_RETURNS)):
        for other in sorted(others, key=lambda entry: entry.pocket):
            if other.assembly.key == assembly.key or other.pocket not in magazine:
                continue
            if other.pocket == pocket:
                if reason is ObstacleReason.NEIGHBOUR:
                    against.append(Obstacle(ObstacleReason.OCCUPIED, pocket, other=other.assembly.name))
                elif owners.get(pocket) != other.assembly.holder.key:
                    # it comes back here though the pocket is not its own by the book
                    against.append(Obstacle(ObstacleReason.KEPT_FOR_ANOTHER, pocket, other=other.assembly.holder.key))
                continue
            mine_mm, its_mm = assembly.diameter_mm, other.assembly.diameter_mm
            if not clashes(magazine, mine_mm, its_mm)[at, other.pocket - magazine.first]:
                continue
            room_mm = distance_mm(magazine, pocket, other.pocket)
            wide_mm = (mine_mm + its_mm) / 2 + magazine.clearance_mm
            if wide_mm > room_mm + HAIR_MM:
                against.append(Obstacle(reason, other.pocket, other.assembly.name, wide_mm, room_mm))
            else:
                widest = max(mine_mm, its_mm)
                against.append(
                    Obstacle(
                        ObstacleReason.NEEDS_FREE_NEIGHBOURS,
                        other.pocket,
                        other.assembly.name,
                        widest,
                        magazine.diameter_max_mm,
                    )
                )
    return (*against, *limits(magazine, assembly))


def allowed_pockets(magazine: Magazine, owners: Mapping[int, str], assembly: Assembly) -> NDArray[np.bool_]:
    """(pockets,) True where only what stands in the magazine could speak against the assembly."""
    if limits(magazine, assembly):
        return np.zeros(magazine.pockets, dtype=np.bool_)
    kept = [bool(_kept(magazine, owners, pocket, assembly)) for pocket in magazine.numbers]
    return ~np.array(kept, dtype=np.bool_)
