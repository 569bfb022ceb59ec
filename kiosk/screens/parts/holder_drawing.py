"""A holder drawn as it is: to scale, with its cutter, its lengths, and while it is hot how warm each part may be.

Draws a `Drawing` and knows nothing else; the same description is printed.  It lies where that is larger and stands
where it is not.  Drawn anew only when something changed, so that a board nobody looks at costs nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from math import dist
from typing import Any

from kivy.clock import Clock
from kivy.graphics import Color, Ellipse, Line, Mesh, RoundedRectangle
from kivy.properties import BooleanProperty, DictProperty, ObjectProperty
from kivy.uix.widget import Widget

from kiosk.rules.holder_drawing import (
    Dimension,
    Drawing,
    Edge,
    Part,
    Point,
    Spot,
    Warmth,
    around,
    hatched,
)
from kiosk.screens.parts import warmth_scale
from kiosk.screens.parts.drawn import LINE, dashed, letters_px, texture_of, write
from kiosk.screens.parts.warmth_scale import PITCH_MM, SWATCH_EMS, between, colour_of, entry_px, ink_of, legend, swatch
from kiosk.screens.theme import look
from kiosk.words import t

Xy = tuple[float, float]
_ORDER = ("depth", "stickout", "projection", "heated", "length")  # what is left out first stands last
_STEEL = {"coupling", "bore_mm", "nose_mm", "projection_mm"}
_CUTTER = {"insert_mm", "stickout_mm", "lu_mm"}
_GUESSED = {Part.COUPLING: {"coupling"}, Part.BODY: _STEEL, Part.SHANK: _CUTTER, Part.CUTTING: _CUTTER}
_LOOKED_AT = ("mm", "body", "text", "quiet", "raised", "heat", "done", "act", "ground")
_LINES = 7.0  # of words that its height is, where it has no lengths and they can be as large
_ROWS_SHARE = 0.42  # of the height that lengths may take from the picture; more where letters are larger
_INWARDS = {"depth", "heated"}  # lengths that end at the nose: words beside them stand on the coupling's side
_BODY_MM = 10.1  # across the steel, on the panel; lengths and the scale of warmth give way to it
_LOW_MM = 16.0  # a picture lower than this has a narrow edge


class HolderDrawing(Widget):
    """Shows `drawing`.  `told`: with its lengths or its legend; without, the picture alone (a pocket's size).

    `leads`: window x by the name of a spot: a line goes from the spot down to there, where its key stands, and a finger
    on the drawing itself chooses the nearest spot: event `on_spot(where)`.
    """

    drawing = ObjectProperty(None, allownone=True)
    told = BooleanProperty(True)
    labelled = BooleanProperty(False)  # its one spot is where a label goes
    leads = DictProperty()

    __events__ = ("on_spot",)

    def __init__(self, **kwargs: Any) -> None:
        self._spots_px: dict[str, Xy] = {}
        super().__init__(**kwargs)
        soon = Clock.create_trigger(self._draw, -1)
        for owner, names in ((self, ("drawing", "told", "leads", "size", "pos")), (look, _LOOKED_AT)):
            for name in names:
                owner.fbind(name, soon)

    def _draw(self, *_: object) -> None:
        self.canvas.clear()
        drawing: Drawing | None = self.drawing
        if drawing is None or self.width < look.mm * 8 or self.height < look.mm * 5:
            self._spots_px = {}
            return
        pen = Pen(self, drawing)
        with self.canvas:
            pen.all()
        self._spots_px = {spot.where: pen.at(Point(spot.at.z_mm, 0.0)) for spot in drawing.spots}

    def on_spot(self, where: str) -> None:
        """A finger chose a spot."""

    def on_touch_up(self, touch: Any) -> bool:
        """The nearest spot, where spots are asked for."""
        if not self.leads or not self._spots_px or not self.collide_point(*touch.pos):
            return bool(super().on_touch_up(touch))
        nearest = min(self._spots_px, key=lambda where: dist(self._spots_px[where], touch.pos))
        self.dispatch("on_spot", nearest)
        return True


class Pen:
    """One drawing on one canvas.  `scale`: pixels a millimetre of steel."""

    def __init__(self, part: HolderDrawing, drawing: Drawing) -> None:
        self.part, self.drawing = part, drawing
        self.legend = legend(drawing) if part.told else []
        self.wanted = self._wanted()
        share, names = _ROWS_SHARE * look.letters, {each.name for each in self.wanted}
        fewest = len(names) - ({"depth", "stickout"} <= names)  # both meet at the nose, in one row
        self.letters = letters_px(part, fewest / share if fewest else _LINES)
        self.line = self.letters * LINE
        self.missing = warmth_scale.missing_words(drawing) if part.told and drawing.limit_c is None else ""
        if texture_of(self.missing, self.letters).width > part.width:
            self.missing = ""
        edge = look.mm * (1.2 if part.told and part.height > look.mm * _LOW_MM else 0.5)
        body_px = look.mm * _BODY_MM
        if drawing.hands and part.height - 2 * edge - self._legend_lines() * self.line < body_px:
            self.legend = [self.legend[0], self.legend[-1]]  # what is cool, and where hands go
        foot = self._legend_lines() * self.line if self.legend else self.line if self.missing else 0.0
        left, low, right, top = part.x + edge, part.y + foot + edge, part.right - edge, part.top - edge
        start, end = drawing.ends_mm
        long_mm, tall_mm = end - start, 2 * drawing.radius_mm
        rows = min(len(self.wanted) * self.line, (top - low) * share, max(0.0, top - low - body_px))
        lying = min((right - left) / long_mm, max(top - low - rows, 1) / tall_mm)
        standing = min((top - low) / long_mm, max(right - left - self._side_px(), 1) / tall_mm)
        self.lies = lying >= standing
        self.scale = max(lying, standing, 1e-3)
        self.room = max(0, int((top - low - tall_mm * self.scale) / self.line)) if self.lies else 5
        if self.lies:
            self.along = (left + right + long_mm * self.scale) / 2  # of the tip: the cutter points to the right
            used = tall_mm * self.scale + min(self.room, len(self.wanted)) * self.line
            self.axis = low + (top - low - used) / 2 + used - drawing.radius_mm * self.scale
        else:
            self.along = (low + top + long_mm * self.scale) / 2  # of the tip: the cutter points up
            used = tall_mm * self.scale + self._side_px()
            self.axis = left + (right - left - used) / 2 + drawing.radius_mm * self.scale
        self.start_mm = start

    def at(self, point: Point) -> Xy:
        """Where a point of the drawing lies on the window."""
        along = self.along - (point.z_mm - self.start_mm) * self.scale
        off = point.r_mm * self.scale
        return (along, self.axis + off) if self.lies else (self.axis + off, along)

    def _wanted(self) -> list[Dimension]:
        """The lengths to write: none while it is hot, when only warmth counts."""
        if not self.part.told or self.drawing.limit_c is not None:
            return []
        return sorted(self.drawing.dimensions, key=lambda each: _ORDER.index(each.name))

    def _side_px(self) -> float:
        """What the words of the lengths need beside a standing holder."""
        words = [texture_of(_said(each), self.letters).width for each in self.wanted]
        return (max(words) + look.mm * 3 + look.mm * 1.6 * len(words)) if words else 0.0

    def _legend_lines(self) -> int:
        """Rows that the legend takes at this width."""
        lines, x = 1, 0.0
        for entry in self.legend:
            wide = entry_px(entry, self.letters)
            if x and x + wide > self.part.width:
                lines, x = lines + 1, 0.0
            x += wide
        return lines

    def all(self) -> None:
        """Everything, from the steel up to the words."""
        drawing = self.drawing
        for area in drawing.areas:
            shade = {Part.COUPLING: 0.26, Part.BODY: 0.34, Part.SHANK: 0.5, Part.CUTTING: 0.62}[area.part]
            self._fill(area.edge, between(look.ground, look.text, shade))
        for band in drawing.bands:
            self._fill(band.edge, colour_of(band.warmth))
            self._hatch(band.edge, band.warmth, ink_of(band.warmth))
        for area in drawing.areas:
            dashed = bool(_GUESSED[area.part] & set(drawing.assumed))
            self._stroke(around(area.edge), look.text, look.mm * 0.22, close=True, dashes=dashed)
        for edge in drawing.hidden:
            self._stroke(around(edge), look.ground if not drawing.bands else look.text, look.mm * 0.18, dashes=True)
        start, end = drawing.ends_mm
        self._stroke((Point(start - 3, 0), Point(end + 3, 0)), look.quiet, 1.0, dashes=True)
        if self.part.leads:
            self._lead()
            self._targets()
        if self.part.labelled:
            self._label()
        if self.part.told:
            self._hands()
            if drawing.bands and not self.part.leads:
                self._targets()
            for row, each in enumerate(self._rows()):
                for dimension in each:
                    self._dimension(dimension, row)
            self._write_legend()
            if self.missing:
                write(self.part, self.missing, (self.part.x, self.part.y), (0, 0), look.quiet, self.letters)

    def _fill(self, edge: Edge, colour: Iterable[float]) -> None:
        Color(*colour)
        vertices: list[float] = []
        for point in edge:
            for r in (point.r_mm, -point.r_mm):
                vertices += [*self.at(Point(point.z_mm, r)), 0, 0]
        Mesh(vertices=vertices, indices=list(range(len(vertices) // 4)), mode="triangle_strip")

    def _hatch(self, edge: Edge, warmth: Warmth, colour: Iterable[float]) -> None:
        """All lines of a hatch as one mesh of thin strips."""
        lines = hatched(edge, warmth, look.mm * PITCH_MM / self.scale)
        if lines:
            Color(*colour)
            self._strips([(self.at(one), self.at(two)) for one, two in lines], look.mm * 0.26)

    def _strips(self, lines: Iterable[tuple[Xy, Xy]], thick: float) -> None:
        vertices: list[float] = []
        indices: list[int] = []
        for (ax, ay), (bx, by) in lines:
            long = ((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5 or 1.0
            dx, dy = -(by - ay) / long * thick / 2, (bx - ax) / long * thick / 2
            base = len(vertices) // 4
            for x, y in ((ax + dx, ay + dy), (ax - dx, ay - dy), (bx + dx, by + dy), (bx - dx, by - dy)):
                vertices += [x, y, 0, 0]
            indices += [base, base + 1, base + 2, base + 1, base + 2, base + 3]
        if vertices:
            Mesh(vertices=vertices, indices=indices, mode="triangles")

    def _stroke(
        self, points: Iterable[Point], colour: Any, thick: float, close: bool = False, dashes: bool = False
    ) -> None:
        """A line through points, cut into dashes where it is hidden or not known."""
        Color(*colour)
        px = list(map(self.at, points))
        lines = pairwise([*px, *px[:1]] if close else px)
        wide = max(thick * 2, 1.6) if dashes else max(thick, 1.0)
        self._strips(dashed(lines, look.mm * 1.3) if dashes else lines, wide)

    def _hands(self) -> None:
        """Around what a hand may be put on: a frame and a tick; the legend has the words."""
        radius = self.drawing.radius_mm
        off = look.mm * 0.9 / self.scale
        for start, end in self.drawing.hands:
            corners = (Point(start, radius + off), Point(end, radius + off), Point(end, -radius - off),
                       Point(start, -radius - off))  # fmt: skip
            self._stroke(corners, look.done, look.mm * 0.4, close=True)
            write(self.part, "✓", self.at(Point((start + end) / 2, 0.0)), (0.5, 0.5), look.done, self.letters, True)

    def _lead(self) -> None:
        """A line from each spot to its key below."""
        for spot in self.drawing.spots:
            if spot.where in self.part.leads:
                x, y = self.at(Point(spot.at.z_mm, 0.0))
                knee = (self.part.leads[spot.where], self.part.y + look.mm * 2)
                Color(*look.text)
                self._strips([((x, y), knee), (knee, (knee[0], self.part.y))], look.mm * 0.35)

    def _label(self) -> None:
        """A label at each spot, no larger than there is room."""
        for spot in self.drawing.spots:
            x, y = self.at(Point(spot.at.z_mm, 0.0))
            px = min(look.mm * 5, spot.at.r_mm * self.scale)
            Color(1, 1, 1, 1)
            RoundedRectangle(pos=(x - px / 2, y - px / 2), size=(px, px), radius=[look.mm * 0.4])
            Color(*look.act)
            Line(width=look.mm * 0.4, rectangle=(x - px / 2, y - px / 2, px, px))

    def _targets(self) -> None:
        """A target at each spot; the hottest is full, and named."""
        for spot in self.drawing.spots:
            x, y = self.at(Point(spot.at.z_mm, 0.0))
            for radius, colour in ((1.25, look.ground), (0.95, look.text), (0.55, look.ground)):
                if radius == 0.55 and spot.hottest:
                    continue
                Color(*colour)
                px = look.mm * radius
                Ellipse(pos=(x - px, y - px), size=(px * 2, px * 2))
            if spot.hottest and self.part.told:
                self._name(spot, (x, y))

    def _name(self, spot: Spot, at: Xy) -> None:
        """The hottest spot's name where the holder is slim, with a line that ends below or before its words."""
        said = t("drawing.hottest", where=spot.where)
        texture = texture_of(said, self.letters, bold=True)
        if self.lies:
            for past_px in (0.0, texture.width):  # over the cutter, or past it
                x = min(self.along + look.mm * 2 + past_px, self.part.right)
                under_mm = self.start_mm + (self.along - x + texture.width + look.mm) / self.scale
                low = self.axis + self.drawing.radius_before_mm(under_mm) * self.scale + self.line * 0.45
                if low <= self.part.top - self.line / 2:
                    break
            else:
                return  # too small to be named in: the words beside it do
            y = max(self.axis + self.drawing.radius_mm * self.scale - self.line / 2, low)
            left = x - texture.width
            self._mark([], [(at, (left, y) if at[0] < left else (at[0], y - self.line * 0.4))])
            write(self.part, said, (x, y), (1, 0.5), look.text, self.letters, bold=True)
        else:
            x = at[0] + self.drawing.radius_mm * self.scale + look.mm
            if x + texture.width > self.part.right:
                return
            self._mark([], [(at, (x, at[1]))])
            write(self.part, said, (x, at[1]), (0, 0.5), look.text, self.letters, bold=True)

    def _rows(self) -> list[list[Dimension]]:
        """The lengths in rows below each other, as many as there is room for; two that do not meet share one."""
        rows: list[list[Dimension]] = []
        taken: list[list[tuple[float, float]]] = []
        for each in self.wanted:
            span = self._span_px(each)
            if self.lies:
                for row, spans in zip(rows, taken, strict=True):
                    if all(_clear(span, other) for other in spans):
                        row.append(each)
                        spans.append(span)
                        break
                else:
                    if len(rows) < self.room:
                        rows.append([each])
                        taken.append([span])
            else:
                rows.append([each])
        return rows

    def _words_px(self, each: Dimension) -> tuple[float, float, float]:
        """Both ends of a length and the middle of its words, px along a lying holder: between its ends, or beside."""
        low, high = sorted(self.at(Point(z, 0.0))[0] for z in (each.start_mm, each.end_mm))
        wide, gap = texture_of(_said(each), self.letters).width, max(look.mm * 1.6, self.letters * 0.4)
        if high - low >= wide + 2 * gap:
            return low, high, (low + high) / 2
        right, left = high + gap + wide <= self.part.right, low - gap - wide >= self.part.x
        if left and (each.name in _INWARDS or not right):
            return low, high, low - gap - wide / 2
        if right:
            return low, high, high + gap + wide / 2
        return low, high, min(max((low + high) / 2, self.part.x + wide / 2), self.part.right - wide / 2)

    def _span_px(self, each: Dimension) -> tuple[float, float]:
        """From where to where a length and its words reach along a lying holder, px."""
        low, high, middle = self._words_px(each)
        half = texture_of(_said(each), self.letters).width / 2
        return min(low, middle - half), max(high, middle + half)

    def _dimension(self, each: Dimension, row: int) -> None:
        """A line with an end mark at each end, and its words on it."""
        mm, radius, said = look.mm, self.drawing.radius_mm * self.scale, _said(each)
        if self.lies:
            y = self.axis - radius - self.line * (row + 0.62)
            low, high, middle = self._words_px(each)
            half = texture_of(said, self.letters).width / 2 + mm * 0.8
            marks = [((x, y - mm * 0.9), (x, y + mm * 0.9)) for x in (low, high)]
            lines = [((low, y), (min(high, middle - half), y)), ((max(low, middle + half), y), (high, y))]
            if middle - half > high or middle + half < low:
                lines = [((low, y), (high, y))]
            marks = [mark for mark in marks if abs(mark[0][0] - middle) > half]
            self._mark(marks, [line for line in lines if line[1][0] > line[0][0]])
            write(self.part, said, (middle, y), (0.5, 0.5), look.text, self.letters)
            return
        x = self.axis + radius + mm * (1.4 + 1.6 * row)
        ends = sorted(self.at(Point(z, 0.0))[1] for z in (each.start_mm, each.end_mm))
        self._mark([((x - mm * 0.7, y), (x + mm * 0.7, y)) for y in ends], [((x, ends[0]), (x, ends[1]))])
        beside = self.axis + radius + mm * (1.4 + 1.6 * len(self.wanted))
        write(self.part, said, (beside, self._free(sum(ends) / 2, row)), (0, 0.5), look.text, self.letters)

    def _free(self, y: float, row: int) -> float:
        """Heights of the words beside a standing holder: in order along it, none on another."""
        middles = sorted(
            (sum(self.at(Point(z, 0.0))[1] for z in (each.start_mm, each.end_mm)) / 2, at)
            for at, each in enumerate(self.wanted)
        )
        placed: list[tuple[float, int]] = []
        for middle, at in middles:
            placed.append((max(middle, placed[-1][0] + self.line) if placed else middle, at))
        over = max(0.0, placed[-1][0] + self.line / 2 - self.part.top) if placed else 0.0
        return next((height - over for height, at in placed if at == row), y)

    def _mark(self, marks: list[tuple[Xy, Xy]], lines: list[tuple[Xy, Xy]]) -> None:
        Color(*look.quiet)
        self._strips([*marks, *((a, b) for a, b in lines if a != b)], look.mm * 0.3)

    def _write_legend(self) -> None:
        """A scale from cool to hot with the temperatures between its fields, and what else has to be said."""
        if not self.legend:
            return
        field, mm = self.letters * SWATCH_EMS, look.mm
        x, y = self.part.x, self.part.y + (self._legend_lines() - 0.5) * self.line
        for entry in self.legend:
            wide = entry_px(entry, self.letters)
            if x > self.part.x and x + wide > self.part.right:
                x, y = self.part.x, y - self.line
            box = (x, y - self.line * 0.36, field, self.line * 0.72)
            if entry.warmth is not None:
                swatch(box, entry.warmth, self._strips)
            else:
                Color(*look.done)
                Line(rectangle=box, width=max(mm * 0.3, 1.0))
            colour = look.done if entry.warmth is None else look.text
            write(self.part, entry.said, (x + field + mm * 0.8, y), (0, 0.5), colour, self.letters, entry.bold)
            x += wide


def _clear(one: Xy, other: Xy) -> bool:
    """Whether two stretches of a row keep clear of each other, or end at the same mark."""
    (_, end), (start, _) = sorted((one, other))
    return start > end + look.mm or abs(start - end) < 0.5


def _said(each: Dimension) -> str:
    return t(f"drawing.{each.name}", value_mm=each.value_mm)
