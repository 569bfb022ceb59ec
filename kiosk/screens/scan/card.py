"""The card to type at the control, after a holder went into a machine.

Large figures in the order they are typed, from the measured values in the book; what was never measured is said
to be so, and no figure is made up for it.
"""

from __future__ import annotations

from typing import Any

from kivy.clock import Clock
from kivy.properties import BooleanProperty, NumericProperty, StringProperty

from kiosk.rules.cards import HolderCard
from kiosk.screens.clerk import coupling_words
from kiosk.screens.kv import load_beside
from kiosk.screens.view import View
from kiosk.words import t


class CardScreen(View):
    """The figures as texts; an empty one is not there.  `undo_s`: how long the hand-over can be taken back."""

    name = "card"
    rail = "scan"

    title = StringProperty()
    detail = StringProperty()
    place = StringProperty()
    length = StringProperty()
    diameter = StringProperty()
    radius = StringProperty()
    edges = StringProperty()
    coolant = StringProperty()
    measured = BooleanProperty(True)
    undo_s = NumericProperty(0)

    def shown(self, card: HolderCard | None = None, **_: Any) -> None:
        self.undo_s = self.clerk.undo_s
        if card is not None:
            self.show(card)

    def show(self, card: HolderCard) -> None:
        """Show what is typed for this holder."""
        self.title = card.name
        self.detail = coupling_words(card)
        self.place = card.at.name if card.at else ""
        assembly = card.assembly
        values = assembly.measured if assembly else None
        self.measured = values is not None
        self.length = _figure(values.length_mm if values else None)
        self.diameter = _figure(values.diameter_mm if values else None)
        radius_mm = values.corner_radius_mm if values else None
        if radius_mm is None and assembly is not None:
            radius_mm = assembly.cutter.re_mm
        self.radius = _figure(radius_mm)
        self.edges = str(values.edges if values and values.edges else assembly.cutter.zefp if assembly else "–")
        self.coolant = t("card_to_type.on") if assembly and assembly.cutter.coolant else t("card_to_type.off")

    def tick(self) -> None:
        self.undo_s = self.clerk.undo_s

    def undo(self) -> None:
        """Take the hand-over back."""
        self.clerk.undo()

    def finished(self) -> None:
        """It is typed: back to the scan screen."""
        Clock.schedule_once(lambda _: self.clerk.go("scan"))


def _figure(value_mm: float | None) -> str:
    """Three decimals always, as controls show them."""
    return "–" if value_mm is None else f"{value_mm:.3f}".replace(".", t("number.decimal"))


load_beside(__file__)
