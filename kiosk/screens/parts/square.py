"""A square of dark modules on white, to be read by another kiosk's camera.  Shows what it is given."""

from __future__ import annotations

from typing import Any

from kivy.graphics import Color, Rectangle
from kivy.properties import ListProperty
from kivy.uix.widget import Widget

QUIET = 4  # modules of white around it, ISO/IEC 18004


class Square(Widget):
    """`modules`: rows of dark ones, from the top; empty: nothing is shown."""

    modules = ListProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for name in ("pos", "size", "modules"):
            self.fbind(name, self._draw)

    def _draw(self, *_: object) -> None:
        self.canvas.clear()
        across = len(self.modules) + 2 * QUIET
        module = int(min(self.size) // across)
        if not self.modules or module < 1:
            return
        side = module * across
        left, top = self.center_x - side / 2, self.center_y + side / 2
        with self.canvas:
            Color(1, 1, 1, 1)
            Rectangle(pos=(left, top - side), size=(side, side))
            Color(0, 0, 0, 1)
            for down, row in enumerate(self.modules):
                for right, dark in enumerate(row):
                    if dark:
                        at = (left + (QUIET + right) * module, top - (QUIET + down + 1) * module)
                        Rectangle(pos=at, size=(module, module))
