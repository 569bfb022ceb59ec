"""A label as it will come out of the printer, at true size, with a ruler to hold a real one against.

Beside it, where there is room, the same one larger, so that it is read from further off.  True means as true as the
panel's density in the settings.  A label larger than the room it has is drawn smaller, and the part says so.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from kivy.graphics import Color, Line, Rectangle
from kivy.graphics.texture import Texture
from kivy.properties import BooleanProperty, NumericProperty
from kivy.uix.widget import Widget

from kiosk.labels.draw import picture
from kiosk.labels.layout import Layout
from kiosk.screens.theme import look

RULER_MM = 20
GAP_MM = 6.0  # between the true one and the larger one
LEAST_LARGER, MOST_LARGER = 1.25, 2.5  # less is no help


class LabelPreview(Widget):
    """Shows a `Layout`.  `scaled`: it had to be drawn smaller.  `larger`: how much larger it stands once more, or 0."""

    scaled = BooleanProperty(False)
    larger = NumericProperty(0.0)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._layout: Layout | None = None
        self._texture: Texture | None = None
        for name in ("pos", "size"):
            self.fbind(name, self._draw)
        look.bind(mm=self._draw)  # weakly: the look outlives every screen

    def show(self, layout: Layout | None) -> None:
        """Show this one, or nothing."""
        self._layout = layout
        self._texture = None
        if layout is not None:
            grey = np.asarray(picture(layout).convert("L"), np.uint8)
            height, width = grey.shape
            self._texture = Texture.create(size=(width, height), colorfmt="luminance")
            self._texture.blit_buffer(np.ascontiguousarray(grey[::-1]).tobytes(), colorfmt="luminance")
        self._draw()

    def _draw(self, *_: object) -> None:
        self.canvas.clear()
        layout = self._layout
        if layout is None or self._texture is None or self.width < 2:
            return
        room = look.mm * 4.4
        scale = min(
            1.0,
            self.width / (layout.width_mm * look.mm),
            max(1.0, self.height - room) / (layout.height_mm * look.mm),
        )
        self.scaled = scale < 0.99
        width, height = layout.width_mm * look.mm * scale, layout.height_mm * look.mm * scale
        gap = GAP_MM * look.mm
        larger = min(MOST_LARGER, (self.width - gap - width) / width, self.height / height)
        larger = 0.0 if self.scaled or larger < LEAST_LARGER else larger
        self.larger = larger
        left = self.center_x - (width + (gap + width * larger if larger else 0.0)) / 2
        bottom = self.y + room + (self.height - room - height) / 2
        ruler = RULER_MM * look.mm * scale
        start, base = left + (width - ruler) / 2, bottom - look.mm * 3
        with self.canvas:
            Color(1, 1, 1, 1)
            Rectangle(texture=self._texture, pos=(left, bottom), size=(width, height))
            if larger:
                size = width * larger, height * larger
                Rectangle(texture=self._texture, pos=(left + width + gap, self.center_y - size[1] / 2), size=size)
            Color(rgba=look.quiet)
            Line(points=[start, base, start + ruler, base], width=1.2)
            for tick in range(0, RULER_MM + 1, 5):
                at = start + ruler * tick / RULER_MM
                Line(points=[at, base, at, base + look.mm * (1.6 if tick % 10 == 0 else 0.9)], width=1.2)
