"""Entering a temperature: where it was measured, with what, and the figure.

Says in front of the figure what an infrared thermometer does on bright steel.  What a reading ends or does not
end is the desk's to say; this screen shows its words.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from kivy.properties import BooleanProperty, OptionProperty, StringProperty

from kiosk.rules.bounds import READING
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.questions import hot as asks
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import say, t

_LONGEST = 12  # characters of a figure with its unit


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    ASK_WHERE = "ask_where"
    ASK_FIGURE = "ask_figure"
    ANSWER = "answer"


class ReadingScreen(View):
    """Three steps: where and with what, the figure, what came of it."""

    name = "reading"
    covers = Covers.RAIL

    page = OptionProperty(Page.ASK_WHERE, options=list(Page))
    title = StringProperty()
    where = StringProperty("nose")
    instrument = StringProperty("probe")
    hottest = StringProperty()  # where the kiosk believes it is hottest
    answer = StringProperty()
    ended = BooleanProperty(False)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._key = ""
        self._by_probe = ""  # what a probe put into the pad
        self._typed = ""  # by a keyboard, or a probe that types like one, since Enter

    def shown(self, key: str = "", name: str = "", **_: Any) -> None:
        self._key = key
        self.instrument = "probe"
        self.page = Page.ASK_WHERE
        card = next((card for card in self.clerk.hot if card.holder.key == key), None)
        self.title = card.name if card else name
        self.hottest = card.hold.where.removeprefix("term.") if card and card.hold else ""

    def at(self, where: str) -> None:
        """It was measured there."""
        self.where = where
        self.ids.entry.text, self._by_probe, self._typed = "", "", ""
        self.page = Page.ASK_FIGURE
        self.tick()

    def keyed(self, character: str) -> None:
        """A probe that types like a keyboard ends its figure with Enter or Tab; it is shorter than any label's text."""
        if character not in "\r\n\t":
            self._typed = (self._typed + character)[-_LONGEST:]
            return
        value_c, self._typed = asks.typed(self._typed), ""
        if value_c is not None:
            self._fill(value_c, over=True)

    def scanned(self, text: str) -> bool:
        """A longer figure comes as scans do; what is no temperature is a scan like any other."""
        value_c = asks.typed(text)
        if value_c is None:
            return False
        if self.page == Page.ASK_FIGURE:
            self._fill(value_c, over=True)
        return True

    def tick(self) -> None:
        if self.page == Page.ASK_FIGURE and self.instrument == "probe":
            self.clerk.ask(asks.probed(), lambda value_c: None if value_c is None else self._fill(value_c))

    def _fill(self, value_c: float, over: bool = False) -> None:
        """Puts a probe's figure into the pad; what a hand typed there is written over only by a probe that types."""
        entry = self.ids.entry
        if self.page != Page.ASK_FIGURE or not READING.takes(value_c) or value_c < 0:
            return
        if over or entry.text in ("", self._by_probe):
            entry.text = self._by_probe = f"{value_c:.1f}".replace(".", t("number.decimal"))

    def take(self, value_c: float) -> None:
        """Hand the figure over."""
        key, where, instrument = self._key, self.where, self.instrument
        self.clerk.ask(
            asks.read(key, where, value_c, instrument), self._taken, self._turned_down
        )

    def _taken(self, taken: asks.ReadingTaken) -> None:
        self.ended = taken.ended
        self.answer = say(taken.say)
        self.page = Page.ANSWER
        self.clerk.play(Sound.DONE if self.ended else Sound.REFUSED)

    def _turned_down(self, error: Exception) -> None:
        self.ended = False
        self.answer = fault_words(error)
        self.page = Page.ANSWER
        self.clerk.play(Sound.REFUSED)

    def back(self) -> None:
        """One step back, or out."""
        if self.page == Page.ASK_FIGURE:
            self.page = Page.ASK_WHERE
        else:
            self.clerk.back()

    def where_words(self, where: str) -> str:
        return t("reading.title_at", where=where)


load_beside(__file__)
