"""The cooling curve of one holder: band, limit, readings, and where now is.

Drawn from the values it is given, never computed here.  Time in minutes since heating, temperature in °C.
"""

from __future__ import annotations

from typing import Any

from kivy.clock import Clock
from kivy.graphics import Color, Ellipse, Line, Mesh
from kivy.properties import ListProperty, NumericProperty, StringProperty
from kivy.uix.widget import Widget

from kiosk.screens.parts.drawn import letters_px, texture_of, write
from kiosk.screens.theme import look
from kiosk.words import t

LEAST_MM = 18.0  # high; below it the words of limit, readings and end stand on each other
_LINES = 5.0  # of words that its height is, where they can be as large
_STEPS_MIN = (1, 2, 5, 10, 20, 30, 60, 120)


class CoolingPlot(Widget):
    """`curve`: (time_s, hottest_c, low_c, high_c) in order.  `readings`: (time_s, value_c).  `limit_c`, `now_s`.

    `now_word`: what stands at `now_s`; empty: nothing is drawn there.  `moves`: when it came to another place,
    numbered from 2 on, as the place where it was heated is the first.
    """

    curve = ListProperty()
    readings = ListProperty()
    limit_c = NumericProperty(43.0)
    now_s = NumericProperty(0.0)
    now_word = StringProperty("plot.now")
    moves = ListProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        soon = Clock.create_trigger(self._draw, -1)
        for name in ("curve", "readings", "limit_c", "now_s", "now_word", "moves", "size", "pos"):
            self.fbind(name, soon)
        for name in ("mm", "body", "text", "act"):
            look.fbind(name, soon)

    def _draw(self, *_: object) -> None:
        self.canvas.clear()
        if len(self.curve) < 2 or self.width < look.mm * 20 or self.height < look.mm * LEAST_MM:
            return
        mm, letters = look.mm, letters_px(self, _LINES)
        start_s, end_s = self.curve[0][0], max(self.curve[-1][0], self.now_s)
        high = max(*(point[3] for point in self.curve), *(value for _, value in self.readings), self.limit_c)
        top_c = 50.0 * (int(high / 50.0) + 1)
        left, bottom = self.x + letters * 2.1, self.y + letters * 1.35
        wide, tall = self.right - left - mm, self.top - bottom - mm * 1.5

        def at(time_s: float, value_c: float) -> tuple[float, float]:
            share = (time_s - start_s) / max(1.0, end_s - start_s)
            return left + wide * min(max(share, 0.0), 1.0), bottom + tall * min(max(value_c / top_c, 0.0), 1.0)

        with self.canvas:
            Color(*look.line)
            Line(points=[left, bottom, left + wide, bottom], width=1)
            room = tall / (letters * 1.4)
            each = next((step for step in (50, 100, 200, 400) if top_c / step <= room), int(top_c))
            for value in range(each, int(top_c) + 1, each):
                Color(*look.line)
                Line(points=[*at(start_s, value), *at(end_s, value)], width=1)
                middle = min(at(0, value)[1], self.top - texture_of(str(value), letters).height / 2)
                write(self, str(value), (left - mm, middle), (1, 0.5), look.quiet, letters)
            minutes = (end_s - start_s) / 60
            step = next((step for step in _STEPS_MIN if minutes / step <= 3.5), 240)
            for minute in range(0, int(minutes) + 1, step):
                x = at(start_s + minute * 60, 0)[0]
                if x > left + wide - letters * 3.2 and minute:
                    continue
                write(self, str(minute), (x, self.y), (0.5, 0), look.quiet, letters)
            write(self, t("plot.minutes"), (left + wide, self.y), (1, 0), look.quiet, letters)

            Color(*look.act[:3], 0.28)
            vertices: list[float] = []
            for time_s, _, low_c, high_c in self.curve:
                vertices += [*at(time_s, low_c), 0, 0, *at(time_s, high_c), 0, 0]
            Mesh(vertices=vertices, indices=list(range(len(vertices) // 4)), mode="triangle_strip")
            Color(*look.text)
            Line(points=[*at(start_s, self.limit_c), *at(end_s, self.limit_c)], dash_length=6, dash_offset=4, width=1)
            Color(*look.act)
            Line(points=[xy for point in self.curve for xy in at(point[0], point[1])], width=mm * 0.3)
            limit = t("plot.limit", limit_c=self.limit_c)
            limit_foot = at(0, self.limit_c)[1] + mm * 0.4
            above = limit_foot + letters * 1.2  # clear of the limit's words
            word = t(self.now_word) if self.now_word else ""
            now = at(self.now_s, 0)[0]
            right = now > left + wide * 0.75
            reach = mm + texture_of(word, letters).width
            ends = (now - reach, now) if right else (now, now + reach)
            for number, time_s in enumerate(self.moves, 2):
                x = at(time_s, 0)[0]
                Color(*look.quiet)
                Line(points=[x, bottom, x, bottom + tall], dash_length=2, dash_offset=4, width=1)
                long = texture_of(str(number), letters).width
                # It would lie in the word.
                within = bool(word) and ends[0] - mm < x + mm * 0.6 + long and x - mm < ends[1]
                foot = bottom + tall - (letters * 1.25 if within else 0.0)
                write(self, str(number), (x + mm * 0.6, foot), (0, 1), look.quiet, letters)
            if word:
                Color(*look.quiet)
                struck = left + wide - texture_of(limit, letters).width - mm < now < left + wide
                for low, high in ((bottom, limit_foot if struck else above), (above, bottom + tall)):
                    Line(points=[now, low, now, high], width=1.1)
                foot = now + (-mm if right else mm), bottom + tall
                write(self, word, foot, (1 if right else 0, 1), look.text, letters)
            write(self, limit, (left + wide, limit_foot), (1, 0), look.text, letters)
            # Start, end and foot of what was written.
            taken = [(left + wide - texture_of(limit, letters).width, left + wide, limit_foot)]
            for time_s, value_c in reversed(self.readings):  # words where there is room, the last one's first
                x, y = at(time_s, value_c)
                Color(*look.text)
                Ellipse(pos=(x - mm * 1.1, y - mm * 1.1), size=(mm * 2.2, mm * 2.2))
                late = x > left + wide * 0.6
                text = t("plot.reading", value_c=value_c)
                long = texture_of(text, letters).width
                start = x - mm * 1.6 - long if late else x + mm * 1.6
                foot = min(max(y + mm * 0.6, above), bottom + tall - letters * 2.4)
                if any(start < e and start + long > s and abs(foot - f) < letters * 1.2 for s, e, f in taken):
                    continue
                # Words that lie over another dot, or end beside it, would be read as its own.
                dots = [at(*each) for each in self.readings if each != (time_s, value_c)]
                ends = (start - mm * 2, start + long + mm)
                if any(ends[0] < dot < ends[1] and abs(foot + letters / 2 - high) < letters * 2 for dot, high in dots):
                    continue
                taken.append((start, start + long, foot))
                write(self, text, (start, foot), (0, 0), look.text, letters)
