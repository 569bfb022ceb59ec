"""The heat strip: always on top, says how many holders are hot and when the next may be touched.

It is red only while something is hot, quiet grey otherwise; its triangle breathes slowly, the one movement that
repeats: a step a second, in the picture that the countdown needs anyway, because a tablet without a graphics driver
draws every picture of the whole window by its processor.  It never disappears and cannot be dismissed.
"""

from __future__ import annotations

from kivy.properties import BooleanProperty, NumericProperty, StringProperty
from kivy.uix.floatlayout import FloatLayout
from kivy.uix.widget import Widget

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.touch import Touchable
from kiosk.screens.theme import LIST_MM
from kiosk.words import t

BREATH = (1.0, 0.82, 0.64, 0.82)  # how much of the triangle is seen, step by step


class WhoKey(Touchable, Widget):
    """The quiet side of the strip, where the name of who is at work stands, for a finger; draws nothing itself.

    It reaches into the page's margin below the strip, where the page has nothing to touch.
    """

    least_mm = NumericProperty(LIST_MM)


class HeatStrip(FloatLayout):
    """`hot`: holders under a hold.  `next_s`: until the next may be touched; negative: only a reading ends it.
    `probe`: what to probe now to be sooner, in words; the time is then how long it takes otherwise.
    `probe_of`: the name in it, which stands beside the count where a line does not hold both.

    `mark`: something of the kiosk itself needs a hand, quietly; where there is no room for the note it stands alone.
    `note` is what stands on the quiet side: the place it is about, the operator, the audit that is open.
    `trouble`: something is wrong with the kiosk itself (no camera, disk full), in words.
    """

    hot = NumericProperty(0)
    next_s = NumericProperty(-1)
    by_reading = BooleanProperty(False)
    probe = StringProperty()
    probe_of = StringProperty()
    note = StringProperty()
    mark = StringProperty()
    trouble = StringProperty()
    breath = NumericProperty(1.0)
    wide = BooleanProperty(True)
    language = StringProperty("en")
    _step = 0

    __events__ = ("on_who",)

    def on_hot(self, *_: object) -> None:
        self._step = 0
        self.breath = BREATH[0]

    def breathe(self) -> None:
        """The next step of the breath: once a second, together with what else changes then."""
        if self.hot:
            self._step = (self._step + 1) % len(BREATH)
            self.breath = BREATH[self._step]

    def on_who(self) -> None:
        """Somebody touched where the name of who is at work stands."""

    def summary(
        self,
        hot: float,
        next_s: float,
        by_reading: bool,
        probe: str,
        probe_of: str,
        trouble: str,
        wide: bool,
        note: str,
        mark: str,
        _: str,
    ) -> str:
        """The strip's words before its time, in the language spoken."""
        if trouble and (wide or not hot):
            return f"{t('strip.hot', count=int(hot))} · {trouble}" if hot else trouble
        if not hot:
            return t("strip.quiet") if wide or not mark else f"{t('strip.quiet')} · {mark}"
        hot_words = t("strip.hot", count=int(hot))
        if wide:
            return f"{hot_words}  {self.until(next_s, by_reading, probe, '')}"
        return " · ".join(part for part in (hot_words, trouble or probe_of or note) if part)

    def until(self, next_s: float, by_reading: bool, probe: str, probe_of: str, *_: object) -> str:
        """What the time means, or what there is to do instead of waiting."""
        if by_reading and next_s == 0:
            return t("strip.probe_now")
        if probe and next_s != 0:
            return t("strip.advice_of_it") if probe_of else probe
        return t("strip.reading" if next_s <= 0 else "strip.probe" if by_reading else "strip.next")


load_beside(__file__)
