"""One holder: what it is, where it is, whether it is hot, and everything that can be done with it.

Each button leads to the screen that does it; a condition is said here, in one touch.
"""

from __future__ import annotations

from enum import StrEnum
from functools import partial
from typing import Any

from kivy.properties import (
    BooleanProperty,
    ListProperty,
    NumericProperty,
    ObjectProperty,
    OptionProperty,
    StringProperty,
)

from kiosk.rules.as_of import AsOf
from kiosk.rules.assembly import Condition
from kiosk.rules.cards import Heat, HolderCard
from kiosk.rules.checkin import warmth
from kiosk.rules.fitting.balance import kept_to_rpm
from kiosk.rules.holder_drawing import Drawing, draw_holder
from kiosk.rules.label_wear import asks_for_new
from kiosk.rules.say import Say
from kiosk.screens.clerk import coupling_words, fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions import common
from kiosk.screens.questions import find as asks
from kiosk.screens.questions import hot as hot_asks
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.telling import place_words
from kiosk.words import say, t

CONDITIONS = (Condition.GOOD, Condition.WORN, Condition.BROKEN)


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    SHOWN = "shown"
    CONDITION = "condition"


class HolderScreen(View):
    """The holder, and the question how its cutter is."""

    name = "holder"
    rail = "find"
    covers = Covers.RAIL

    page = OptionProperty(Page.SHOWN, options=list(Page))
    title = StringProperty()
    detail = StringProperty()
    place = StringProperty()
    figures = StringProperty()
    heat = StringProperty()  # words while it is hot
    hot = BooleanProperty(False)
    left_s = NumericProperty(-1)
    drawing = ObjectProperty(None, allownone=True)
    actions = ListProperty()
    conditions = ListProperty()
    trouble = StringProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._key = ""
        self._card: HolderCard | None = None
        self.conditions = [Choice(each.value, t(f"condition.{each.value}")) for each in CONDITIONS]

    def shown(self, key: str = "", **_: Any) -> None:
        self._key, self._card = key, None
        self.trouble = ""
        self.page = Page.SHOWN
        self._ask()

    def returned(self) -> None:
        self._ask()

    def tick(self) -> None:
        self._ask()

    def _ask(self) -> None:
        key = self._key
        self.clerk.ask(common.holder(key), self.show, self._failed)

    def show(self, card: HolderCard) -> None:
        """Show a holder as the desk gives it."""
        if card == self._card and self.title:
            return
        self._card = card
        self.title = card.name
        named = card.holder.name if card.assembly and card.holder.name != card.name else None
        self.detail = " · ".join(part for part in (named, coupling_words(card)) if part)
        apart = card.apart
        old = AsOf(apart.as_of_utc_s) if apart is not None and not apart.all_heard else None
        self.place = place_words(card.at.name if card.at else t("hot.nowhere"), old)
        self.figures = _figures(card)
        hold = card.hold
        self.hot = hold is not None or warmth(card) is not Heat.COOL
        self.left_s = -1
        self.heat = ""
        if hold is not None and hold.safe_in_s is not None:
            self.left_s, self.heat = hold.safe_in_s, t("heat.safe_in")
        elif hold is not None:
            self.heat = t("heat.reading_ends")
        elif self.hot:
            self.heat = t("find.now.unproven", place=None, left_s=None)
        if self.hot:
            self.clerk.ask(hot_asks.drawing(self._key), self._drawn, self._failed)
        else:
            self.drawing = draw_holder(card.holder, card.assembly)
        self.actions = [Choice(name, t(f"holder.{name}")) for name in _actions(card, self.hot)]

    def _drawn(self, drawing: Drawing) -> None:
        self.drawing = drawing

    def do(self, name: str) -> None:
        """A button was touched."""
        key, card = self._key, self._card
        if card is None:
            return
        if name == "condition":
            self.page = Page.CONDITION
        elif name == "label":
            self.clerk.go("labels", code=card.code)
        elif name == "hand_over":
            self.clerk.go("machine", key=key, name=card.name)
        elif name == "measure":
            self.clerk.go("measure", key=key, choose=True)
        elif name == "history":
            self.clerk.go("history", subject=key, title=card.name)
        else:
            self.clerk.go(_SCREENS[name], key=key)

    def say_condition(self, condition: str) -> None:
        """How the cutter is, as a hand says it."""
        key = self._key
        self.page = Page.SHOWN
        self.clerk.ask(asks.say_condition(key, Condition(condition)), self._told, self._failed)

    def _told(self, card: HolderCard) -> None:
        self.clerk.play(Sound.DONE)
        self.show(card)
        self.clerk.ask(common.next_step(card.holder.key), partial(self._goes_on, card), self._failed)

    def _goes_on(self, card: HolderCard, step: Say | None) -> None:
        """What comes next for what a hand has just said something about, and where."""
        if step is not None and card.holder.key == self._key:
            self.figures = " · ".join((_figures(card), say(step)))

    def back(self) -> None:
        """One step back."""
        if self.page == Page.CONDITION:
            self.page = Page.SHOWN
        else:
            self.clerk.back()

    def _failed(self, error: Exception) -> None:
        self.trouble = fault_words(error)


_SCREENS = {"take_me": "place", "build": "build", "tear_down": "tear_down", "reading": "reading",
            "correct": "correct"}  # fmt: skip


def _actions(card: HolderCard, hot: bool) -> tuple[str, ...]:
    """What can be asked for; whether it may be done is judged where it is done.

    What is hot is never measured, so for that there is no button, and eight are as many as a small window shows.
    """
    built = ("hand_over", "tear_down", "condition") if hot else ("hand_over", "measure", "tear_down", "condition")
    steps = built if card.assembly else ("build",)
    return ("reading" if hot else "take_me", *(("take_me",) if hot else ()), *steps, "label", "correct", "history")


def _figures(card: HolderCard) -> str:
    worn = [t("holder.label_worn")] if asks_for_new(card.label_spent) else []
    return " · ".join([*worn, *_built(card)])


def _built(card: HolderCard) -> list[str]:
    assembly = card.assembly
    if assembly is None:
        return [t("holder.bare")]
    lines = []
    measured = assembly.measured
    if measured is not None:
        lines.append(t("holder.measured", length_mm=measured.length_mm, diameter_mm=measured.diameter_mm))
    else:
        lines.append(t("holder.not_measured"))
    if (left := assembly.unbalance) is not None:
        kept_rpm = kept_to_rpm(left)
        grade = left.grade if kept_rpm is not None else None
        lines.append(t("holder.unbalance", unbalance_gmm=left.residual_gmm, grade=grade, kept_rpm=kept_rpm))
    lines.append(t("holder.condition_is", condition=t(f"condition.{assembly.condition.value}")))
    return lines


load_beside(__file__)
