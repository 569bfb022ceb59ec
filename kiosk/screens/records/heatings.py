"""The heatings of one holder: when, where it stood, what was read, how each ended, and its curve beside it.

The curve is the desk's: what was expected when it was heated, with the readings of then drawn on it.  Nothing in
here ends or begins a hold.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, NumericProperty, StringProperty

from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.lines import RowText
from kiosk.screens.questions import records as asks
from kiosk.screens.questions.records import HeatPlot, HeatRecord
from kiosk.screens.theme import HEAT
from kiosk.screens.view import Covers, View
from kiosk.words import clock, date, say, t

NEWEST = 40


class HeatingsScreen(View):
    """`rows`: the heatings, newest first.  Beside them the one chosen.

    `small`: a curve and what its readings did do not fit at once; `drawn`: then the curve is shown, else the words.
    """

    name = "heatings"
    rail = "find"
    covers = Covers.RAIL

    title = StringProperty()
    rows = ListProperty()
    known = BooleanProperty(False)  # the book has answered: none are none
    chosen = StringProperty()
    trouble = StringProperty()

    when = StringProperty()
    ended = StringProperty()
    stood_at = StringProperty()
    story = StringProperty()  # what its readings did
    curve = ListProperty()
    readings = ListProperty()
    moves = ListProperty()
    limit_c = NumericProperty(43.0)
    now_s = NumericProperty(0.0)
    now_word = StringProperty()
    small = BooleanProperty(False)
    drawn = BooleanProperty(True)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._key = ""
        self._records: dict[str, HeatRecord] = {}

    def shown(self, key: str = "", title: str = "", **_: Any) -> None:
        self._key, self.title, self.trouble = key, title, ""
        self._records, self.rows, self.chosen, self.known = {}, [], "", False
        self._ask()

    def returned(self) -> None:
        self._ask()

    def _ask(self) -> None:
        key = self._key
        self.clerk.ask(
            asks.heatings(key, NEWEST),
            lambda found: self.show(found) if key == self._key else None,
            self._failed,
        )

    def show(self, found: tuple[HeatRecord, ...]) -> None:
        """Show the heatings as the desk gives them, and the last one beside them."""
        self.known, self.trouble = True, ""
        self._records = {str(record.heated_utc_s): record for record in found}
        self.rows = [_line(key, record) for key, record in self._records.items()]
        if self._records:
            self.choose(self.chosen if self.chosen in self._records else next(iter(self._records)))

    def choose(self, key: str) -> None:
        """This one beside the list."""
        self.chosen = key
        record = self._records[key]
        self.when = t("heatings.at", at=_moment(record), place=record.place_name, who=record.operator)
        read = t("heatings.readings", count=len(record.readings))
        self.ended, self.stood_at = f"{ended_words(record)} · {read}", _stays(record)
        self.curve, self.readings, self.moves, self.story = [], [], [], ""
        self.clerk.ask(
            asks.heat_plot(record),
            lambda plot: self.draw(record, plot) if key == self.chosen else None,
            self._failed,
        )

    def draw(self, record: HeatRecord, plot: HeatPlot) -> None:
        """Draw the curve of the one chosen."""
        self.trouble, curve = "", plot.curve
        self.curve, self.readings = list(curve.points), list(curve.readings)
        self.limit_c, self.now_s = curve.limit_c, curve.now_s
        self.now_word = "plot.now" if record.held_s is None else "plot.ended"
        if record.held_s is None and curve.now_s > curve.points[-1][0]:
            self.now_word = ""  # long over, though nobody saw its end
        self.moves = list(plot.moves)
        self.story = " · ".join(map(say, plot.story))

    def turn(self) -> None:
        """The words in the place of the curve, or the curve again."""
        self.drawn = not self.drawn

    def _failed(self, error: Exception) -> None:
        self.trouble = fault_words(error)


def ended_words(record: HeatRecord) -> str:
    """How its hold ended, and after how long."""
    if record.held_s is None:
        return t("heatings.not_ended")
    return t(f"heatings.by_{record.ended_by}", held_s=record.held_s)


def _stays(record: HeatRecord) -> str:
    """`1 Shrink station 0:00 · 2 Sleeve 1 1:12`: numbered as in the plot."""
    told = [f"{number} {name or t('hot.nowhere')} {clock(at_s)}" for number, (name, at_s) in enumerate(record.stays, 1)]
    return " · ".join(told)


def _moment(record: HeatRecord) -> str:
    at = datetime.fromtimestamp(record.heated_utc_s)
    return f"{date(at, at.year != datetime.now().year)} {at:%H:%M}"


def _line(key: str, record: HeatRecord) -> RowText:
    if record.held_s is None:
        return RowText(key, _moment(record), ended_words(record), "", HEAT, "heat")
    return RowText(key, _moment(record), t(f"heatings.row_{record.ended_by}", held_s=record.held_s), "", "✓")


load_beside(__file__)
