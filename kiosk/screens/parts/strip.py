"""The heat strip: always on top, says how many holders are hot and when the next may be touched.

It is red only while something is hot, quiet grey otherwise; its triangle breathes slowly, the one movement that
repeats.  It never disappears and cannot be dismissed.
"""

from __future__ import annotations

import math
from typing import Any

from kivy.clock import Clock
from kivy.properties import BooleanProperty, NumericProperty, StringProperty
from kivy.uix.boxlayout import BoxLayout

from kiosk.screens.kv import load_beside
from kiosk.words import t

BREATH_S = 3.2
BREATH_STEP_S = 0.125
NAME_FROM = 0.6  # of the strip's width: there the name of who is at work begins at the latest


class HeatStrip(BoxLayout):
    """`hot`: holders under a hold.  `next_s`: until the next may be touched; negative: only a reading ends it.

    `note` is what stands on the quiet side: the place it is about, the operator, the audit that is open.
    `trouble`: something is wrong with the kiosk itself (no camera, disk full), in words.
    """

    hot = NumericProperty(0)
    next_s = NumericProperty(-1)
    by_reading = BooleanProperty(False)
    note = StringProperty()
    trouble = StringProperty()
    breath = NumericProperty(1.0)
    wide = BooleanProperty(True)
    language = StringProperty("en")

    __events__ = ("on_who",)

    def __init__(self, **kwargs: Any) -> None:
        self._breathing = Clock.create_trigger(self._breathe, BREATH_STEP_S, interval=True)
        super().__init__(**kwargs)

    def on_hot(self, _: object, hot: float) -> None:
        self.breath = 1.0
        if hot:
            self._breathing()
        else:
            self._breathing.cancel()

    def on_touch_up(self, touch: Any) -> bool:
        """The quiet side, where the name stands, was touched."""
        if self.collide_point(*touch.pos) and touch.x > self.x + NAME_FROM * self.width:
            self.dispatch("on_who")
            return True
        return bool(super().on_touch_up(touch))

    def on_who(self) -> None:
        """Somebody touched where the name of who is at work stands."""

    def _breathe(self, _: float) -> None:
        """Eight steps a second, so that a tablet need not draw the whole window sixty times for it."""
        self.breath = 0.72 + 0.28 * math.cos(2 * math.pi * Clock.get_boottime() / BREATH_S)

    def summary(self, hot: float, next_s: float, by_reading: bool, trouble: str, wide: bool, _: str) -> str:
        """The strip's words before its time, in the language spoken."""
        if trouble and (wide or not hot):
            return f"{t('strip.hot', count=int(hot))} · {trouble}" if hot else trouble
        if not hot:
            return t("strip.quiet")
        if not wide:
            return t("strip.hot", count=int(hot))
        until = "strip.reading" if next_s < 0 else "strip.probe" if by_reading else "strip.next"
        return f"{t('strip.hot', count=int(hot))}  {t(until)}"


load_beside(__file__)
