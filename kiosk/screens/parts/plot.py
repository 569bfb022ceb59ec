"""The cooling curve of one holder: band, limit, readings, and where now is.

Drawn from the values it is given, never computed here.  Time in minutes since heating, temperature in °C.
"""

from __future__ import annotations

from typing import Any

from kivy.clock import Clock
from kivy.core.text import Label as CoreLabel
from kivy.graphics import Color, Ellipse, Line, Mesh, Rectangle
from kivy.properties import ListProperty, NumericProperty
from kivy.uix.widget import Widget

from kiosk.screens.theme import look
from kiosk.words import t

_STEPS_MIN = (1, 2, 5, 10, 20, 30, 60, 120)


class CoolingPlot(Widget):
    """`curve`: (time_s, hottest_c, low_c, high_c) in order.  `readings`: (time_s, value_c).  `limit_c`, `now_s`."""

    curve = ListProperty()
    readings = ListProperty()
    limit_c = NumericProperty(43.0)
    now_s = NumericProperty(0.0)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        soon = Clock.create_trigger(self._draw, -1)
        for name in ("curve", "readings", "limit_c", "now_s", "size", "pos"):
            self.fbind(name, soon)
        for name in ("mm", "text", "act"):
            look.fbind(name, soon)

    def _write(self, text: str, at: tuple[float, float], anchor: tuple[float, float], colour: Any) -> None:
        """Write a text so that `anchor` of its box (0..1 from left and below) comes to `at`."""
        label = CoreLabel(text=text, font_name="B612", font_size=look.small)
        label.refresh()
        x = at[0] - anchor[0] * label.texture.width
        y = at[1] - anchor[1] * label.texture.height
        x = min(max(x, self.x), self.right - label.texture.width)
        Color(*colour)
        Rectangle(texture=label.texture, pos=(round(x), round(y)), size=label.texture.size)

    def _draw(self, *_: object) -> None:
        self.canvas.clear()
        if len(self.curve) < 2 or self.width < look.mm * 20 or self.height < look.mm * 14:
            return
        mm = look.mm
        start_s, end_s = self.curve[0][0], max(self.curve[-1][0], self.now_s)
        high = max(*(point[3] for point in self.curve), *(value for _, value in self.readings), self.limit_c)
        top_c = 50.0 * (int(high / 50.0) + 1)
        left, bottom = self.x + look.small * 2.1, self.y + look.small * 1.35
        wide, tall = self.right - left - mm, self.top - bottom - mm * 1.5

        def at(time_s: float, value_c: float) -> tuple[float, float]:
            share = (time_s - start_s) / max(1.0, end_s - start_s)
            return left + wide * min(max(share, 0.0), 1.0), bottom + tall * min(max(value_c / top_c, 0.0), 1.0)

        with self.canvas:
            Color(*look.line)
            Line(points=[left, bottom, left + wide, bottom], width=1)
            room = tall / (look.small * 1.4)
            each = next((step for step in (50, 100, 200, 400) if top_c / step <= room), int(top_c))
            for value in range(each, int(top_c) + 1, each):
                Color(*look.line)
                Line(points=[*at(start_s, value), *at(end_s, value)], width=1)
                self._write(str(value), (left - mm, at(0, value)[1]), (1, 0.5), look.quiet)
            minutes = (end_s - start_s) / 60
            step = next((step for step in _STEPS_MIN if minutes / step <= 3.5), 240)
            for minute in range(0, int(minutes) + 1, step):
                x = at(start_s + minute * 60, 0)[0]
                if x > left + wide - look.small * 3.2 and minute:
                    continue
                self._write(str(minute), (x, self.y), (0.5, 0), look.quiet)
            self._write(t("plot.minutes"), (left + wide, self.y), (1, 0), look.quiet)

            Color(*look.act[:3], 0.28)
            vertices: list[float] = []
            for time_s, _, low_c, high_c in self.curve:
                vertices += [*at(time_s, low_c), 0, 0, *at(time_s, high_c), 0, 0]
            Mesh(vertices=vertices, indices=list(range(len(vertices) // 4)), mode="triangle_strip")
            Color(*look.text)
            Line(points=[*at(start_s, self.limit_c), *at(end_s, self.limit_c)], dash_length=6, dash_offset=4, width=1)
            Color(*look.act)
            Line(points=[xy for point in self.curve for xy in at(point[0], point[1])], width=mm * 0.3)
            now = at(self.now_s, 0)[0]
            Color(*look.quiet)
            Line(points=[now, bottom, now, bottom + tall], width=1.1)
            self._write(t("plot.now"), (now + mm, bottom + tall), (0, 1), look.text)
            limit = t("plot.limit", limit_c=self.limit_c)
            self._write(limit, (left + wide, at(0, self.limit_c)[1] + mm * 0.4), (1, 0), look.text)
            for time_s, value_c in self.readings:
                x, y = at(time_s, value_c)
                Color(*look.text)
                Ellipse(pos=(x - mm * 1.1, y - mm * 1.1), size=(mm * 2.2, mm * 2.2))
                text = t("plot.reading", value_c=value_c)
                above = at(0, self.limit_c)[1] + mm * 0.4 + look.small * 1.2  # clear of the limit's words
                self._write(text, (x + mm * 1.6, max(y + mm * 0.6, above)), (0, 0), look.text)
