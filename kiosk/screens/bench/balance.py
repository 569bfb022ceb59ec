"""Balancing: what unbalance an assembly may have at its speed and grade, and what the balancing machine found.

Speed, grade and mass stand there with where they come from, and each can be said otherwise for this time.  What may be
hot is refused before anything is asked.
"""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from math import floor
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, ObjectProperty, OptionProperty, StringProperty

from kiosk.rules.assembly import Unbalance
from kiosk.rules.bounds_of_lines import BOUNDS
from kiosk.rules.fitting.balance import Balance, Demand, MassOf
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.outcomes_shown import for_heat
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions import balance as asks
from kiosk.screens.questions import bench
from kiosk.screens.questions.balance import Asked, BalanceTaken, ToBalance
from kiosk.screens.questions.bench import BuildRefused
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import say, t

RESIDUAL = "residual_gmm"


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    SCAN = "scan"
    DEMAND = "demand"
    FIGURE = "figure"
    ANSWER = "answer"


class BalanceScreen(View):
    """Scan, what is allowed, the figure, whether it keeps it."""

    name = "balance"
    rail = "shop"
    covers = Covers.RAIL
    signs_in = True

    page = OptionProperty(Page.SCAN, options=list(Page))
    title = StringProperty()
    allowed = StringProperty()  # the most unbalance, in words; or what is lacking to say it
    facts = ListProperty()
    ready = BooleanProperty(False)  # whether what is allowed is known
    asked = StringProperty()
    bound = ObjectProperty(None, allownone=True)
    within = BooleanProperty(True)
    verdict = StringProperty()
    detail = StringProperty()
    next_words = StringProperty()
    trouble = StringProperty()
    for_heat = BooleanProperty(False)  # that is why

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._key = self._assembly = ""
        self._asked = Asked()
        self._figure = RESIDUAL  # which figure the pad asks for: a field of `Unbalance`

    def shown(self, key: str = "", **_: Any) -> None:
        self.trouble = ""
        self._key, self._asked = key, Asked()
        self.page = Page.SCAN
        if key:
            self._look()

    def scanned(self, text: str) -> bool:
        """The assembly to balance."""
        if self.page != Page.FIGURE:
            self.clerk.ask(bench.holder_labelled(text), lambda card: self.shown(card.holder.key), self._failed)
        return True

    def back(self) -> None:
        """One step back, or out."""
        if self.page == Page.FIGURE:
            self.page = Page.DEMAND
        else:
            self.clerk.back()

    def _look(self) -> None:
        self.clerk.ask(asks.to_balance(self._key, self._asked), self._show, self._failed)

    def _show(self, found: ToBalance) -> None:
        wanted = found.demand
        self._key, self.title = found.holder.holder.key, found.holder.name
        self._assembly = found.holder.assembly.key if found.holder.assembly else ""
        self.allowed = _allowed(wanted)
        self.ready = wanted.permissible_gmm is not None
        self.facts = _facts(wanted, self._asked)
        self.page = Page.DEMAND

    def ask_for(self, figure: str) -> None:
        """The pad, for one of the figures."""
        self._figure = figure
        self.bound = BOUNDS[Unbalance][figure]
        self.asked = f"{self.title}: {t('balancing.ask.' + figure)}"
        self.ids.entry.text = ""
        self.page = Page.FIGURE

    def take(self, value: float) -> None:
        """A figure was entered: what the machine found, or what it is asked to keep."""
        if self._figure == RESIDUAL:
            self.clerk.ask(asks.take(self._key, value, self._asked, self._assembly), self._taken, self._failed)
        else:
            self._asked = replace(self._asked, **{self._figure: value})
            self._look()

    def _taken(self, taken: BalanceTaken) -> None:
        judged = taken.judged
        self.within = judged.ok
        self.detail = t("balancing.kept", grade=judged.wanted_grade, kept_rpm=judged.kept_rpm)
        if judged.ok:
            self.verdict = t("balancing.within", residual_gmm=judged.residual_gmm, permissible_gmm=_down(judged))
            self.next_words = say(taken.next_step) if taken.next_step else ""
        else:
            self.verdict = t("balancing.over", over_gmm=judged.residual_gmm - _down(judged))
            self.next_words = t("balancing.once_more")
        self.clerk.play(Sound.DONE if judged.ok else Sound.REFUSED)
        self.page = Page.ANSWER

    def _failed(self, error: Exception) -> None:
        self.for_heat = for_heat(error)
        self.clerk.play(Sound.HOT if self.for_heat else Sound.REFUSED)
        words = f"{say(error.why)}. {say(error.remedy)}" if isinstance(error, BuildRefused) else fault_words(error)
        self.trouble = words
        self.page = Page.SCAN


def _down(judged: Balance) -> float:
    """What is allowed as it is shown: never more than it is."""
    return floor(judged.permissible_gmm * 100) / 100


def _allowed(wanted: Demand) -> str:
    if wanted.mass_kg is None:
        return t("balance.give_mass")
    if wanted.permissible_gmm is None:
        return t("balance.give_rpm")
    return t("balancing.allowed", permissible_gmm=floor(wanted.permissible_gmm * 100) / 100)


def _facts(wanted: Demand, asked: Asked) -> list[Choice]:
    """Speed, grade and mass, each with where it comes from."""
    unknown = t("balancing.unknown")
    rpm = t("balancing.rpm", at_rpm=wanted.rpm) if wanted.rpm is not None else unknown
    mass = t("balancing.mass", mass_kg=wanted.mass_kg) if wanted.mass_kg is not None else unknown
    said = t("balance.by_hand")
    mass_of = said if wanted.mass_of is MassOf.SCALE else t(f"balance.mass_{wanted.mass_of.value}")
    return [
        Choice("rpm", rpm, say(wanted.rpm_of) if wanted.rpm_of else t("balancing.ask.rpm")),
        Choice(
            "grade",
            t("balancing.grade", grade=wanted.grade),
            said if asked.grade is not None else t("balance.grade_shop"),
        ),
        Choice("mass_kg", mass, mass_of if wanted.mass_kg is not None else t("balancing.ask.mass_kg")),
    ]


load_beside(__file__)
