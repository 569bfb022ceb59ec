"""Entering a temperature: where it was measured, with what, and the figure.

Says in front of the figure what an infrared thermometer does on bright steel.  What a reading ends or does not
end is the desk's to say; this screen shows its words.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from kivy.properties import (
    BooleanProperty,
    DictProperty,
    NumericProperty,
    ObjectProperty,
    OptionProperty,
    StringProperty,
)

from kiosk.rules.bounds import READING
from kiosk.rules.hold_facts import SPOTS
from kiosk.rules.holder_drawing import Drawing
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.questions import hot as asks
from kiosk.screens.questions.hot import Owed
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
    drawing = ObjectProperty(None, allownone=True)  # whose spots are touched
    answer = StringProperty()
    grew = StringProperty()  # why the wait is longer now
    owed = StringProperty()  # what is still to be read, and when
    notes = DictProperty(dict.fromkeys(SPOTS, ""))  # what each spot's button says of it
    slip = NumericProperty(0)  # number of the reading's line, while it can be withdrawn as mistyped
    word = StringProperty()  # what the answer says in one word
    ended = BooleanProperty(False)
    hot = BooleanProperty(False)  # it was read, or taken back, and is hot

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._key = ""
        self._by_probe = ""  # what a probe put into the pad
        self._typed = ""  # by a keyboard, or a probe that types like one, since Enter

    @property
    def half_typed(self) -> bool:
        """A temperature is of its moment: one that was left half typed is read anew."""
        return False

    def shown(self, key: str = "", name: str = "", **_: Any) -> None:
        self._key = key
        self.instrument = "probe"
        self.page = Page.ASK_WHERE
        card = next((card for card in self.clerk.hot if card.holder.key == key), None)
        self.title = card.name if card else name
        self.hottest = card.hold.where.removeprefix("term.") if card and card.hold else ""
        self.owed, self.slip = "", 0
        self._note(Owed())
        self._redraw()
        self.clerk.ask(asks.owed(key), self._owes, lambda _: None)

    def _redraw(self) -> None:
        """How warm each part may be from now on; none where it counts as cool."""
        key, self.drawing = self._key, None
        self.clerk.ask(asks.drawing(key), lambda drawing: self._drawn(key, drawing), lambda _: None)

    def _drawn(self, key: str, drawing: Drawing) -> None:
        if key == self._key:
            self.drawing = drawing

    def _owes(self, owed: Owed) -> None:
        """What is still to be read before it counts as cool."""
        self.owed = owed_words(owed)
        self._note(owed)

    def _note(self, owed: Owed) -> None:
        now = owed.spots if owed.in_s <= 0 else ()
        self.notes = {
            spot: t("reading.hottest") if spot == self.hottest and spot not in owed.cool
            else t("reading.to_read") if spot in now
            else t("reading.read_cool") if spot in owed.cool
            else ""
            for spot in SPOTS
        }  # fmt: skip

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
        self.clerk.ask(asks.read(key, where, value_c, instrument), self._taken, self._turned_down)

    def _taken(self, taken: asks.ReadingTaken) -> None:
        self.ended, self.hot = taken.ended, not taken.ended
        self.word = t("reading.cool") if self.ended else t("reading.still_hot")
        self.answer = say(taken.say)
        self.grew = say(taken.grew) if taken.grew else ""
        self.slip = taken.line
        self._owes(taken.owed)
        self._redraw()
        self.page = Page.ANSWER
        self.clerk.play(Sound.DONE if self.ended else Sound.REFUSED)

    def mistyped(self) -> None:
        """The reading just entered was a slip: it is withdrawn, and its spot asked for again."""
        line, self.slip = int(self.slip), 0  # a second touch while the desk writes must not ask again
        self.clerk.ask(asks.withdraw(self._key, line), self._withdrawn, self._turned_down)

    def _withdrawn(self, taken: asks.Withdrawn) -> None:
        self.ended, self.grew, self.hot = False, "", taken.hot
        self.word = t("reading.hot_again") if taken.hot else t("reading.taken_back")
        self.answer = say(taken.say)
        self._owes(taken.owed)
        self._redraw()
        self.page = Page.ANSWER
        self.clerk.play(Sound.HOT if taken.hot else Sound.DONE)

    def again(self) -> None:
        """Another reading of the same holder."""
        self.page = Page.ASK_WHERE
        self.clerk.ask(asks.owed(self._key), self._owes, lambda _: None)

    def _turned_down(self, error: Exception) -> None:
        self.ended, self.hot, self.grew, self.owed, self.slip = False, False, "", "", 0
        self.word = t("reading.not_taken")
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


def owed_words(owed: Owed) -> str:
    """What is still to be read, and when, in a sentence; empty where nothing is."""
    if not owed.spots:
        return ""
    spots = t("reading.and").join(t(f"reading.at_{spot}") for spot in owed.spots)
    return t("reading.owed", spots=spots, in_s=owed.in_s if owed.in_s > 0 else None)


load_beside(__file__)
