"""A machine's magazine as data: pockets, spacing, limits, and what stands in it.

A magazine that cannot exist is refused when it is made; which assembly may stand where is asked elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

from kiosk.rules.assembly import Assembly, Coupling
from kiosk.rules.say import Value, say


class MagazineKind(Enum):
    """How the pockets are strung together; the value is how data files write it."""

    CHAIN = "chain"
    DISC = "disc"
    SHELF = "shelf"
    CAROUSEL = "carousel"

    @property
    def wraps(self) -> bool:
        """Whether the last pocket is the first one's neighbour."""
        return self is not MagazineKind.SHELF


class MagazineFault(ValueError):
    """A magazine that cannot exist.  `field` is the value at fault, `why` what is wrong with it."""

    def __init__(self, field: str, key: str, **values: Value) -> None:
        super().__init__(f"magazine: {field}: {key}")
        self.field = field
        self.why = say(f"magazine_fault.{key}", **values)


@dataclass(frozen=True, slots=True)
class Magazine:
    """One magazine.  Pockets are numbered `first` and up; None as a limit means there is none."""

    kind: MagazineKind
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
            raise MagazineFault("pockets", "no_pockets")
        if not self.pitch_mm > 0:
            raise MagazineFault("pitch_mm", "more_than_0")
        if not self.clearance_mm >= 0:
            raise MagazineFault("clearance_mm", "not_less_than_0")
        if self.rows < 1 or self.pockets % self.rows:
            raise MagazineFault("rows", "unequal_rows", pockets=self.pockets, rows=self.rows)
        if self.rows > 1 and (self.kind is not MagazineKind.SHELF or not (self.row_pitch_mm or 0) > 0):
            raise MagazineFault("rows", "rows_of_a_shelf")
        if self.ring_mm is not None and (
            self.ring_mm <= 0 or self.kind not in (MagazineKind.DISC, MagazineKind.CAROUSEL)
        ):
            raise MagazineFault("ring_mm", "ring_of_a_disc")
        for field, pockets in (("fixed", self.fixed), ("closed", self.closed)):
            if strays := sorted(pocket for pocket in pockets if pocket not in self):
                raise MagazineFault(field, "no_such_pocket", pocket=strays[0])
        if self.change_at is not None and self.change_at not in self:
            raise MagazineFault("change_at", "no_such_pocket", pocket=self.change_at)

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
