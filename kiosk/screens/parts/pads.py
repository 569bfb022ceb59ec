"""Pads for gloved fingers: figures with a decimal sign, and the 26 symbols of a code.

A figure is checked against its bounds and a code against its check character as the last symbol is touched;
what fails is said at once and stays to be mended.  A pad hands over a value and does nothing with it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from kivy.properties import (
    BooleanProperty,
    ColorProperty,
    ListProperty,
    NumericProperty,
    ObjectProperty,
    StringProperty,
)
from kivy.uix.anchorlayout import AnchorLayout
from kivy.uix.boxlayout import BoxLayout
from kivy.uix.gridlayout import GridLayout

from kiosk.rules.bounds import Bound
from kiosk.rules.codes import ALPHABET, LENGTH, CodeFault, parse
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.paged import PagedRow
from kiosk.screens.parts.touch import IconButton, Touchable
from kiosk.screens.theme import KEY_MM
from kiosk.words import t

_DIGITS_MOST = 9


class PadKey(Touchable, BoxLayout):
    """One symbol of a pad: of all that is touched there are most of these, so it holds one text and nothing else."""

    types = BooleanProperty(True)
    symbol = StringProperty()
    text = StringProperty()
    fill = ColorProperty()
    ink = ColorProperty()


class NumberPad(GridLayout):
    """Digits, a decimal sign where `decimals` allows it, and delete.

    `text`: as typed, with the language's decimal sign.  `value`: the number, or NaN while there is none.
    """

    text = StringProperty()
    value = NumericProperty(math.nan)
    decimals = NumericProperty(1)
    sign = StringProperty(".")
    key_px = NumericProperty()  # height of a key; never less than a touch

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.sign = t("number.decimal")
        for symbol in ("7", "8", "9", "del", "4", "5", "6", self.sign, "1", "2", "3", "0"):
            self.add_widget(self._key(symbol))

    def _key(self, symbol: str) -> Any:
        if symbol == "del":
            key = IconButton(icon="erase", size_hint=(1, 1), types=True)
            key.bind(on_release=lambda _: self.delete())
            return key
        key = PadKey(text=symbol, symbol=symbol, size_hint_y=1)
        key.bind(on_release=lambda key: self.press(key.symbol))
        if symbol == self.sign:
            self.fbind("decimals", lambda _, decimals: setattr(key, "disabled", not decimals))
            key.disabled = not self.decimals
        return key

    def press(self, symbol: str) -> None:
        """Type a digit or the decimal sign; what makes no number is not taken."""
        whole, sign, part = self.text.partition(self.sign)
        if symbol == self.sign:
            if sign or not self.decimals:
                return
            symbol = symbol if whole else f"0{symbol}"
        elif len(part) >= self.decimals if sign else len(whole) >= _DIGITS_MOST:
            return
        self.text = symbol if self.text == "0" and symbol.isdigit() else self.text + symbol

    def delete(self) -> None:
        self.text = self.text[:-1]

    def clear(self) -> None:
        self.text = ""

    def on_text(self, _: object, text: str) -> None:
        plain = text.replace(self.sign, ".").rstrip(".")
        self.value = float(plain) if plain else math.nan


class PadStand(AnchorLayout):
    """Where a number pad stands: beside what is typed or below it, its keys as large as all of `beside` allows."""

    beside = ObjectProperty(None, allownone=True, rebind=True)
    key_px = NumericProperty()  # height of a key; the pad in it takes it

    @staticmethod
    def key_in(size: tuple[float, float], wide: bool, touch: float, pad: float, gap: float) -> float:
        """Height of a key in pixels, never under `touch`, in a layout of this size with margins and gaps."""
        width, height = size
        room = min((height - pad * 2 - gap * 2) / 3, width * 0.13) if wide else height * 0.13
        return max(touch, min(touch * 1.9, room))


class NumberEntry(BoxLayout):
    """A figure asked for: what and in which unit, its caution, the pad, and the button that hands it over.

    `least`..`most` are the values taken; `bound` says them with unit and decimals.  `note`: words below the figure,
    and in their place `trouble`, what is refused and why (`hot`: heat is why).  `optional`: it may be left empty, and
    what there was goes.
    Events: `on_done(value)`, `on_empty`, `on_leave`.
    """

    title = StringProperty()
    unit = StringProperty()
    caution = StringProperty()
    caution_icon = StringProperty()
    note = StringProperty()
    trouble = StringProperty()
    hot = BooleanProperty(False)
    decimals = NumericProperty(1)
    least = NumericProperty(0.0)
    most = NumericProperty(9999.0)
    text = StringProperty()
    value = NumericProperty(math.nan)
    action = StringProperty()
    bound = ObjectProperty(None, allownone=True)  # a rules.bounds.Bound
    optional = BooleanProperty(False)

    __events__ = ("on_done", "on_empty", "on_leave")

    def on_bound(self, _: object, bound: Bound | None) -> None:
        if bound is not None:
            self.least, self.most, self.unit, self.decimals = bound

    @property
    def half_typed(self) -> bool:
        return bool(self.text)

    def takes(self, value: float, least: float, most: float) -> bool:
        """Whether the figure lies within the bounds."""
        return not math.isnan(value) and least <= value <= most

    def out_of_bounds(self, value: float, least: float, most: float) -> str:
        """Words for a figure that is too small or too large; empty for one that is taken or not there."""
        if math.isnan(value) or least <= value <= most:
            return ""
        return t("pad.bounds", least=float(least), most=float(most), unit=self.unit)

    def hand_over(self) -> None:
        """Report the figure, if it is one, or that there is none."""
        if self.takes(self.value, self.least, self.most):
            self.dispatch("on_done", self.value)
        elif self.optional and not self.text:
            self.dispatch("on_empty")

    def on_done(self, value: float) -> None:
        """A figure was handed over."""

    def on_empty(self) -> None:
        """There is none, from now on."""

    def on_leave(self) -> None:
        """The entry was left without a figure."""


@dataclass(frozen=True, slots=True)
class Offer:
    """A code that may have been meant, with what it stands for in words."""

    key: str  # the code's ten characters
    words: str


class OfferRow(PagedRow):
    """Shows an `Offer`."""


class SymbolKeys(GridLayout):
    """The keys of the code pad.  Events `on_symbol(symbol)`, `on_delete`, `on_leave`."""

    __events__ = ("on_symbol", "on_delete", "on_leave")

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        for symbol in ALPHABET:
            key = PadKey(text=symbol, symbol=symbol, least_mm=KEY_MM, size_hint_y=1)
            key.bind(on_release=lambda key: self.dispatch("on_symbol", key.symbol))
            self.add_widget(key)
        for icon, event in (("erase", "on_delete"), ("stop", "on_leave")):
            key = IconButton(icon=icon, size_hint=(1, 1), least_mm=KEY_MM, types=event == "on_delete")
            key.bind(on_release=lambda _, event=event: self.dispatch(event))
            self.add_widget(key)

    def on_symbol(self, symbol: str) -> None:
        """A symbol was touched."""

    def on_delete(self) -> None:
        """Delete was touched."""

    def on_leave(self) -> None:
        """Leave was touched."""


class CodePad(BoxLayout):
    """The 26 symbols.  The check character is verified as the tenth symbol is touched.

    `text`: what was typed.  `broken`: it cannot be a code.  `offers`: the `Offer`s that may have been meant, set by
    the owner after `on_wrong(text)`.  `on_code(text)`: a whole code was typed or an offer taken.
    """

    text = StringProperty()
    broken = BooleanProperty(False)
    offers = ListProperty()
    title = StringProperty()
    offer_class = OfferRow

    __events__ = ("on_code", "on_wrong", "on_leave")

    @property
    def half_typed(self) -> bool:
        return bool(self.text)

    def spaced(self, text: str) -> str:
        """The symbols so far, in the groups of the label, with a dot for each that is to come."""
        full = text + "·" * (LENGTH - len(text))
        return f"{full[:4]} {full[4:8]} {full[8:]}"

    def press(self, symbol: str) -> None:
        """Type a symbol; the tenth is checked at once."""
        if len(self.text) >= LENGTH:
            return
        self.text += symbol
        if len(self.text) == LENGTH:
            try:
                code = parse(self.text)
            except CodeFault:
                self.broken = True
                self.dispatch("on_wrong", self.text)
                return
            self.dispatch("on_code", code.text)

    def delete(self) -> None:
        """Take the last symbol back."""
        self.text = self.text[:-1]
        self.broken = False
        self.offers = []

    def clear(self) -> None:
        self.text = ""
        self.broken = False
        self.offers = []

    def on_code(self, text: str) -> None:
        """A whole code with the right check character was typed, or an offer taken."""

    def on_wrong(self, text: str) -> None:
        """Ten symbols that cannot be a code were typed."""

    def on_leave(self) -> None:
        """The pad was left."""


load_beside(__file__)
