"""Measuring: length, diameter and runout of an assembly, as the presetter shows them.

A measurement taken while the steel is warm is kept with the length error the heat makes, and says so before the
figures are asked for.  Nothing is corrected silently.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from kivy.properties import (
    BooleanProperty,
    ListProperty,
    NumericProperty,
    ObjectProperty,
    OptionProperty,
    StringProperty,
)

from kiosk.rules.assembly import Measured
from kiosk.rules.bounds_of_lines import BOUNDS
from kiosk.rules.cards import HolderCard
from kiosk.rules.holder_drawing import draw_holder
from kiosk.rules.say import Say
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.outcomes_shown import for_heat
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions import bench as asks
from kiosk.screens.questions import common
from kiosk.screens.questions.bench import BuildRefused, MeasureTaken
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import clock, say, t

# what is asked for, and its field
_FIGURES = (("length", "length_mm"), ("diameter", "diameter_mm"), ("runout", "runout_um"))


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    SCAN = "scan"
    WHAT = "what"
    FIGURE = "figure"
    ANSWER = "answer"


class MeasureScreen(View):
    """Scan, three figures, what was written; from a holder's card the question comes first what was measured."""

    name = "measure"
    rail = "shop"
    covers = Covers.RAIL
    signs_in = True

    page = OptionProperty(Page.SCAN, options=list(Page))
    figure = NumericProperty(0)
    title = StringProperty()
    asked = StringProperty()
    unit = StringProperty()
    warning = StringProperty()
    answer = StringProperty()
    trouble = StringProperty()
    for_heat = BooleanProperty(False)  # that is why
    drawing = ObjectProperty(None, allownone=True)  # a hot one's would have to say how warm it is
    good = BooleanProperty(True)
    ways = ListProperty()  # what can be measured
    least = NumericProperty(0.0)
    most = NumericProperty(1.0)
    decimals = NumericProperty(3)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._key = ""
        self._values: list[float] = []
        self.ways = [Choice("measure", t("measuring.lengths")), Choice("balance", t("balancing.title"))]

    @property
    def stays(self) -> bool:
        """The first figures are kept while somebody looks for the next at the presetter."""
        return self.page == Page.FIGURE and bool(self._values)

    def shown(self, key: str = "", choose: bool = False, **_: Any) -> None:
        self.trouble = ""
        self._key = key
        if choose:
            self.page = Page.WHAT
        elif key:
            self.clerk.ask(common.holder(key), self._take, self._failed)
        else:
            self.page = Page.SCAN

    def go_on(self, way: str) -> None:
        """To the figures of the chosen holder, or to its balance."""
        if way == self.name:
            self.shown(self._key)
        else:
            self.balance()

    def balance(self) -> None:
        """The same assembly at the balancing machine."""
        self.clerk.go("balance", key=self._key)

    def scanned(self, text: str) -> bool:
        """The assembly to measure."""
        if self.page != Page.FIGURE:
            self.clerk.ask(asks.holder_labelled(text), self._take, self._failed)
        return True

    def back(self) -> None:
        """One figure back, or out."""
        if self.page == Page.FIGURE and self._values:
            self._values.pop()
            self._next()
        else:
            self.clerk.back()

    def _take(self, card: HolderCard) -> None:
        self._key, self._values = card.holder.key, []
        self.title = card.name
        warm = card.measure_in_s
        self.warning = t("measuring.warm", left=clock(warm)) if warm else ""
        if card.assembly is None:
            self._failed(BuildRefused(Say("build.nothing_in", (("name", card.name),)), Say("build.choose_other")))
            return
        self._next()

    def _next(self) -> None:
        self.figure = len(self._values)
        name, field = _FIGURES[int(self.figure)]
        self.least, self.most, self.unit, self.decimals = BOUNDS[Measured][field]
        self.asked = f"{self.title}: {t('measuring.' + name)}"
        self.ids.entry.text = ""
        self.page = Page.FIGURE

    def take(self, value: float) -> None:
        """A figure was entered."""
        self._values.append(value)
        if len(self._values) < len(_FIGURES):
            self._next()
            return
        key = self._key
        values = Measured(self._values[0], self._values[1], runout_um=self._values[2])
        self.clerk.ask(asks.measure(key, values), self._measured, self._failed)

    def _measured(self, taken: MeasureTaken) -> None:
        self.good = taken.warning is None
        self.answer = t("measuring.taken", length_mm=taken.values.length_mm, diameter_mm=taken.values.diameter_mm)
        self.warning = say(taken.warning) if taken.warning else ""
        card = taken.holder
        self.drawing = None if card.hold else draw_holder(card.holder, card.assembly)
        self.clerk.play(Sound.DONE if self.good else Sound.REFUSED)
        self.page = Page.ANSWER

    def _failed(self, error: Exception) -> None:
        self.for_heat = for_heat(error)
        self.clerk.play(Sound.HOT if self.for_heat else Sound.REFUSED)
        words = f"{say(error.why)}. {say(error.remedy)}" if isinstance(error, BuildRefused) else fault_words(error)
        self.trouble = words
        self.page = Page.SCAN


load_beside(__file__)
