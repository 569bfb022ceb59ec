"""Holders, cutters and what stands between building one up and tearing it down.

A holder is steel with a label; an assembly is a cutter built into it, and ends when it is torn down.  These
are plain values: nothing here knows where a thing is or what may be done with it.  Field names are the
lower-case symbols of ISO 13399 (DC, DMM, OAL, LF, LU, RE, ZEFP, RPMX, WT) with their unit.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum


class Family(Enum):
    """Spindle side of a holder; the value is how data files write it before the size."""

    HOLLOW_TAPER = "HSK"  # ISO 12164
    STEEP_TAPER_A = "A"  # ISO 7388-1, 7/24
    STEEP_TAPER_J = "J"  # ISO 7388-2, 7/24

    def __lt__(self, other: Family) -> bool:
        return self.value < other.value  # a spindle's couplings are written down in order, of two families too


SIZES = {
    Family.HOLLOW_TAPER: (25, 32, 40, 50, 63, 80, 100, 125, 160),
    Family.STEEP_TAPER_A: (30, 40, 50),
    Family.STEEP_TAPER_J: (30, 40, 50),
}


@dataclass(frozen=True, slots=True, order=True)
class Coupling:
    """What seats in the spindle.  Written `HSK63`, `A40`, `J40`."""

    family: Family
    size: int

    def __str__(self) -> str:
        return f"{self.family.value}{self.size}"

    @property
    def designation(self) -> str:
        """As it is written on steel and paper, a hollow taper with its form letter: `HSK-A 63`, `A 40`."""
        return f"{self.family.value}{'-A' if self.family is Family.HOLLOW_TAPER else ''} {self.size}"

    @staticmethod
    def parse(text: str) -> Coupling:
        """As files write it, or a hollow taper's designation.  Raises ValueError for what the standards do not have."""
        match = re.fullmatch(r"([A-Z]+)[ -]?(\d+)", text.strip().upper().replace("HSK-A", "HSK"))
        families = {family.value: family for family in Family}
        if not match or match[1] not in families or int(match[2]) not in SIZES[families[match[1]]]:
            known = ", ".join(f"{family.value}{size}" for family in Family for size in SIZES[family])
            raise ValueError(f"{text!r} is no coupling the kiosk knows ({known})")
        return Coupling(families[match[1]], int(match[2]))


class Clamping(Enum):
    """How the cutter is held; the value is how data files write it."""

    COLLET = "collet"
    SIDE_SCREW = "side_screw"
    PRESS_FIT = "press_fit"
    SHRINK_FIT = "shrink_fit"
    MORSE_TAPER = "morse_taper"


class Material(Enum):
    """What the shank is made of: it decides how the cutter grows with heat."""

    CARBIDE = "carbide"
    HSS = "hss"


class Condition(Enum):
    """What a hand says of a cutter that comes back."""

    GOOD = "good"
    WORN = "worn"
    BROKEN = "broken"
    UNKNOWN = "unknown"

    @property
    def badness(self) -> int:
        """How far it is from good: of several that are told the greatest counts."""
        return (Condition.GOOD, Condition.UNKNOWN, Condition.WORN, Condition.BROKEN).index(self)


@dataclass(frozen=True, slots=True)
class Holder:
    """Steel with a label on it.  `key` never changes; the label's code may (a replaced label)."""

    key: str
    name: str
    coupling: Coupling
    clamping: Clamping
    bore_mm: float  # nominal bore, or the upper end of a collet's range
    bore_min_mm: float | None = None  # lower end of a collet's range
    nose_mm: float | None = None  # outside diameter at the nose
    projection_mm: float | None = None  # gauge line to nose
    insert_min_mm: float | None = None
    insert_max_mm: float | None = None
    rpm_max: float | None = None
    mass_kg: float | None = None
    coolant: bool = False  # has a through-coolant channel
    knob: str | None = None  # pattern of the retention knob (steep tapers)
    heat_limit: int | None = None  # heat cycles allowed; None: the shop's setting


@dataclass(frozen=True, slots=True)
class Cutter:
    """A cutter as bought or reground."""

    key: str
    name: str
    dc_mm: float  # DC cutting diameter
    dmm_mm: float  # DMM shank diameter
    oal_mm: float  # OAL overall length
    material: Material = Material.CARBIDE
    lf_mm: float | None = None  # LF functional length
    lu_mm: float | None = None  # LU usable length
    re_mm: float = 0.0  # RE corner radius
    zefp: int = 1  # ZEFP effective edges
    rpmx_rpm: float | None = None  # RPMX
    wt_kg: float | None = None  # WT
    flat: bool = False  # has a flat for a side screw
    shank_h6: bool = True  # shank ground to ISO h6
    coolant: bool = False
    life_min: float | None = None  # cutting minutes it is good for


@dataclass(frozen=True, slots=True)
class Measured:
    """What the presetter says of an assembly.  Lengths in mm from the gauge line."""

    length_mm: float
    diameter_mm: float
    corner_radius_mm: float | None = None
    runout_um: float | None = None
    edges: int | None = None
    unbalance_gmm: float | None = None
    balance_grade: float | None = None
    at_rpm: float | None = None
    length_error_um: float | None = None  # computed, when it was measured warm


@dataclass(frozen=True, slots=True)
class Unbalance:
    """What a balancing machine said of an assembly, and what it was asked to keep there.

    residual_gmm: left, g mm.  grade: G by ISO 21940-11 that was asked for at that speed, 1/min, for that mass, kg;
    None: whoever gave the unbalance did not say.
    """

    residual_gmm: float
    grade: float | None = None
    rpm: float | None = None
    mass_kg: float | None = None


@dataclass(frozen=True, slots=True)
class Assembly:
    """One cutter clamped in one holder."""

    key: str
    name: str
    holder: Holder
    cutter: Cutter
    insert_mm: float | None = None
    measured: Measured | None = None
    condition: Condition = Condition.GOOD
    used_min: float = 0.0
    unbalance: Unbalance | None = None  # the last that was said of it

    @property
    def diameter_mm(self) -> float:
        """Largest diameter in front of the gauge line known for it."""
        return max(
            self.measured.diameter_mm if self.measured else 0.0, self.cutter.dc_mm, self.holder.nose_mm or 0.0
        )

    @property
    def length_mm(self) -> float | None:
        """Gauge length: measured, else what holder and cutter add up to, else None."""
        if self.measured:
            return self.measured.length_mm
        if self.holder.projection_mm is None or self.insert_mm is None:
            return None
        return self.holder.projection_mm + self.cutter.oal_mm - self.insert_mm
