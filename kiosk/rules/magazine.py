"""Which pocket of a machine's magazine an assembly may stand in, and which is best.

Two assemblies never overlap, a limit is never exceeded and a fixed pocket is never given to another holder;
what is not known about an assembly counts against it where the magazine has a limit for it.  Pocket spacing,
overlap and limits are the trade's: r_i + r_j + clearance <= distance of the pocket centres, chains and discs
wrap around, shelves do not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from kiosk.rules.assembly import Assembly, Coupling, Family
from kiosk.rules.loads import mass_kg, moment_nm, rated_rpm
from kiosk.rules.say import Value

HAIR_MM = 1e-6  # an exact fit stays a fit after rounding


class Kind(Enum):
    """How the pockets are strung together; the value is how data files write it."""

    CHAIN = "chain"
    DISC = "disc"
    SHELF = "shelf"
    CAROUSEL = "carousel"

    @property
    def wraps(self) -> bool:
        """Whether the last pocket is the first one's neighbour."""
        return self is not Kind.SHELF


class MagazineFault(ValueError):
    """A magazine that cannot exist.  `field` is the value at fault, `why` what is wrong with it."""

    def __init__(self, field: str, why: str) -> None:
        super().__init__(f"magazine: {field}: {why}")
        self.field = field
        self.why = why


@dataclass(frozen=True, slots=True)
class Magazine:
    """One magazine.  Pockets are numbered `first` and up; None as a limit means there is none."""

    kind: Kind
    pockets: int
    pitch_mm: float  # centre to centre of neighbouring pockets
    clearance_mm: float = 5.0
    couplings: frozenset[Coupling] = frozenset()  # empty: any
    knob: str | None = None  # pattern of the retention knob the drawbar wants
    coolant: bool = False  # spindle gives coolant through the cutter
    rpm_max: float | None = None  # of the spindle; slower assemblies are let in with a note
    rpm_needed: float | None = None  # assemblies rated slower are kept out: the control cannot hold them back
    mass_max_kg: float | None = None
    moment_max_nm: float | None = None
    length_max_mm: float | None = None
    diameter_max_mm: float | None = None  # with neighbours on both sides
    diameter_max_free_mm: float | None = None  # with both neighbouring pockets free
    change_at: int | None = None  # pocket nearest the change point; None: the first
    fixed: frozenset[int] = frozenset()  # taken only by the holder they are assigned to
    closed: frozenset[int] = frozenset()  # out of use
    first: int = 1
    ring_mm: float | None = None  # diameter of the ring of pocket centres (disc, carousel)
    rows: int = 1  # of a shelf, counted through row by row
    row_pitch_mm: float | None = None

    def __post_init__(self) -> None:
        if self.pockets < 1:
            raise MagazineFault("pockets", "a magazine has at least one")
        if not self.pitch_mm > 0:
            raise MagazineFault("pitch_mm", "must be more than 0")
        if not self.clearance_mm >= 0:
            raise MagazineFault("clearance_mm", "must not be less than 0")
        if self.rows < 1 or self.pockets % self.rows:
            raise MagazineFault("rows", f"{self.pockets} pockets do not stand in {self.rows} equal rows")
        if self.rows > 1 and (self.kind is not Kind.SHELF or not (self.row_pitch_mm or 0) > 0):
            raise MagazineFault("rows", "only a shelf has rows, and they need row_pitch_mm")
        if self.ring_mm is not None and (self.ring_mm <= 0 or self.kind not in (Kind.DISC, Kind.CAROUSEL)):
            raise MagazineFault("ring_mm", "must be more than 0, and only a disc or carousel has one")
        for field, pockets in (("fixed", self.fixed), ("closed", self.closed)):
            if strays := sorted(pocket for pocket in pockets if pocket not in self):
                raise MagazineFault(field, f"there is no pocket {strays[0]}")
        if self.change_at is not None and self.change_at not in self:
            raise MagazineFault("change_at", f"there is no pocket {self.change_at}")

    def __contains__(self, pocket: int) -> bool:
        return self.first <= pocket < self.first + self.pockets

    @property
    def numbers(self) -> range:
        return range(self.first, self.first + self.pockets)


class Machine(NamedTuple):
    """A machine by the name people call it, and its magazine."""

    name: str
    magazine: Magazine


@dataclass(frozen=True, slots=True)
class Loaded:
    """What stands in a pocket.  `fixed`: it must not be moved to make room."""

    pocket: int
    assembly: Assembly
    fixed: bool = False


class Reason(Enum):
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

    reason: Reason
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
    Reason.NEIGHBOUR: "mm",
    Reason.NEIGHBOUR_RETURNS: "mm",
    Reason.NEEDS_FREE_NEIGHBOURS: "mm",
    Reason.MASS: "kg",
    Reason.MASS_UNKNOWN: "kg",
    Reason.MOMENT: "nm",
    Reason.MOMENT_UNKNOWN: "nm",
    Reason.LENGTH: "mm",
    Reason.LENGTH_UNKNOWN: "mm",
    Reason.DIAMETER: "mm",
    Reason.SPEED: "rpm",
    Reason.SPEED_UNKNOWN: "rpm",
}


class Note(Enum):
    """What to mind about an assembly that is let in; the value is the tail of the message id."""

    HOLD_SPEED = "hold_speed"  # program must stay under the assembly's rated speed
    NO_COOLANT_HERE = "no_coolant_here"  # cutter has channels, the spindle gives none
    NO_CHANNEL = "no_channel"  # spindle gives coolant, holder has no channel: do not switch it on


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


@dataclass(frozen=True, slots=True)
class Overlap:
    """Neighbouring pockets an assembly reaches into, towards higher and lower numbers (MTConnect)."""

    positive: int
    negative: int


def _ring_mm(magazine: Magazine) -> float:
    """Diameter of the ring of pocket centres; the pitch is a chord, so it fixes the ring where none is given."""
    return magazine.ring_mm or float(magazine.pitch_mm / np.sin(np.pi / magazine.pockets))


@lru_cache(maxsize=64)
def _centres_mm(magazine: Magazine) -> NDArray[np.float64]:
    """(pockets, pockets) distances of pocket centres, mm."""
    index = np.arange(magazine.pockets)
    apart = np.abs(index[:, None] - index[None, :])
    steps = np.minimum(apart, magazine.pockets - apart)
    match magazine.kind:
        case Kind.CHAIN:
            return np.asarray(steps * magazine.pitch_mm, dtype=np.float64)
        case Kind.DISC | Kind.CAROUSEL:
            if magazine.pockets < 3 and magazine.ring_mm is None:
                return np.asarray(steps * magazine.pitch_mm, dtype=np.float64)
            half_angle = np.pi / magazine.pockets
            return np.asarray(_ring_mm(magazine) * np.sin(half_angle * steps), dtype=np.float64)
        case Kind.SHELF:
            row, column = np.divmod(index, magazine.pockets // magazine.rows)
            across = (column[:, None] - column[None, :]) * magazine.pitch_mm
            down = (row[:, None] - row[None, :]) * (magazine.row_pitch_mm or 0.0)
            return np.asarray(np.hypot(across, down), dtype=np.float64)


@lru_cache(maxsize=64)
def beside(magazine: Magazine) -> NDArray[np.bool_]:
    """(pockets, pockets) whether two pockets are next to each other in a row."""
    index = np.arange(magazine.pockets)
    apart = np.abs(index[:, None] - index[None, :])
    if magazine.kind.wraps:
        return np.asarray((apart == 1) | (apart == magazine.pockets - 1) & (apart > 0))
    row = index // (magazine.pockets // magazine.rows)
    return np.asarray((apart == 1) & (row[:, None] == row[None, :]))


def reaches_mm(magazine: Magazine, along_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """(points, pockets) distances of points from the pocket centres, mm.

    along_mm: where each point lies on the line through the centres, from the first pocket, one pitch a pocket.
    """
    index = np.arange(magazine.pockets)
    match magazine.kind:
        case Kind.CHAIN:
            apart = np.abs(along_mm[:, None] - index[None, :] * magazine.pitch_mm)
            return np.asarray(np.minimum(apart, np.abs(magazine.pockets * magazine.pitch_mm - apart)))
        case Kind.DISC | Kind.CAROUSEL:
            ring_mm = _centres_mm(magazine).max() if magazine.pockets < 3 else _ring_mm(magazine)
            centres = ring_mm / 2 * np.exp(2j * np.pi * index / magazine.pockets)
            before, share = np.divmod(along_mm / magazine.pitch_mm, 1.0)
            at = before.astype(np.int64) % magazine.pockets
            points = centres[at] * (1 - share) + centres[(at + 1) % magazine.pockets] * share
            return np.asarray(np.abs(points[:, None] - centres[None, :]), dtype=np.float64)
        case Kind.SHELF:
            columns = magazine.pockets // magazine.rows
            row, column = np.divmod(index, columns)
            at_row, at_mm = np.divmod(along_mm, columns * magazine.pitch_mm)
            across = at_mm[:, None] - column[None, :] * magazine.pitch_mm
            down = (at_row[:, None] - row[None, :]) * (magazine.row_pitch_mm or 0.0)
            return np.asarray(np.hypot(across, down), dtype=np.float64)


def distance_mm(magazine: Magazine, one: int, other: int) -> float:
    """Between the centres of two pockets, the shorter way round."""
    return float(_centres_mm(magazine)[one - magazine.first, other - magazine.first])


@lru_cache(maxsize=4096)
def clashes(magazine: Magazine, one_mm: float, other_mm: float) -> NDArray[np.bool_]:
    """(pockets, pockets): True where `one_mm` wide in the row and `other_mm` wide in the column clash.

    The one rule about neighbours; everything else here asks it.
    """
    wide = (one_mm + other_mm) / 2 + magazine.clearance_mm
    clash = ~(_centres_mm(magazine) >= wide - HAIR_MM)  # so that nan clashes
    if magazine.diameter_max_mm is not None and max(one_mm, other_mm) > magazine.diameter_max_mm + HAIR_MM:
        clash = clash | beside(magazine)
    np.fill_diagonal(clash, True)
    clash.setflags(write=False)  # it is kept for the next who asks
    return clash


def travel_mm(magazine: Magazine) -> NDArray[np.float64]:
    """(pockets,) distance of each pocket from the change point, mm."""
    at = magazine.first if magazine.change_at is None else magazine.change_at
    return np.asarray(_centres_mm(magazine)[at - magazine.first], dtype=np.float64)


def overlap(magazine: Magazine, assembly: Assembly) -> Overlap:
    """How many neighbouring pockets an assembly reaches into, were they all filled with the usual width.

    The usual width is what every pocket can take at once: pitch less clearance, or the magazine's limit.
    """
    usual_mm = min(magazine.pitch_mm - magazine.clearance_mm, magazine.diameter_max_mm or float("inf"))
    reach = clashes(magazine, assembly.diameter_mm, max(usual_mm, 0.0))
    if magazine.kind.wraps:
        steps = sum(bool(reach[0, step]) for step in range(1, magazine.pockets // 2 + 1))
        return Overlap(steps, steps)
    steps = sum(bool(reach[0, step]) for step in range(1, magazine.pockets // magazine.rows))
    return Overlap(steps, steps)


def limits(magazine: Magazine, assembly: Assembly) -> tuple[Obstacle, ...]:
    """What speaks against the assembly in any pocket of this machine, and in its spindle."""
    found: list[Obstacle] = []
    coupling, knob = assembly.holder.coupling, assembly.holder.knob
    if magazine.couplings and coupling not in magazine.couplings:
        takes = ", ".join(str(known) for known in sorted(magazine.couplings, key=str))
        found.append(Obstacle(Reason.COUPLING, actual_text=str(coupling), allowed_text=takes))
    elif coupling.family is not Family.HOLLOW_TAPER and magazine.knob is not None and knob != magazine.knob:
        found.append(Obstacle(Reason.KNOB, actual_text=knob or "", allowed_text=magazine.knob))
    checks = (
        (magazine.mass_max_kg, mass_kg(assembly), Reason.MASS, Reason.MASS_UNKNOWN),
        (magazine.moment_max_nm, moment_nm(assembly), Reason.MOMENT, Reason.MOMENT_UNKNOWN),
        (magazine.length_max_mm, assembly.length_mm, Reason.LENGTH, Reason.LENGTH_UNKNOWN),
        (magazine.diameter_max_free_mm, assembly.diameter_mm, Reason.DIAMETER, Reason.DIAMETER),
    )
    for allowed, actual, reason, unknown in checks:
        if allowed is None:
            continue
        if actual is None:
            found.append(Obstacle(unknown, allowed=allowed))
        elif not actual <= allowed + HAIR_MM:
            found.append(Obstacle(reason, actual=actual, allowed=allowed))
    if magazine.rpm_needed is not None:
        rated = rated_rpm(assembly)
        if rated is None:
            found.append(Obstacle(Reason.SPEED_UNKNOWN, allowed=magazine.rpm_needed))
        elif rated < magazine.rpm_needed:
            found.append(Obstacle(Reason.SPEED, actual=rated, allowed=magazine.rpm_needed))
    return tuple(found)


def notes(magazine: Magazine, assembly: Assembly) -> tuple[Note, ...]:
    """What the operator should mind although the assembly may go in."""
    found: list[Note] = []
    rated = rated_rpm(assembly)
    if magazine.rpm_max is not None and rated is not None and rated < magazine.rpm_max:
        found.append(Note.HOLD_SPEED)
    if assembly.cutter.coolant and not magazine.coolant:
        found.append(Note.NO_COOLANT_HERE)
    if magazine.coolant and not assembly.holder.coolant:
        found.append(Note.NO_CHANNEL)
    return tuple(found)


def _kept(magazine: Magazine, owners: Mapping[int, str], pocket: int, assembly: Assembly) -> tuple[Obstacle, ...]:
    """What the pocket itself has against the assembly, whatever stands around it."""
    if pocket in magazine.closed:
        return (Obstacle(Reason.CLOSED, pocket),)
    mine = [own for own, holder in owners.items() if holder == assembly.holder.key]
    owner = owners.get(pocket)
    if owner is not None and owner != assembly.holder.key:
        return (Obstacle(Reason.KEPT_FOR_ANOTHER, pocket, other=owner),)
    if mine and pocket not in mine:
        return (Obstacle(Reason.OWN_POCKET, min(mine)),)
    if owner is None and pocket in magazine.fixed:
        return (Obstacle(Reason.KEPT_UNASSIGNED, pocket),)
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
        return (Obstacle(Reason.NO_SUCH_POCKET, pocket, allowed=magazine.pockets),)
    found = list(_kept(magazine, owners, pocket, assembly))
    at = pocket - magazine.first
    for others, reason in ((loaded, Reason.NEIGHBOUR), (returning, Reason.NEIGHBOUR_RETURNS)):
        for other in sorted(others, key=lambda entry: entry.pocket):
            if other.assembly.key == assembly.key or other.pocket not in magazine:
                continue
            if other.pocket == pocket:
                if reason is Reason.NEIGHBOUR:
                    found.append(Obstacle(Reason.OCCUPIED, pocket, other=other.assembly.name))
                elif owners.get(pocket) != other.assembly.holder.key:
                    # it comes back here though the pocket is not its own by the book
                    found.append(Obstacle(Reason.KEPT_FOR_ANOTHER, pocket, other=other.assembly.holder.key))
                continue
            mine_mm, its_mm = assembly.diameter_mm, other.assembly.diameter_mm
            if not clashes(magazine, mine_mm, its_mm)[at, other.pocket - magazine.first]:
                continue
            room_mm = distance_mm(magazine, pocket, other.pocket)
            wide_mm = (mine_mm + its_mm) / 2 + magazine.clearance_mm
            if wide_mm > room_mm + HAIR_MM:
                found.append(Obstacle(reason, other.pocket, other.assembly.name, wide_mm, room_mm))
            else:
                widest = max(mine_mm, its_mm)
                found.append(
                    Obstacle(
                        Reason.NEEDS_FREE_NEIGHBOURS,
                        other.pocket,
                        other.assembly.name,
                        widest,
                        magazine.diameter_max_mm,
                    )
                )
    return (*found, *limits(magazine, assembly))


def allowed_pockets(magazine: Magazine, owners: Mapping[int, str], assembly: Assembly) -> NDArray[np.bool_]:
    """(pockets,) True where only what stands in the magazine could speak against the assembly."""
    if limits(magazine, assembly):
        return np.zeros(magazine.pockets, dtype=np.bool_)
    kept = [bool(_kept(magazine, owners, pocket, assembly)) for pocket in magazine.numbers]
    return ~np.array(kept, dtype=np.bool_)


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
