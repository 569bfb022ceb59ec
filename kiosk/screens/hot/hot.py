"""The hot board: everything a hand must keep off, most dangerous first, and what is too warm to measure.

Each row counts down to the touch; the panel beside it shows the one chosen: how warm it is believed to be, when
it may be measured, when it should leave its sleeve, and its curve.  Nothing here ends a hold but a reading.
"""

from __future__ import annotations

from typing import Any

from kivy.properties import (
    BooleanProperty,
    ListProperty,
    NumericProperty,
    ObjectProperty,
    OptionProperty,
    StringProperty,
)

from kiosk.rules.as_of import as_of
from kiosk.rules.cards import HeatCurve, HolderCard, ProbeNext, Until
from kiosk.rules.holder_drawing import Drawing
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.hotrow import HotLine
from kiosk.screens.questions import hot as asks
from kiosk.screens.view import View
from kiosk.telling import place_words
from kiosk.words import say, t

CURVE_EVERY_S = 10
PICTURES = ("drawn", "curve", "words")  # what a small panel shows of the one chosen, in turn


class HotScreen(View):
    """`rows`: HotLines.  `chosen`: key of the one shown beside.  `known`: the desk has said what is hot."""

    name = "hot"
    rail = "hot"
    stays = True  # the board that everybody looks at from where they work

    known = BooleanProperty(False)
    rows = ListProperty()
    chosen = StringProperty()
    title = StringProperty()
    temperature = StringProperty()
    belief = StringProperty()
    spot = StringProperty()  # where it is hottest, beside its temperature
    hottest = StringProperty()  # the same in a sentence, beside a drawing too small to name it
    measure = StringProperty()
    sleeve = StringProperty()
    advice = StringProperty()  # what to do to be sooner
    shortly = StringProperty()  # where and when of it, beside a picture on a small panel
    curve = ListProperty()
    readings = ListProperty()
    drawing = ObjectProperty(None, allownone=True)  # the one chosen, drawn by how warm each part may be
    picture = OptionProperty("drawn", options=PICTURES)  # what a small panel shows of it
    roomy = BooleanProperty(False)  # there is room for the drawing and the curve
    limit_c = NumericProperty(43.0)
    now_s = NumericProperty(0.0)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._curve_of = ""
        self._curve_age_s = 0

    def shown(self, key: str = "", **_: Any) -> None:
        if key:
            self.chosen = key
        self.tick()

    def tick(self) -> None:
        self.show(self.clerk.hot, self.clerk.warm, self.clerk.heat_known)
        self._ask_curve()
        if key := self.chosen:
            self.clerk.ask(asks.advice(key), lambda found: self._advise(key, found))

    def _advise(self, key: str, found: ProbeNext | None) -> None:
        if key == self.chosen:
            self.advice = say(found.say) if found else ""
            self.shortly = say(found.say_shortly) if found else ""

    def _ask_curve(self) -> None:
        """The curve moves slowly: a new one now and then, and at once for another holder."""
        key = self.chosen
        if self._curve_of == key and self._curve_age_s < CURVE_EVERY_S:
            self._curve_age_s += 1
            self.now_s += 1
            return
        if self._curve_of != key:
            self.curve, self.readings, self.drawing, self.advice, self.shortly = [], [], None, "", ""
        self._curve_of, self._curve_age_s = key, 0
        if key:
            self.clerk.ask(asks.curve(key), lambda curve: self._draw(key, curve))
            self.clerk.ask(asks.drawing(key), lambda drawing: self._drawn(key, drawing), lambda _: None)

    def _draw(self, key: str, curve: HeatCurve | None) -> None:
        if key == self.chosen and curve is not None:
            self.curve, self.readings = list(curve.points), list(curve.readings)
            self.limit_c, self.now_s = curve.limit_c, curve.now_s

    def _drawn(self, key: str, drawing: Drawing) -> None:
        if key == self.chosen:
            self.drawing = drawing

    def turn_picture(self) -> None:
        """The curve in the place of the drawing, then all the words, then the drawing again."""
        self.picture = PICTURES[(PICTURES.index(self.picture) + 1) % len(PICTURES)]

    def left(self) -> None:
        self._curve_of = ""

    def show(self, hot: tuple[HolderCard, ...], warm: tuple[HolderCard, ...], known: bool = True) -> None:
        """Show the board as the desk gives it; known: it has given one."""
        self.known = known
        held = {card.holder.key for card in hot}
        cards = [*hot, *(card for card in warm if card.holder.key not in held)]
        self.rows = [hot_line(card) for card in cards]
        if self.chosen not in {card.holder.key for card in cards}:
            self.chosen = cards[0].holder.key if cards else ""
        card = next((card for card in cards if card.holder.key == self.chosen), None)
        self._beside(card)

    def choose(self, line: HotLine) -> None:
        """A row was touched."""
        self.chosen = line.key
        self.tick()

    def read(self) -> None:
        """Enter a reading of the one chosen."""
        if self.chosen:
            self.clerk.go("reading", key=self.chosen)

    def _beside(self, card: HolderCard | None) -> None:
        hold = card.hold if card else None
        self.title = card.name if card else ""
        self.temperature = self.belief = self.spot = self.hottest = self.measure = self.sleeve = ""
        if hold is not None:
            low, high = hold.low_c, hold.high_c
            self.temperature = t("hot.temperature", hottest_c=hold.hottest_c)
            self.spot = t(f"term.{hold.where}")
            self.hottest = t("drawing.hottest", where=hold.where)
            self.belief = t("hot.belief", low_c=low, high_c=high, where=hold.where)
            if hold.take_out_in_s is not None and hold.take_out_in_s <= 0:
                self.sleeve = t("hot.take_it_out")
            elif hold.until is Until.PROBE_NOW:
                self.sleeve = t("hot.probe_now", where=hold.where)
            elif hold.until is Until.AIR_TOO_WARM:
                self.sleeve = t("remedy.air_too_warm", place=None)
            elif hold.needs_reading:
                self.sleeve = t("hot.needs_reading", left_s=hold.remaining_s)
        measure_s = hold.measure_in_s if hold else card.measure_in_s if card else None
        if measure_s and not self.sleeve:
            self.measure = t("hot.measure_in", left_s=measure_s)


def hot_line(card: HolderCard) -> HotLine:
    """The row for a holder under a hold, or still too warm to measure."""
    hold = card.hold
    place = place_words(card.at.name if card.at else t("hot.nowhere"), as_of(card.apart, card.last_kiosk))
    if hold is None:
        return HotLine(card.holder.key, card.name, place, None, 0.0, card.measure_in_s)
    return HotLine(
        card.holder.key, card.name, place, hold.hottest_c, hold.safe_in_s, hold.measure_in_s, hold.take_out_in_s
    )


load_beside(__file__)
