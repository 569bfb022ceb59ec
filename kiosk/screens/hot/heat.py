"""The heat refusal: fills the screen, says how hot, for how long, and what to do instead.

It goes away by one touch, or by scanning a place where the holder may stand hot; no other scan is taken while it
shows.  Nothing here ends a hold.
"""

from __future__ import annotations

from typing import Any

from kivy.properties import BooleanProperty, NumericProperty, StringProperty

from kiosk.rules.cards import HolderCard
from kiosk.rules.checkin import Done, Refused
from kiosk.rules.codes import CodeFault, Kind, parse
from kiosk.screens.clerk import Scanned
from kiosk.screens.kv import load_beside
from kiosk.screens.view import Covers, View
from kiosk.words import say, t


class HeatScreen(View):
    """`left_s`: until it may be touched, or, `by_reading`, until a probe will say so; negative: nobody can tell."""

    name = "heat"
    covers = Covers.ALL
    forwards = True
    stays = True

    about = StringProperty()
    left_s = NumericProperty(-1)
    by_reading = BooleanProperty(False)
    place = StringProperty()
    title = StringProperty()
    remedy = StringProperty()
    measure = StringProperty()
    gap = BooleanProperty(False)
    first = StringProperty()  # said when something else is scanned

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._key = ""

    def shown(self, scanned: Scanned | None = None, **_: Any) -> None:
        if scanned is None or not isinstance(scanned.outcome, Refused):
            return
        self.first = ""
        outcome = scanned.outcome
        card = outcome.holder
        if card is not None:
            self._key = card.holder.key
            self.title = card.name
            self._temperature(card)
        self.place = t("heat.not_to", place=outcome.goal.name) if outcome.goal else ""
        self.remedy = say(outcome.remedy)

    def scanned(self, text: str) -> bool:
        try:
            place = parse(text).kind is Kind.PLACE
        except CodeFault:
            place = False
        self.first = "" if place else t("heat.first")
        return not place

    def came(self, scanned: Scanned) -> bool:
        outcome = scanned.outcome
        if isinstance(outcome, Refused):
            self.place, self.remedy = say(outcome.why), say(outcome.remedy)
        elif not isinstance(outcome, Done):
            self.first = t("heat.first")
        return not isinstance(outcome, Done)

    def tick(self) -> None:
        card = next((card for card in self.clerk.hot if card.holder.key == self._key), None)
        if card is None:
            self.clerk.back()
        else:
            self._temperature(card)

    def _temperature(self, card: HolderCard) -> None:
        hold = card.hold
        if hold is None:
            return
        self.about = t("heat.about", hottest_c=hold.hottest_c, where=hold.where)
        self.left_s = -1 if hold.remaining_s is None else hold.remaining_s
        self.by_reading = hold.needs_reading
        self.measure = t("hot.measure_in", left_s=hold.measure_in_s) if hold.measure_in_s else ""
        self.gap = hold.gap

    def until(self, left_s: float, by_reading: bool) -> str:
        """The words above the time."""
        if left_s < 0:
            return t("heat.reading_ends")
        return t("heat.probe_in") if by_reading else t("heat.safe_in")

    def read(self) -> None:
        """Enter a reading of this holder."""
        self.clerk.go("reading", key=self._key)


load_beside(__file__)
