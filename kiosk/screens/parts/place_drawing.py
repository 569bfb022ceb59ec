"""Where a thing stands, as a picture: cabinet front, open drawer, magazine; the one meant is marked by frame and fill.

Draws a `PlaceDrawing` and knows nothing else.  It is looked at and not touched.
"""

from __future__ import annotations

from typing import Any

from kivy.clock import Clock
from kivy.graphics import Color, Line, Mesh, RoundedRectangle
from kivy.properties import ObjectProperty
from kivy.uix.boxlayout import BoxLayout
from kivy.uix.widget import Widget

from kiosk.rules.place_drawing import Level, PlaceDrawing, cells
from kiosk.screens.parts.drawn import texture_of, write
from kiosk.screens.parts.magazine import MagazineMap
from kiosk.screens.parts.slots import Slot, SlotState
from kiosk.screens.theme import look

_LOOKED_AT = ("mm", "body", "text", "quiet", "raised", "line", "act", "act_ink")


class PlacePicture(BoxLayout):
    """Shows `drawing`; nothing where there is none."""

    drawing = ObjectProperty(None, allownone=True)

    def on_drawing(self, _: object, drawing: PlaceDrawing | None) -> None:
        """Another place."""
        self.clear_widgets()
        if drawing is None:
            return
        if drawing.levels:
            self.add_widget(_Levels(drawing.levels))
        if drawing.magazine is not None:
            magazine = drawing.magazine
            slots = [
                Slot(str(number), str(number), SlotState.FREE if number == drawing.pocket else SlotState.EMPTY)
                for number in magazine.numbers
            ]
            marked = MagazineMap(magazine=magazine, chosen=str(drawing.pocket))
            marked.slots, marked.widths_mm = slots, [0.0] * len(slots)
            self.add_widget(marked)


class _Levels(Widget):
    """Levels side by side, outside first, a wedge from the marked one to what is inside it."""

    def __init__(self, levels: tuple[Level, ...], **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._levels = levels
        soon = Clock.create_trigger(self._draw, -1)
        for name in ("size", "pos"):
            self.fbind(name, soon)
        for name in _LOOKED_AT:
            look.fbind(name, soon)
        soon()

    def _draw(self, *_: object) -> None:
        self.canvas.clear()
        gap = look.mm * 6
        each = (self.width - gap * (len(self._levels) - 1)) / len(self._levels)
        if each < look.mm * 12 or self.height < look.mm * 8:
            return
        wide = min(each, self.height * 1.8)
        left = self.center_x - (wide * len(self._levels) + gap * (len(self._levels) - 1)) / 2
        with self.canvas:
            for level in self._levels:
                marked = self._level(level, left, wide)
                left += wide + gap
                if level is not self._levels[-1]:
                    x, low, high = marked
                    Color(*look.act[:3], 0.35)
                    corners = [x, low, x, high, left, self.y, left, self.top]
                    vertices = [v for at in range(0, 8, 2) for v in (corners[at], corners[at + 1], 0, 0)]
                    Mesh(vertices=vertices, indices=[0, 1, 2, 3], mode="triangle_strip")

    def _level(self, level: Level, left: float, wide: float) -> tuple[float, float, float]:
        """One level; the right edge, foot and top of what is marked in it."""
        found = (left + wide, self.y, self.top)
        pad = look.mm * 0.5
        Color(*look.line)
        Line(rectangle=(left, self.y, wide, self.height), width=max(1.0, look.mm * 0.2))
        boxes = cells(level, wide, self.height)
        letters = self._letters(level, boxes[0].wide - 3 * pad, boxes[0].tall - 2 * pad)
        for at, cell in enumerate(boxes):
            x, y = left + cell.x + pad, self.y + cell.y + pad
            across, up = cell.wide - 2 * pad, cell.tall - 2 * pad
            marked = at == level.marked
            Color(*(look.act if marked else look.raised))
            RoundedRectangle(pos=(x, y), size=(across, up), radius=[min(look.corner, up / 3)])
            if marked:
                found = (x + across, y, y + up)
                Color(*look.text)
                Line(rounded_rectangle=(x, y, across, up, min(look.corner, up / 3)), width=look.mm * 0.35)
                self._named(level.names[at], (x, y, across, up), look.act_ink)
            elif letters:
                write(self, level.names[at], (x + across / 2, y + up / 2), (0.5, 0.5), look.quiet, letters)
        return found

    @staticmethod
    def _letters(level: Level, across: float, up: float) -> float:
        """Font size, px, at which every name lies in its box: up to that of a text; 0 where none does."""
        widest = max(texture_of(name).width for name in level.names) / look.least
        size = min(look.body, across / widest, up / 1.2)
        return size if size >= look.least else 0.0

    def _named(self, name: str, box: tuple[float, float, float, float], ink: Any) -> None:
        """The marked one's name, as large as its box lets it be; a box too small for it has none."""
        x, y, across, up = box
        size = min(look.title, across / texture_of(name, look.title, bold=True).width * look.title * 0.96, up / 1.15)
        if size >= look.least:
            write(self, name, (x + across / 2, y + up / 2), (0.5, 0.5), ink, size, bold=True)
