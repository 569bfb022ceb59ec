"""A holder's drawing in black and white, for a tag that hangs at it.

The same description as on the screen, as plain strokes and areas: warmth by its hatch alone, with a scale below that
says which hatch ends at which temperature.  It must never say where a hand may be put: paper stays where steel moves.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from kiosk.labels.letters import Face, extent
from kiosk.labels.sign import BLACK, WHITE, Area, Point, Shape, Stroke
from kiosk.labels.typeset import Box, Text
from kiosk.rules import holder_drawing
from kiosk.rules.holder_drawing import HOT_TO_C, WARM_TO_C, Drawing, Warmth, around, hatched

LEAST_MM, LEAST_WIDE_MM = 12.0, 24.0  # height and width below which nothing can be told apart
_EDGE_MM, _HATCH_MM, _PITCH_MM = 0.35, 0.2, 1.1
_EM_MM, _SWATCH_MM, _ROW_MM = 2.0, 2.6, 3.2


def holder_shapes(drawing: Drawing, box: Box) -> tuple[tuple[Shape, ...], tuple[Text, ...]]:
    """A drawing in a box of a label, in mm from the label's top left corner, and the words of its scale."""
    start, end = drawing.ends_mm
    tall_mm = box.height - _ROW_MM - 2 * _EDGE_MM
    scale = min((box.width - 2 * _EDGE_MM) / (end - start), tall_mm / (2 * drawing.radius_mm))
    right = box.left + (box.width + (end - start) * scale) / 2
    axis = box.top + _EDGE_MM + tall_mm / 2

    def at(point: holder_drawing.Point) -> Point:
        return Point(right - (point.z_mm - start) * scale, axis - point.r_mm * scale)

    shapes: list[Shape] = []
    for band in drawing.bands:
        lines = hatched(band.edge, band.warmth, _PITCH_MM / scale)
        shapes += [Stroke((at(one), at(two)), _HATCH_MM) for one, two in lines]
    for area in drawing.areas:
        corners = tuple(at(point) for point in around(area.edge))
        shapes.append(Stroke((*corners, corners[0]), _EDGE_MM))
    for spot in drawing.spots:
        if spot.hottest:
            x, y = at(holder_drawing.Point(spot.at.z_mm, 0.0))
            shapes += [_square(x, y, 1.1, WHITE), _square(x, y, 0.7, BLACK)]
    scale_shapes, texts = _scale(drawing, box)
    return (*shapes, *scale_shapes), texts


def _square(x: float, y: float, half: float, colour: str) -> Area:
    return Area((Point(x, y - half), Point(x + half, y), Point(x, y + half), Point(x - half, y)), colour)


def _fields(drawing: Drawing) -> Iterator[tuple[Warmth, str]]:
    """From cool to hot: each hatch with the temperature it ends at."""
    ends = {Warmth.SAFE: drawing.limit_c or 0.0, Warmth.WARM: WARM_TO_C, Warmth.HOT: HOT_TO_C}
    scale = (Warmth.SAFE, Warmth.WARM, Warmth.HOT, Warmth.GLOWING)
    if Warmth.UNKNOWN in drawing.warmths:
        yield Warmth.UNKNOWN, "?"
    there = [scale.index(warmth) for warmth in drawing.warmths if warmth in scale]
    for warmth in scale[min(there, default=4) : max(there, default=-1) + 1]:
        top = scale.index(warmth) == max(there)
        yield warmth, "°C" if top and warmth is not Warmth.SAFE else f"{ends[warmth]:.0f}"


def _scale(drawing: Drawing, box: Box) -> tuple[tuple[Shape, ...], tuple[Text, ...]]:
    shapes: list[Shape] = []
    texts: list[Text] = []
    x, top = box.left, box.top + box.height - _ROW_MM + 0.4
    for warmth, said in _fields(drawing):
        wide = extent(Face.TEXT, said).width * _EM_MM
        if x + _SWATCH_MM + wide > box.left + box.width:
            break
        tall = _ROW_MM - 0.8
        edge = (holder_drawing.Point(0.0, tall / 2), holder_drawing.Point(_SWATCH_MM, tall / 2))
        middle = top + tall / 2
        corners = tuple(Point(x + z, middle - r) for z, r in around(edge))
        for one, two in hatched(edge, warmth, _PITCH_MM):
            ends = (Point(x + one.z_mm, middle - one.r_mm), Point(x + two.z_mm, middle - two.r_mm))
            shapes.append(Stroke(ends, _HATCH_MM))
        shapes += [Stroke((one, two), _HATCH_MM) for one, two in pairwise([*corners, corners[0]])]
        texts.append(Text(said, Face.TEXT, x + _SWATCH_MM + 0.4, top + tall - 0.35, _EM_MM))
        x += _SWATCH_MM + wide + 1.0
    return tuple(shapes), tuple(texts)
