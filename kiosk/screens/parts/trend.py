"""A figure of one audit after the other as points on a line: whether it gets better.

Draws what it is given, one step apart, oldest on the left; the last value stands beside its point in figures.
"""

from __future__ import annotations

from typing import Any

from kivy.clock import Clock
from kivy.graphics import Color, Ellipse, Line
from kivy.properties import ListProperty, NumericProperty, StringProperty
from kivy.uix.widget import Widget

from kiosk.screens.parts.drawn import letters_px, texture_of, write
from kiosk.screens.theme import look

LEAST = 2  # points of a trend
_LINES = 5.0  # of words that its height is, where they can be as large


class TrendPlot(Widget):
    """`points`: (label, value) in order, of which the first and last label are written.  From `low` to `high`.

    `said`: the last value as people read it.  `low_said`, `high_said`: the ends of the scale.
    """

    title = StringProperty()
    points = ListProperty()
    low = NumericProperty(0.0)
    high = NumericProperty(100.0)
    said = StringProperty()
    low_said = StringProperty()
    high_said = StringProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        soon = Clock.create_trigger(self._draw, -1)
        for name in ("title", "points", "low", "high", "said", "low_said", "high_said", "size", "pos"):
            self.fbind(name, soon)
        for name in ("mm", "body", "text", "act"):
            look.fbind(name, soon)

    def _draw(self, *_: object) -> None:
        self.canvas.clear()
        letters = letters_px(self, _LINES)
        mm, line = look.mm, letters * 1.25
        if len(self.points) < LEAST or self.width < mm * 24 or self.height < line * 3:
            return
        left = self.x + max(texture_of(said, letters).width for said in (self.low_said, self.high_said)) + mm
        bottom, top, right = self.y + line, self.top - line * 1.6, self.right - mm * 1.4
        span = self.high - self.low or 1.0
        step = (right - left) / (len(self.points) - 1)

        def at(number: int, value: float) -> tuple[float, float]:
            share = min(max((value - self.low) / span, 0.0), 1.0)
            return left + step * number, bottom + share * (top - bottom)

        with self.canvas:
            write(self, self.title, (self.x, self.top), (0, 1), look.quiet, letters)
            write(self, self.said, (self.right, self.top), (1, 1), look.text, letters, bold=True)
            for value, said in ((self.low, self.low_said), (self.high, self.high_said)):
                y = at(0, value)[1]
                Color(*look.line)
                Line(points=[left, y, right, y], width=1)
                write(self, said, (left - mm, y), (1, 0.5), look.quiet, letters)
            write(self, self.points[0][0], (left, self.y), (0, 0), look.quiet, letters)
            write(self, self.points[-1][0], (self.right, self.y), (1, 0), look.quiet, letters)
            Color(*look.act)
            Line(points=[xy for at_, (_, value) in enumerate(self.points) for xy in at(at_, value)], width=mm * 0.3)
            for number, (_, value) in enumerate(self.points):
                last = number == len(self.points) - 1
                radius = mm * (1.4 if last else 0.9)
                x, y = at(number, value)
                Color(*(look.text if last else look.act))
                Ellipse(pos=(x - radius, y - radius), size=(radius * 2, radius * 2))
