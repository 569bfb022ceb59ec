"""A symbol for a telephone's camera: dark modules on white, whole pixels each, as large as its room.

White and dark whatever the colours are, because cameras want it so.  It knows nothing of what it says.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from kivy.graphics import Color, Rectangle
from kivy.graphics.texture import Texture
from kivy.properties import ListProperty
from kivy.uix.widget import Widget


class SymbolPicture(Widget):
    """`modules`: rows from the top, dark is True, the white margin included; none: nothing is shown."""

    modules = ListProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for name in ("pos", "size", "modules"):
            self.fbind(name, self._draw)

    def _draw(self, *_: object) -> None:
        self.canvas.clear()
        across = len(self.modules)
        edge = min(self.width, self.height) // across * across if across else 0
        if edge < across:
            return
        white = np.where(np.array(self.modules[::-1], bool), 0, 255).astype(np.uint8)
        texture = Texture.create(size=(across, across), colorfmt="luminance")
        texture.mag_filter = texture.min_filter = "nearest"
        texture.blit_buffer(white.tobytes(), colorfmt="luminance", bufferfmt="ubyte")
        with self.canvas:
            Color(1, 1, 1, 1)
            left, bottom = round(self.x + (self.width - edge) / 2), round(self.y + (self.height - edge) / 2)
            Rectangle(texture=texture, pos=(left, bottom), size=(edge, edge))
