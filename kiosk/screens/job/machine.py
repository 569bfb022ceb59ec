"""The machine screen: its magazine as it is filled, and a pocket chosen by touch.

For a holder asked about, every pocket says whether it may go there, and the best one is outlined.  What may go
where is the desk's answer; the touch is handed to the desk as two scans are.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from kivy.properties import (
    BooleanProperty,
    ListProperty,
    ObjectProperty,
    OptionProperty,
    StringProperty,
)

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.paged import PagedRow
from kiosk.screens.parts.slots import SIGNS, Slot, SlotState
from kiosk.screens.questions import job as asks
from kiosk.screens.questions.job import MachineView, Pocket
from kiosk.screens.view import View
from kiosk.words import say, t

_TOLD = (SlotState.PROPOSED, SlotState.FULL, SlotState.OWN, SlotState.BLOCKED)  # signs that words explain


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    WHICH = "which"
    POCKETS = "pockets"


@dataclass(frozen=True, slots=True)
class MachineLine:
    """A machine to choose."""

    key: str
    name: str
    note: str


class MachineRow(PagedRow):
    """Shows a `MachineLine`."""


class MachineScreen(View):
    """First which machine, then which pocket.  `pocket`: the number chosen; `may`: it can go there."""

    name = "machine"
    rail = "scan"
    row_class = MachineRow

    page = OptionProperty(Page.WHICH, options=list(Page))
    machines = ListProperty()
    title = StringProperty()
    holder = StringProperty()
    magazine = ObjectProperty(None, allownone=True)
    may_differ = BooleanProperty(False)
    old = StringProperty()  # how old the facts are, where other kiosks may know more
    slots = ListProperty()
    legend = StringProperty()  # what the signs on them mean
    widths_mm = ListProperty()
    chosen = StringProperty()
    about = StringProperty()
    remedy = StringProperty()
    may = BooleanProperty(False)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._key = ""
        self._pockets: dict[str, Pocket] = {}

    def shown(self, code: str = "", key: str = "", name: str = "", **_: Any) -> None:
        self._key, self.holder = key, name
        self.page = Page.POCKETS if code else Page.WHICH
        self.slots, self.chosen, self.title = [], "", ""
        if code:
            self.open(code)
        else:
            self.clerk.ask(asks.machines(), self._list)

    def _list(self, machines: tuple[MachineView, ...]) -> None:
        self.machines = [
            MachineLine(
                machine.code,
                machine.name,
                t(
                    "machine.filled",
                    full=sum(pocket.holder is not None for pocket in machine.pockets),
                    pockets=len(machine.pockets),
                ),
            )
            for machine in machines
        ]

    def open(self, code: str) -> None:
        """Show a machine's magazine."""
        key = self._key
        self.clerk.ask(asks.machine(code, key), lambda seen: self.show(*seen))

    def show(self, machine: MachineView, holder: str) -> None:
        """Show a magazine as the desk gives it; `holder` is the name of the one asked about."""
        self.page = Page.POCKETS
        self.title, self.holder, self.magazine = machine.name, holder, machine.magazine
        self._pockets = {pocket.code: pocket for pocket in machine.pockets}
        self.may_differ = machine.may_differ
        self.old = t("machine.as_of", known_at=machine.as_of_utc_s) if machine.may_differ else ""
        self.slots = [_slot(pocket, machine.best, bool(holder)) for pocket in machine.pockets]
        self.legend = _legend({slot.state for slot in self.slots})
        self.widths_mm = [pocket.diameter_mm or 0.0 for pocket in machine.pockets]
        best = next((pocket for pocket in machine.pockets if pocket.number == machine.best), None)
        if best is not None:
            self.choose(best.code)
        else:
            self.chosen, self.may = "", False
            self.about = t("machine.no_room") if holder and machine.no_room else t("machine.choose")
            self.remedy = ""

    def choose(self, code: str) -> None:
        """A pocket was touched: say what it is, and whether the holder asked about may go there."""
        pocket = self._pockets[code]
        self.chosen = code
        self.may = bool(self._key) and pocket.refused is None
        self.remedy = ""
        if pocket.refused is not None:
            self.about = say(pocket.refused.why)
            self.remedy = say(pocket.refused.remedy)
        elif pocket.name is not None:
            self.about = t("machine.holds", pocket=pocket.number, name=pocket.name)
        elif pocket.closed:
            self.about = t("machine.closed", pocket=pocket.number)
        elif pocket.owner:
            self.about = t("machine.kept", pocket=pocket.number)
        else:
            self.about = t("machine.free", pocket=pocket.number)

    def put(self) -> None:
        """Hand the holder over into the pocket chosen."""
        pocket, key = self.chosen, self._key
        if self.may:
            self.may = False  # a second touch while the desk writes must not ask again
            self.clerk.ask(asks.hand_over(pocket, key), self.clerk.answer)

    def back(self) -> None:
        self.clerk.back()


def _legend(states: set[SlotState]) -> str:
    """`● filled   × not here`: of the signs that are shown; each stays beside its words."""
    told = (f"{SIGNS[state]} {t(f'machine.sign.{state.value}')}" for state in _TOLD if state in states)
    return "   ".join(each.replace(" ", "\u00a0") for each in told)


def _slot(pocket: Pocket, best: int | None, asked: bool) -> Slot:
    if pocket.closed:
        state = SlotState.BLOCKED
    elif pocket.number == best:
        state = SlotState.PROPOSED
    elif pocket.holder is not None:
        state = SlotState.FULL
    elif pocket.owner:
        state = SlotState.OWN
    elif asked and pocket.refused is not None:
        state = SlotState.BLOCKED
    else:
        state = SlotState.FREE
    return Slot(pocket.code, f"{pocket.number:02}", state)


load_beside(__file__)
