"""A bank card's outline on the screen, with a mark at either end that is dragged to the card's own edges.

Knows how far the marks are `apart`, px; what that says of the panel is the rules'.
"""

from __future__ import annotations

from typing import Any

from kivy.clock import Clock
from kivy.graphics import Color, Line, RoundedRectangle
from kivy.input.motionevent import MotionEvent
from kivy.properties import NumericProperty
from kivy.uix.widget import Widget

from kiosk.rules.panel import CARD_MM
from kiosk.screens.theme import look

HAND_MM = 14.0  # a finger takes the mark that is no further away


class CardMarks(Widget):
    """The card lies along the longer side of the widget.  `apart`: px between the marks."""

    apart = NumericProperty(0.0)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._moved = False
        self._soon = Clock.create_trigger(self._draw, -1)
        for name in ("size", "pos", "apart"):
            self.fbind(name, self._soon)
        self.fbind("size", self._begin)
        for name in ("mm", "act", "line", "surface"):
            look.fbind(name, self._soon)

    @property
    def lies(self) -> bool:
        """Whether the card lies along the width."""
        return bool(self.width >= self.height)

    @property
    def _most(self) -> float:
        return float(max(self.width, self.height)) - 2 * look.mm

    def _begin(self, *_: object) -> None:
        if not self._moved:
            self.apart = min(CARD_MM * look.mm, self._most)

    def nudge(self, px: float) -> None:
        """A little further apart, or nearer, where a finger is too coarse."""
        self._moved = True
        self.apart = min(max(20.0, self.apart + px), self._most)

    def on_touch_down(self, touch: MotionEvent) -> bool:
        if not self.collide_point(*touch.pos):
            return False
        along = touch.x - self.center_x if self.lies else touch.y - self.center_y
        if abs(abs(along) - self.apart / 2) > HAND_MM * look.mm:
            return False
        touch.grab(self)
        return True

    def on_touch_move(self, touch: MotionEvent) -> bool:
        """Both marks move alike: the card stays in the middle."""
        if touch.grab_current is not self:
            return False
        along = touch.x - self.center_x if self.lies else touch.y - self.center_y
        self._moved = True
        self.apart = min(max(20.0, 2 * abs(along)), self._most)
        return True

    def on_touch_up(self, touch: MotionEvent) -> bool:
        if touch.grab_current is not self:
            return False
        touch.ungrab(self)
        return True

    def _draw(self, *_: object) -> None:
        mm, half = look.mm, self.apart / 2
        across = min(self.apart * 53.98 / CARD_MM, min(self.width, self.height) - 2 * mm) / 2
        x, y = self.center
        wide, tall = (half, across) if self.lies else (across, half)
        self.canvas.clear()
        with self.canvas:
            Color(rgba=look.surface)
            RoundedRectangle(pos=(x - wide, y - tall), size=(2 * wide, 2 * tall), radius=[3.2 * mm])
            Color(rgba=look.line)
            Line(width=0.3 * mm, rounded_rectangle=(x - wide, y - tall, 2 * wide, 2 * tall, 3.2 * mm))
            Color(rgba=look.act)
            for way in (-1, 1):
                if self.lies:
                    Line(width=0.5 * mm, points=(x + way * half, self.y, x + way * half, self.top))
                else:
                    Line(width=0.5 * mm, points=(self.x, y + way * half, self.right, y + way * half))
