"""The card to type at the control, after a holder went into a machine.

Large figures in the order they are typed, as `rules.offsets` gives them: what was never measured, or measured warm,
is said to be so, and no figure is shown for it.
"""

from __future__ import annotations

from typing import Any

from kivy.clock import Clock
from kivy.properties import BooleanProperty, NumericProperty, ObjectProperty, StringProperty

from kiosk.rules.cards import HolderCard
from kiosk.rules.holder_drawing import draw_holder
from kiosk.rules.outcomes import undo_offered_s
from kiosk.rules.say import Value
from kiosk.screens.clerk import coupling_words, fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.questions import common
from kiosk.screens.questions import scan as asks
from kiosk.screens.view import View
from kiosk.words import say, t


class CardScreen(View):
    """The figures as texts; an empty one is not there.  `undo_s`: how long the hand-over can be taken back."""

    name = "card"
    rail = "scan"

    title = StringProperty()
    detail = StringProperty()
    place = StringProperty()
    heading = StringProperty()  # that these are typed; what to mind first; or why nothing may be typed
    sound = BooleanProperty(True)  # nothing to mind
    refused = BooleanProperty(False)  # nothing may be typed
    length = StringProperty()
    across = StringProperty()  # what the control wants across: diameter, or radius
    diameter = StringProperty()
    radius = StringProperty()
    edges = StringProperty()
    coolant = StringProperty()
    number = StringProperty()  # what the controls call it
    undo_s = NumericProperty(0)
    drawing = ObjectProperty(None, allownone=True)

    def shown(self, card: HolderCard | None = None, **_: Any) -> None:
        self.undo_s = undo_offered_s(self.clerk.undo_s)
        if card is not None:
            self.show(card)
            key = card.holder.key
            self.clerk.ask(common.tool_number(key), self._numbered)

    def _numbered(self, number: int | None) -> None:
        self.number = "–" if number is None else str(number)

    def show(self, card: HolderCard) -> None:
        """Say which holder it is, and ask what is typed for it."""
        self.title = card.name
        self.drawing = draw_holder(card.holder, card.assembly)
        self.number = "–"
        self.detail = coupling_words(card)
        self.place = card.at.name if card.at else ""
        self._figures(None, "")
        self.clerk.ask(asks.card_to_type(card.holder.key), self.answered, self._failed)

    def answered(self, answer: asks.Card | asks.CardFault) -> None:
        """Show what the desk says is typed, or why nothing is."""
        if isinstance(answer, asks.CardFault):
            self._figures(None, f"{say(answer.reason)}. {say(answer.remedy)}")
        else:
            self._figures(answer, ". ".join(say(each) for each in answer.cautions))

    def _figures(self, typed: asks.Card | None, mind: str) -> None:
        value = typed.value if typed else lambda _: None
        by_radius = value("R") is not None
        self.heading, self.sound, self.refused = mind or t("card_to_type.title"), not mind, bool(mind and not typed)
        self.across = t("offsets.r") if by_radius else t("card_to_type.diameter")
        self.length = _figure(value("LF"))
        self.diameter = _figure(value("R" if by_radius else "DC"))
        self.radius = _figure(value("RE"))
        self.edges = str(value("ZEFP") or "–")
        coolant = value("COOLANT")
        self.coolant = "–" if coolant is None else t("card_to_type.on") if coolant else t("card_to_type.off")

    def _failed(self, error: Exception) -> None:
        self._figures(None, fault_words(error))

    def tick(self) -> None:
        self.undo_s = undo_offered_s(self.clerk.undo_s)

    def undo(self) -> None:
        """Take the hand-over back."""
        self.clerk.undo()

    def finished(self) -> None:
        """It is typed: back to the scan screen."""
        Clock.schedule_once(lambda _: self.clerk.go("scan"))


def _figure(value_mm: Value) -> str:
    """Three decimals always, as controls show them."""
    return "–" if not isinstance(value_mm, int | float) else f"{value_mm:.3f}".replace(".", t("number.decimal"))


load_beside(__file__)
