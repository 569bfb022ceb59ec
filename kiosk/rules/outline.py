"""What a holder looks like to heat: turned segments, the cutter in its bore, and how much of it was heated.

Four numbers (coupling, bore, nose diameter, projection) make an outline; the odd holder is written as free
segments.  This module never guesses on the light side: what is not known becomes the largest plausible holder.
Flange and taper sizes: ISO 12164-1 (hollow taper), ISO 7388-1 and -2 (steep taper 7/24); nose sizes: common
shrink-fit outlines with a 4.5 degree cone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from kiosk.rules.assembly import Assembly, Coupling, Family, Holder, Material


class Metal(NamedTuple):
    """What heat and length know of a metal."""

    k_w_mk: float
    rho_kg_m3: float
    c_j_kgk: float
    alpha_per_k: float
    e_gpa: float  # stiffness: which of two bonded metals decides how the pair grows


STEEL = Metal(28.0, 7800.0, 470.0, 11.5e-6, 210.0)
CUTTER_METALS = {
    Material.CARBIDE: Metal(80.0, 14500.0, 230.0, 5.5e-6, 600.0),
    Material.HSS: Metal(25.0, 8100.0, 460.0, 11.5e-6, 210.0),
}


class OutlineError(ValueError):
    """Numbers that make no holder.  `field` is the one to correct, `why` says how, in a setter's words."""

    def __init__(self, field: str, why: str) -> None:
        super().__init__(f"{field}: {why}")
        self.field = field
        self.why = why


class Segment(NamedTuple):
    """A turned length of holder; outside diameter linear from start to end, seen from the nose."""

    length_mm: float
    od_start_mm: float
    od_end_mm: float
    bore_mm: float = 0.0  # 0: solid


class Tool(NamedTuple):
    """The cutter as a solid cylinder: `insert_mm` deep in the bore, `stickout_mm` in front of the nose."""

    shank_mm: float
    insert_mm: float
    stickout_mm: float
    metal: Metal = CUTTER_METALS[Material.CARBIDE]


@dataclass(frozen=True, slots=True)
class Profile:
    """A holder with or without its cutter.

    segments: from the nose (z = 0) towards the coupling, mm.  gauge_mm: z of the gauge line, up to which a
    presetter measures length.  assumed: names of the numbers nobody gave, so that a screen can ask for them.
    """

    segments: tuple[Segment, ...]
    tool: Tool | None = None
    gauge_mm: float | None = None
    steel: Metal = STEEL
    assumed: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        check(self)

    @property
    def length_mm(self) -> float:
        return sum(segment.length_mm for segment in self.segments)

    @property
    def gauge_z_mm(self) -> float:
        """z of the gauge line; without one given, where the last segment (the taper) begins."""
        if self.gauge_mm is not None:
            return self.gauge_mm
        return self.length_mm - self.segments[-1].length_mm if len(self.segments) > 1 else self.length_mm

    @property
    def flange_mm(self) -> tuple[float, float]:
        """Where the widest segment starts and ends, z in mm."""
        widest = max(
            range(len(self.segments)),
            key=lambda at: max(self.segments[at].od_start_mm, self.segments[at].od_end_mm),
        )
        start = sum(segment.length_mm for segment in self.segments[:widest])
        return start, start + self.segments[widest].length_mm

    @property
    def holder_kg(self) -> float:
        """Steel alone: what a scale shows for the empty holder, without a retention knob."""
        volume_mm3 = 0.0
        for segment in self.segments:
            a, b = segment.od_start_mm, segment.od_end_mm
            volume_mm3 += math.pi / 4 * segment.length_mm * ((a * a + a * b + b * b) / 3 - segment.bore_mm**2)
        return volume_mm3 * 1e-9 * self.steel.rho_kg_m3

    @property
    def mass_kg(self) -> float:
        """Holder and cutter, so that a wrong outline is noticed on a scale."""
        tool = self.tool
        if tool is None:
            return self.holder_kg
        length_mm = tool.insert_mm + tool.stickout_mm
        return self.holder_kg + math.pi / 4 * tool.shank_mm**2 * length_mm * 1e-9 * tool.metal.rho_kg_m3


def check(profile: Profile) -> None:
    """Raises OutlineError naming the field that cannot be."""
    if not profile.segments:
        raise OutlineError("segments", "a holder needs at least one segment")
    for at, segment in enumerate(profile.segments):
        name = f"segments[{at}]"
        _number(f"{name}.length_mm", segment.length_mm, 0.1, 1000)
        _number(f"{name}.od_start_mm", segment.od_start_mm, 1, 500)
        _number(f"{name}.od_end_mm", segment.od_end_mm, 1, 500)
        _number(f"{name}.bore_mm", segment.bore_mm, 0, 500)
        if segment.bore_mm >= min(segment.od_start_mm, segment.od_end_mm):
            raise OutlineError(f"{name}.bore_mm", "the bore is as wide as the steel around it")
    for field, metal in (("steel", profile.steel), ("tool.metal", profile.tool.metal if profile.tool else STEEL)):
        for part, value in zip(Metal._fields[:3], metal[:3], strict=True):
            _number(f"{field}.{part}", value, 1e-3, 1e6)
    if profile.tool is None:
        return
    tool = profile.tool
    _number("tool.shank_mm", tool.shank_mm, 0.5, 200)
    _number("tool.insert_mm", tool.insert_mm, 0, profile.length_mm)
    _number("tool.stickout_mm", tool.stickout_mm, 0, 1000)
    if tool.insert_mm + tool.stickout_mm <= 0:
        raise OutlineError("tool.stickout_mm", "the cutter has no length")
    start_mm = 0.0
    for segment in profile.segments:
        if start_mm < tool.insert_mm and tool.shank_mm >= min(segment.od_start_mm, segment.od_end_mm):
            raise OutlineError("tool.shank_mm", "the shank is as wide as the holder around it")
        start_mm += segment.length_mm


def _number(field: str, value: float, low: float, high: float) -> None:
    if not (math.isfinite(value) and low <= value <= high):
        raise OutlineError(field, f"must lie between {low:g} and {high:g}, not {value:g}")


class _Spindle(NamedTuple):
    """Spindle side: flange, then taper with its bore, mm."""

    flange_d: float
    flange_l: float
    taper_d: float
    taper_end_d: float
    taper_l: float
    bore: float


# ISO 12164-1 form A: d1, f, d2, d2 - l1/10 (taper 1:10), l1, and the inside of the hollow shank.
_HOLLOW = {
    25: _Spindle(25, 10, 19, 17.7, 13, 14),
    32: _Spindle(32, 20, 24, 22.4, 16, 17),
    40: _Spindle(40, 20, 30, 28, 20, 21),
    50: _Spindle(50, 26, 38, 35.5, 25, 26),
    63: _Spindle(63, 26, 48, 44.8, 32, 34),
    80: _Spindle(80, 26, 60, 56, 40, 42),
    100: _Spindle(100, 29, 75, 70, 50, 53),
    125: _Spindle(125, 29, 95, 88.7, 63, 67),
    160: _Spindle(160, 31, 120, 112, 80, 85),
}
# ISO 7388-1 form A and 7388-2 form J: flange, its width up to the gauge line, taper 7/24, knob thread's bore.
_STEEP_A = {
    30: _Spindle(50, 19.1, 31.75, 17.8, 47.8, 13),
    40: _Spindle(63.5, 19.1, 44.45, 24.5, 68.4, 17),
    50: _Spindle(97.5, 19.1, 69.85, 40.2, 101.75, 25),
}
_STEEP_J = {
    30: _Spindle(46, 22, 31.75, 17.6, 48.4, 12.5),
    40: _Spindle(63, 27, 44.45, 25.4, 65.4, 17),
    50: _Spindle(100, 38, 69.85, 40.2, 101.8, 25),
}
_SPINDLES = {Family.HOLLOW_TAPER: _HOLLOW, Family.STEEP_TAPER_A: _STEEP_A, Family.STEEP_TAPER_J: _STEEP_J}

# Nose diameter and deepest clamping length by bore: the slim common outline of shrink-fit holders, mm.
_NOSES = (
    (4, 10, 22),
    (8, 21, 36),
    (10, 24, 42),
    (12, 24, 47),
    (14, 27, 47),
    (16, 27, 50),
    (20, 33, 52),
    (25, 44, 58),
    (32, 44, 62),
    (50, 66, 80),
)
_CONE = math.tan(math.radians(4.5))
_BORE_BEHIND_MM = 10.0  # room for the adjusting screw behind the deepest insert
_LONG_MM = {25: 60, 30: 130, 32: 100, 40: 160, 50: 160, 63: 160, 80: 160, 100: 200, 125: 200, 160: 200}
_BORES_MM = {25: 10, 30: 20, 32: 16, 40: 20, 50: 25, 63: 32, 80: 32, 100: 32, 125: 50, 160: 50}


def outline(
    coupling: Coupling | None,
    bore_mm: float | None,
    nose_mm: float | None,
    projection_mm: float | None,
    *,
    insert_mm: float | None = None,
    stickout_mm: float | None = None,
    material: Material = Material.CARBIDE,
    with_tool: bool = True,
    collar: bool = True,
) -> Profile:
    """A profile from the four numbers a setter enters.

    coupling: spindle side.  projection_mm: gauge line to nose.  Whatever is None becomes the largest plausible
    value and is named in `assumed`.  insert_mm: how deep the cutter sits.  with_tool False: an empty holder.
    collar: its neck grows thick before the flange, as most do; else it is slender all along.  Raises OutlineError.
    """
    assumed = [
        name
        for name, value in (
            ("coupling", coupling),
            ("bore_mm", bore_mm),
            ("nose_mm", nose_mm),
            ("projection_mm", projection_mm),
            ("insert_mm", insert_mm if with_tool else 0.0),
            ("stickout_mm", stickout_mm if with_tool else 0.0),
        )
        if value is None
    ]
    coupling = coupling or Coupling(Family.HOLLOW_TAPER, 100)
    spindle = _SPINDLES[coupling.family][coupling.size]
    bore = _BORES_MM[coupling.size] if bore_mm is None else bore_mm
    _number("bore_mm", bore, 1, 60)
    usual_nose, usual_insert = next(((nose, depth) for top, nose, depth in _NOSES if bore <= top), (66, 80))
    if nose_mm is None:  # a reinforced nose, as far as the flange lets it be one
        nose_mm = max(bore + 6, min(usual_nose + 10, spindle.flange_d - 2))
    if projection_mm is None:
        projection_mm = _LONG_MM[coupling.size]
    _number("nose_mm", nose_mm, bore + 1, 200)
    _number("projection_mm", projection_mm, 10, 400)
    neck = projection_mm - spindle.flange_l
    if insert_mm is None:
        insert_mm = usual_insert
    if with_tool:
        _number("insert_mm", insert_mm, 1, projection_mm)
    segments = _neck(neck, nose_mm, bore, min(insert_mm + _BORE_BEHIND_MM, projection_mm), spindle, collar)
    segments.append(Segment(spindle.taper_l, spindle.taper_d, spindle.taper_end_d, spindle.bore))
    tool = None
    if with_tool:
        stickout = 4 * bore if stickout_mm is None else stickout_mm
        tool = Tool(bore, insert_mm, max(stickout, 0.0), CUTTER_METALS[material])
    return Profile(tuple(segments), tool, projection_mm, assumed=tuple(assumed))


def _neck(
    neck: float, nose: float, bore: float, bore_depth: float, spindle: _Spindle, collar: bool
) -> list[Segment]:
    """Cone, collar and flange from the nose to the gauge line, cut where the bore ends."""
    parts: list[tuple[float, float, float]] = []
    if neck > 2:
        long_mm = min(20.0, 0.2 * neck) if collar else 0.0
        top = max(nose, 0.9 * spindle.flange_d)  # the gripper needs its groove free behind the neck
        cone_end = min(nose + 2 * _CONE * (neck - long_mm), top)
        parts.append((neck - long_mm, nose, cone_end))
        if collar:
            parts.append((long_mm, min(cone_end + 4, top), max(cone_end, 0.84 * spindle.flange_d)))
        parts.append((spindle.flange_l, spindle.flange_d, spindle.flange_d))
    else:  # a stub: the bore sits in the flange
        parts.append((spindle.flange_l + neck, max(nose, spindle.flange_d), max(nose, spindle.flange_d)))
    segments: list[Segment] = []
    start = 0.0
    for length, od_start, od_end in parts:
        inside = min(max(bore_depth - start, 0.0), length)
        if inside > 0.5 and length - inside > 0.5:
            mid = od_start + (od_end - od_start) * inside / length
            segments.append(Segment(inside, od_start, mid, bore))
            segments.append(Segment(length - inside, mid, od_end))
        else:
            segments.append(Segment(length, od_start, od_end, bore if inside > 0.5 else 0.0))
        start += length
    return segments


def free(segments: Sequence[Segment], tool: Tool | None = None, gauge_mm: float | None = None) -> Profile:
    """The odd holder, written segment by segment.  Raises OutlineError."""
    return Profile(tuple(segments), tool, gauge_mm)


def bare(holder: Holder) -> Profile:
    """The outline of a holder from the figures somebody enters.  Raises OutlineError where they make no holder."""
    return outline(holder.coupling, holder.bore_mm, holder.nose_mm, holder.projection_mm, with_tool=False)


def outlines_of(holder: Holder | None, assembly: Assembly | None, collar: bool = True) -> tuple[Profile, ...]:
    """Every outline that the book leaves open, the likeliest first.  collar: as in `outline`.

    holder None: nothing is known, the largest plausible holder.  Numbers on record that make no holder are
    treated as not known rather than trusted.
    One where it knows how deep the cutter sits.  Otherwise a cutter may be in the bore, or may have gone into it or
    come out of it hot, and nobody knows which: with one as it is usual, and without.  A shank takes heat out of the
    nose like a fin, or keeps some of it, so that neither of the two is always hot longer.
    """
    if holder is None:
        return _with_and_without(None, collar=collar)
    cutter = assembly.cutter if assembly else None
    insert = assembly.insert_mm if assembly else None
    material = cutter.material if cutter else Material.CARBIDE
    facts = (holder.coupling, holder.bore_mm, holder.nose_mm, holder.projection_mm)
    try:
        if cutter is None or insert is None:
            return _with_and_without(*facts, material=material, collar=collar)
        stickout = cutter.oal_mm - insert if cutter.oal_mm > insert else None
        built = outline(*facts, insert_mm=insert, stickout_mm=stickout, material=material, collar=collar)
        if stickout is not None:
            return (built,)
        return built, outline(*facts, insert_mm=insert, with_tool=False, collar=collar)
    except OutlineError:
        return _with_and_without(holder.coupling, collar=collar)


def _with_and_without(
    coupling: Coupling | None,
    bore_mm: float | None = None,
    nose_mm: float | None = None,
    projection_mm: float | None = None,
    material: Material = Material.CARBIDE,
    collar: bool = True,
) -> tuple[Profile, Profile]:
    facts = (coupling, bore_mm, nose_mm, projection_mm)
    return outline(*facts, material=material, collar=collar), outline(*facts, with_tool=False, collar=collar)
