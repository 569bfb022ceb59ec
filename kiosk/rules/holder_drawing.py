"""A holder and its cutter as a drawing in true proportion: what a screen, a paper and a tag draw alike.

Lengths and radii in mm along the axis, z from the nose towards the coupling as in `outline`; whoever draws chooses the
scale and never the shape.  Warmth has a hatch of its own for each class, so that no colour has to be believed.  It
must never show a part cooler than what is known of it: what nobody computed is drawn as not known, and a number that
was never entered is named in `assumed`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise
from typing import NamedTuple

from kiosk.rules.assembly import Assembly, Clamping, Cutter, Holder
from kiosk.rules.outline import OutlineError, Profile, outline
from kiosk.rules.skin_slices import SkinNow

WARM_TO_C, HOT_TO_C = 70.0, 150.0  # above the limit: burns in seconds, burns at once
_TOUCH_MM = 1e-6


class Point(NamedTuple):
    """Along the axis and off it, mm."""

    z_mm: float
    r_mm: float


Edge = tuple[Point, ...]  # one side of a turned part, tip to coupling; the other side is its mirror image


class Part(Enum):
    """What an area of the drawing is."""

    COUPLING = "coupling"
    BODY = "body"
    SHANK = "shank"
    CUTTING = "cutting"


class Warmth(Enum):
    """How warm a part may be; the value is the tail of its words."""

    SAFE = "safe"
    WARM = "warm"
    HOT = "hot"
    GLOWING = "glowing"
    UNKNOWN = "unknown"


class Hatch(NamedTuple):
    """Straight lines at these angles to the axis, `spread` times as far apart as the closest."""

    angles_deg: tuple[float, ...]
    spread: float


HATCHES = {
    Warmth.SAFE: Hatch((), 1.0),
    Warmth.WARM: Hatch((45.0,), 2.4),
    Warmth.HOT: Hatch((45.0,), 1.0),
    Warmth.GLOWING: Hatch((45.0, -45.0), 1.0),
    Warmth.UNKNOWN: Hatch((90.0,), 1.4),
}


@dataclass(frozen=True, slots=True)
class Area:
    """A turned part of the drawing."""

    part: Part
    edge: Edge


@dataclass(frozen=True, slots=True)
class Band:
    """A length of skin of one warmth."""

    warmth: Warmth
    edge: Edge


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a probe goes.  where: as readings name it (nose, flange, shank)."""

    where: str
    at: Point
    hottest: bool = False


class Dimension(NamedTuple):
    """A length that people read off the drawing.  name: depth, stickout, projection, length or heated."""

    name: str
    start_mm: float
    end_mm: float
    value_mm: float


@dataclass(frozen=True, slots=True)
class Drawing:
    """One holder drawn.

    hidden: edges inside the steel, drawn dashed.  hands: lengths of it a hand may be put on now and from now on.
    gauge_mm: z of the gauge line.  limit_c: of the bands; None: it is not held.  assumed: numbers nobody entered.
    """

    areas: tuple[Area, ...]
    hidden: tuple[Edge, ...]
    dimensions: tuple[Dimension, ...]
    spots: tuple[Spot, ...]
    gauge_mm: float
    bands: tuple[Band, ...] = ()
    hands: tuple[tuple[float, float], ...] = ()
    limit_c: float | None = None
    assumed: tuple[str, ...] = ()

    @property
    def ends_mm(self) -> tuple[float, float]:
        """From the cutter's tip to the end of the coupling."""
        along = [point.z_mm for area in self.areas for point in area.edge]
        return min(along), max(along)

    @property
    def radius_mm(self) -> float:
        return max(point.r_mm for area in self.areas for point in area.edge)

    def radius_before_mm(self, z_mm: float) -> float:
        """The widest it is from the cutter's tip to there."""
        start_mm, end_mm = self.ends_mm
        clipped = [_clipped(area.edge, start_mm, min(z_mm, end_mm)) for area in self.areas]
        return max((point.r_mm for edge in clipped for point in edge), default=0.0)

    @property
    def warmths(self) -> tuple[Warmth, ...]:
        """The classes there are, coolest first: what a legend has to explain."""
        there = {band.warmth for band in self.bands}
        return tuple(warmth for warmth in Warmth if warmth in there)


def draw_holder(holder: Holder, assembly: Assembly | None = None, skin: SkinNow | None = None) -> Drawing:
    """A holder as the book knows it, with its cutter; skin: how warm it may be, None where it is not held."""
    cutter = assembly.cutter if assembly else None
    length_mm = assembly.measured.length_mm if assembly and assembly.measured else None
    return draw(holder, cutter, assembly.insert_mm if assembly else None, length_mm=length_mm, skin=skin)


def draw(
    holder: Holder,
    cutter: Cutter | None,
    insert_mm: float | None,
    *,
    length_mm: float | None = None,
    skin: SkinNow | None = None,
) -> Drawing:
    """A holder with a cutter that is in it or may be.  insert_mm: how deep.  length_mm: as it was measured."""
    profile, known = _profile(holder, cutter, insert_mm)
    assumed = list(profile.assumed) if known else [*profile.assumed, "coupling"]
    stickout_mm = profile.tool.stickout_mm if profile.tool else 0.0
    areas = _steel(profile)
    hidden = _hidden(profile)
    if cutter is not None and profile.tool is not None:
        areas += _cutter_areas(cutter, stickout_mm)
        if cutter.lu_mm is None:
            assumed.append("lu_mm")
    silhouette = _silhouette(areas)
    return Drawing(
        areas=tuple(areas),
        hidden=hidden,
        dimensions=_dimensions(holder, profile, cutter, length_mm, assumed),
        spots=_spots(profile, skin),
        gauge_mm=profile.gauge_z_mm,
        bands=_bands(silhouette, skin) if skin else (),
        hands=_hands(skin) if skin else (),
        limit_c=skin.limit_c if skin else None,
        assumed=tuple(dict.fromkeys(assumed)),
    )


def _profile(holder: Holder, cutter: Cutter | None, insert_mm: float | None) -> tuple[Profile, bool]:
    """The outline, and whether the numbers on record make one."""
    facts = (holder.coupling, holder.bore_mm, holder.nose_mm, holder.projection_mm)
    try:
        if cutter is None:
            return outline(*facts, with_tool=False), True
        stickout = cutter.oal_mm - insert_mm if insert_mm is not None and cutter.oal_mm > insert_mm else None
        made = outline(*facts, insert_mm=insert_mm, stickout_mm=stickout, material=cutter.material)
        return made, True
    except OutlineError:
        return outline(holder.coupling, None, None, None, with_tool=False), False


def _steel(profile: Profile) -> list[Area]:
    """Body and coupling, from the nose on."""
    at, body, coupling = 0.0, list[Point](), list[Point]()
    for segment in profile.segments:
        side = coupling if at >= profile.gauge_z_mm - _TOUCH_MM else body
        side += [Point(at, segment.od_start_mm / 2), Point(at + segment.length_mm, segment.od_end_mm / 2)]
        at += segment.length_mm
    return [Area(part, tuple(edge)) for part, edge in ((Part.BODY, body), (Part.COUPLING, coupling)) if edge]


def _hidden(profile: Profile) -> tuple[Edge, ...]:
    """What lies inside: the shank as deep as it sits, else the empty bore."""
    if profile.tool is not None:
        radius, depth = profile.tool.shank_mm / 2, profile.tool.insert_mm
    else:
        radius, depth = profile.segments[0].bore_mm / 2, 0.0
        for segment in profile.segments:
            if segment.bore_mm != profile.segments[0].bore_mm:
                break
            depth += segment.length_mm
    if radius <= 0 or depth <= 0:
        return ()
    return ((Point(0.0, radius), Point(depth, radius), Point(depth, 0.0)),)


def _cutter_areas(cutter: Cutter, stickout_mm: float) -> list[Area]:
    """What looks out of the nose: shank, and the cutting length at its own diameter."""
    cutting_mm = min(stickout_mm, cutter.lu_mm or 0.0)
    areas = []
    if stickout_mm > cutting_mm:
        shank = (Point(cutting_mm - stickout_mm, cutter.dmm_mm / 2), Point(0.0, cutter.dmm_mm / 2))
        areas.append(Area(Part.SHANK, shank))
    if cutting_mm > 0:
        radius, corner = cutter.dc_mm / 2, min(cutter.re_mm, cutter.dc_mm / 2, cutting_mm)
        steps = 6 if corner > 0 else 0
        tip = [
            Point(corner * (1 - math.sin(a)) - stickout_mm, radius - corner * (1 - math.cos(a)))
            for a in (math.pi / 2 * (1 - step / steps) for step in range(steps + 1))
        ] if steps else [Point(-stickout_mm, radius)]  # fmt: skip
        areas.append(Area(Part.CUTTING, (*tip, Point(cutting_mm - stickout_mm, radius))))
    return areas


def _silhouette(areas: Sequence[Area]) -> Edge:
    """One side of everything, tip to coupling."""
    ordered = sorted(areas, key=lambda area: area.edge[0].z_mm)
    return tuple(point for area in ordered for point in area.edge)


def _clipped(edge: Edge, start_mm: float, end_mm: float) -> Edge:
    """What of one side lies between two lengths."""
    found: list[Point] = []
    for one, two in pairwise(edge):
        low, high = max(one.z_mm, start_mm), min(two.z_mm, end_mm)
        if high - low <= _TOUCH_MM:
            continue
        span = two.z_mm - one.z_mm
        for z in (low, high):
            point = Point(z, one.r_mm + (two.r_mm - one.r_mm) * (z - one.z_mm) / span)
            if not found or found[-1] != point:
                found.append(point)
    return tuple(found)


def warmth_of(high_c: float, limit_c: float) -> Warmth:
    """The class of a part that may be as warm as this."""
    if not math.isfinite(high_c):
        return Warmth.UNKNOWN
    if high_c <= limit_c:
        return Warmth.SAFE
    return Warmth.WARM if high_c <= WARM_TO_C else Warmth.HOT if high_c <= HOT_TO_C else Warmth.GLOWING


def _bands(silhouette: Edge, skin: SkinNow) -> tuple[Band, ...]:
    """The skin by warmth; where nothing was computed it is not known."""
    runs: list[tuple[Warmth, float, float]] = []
    at, end = silhouette[0].z_mm, silhouette[-1].z_mm

    def run(warmth: Warmth, upto_mm: float) -> None:
        nonlocal at
        upto_mm = min(upto_mm, end)
        if upto_mm - at <= _TOUCH_MM:
            return
        if runs and runs[-1][0] is warmth:
            runs[-1] = (warmth, runs[-1][1], upto_mm)
        else:
            runs.append((warmth, at, upto_mm))
        at = upto_mm

    for piece in sorted(skin.slices, key=lambda piece: piece.start_mm):
        run(Warmth.UNKNOWN, piece.start_mm)
        run(warmth_of(piece.high_c, skin.limit_c), piece.end_mm)
    run(Warmth.UNKNOWN, end)
    return tuple(Band(warmth, edge) for warmth, low, high in runs if (edge := _clipped(silhouette, low, high)))


def _hands(skin: SkinNow) -> tuple[tuple[float, float], ...]:
    """Lengths of the zones a hand may be put on, neighbours as one."""
    spans: list[tuple[float, float]] = []
    for piece in sorted(skin.slices, key=lambda piece: piece.start_mm):
        if piece.zone not in skin.hands or piece.high_c > skin.limit_c:
            continue
        if spans and piece.start_mm - spans[-1][1] <= _TOUCH_MM:
            spans[-1] = (spans[-1][0], max(spans[-1][1], piece.end_mm))
        else:
            spans.append((piece.start_mm, piece.end_mm))
    return tuple(spans)


def _spots(profile: Profile, skin: SkinNow | None) -> tuple[Spot, ...]:
    """Where a probe goes: the cutter's shank in front of the nose, the nose, the flange."""
    tool = profile.tool
    start, end = profile.flange_mm
    nose_mm = min((tool.insert_mm if tool else start) / 2, start / 2)
    at = {
        "shank": Point(-min(tool.stickout_mm * 0.3, 15.0), tool.shank_mm / 2) if tool else Point(0.0, 0.0),
        "nose": Point(nose_mm, _radius(profile, nose_mm)),
        "flange": Point((start + end) / 2, _radius(profile, (start + end) / 2)),
    }
    return tuple(Spot(where, point, skin is not None and skin.hottest == where) for where, point in at.items())


def _radius(profile: Profile, z_mm: float) -> float:
    at = 0.0
    for segment in profile.segments:
        if z_mm <= at + segment.length_mm:
            share = (z_mm - at) / segment.length_mm
            return (segment.od_start_mm + (segment.od_end_mm - segment.od_start_mm) * share) / 2
        at += segment.length_mm
    return profile.segments[-1].od_end_mm / 2


def _dimensions(
    holder: Holder, profile: Profile, cutter: Cutter | None, length_mm: float | None, assumed: Sequence[str]
) -> tuple[Dimension, ...]:
    """The lengths that are known; none is written for a number nobody entered."""
    found: list[Dimension] = []
    gauge, tool = profile.gauge_z_mm, profile.tool
    if "projection_mm" not in assumed and "coupling" not in assumed:
        found.append(Dimension("projection", 0.0, gauge, gauge))
    if tool is not None and cutter is not None and not {"insert_mm", "stickout_mm"} & set(assumed):
        found.append(Dimension("depth", 0.0, tool.insert_mm, tool.insert_mm))
        found.append(Dimension("stickout", -tool.stickout_mm, 0.0, tool.stickout_mm))
        if len(found) == 3:
            whole_mm = length_mm if length_mm is not None else gauge + tool.stickout_mm
            found.append(Dimension("length", -tool.stickout_mm, gauge, whole_mm))
    if holder.clamping is Clamping.SHRINK_FIT and tool is not None:
        from kiosk.rules.cooling.stand import default_heated_mm  # numbers in bulk, not wanted at the start

        heated_mm = default_heated_mm(profile)
        found.append(Dimension("heated", 0.0, heated_mm, heated_mm))
    return tuple(found)


def around(edge: Edge) -> tuple[Point, ...]:
    """The closed outline of a turned part: one side and its mirror image."""
    return (*edge, *(Point(z, -r) for z, r in reversed(edge)))


def hatched(edge: Edge, warmth: Warmth, pitch_mm: float) -> tuple[tuple[Point, Point], ...]:
    """The hatch of a part as lines that do not leave it.  pitch_mm: between the closest lines."""
    hatch = HATCHES[warmth]
    corners = around(edge)
    found: list[tuple[Point, Point]] = []
    for angle_deg in hatch.angles_deg:
        cos, sin = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
        turned = [(z * cos + r * sin, r * cos - z * sin) for z, r in corners]
        step = pitch_mm * hatch.spread
        low, high = min(v for _, v in turned), max(v for _, v in turned)
        for number in range(math.ceil(low / step + 1e-9), math.floor(high / step - 1e-9) + 1):
            level = number * step
            crossings = sorted(
                a + (b - a) * (level - v) / (w - v)
                for (a, v), (b, w) in pairwise([*turned, turned[0]])
                if (v > level) != (w > level)
            )
            for start, end in zip(crossings[::2], crossings[1::2], strict=True):
                ends = [Point(u * cos - level * sin, u * sin + level * cos) for u in (start, end)]
                found.append((ends[0], ends[1]))
    return tuple(found)
