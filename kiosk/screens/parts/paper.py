"""A page of a report as it will come out of the printer: whole, or across its width in pieces from top to bottom.

Shows a picture it is given; drawing one takes time and is done elsewhere, at the dots that `dpi` asks for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from kivy.clock import Clock
from kivy.graphics import Color, Rectangle
from kivy.graphics.texture import Texture
from kivy.properties import BooleanProperty, NumericProperty
from kivy.uix.widget import Widget
from PIL import Image

from kiosk.screens.theme import look

PAPER_MM = (210.0, 297.0)  # A4
EDGE_MM = 14.0  # of a page looked at closely, left and right: there is nothing but margin
OVERLAP = 0.1  # of a piece is seen on the next one too
MM_PER_INCH = 25.4


@dataclass(frozen=True, slots=True)
class PagePicture:
    """A page in 8-bit grey, rows from below, as a texture takes them."""

    width: int
    height: int
    grey: bytes


class PaperView(Widget):
    """`whole`: the page fits; else it is as wide as the room, and `piece` of `pieces` is seen.

    Event `on_room`: the room changed, so that a page wants drawing anew at `dpi`.
    """

    whole = BooleanProperty(True)
    piece = NumericProperty(0)
    pieces = NumericProperty(1)

    __events__ = ("on_room",)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._texture: Texture | None = None
        draw = Clock.create_trigger(self._draw, -1)
        tell = Clock.create_trigger(lambda _: self.dispatch("on_room"), 0.05)
        for name in ("pos", "size", "whole", "piece"):
            self.fbind(name, draw)
        for name in ("size", "whole"):
            self.fbind(name, tell)

    @property
    def dpi(self) -> float:
        """Dots an inch at which a page fills the room; 0 while there is none."""
        wide, tall = (length / MM_PER_INCH for length in PAPER_MM)
        if self.whole:
            return float(max(0.0, min(self.width / wide, self.height / tall)))
        return float(self.width / (wide - 2 * EDGE_MM / MM_PER_INCH))

    def show(self, picture: PagePicture | None) -> None:
        """Show this page, or none."""
        self._texture = None
        if picture is not None:
            self._texture = Texture.create(size=(picture.width, picture.height), colorfmt="luminance")
            self._texture.blit_buffer(picture.grey, colorfmt="luminance")
        self._draw()

    def on_room(self) -> None:
        """The room for the page has another size."""

    def _draw(self, *_: object) -> None:
        self.canvas.clear()
        texture = self._texture
        if texture is None or min(self.width, self.height) < look.mm:  # as a window is turned, there may be no room
            self.pieces = 1
            return
        if self.whole:
            self.pieces = 1
            scale = min(self.width / texture.width, self.height / texture.height)
            size = texture.width * scale, texture.height * scale
            seen = texture
        else:
            edge = round(texture.width * EDGE_MM / PAPER_MM[0])
            across = texture.width - 2 * edge
            tall = min(texture.height, round(self.height * across / self.width))
            step = tall * (1.0 - OVERLAP)
            self.pieces = 1 + max(0, math.ceil((texture.height - tall) / step - 0.01))
            top = max(tall, texture.height - round(step * min(self.piece, self.pieces - 1)))
            seen = texture.get_region(edge, top - tall, across, tall)
            size = self.width, tall * self.width / across
        with self.canvas:
            Color(1, 1, 1, 1)
            Rectangle(texture=seen, pos=(self.center_x - size[0] / 2, self.top - size[1]), size=size)


def page_picture(image: Image.Image) -> PagePicture:
    """A grey picture made ready for a texture; needs no window, so any thread may do it."""
    width, height = image.size
    return PagePicture(width, height, image.transpose(Image.Transpose.FLIP_TOP_BOTTOM).tobytes())
