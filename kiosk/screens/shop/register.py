"""A new holder: what it seats in, how it clamps, three figures, where it stands, and its first label.

The mass worked out from the figures is shown, so that a wrong outline is noticed on a scale.  A label of ours is
printed and bound by its first scan; a mark that is on the steel already can be scanned instead.
"""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, NumericProperty, OptionProperty, StringProperty

from kiosk.rules.assembly import Clamping, Coupling, Family, Holder
from kiosk.rules.bounds_of_lines import BOUNDS
from kiosk.rules.cards import HolderCard, PlaceCard
from kiosk.rules.outline import OutlineError, bare
from kiosk.rules.say import Say
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.outcomes_shown import counts_as_hot, for_heat
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions import shop as asks
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import say, t

STEPS = 8
_COUPLINGS = (
    *(Coupling(Family.HOLLOW_TAPER, size) for size in (32, 40, 50, 63, 80, 100)),
    *(Coupling(family, size) for family in (Family.STEEP_TAPER_A, Family.STEEP_TAPER_J) for size in (30, 40, 50)),
)
FIGURES = ("bore_mm", "nose_mm", "projection_mm")  # what is asked for: fields of the holder


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    COUPLING = "coupling"
    CLAMPING = "clamping"
    FIGURE = "figure"
    STANDS = "stands"
    HEATED = "heated"
    LABEL = "label"


class RegisterScreen(View):
    """Step by step; `figure` counts through bore, nose and projection."""

    name = "register"
    rail = "shop"
    covers = Covers.RAIL
    signs_in = True

    page = OptionProperty(Page.COUPLING, options=list(Page))
    figure = NumericProperty(0)
    count = NumericProperty(1)
    title = StringProperty()
    rows = ListProperty()
    place_name = StringProperty()
    answer = StringProperty()
    mass = StringProperty()
    trouble = StringProperty()
    for_heat = BooleanProperty(False)  # that is why
    least = NumericProperty(0.0)
    most = NumericProperty(1.0)
    hot = BooleanProperty(False)  # the new one, or one that it may be taken for
    home = StringProperty()  # where an unknown label was seen that is on this holder

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._holder = Holder("", "", _COUPLINGS[0], Clamping.SHRINK_FIT, 1.0)
        self._place: str | None = None
        self._text = ""  # the unknown label

    @property
    def stays(self) -> bool:
        """Half filled it is not thrown away because somebody looks for a ruler."""
        return self.page not in (Page.COUPLING, Page.LABEL)

    def shown(self, text: str = "", home: str = "", **_: Any) -> None:
        self._text, self.home = text, home
        self._begin()

    def _begin(self) -> None:
        self.trouble = self.answer = ""
        self.rows = [Choice(str(c), t(f"coupling.{c.family.value}", size=c.size)) for c in _COUPLINGS]
        self._to(Page.COUPLING, 1)

    def back(self) -> None:
        """One step back, or out."""
        if self.page == Page.COUPLING or self.page == Page.LABEL:
            self.leave()
        elif self.page == Page.FIGURE and self.figure > 0:
            self._ask_figure(int(self.figure) - 1)
        else:
            self._begin()

    def leave(self) -> None:
        """To where the unknown label was seen, or to the shop."""
        if self.home and self.page != Page.LABEL:
            self.clerk.go("adopt")
        else:
            self.clerk.go(self.home or "shop")

    def coupling(self, choice: Choice) -> None:
        self._holder = replace(self._holder, coupling=Coupling.parse(choice.key))
        self.rows = [Choice(kind.value, t(f"clamping.{kind.value}")) for kind in Clamping]
        self._to(Page.CLAMPING, 2)

    def clamping(self, choice: Choice) -> None:
        self._holder = replace(self._holder, clamping=Clamping(choice.key))
        self._ask_figure(0)

    def _ask_figure(self, figure: int) -> None:
        self.figure = figure
        name = FIGURES[figure]
        bound = BOUNDS[Holder][name]
        self.least, self.most = bound.least, bound.most
        self.title = t(f"register.{name}")
        self.ids.entry.text = ""
        self._to(Page.FIGURE, 3 + figure)

    def take(self, value: float) -> None:
        """A figure was entered."""
        name = FIGURES[int(self.figure)]
        self._holder = _with(self._holder, name, value)
        if self.figure < len(FIGURES) - 1:
            self._ask_figure(int(self.figure) + 1)
            return
        try:
            kilograms = bare(self._holder).holder_kg
        except (OutlineError, ValueError) as fault:
            self.trouble = fault_words(fault)
            self._ask_figure(0)
            return
        self.mass = t("register.mass", mass_kg=kilograms)
        self._to(Page.STANDS, 6)

    def scanned(self, text: str) -> bool:
        """The place it stands at; or, at the end, a mark it has already."""
        if self.page == Page.STANDS:
            self.clerk.ask(asks.place_of(text), self._stands, self._failed)
            return True
        if self.page == Page.LABEL and self._holder.key:
            key = self._holder.key
            self.clerk.ask(asks.label_or_mark(key, text), lambda said: self._bound(text, said), self._failed)
            return True
        return False

    def _stands(self, card: PlaceCard) -> None:
        self._place, self.place_name = card.place.code, card.name
        self._to(Page.HEATED, 7)

    def heated(self, within_a_day: bool) -> None:
        """Whether it was heated within the last day: then it counts as hot until read."""
        holder = replace(self._holder, name=asks.plain_name(self._holder))
        place, text = None if within_a_day else self._place, self._text

        self.clerk.ask(asks.register(holder, text, place, within_a_day), self._registered, self._failed)

    def _registered(self, done: tuple[HolderCard, HolderCard | None]) -> None:
        card, hot = done
        self._holder = card.holder
        self.title, self.hot = card.holder.name, hot is not None or counts_as_hot(card)
        self.answer = t("register.has_label", code=self._text) if self._text else ""
        self.clerk.play(Sound.DONE if hot is None else Sound.HOT)
        self._to(Page.LABEL, 8)
        if hot is not None:
            self.trouble, self.for_heat = t("register.alike_hot", name=hot.name), True

    def label(self) -> None:
        """Print its first label."""
        key = self._holder.key
        self.clerk.go("labels", fresh=key)

    def _bound(self, text: str, said: Say | None) -> None:
        self.clerk.play(Sound.DONE)
        self.answer = say(said) if said is not None else t("register.not_free", code=text)

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        self.trouble, self.for_heat = fault_words(error), for_heat(error)

    def _to(self, page: Page, count: int) -> None:
        self.page, self.count = page, count
        if page != Page.FIGURE:
            self.trouble = ""


def _with(holder: Holder, figure: str, value: float) -> Holder:
    match figure:
        case "bore_mm":
            return replace(holder, bore_mm=value)
        case "nose_mm":
            return replace(holder, nose_mm=value)
    return replace(holder, projection_mm=value)


load_beside(__file__)
