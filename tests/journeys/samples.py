"""Every screen in its states, filled with long but plausible content, for the tests that lay screens out.

A sample is a name and a call that fills a screen; texts are the shop's (names, places), in no language.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from kiosk import where
from kiosk.desk.desk import Scanned
from kiosk.desk.handover import MachineView, Pocket
from kiosk.exchange.shop import read_shop
from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Holder, Measured
from kiosk.rules.cards import HolderCard, HoldView, Moment, Pending, PlaceCard
from kiosk.rules.checkin import Done, Expects, Reason, Refused, Wait
from kiosk.rules.lines import PlaceAdded
from kiosk.rules.places import Kind, Place
from kiosk.rules.say import say

HOLDER = Holder("H1", "Shrink 63 Ø12 L120", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, nose_mm=24.0)
CUTTER = Cutter("C1", "Roughing mill Ø12 R1 long", 12.0, 12.0, 83.0, re_mm=1.0, zefp=4, coolant=True)
ASSEMBLY = Assembly("A1", "Roughing mill Ø12 R1 long", HOLDER, CUTTER, 36.0, Measured(142.318, 12.004, 1.0))
SLEEVE = PlaceCard(Place("P000000001", "Sleeve 1", Kind.COOLING, way="sleeve"), ("Sleeve 1",))
SLOT = PlaceCard(Place("P000000002", "Cabinet A · 3-07", Kind.SLOT), ("Cabinet A", "drawer 3", "3-07"))
POCKET = PlaceCard(Place("P000000003", "pocket 14", Kind.POCKET, number=14), ("Mill 2", "pocket 14"))
HELD = HoldView(184.4, 171.0, 203.0, "nose", 1060.0, 1540.0, 35.0, since_utc_s=1.79e9)
READING = HoldView(319.0, 271.0, 365.0, "flange", None, 2210.0, None, needs_reading=True, gap=True)
CARD = HolderCard(HOLDER, "HV4T8BRJ3V", ASSEMBLY, SLOT)
HOT = HolderCard(HOLDER, "HV4T8BRJ3V", ASSEMBLY, SLEEVE, hold=HELD)
HOTTER = HolderCard(
    Holder("H2", "Shrink 63 Ø20", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 20.0), "H7SJEC466N", None, SLEEVE,
    hold=READING,
)  # fmt: skip
WARM = HolderCard(Holder("H3", "Ø10 R1", Coupling.parse("A40"), Clamping.SHRINK_FIT, 10.0), "H7SJEC466N", None, SLOT,
                  measure_in_s=665.0)  # fmt: skip
NOW = Moment(1.79e9, 100.0)
PAIR = Pending(CARD, 100.0)


def _scanned(outcome: Any, undo_s: float | None = None) -> Scanned:
    return Scanned("HV4T8BRJ3V", outcome, (), NOW, outcome.holder, undo_s)


MOVED = _scanned(
    Done((), say("moved", name=CARD.name, origin=SLOT.name, goal=POCKET.name), holder=CARD, goal=POCKET), 48.0
)
HEATING = _scanned(
    Done((), say("heating", name=CARD.name, origin=SLOT.name, goal="Shrink station"), holder=CARD, goal=SLEEVE)
)
WAITING = _scanned(
    Wait(Expects.PLACE, say("wait.place", name=CARD.name, place=SLOT.name), PAIR, holder=CARD, goal=None)
)
TOO_WIDE = _scanned(
    Refused(
        Reason.PLACE_FULL,
        say("refused.place_full", name=CARD.name, place=SLOT.name, capacity=1),
        say("remedy.place_full", name=CARD.name, place=SLOT.name, capacity=1),
        PAIR,
        CARD,
        SLOT,
    )
)
UNKNOWN = _scanned(
    Refused(
        Reason.UNKNOWN_CODE,
        say("refused.unknown_code", code="HV4T8BRJ3V", near=None),
        say("remedy.unknown_code", code="HV4T8BRJ3V", near=None),
    )
)
TOO_HOT = _scanned(
    Refused(
        Reason.HOT,
        say("refused.hot", name=HOT.name, place=SLOT.name, hottest_c=184.4, where="nose", remaining_s=1060.0),
        say("remedy.hot", name=HOT.name, place=SLEEVE.name, reading=False),
        PAIR,
        HOT,
        SLOT,
    )
)
HOT_UNTIL_READ = _scanned(
    Refused(
        Reason.HOT,
        say("refused.hot", name=HOTTER.name, place=SLOT.name, hottest_c=319.0, where="flange", remaining_s=None),
        say("remedy.hot", name=HOTTER.name, place=SLEEVE.name, reading=True),
        PAIR,
        HOTTER,
        SLOT,
    )
)
CURVE = [
    (t, 22 + 300 * math.exp(-t / 500), 20 + 260 * math.exp(-t / 600), 24 + 320 * math.exp(-t / 450))
    for t in range(0, 2400, 30)
]  # fmt: skip


def machines() -> list[MachineView]:
    """The demo shop's machines, a third of their pockets filled."""
    found = []
    for line in read_shop(where.demo_tags()):
        if not isinstance(line, PlaceAdded) or line.magazine is None:
            continue
        magazine = line.magazine
        pockets = tuple(
            Pocket(
                number,
                f"P{number:09}",
                "H1" if number % 3 == 0 else None,
                "Roughing mill Ø12 R1 long" if number % 3 == 0 else None,
                63.0 if number % 9 == 0 else 20.0 if number % 3 == 0 else None,
                "H9" if number % 7 == 0 else None,
                number in magazine.closed,
                TOO_WIDE.outcome if number % 3 == 1 and isinstance(TOO_WIDE.outcome, Refused) else None,
            )
            for number in magazine.numbers
        )
        found.append(MachineView(line.place.code, line.place.name, magazine, pockets, None, magazine.first + 1))
    return found


def _hot(screen: Any, chosen: str = "") -> None:
    screen.chosen = chosen
    screen.show((HOTTER, HOT), (WARM,))
    screen.curve, screen.readings, screen.now_s = CURVE, [(700, 80)], 560


def _reading(screen: Any, step: int) -> None:
    screen.title = ASSEMBLY.name
    screen.step = step
    screen.answer = "61 °C taken down. Still hot: safe is 43 °C or less"


def _typed(screen: Any, text: str) -> None:
    from kiosk.screens.parts.pads import Offer

    screen.pad.clear()
    for symbol in text:
        screen.pad.press(symbol)
    if screen.pad.broken:
        screen.pad.offers = [Offer("HV4T8BRJ3V", ASSEMBLY.name), Offer("H7SJEC466N", "Ø10 R1")]


def _machine(screen: Any, at: int) -> None:
    found = machines()
    screen._key = "H1"
    screen.show(found[at], ASSEMBLY.name)
    if at == 0:
        blocked = next(pocket for pocket in found[at].pockets if pocket.refused)
        screen.choose(blocked.code)


def _card(screen: Any) -> None:
    screen.show(HolderCard(HOLDER, "HV4T8BRJ3V", ASSEMBLY, POCKET))
    screen.undo_s = 48


def _which(screen: Any) -> None:
    screen.step = 0
    screen._list(tuple(machines()))


Fill = Callable[[Any], Any]
SAMPLES: tuple[tuple[str, str, Fill], ...] = (
    ("scan", "idle", lambda screen: screen.ask_for_scan()),
    ("scan", "moved", lambda screen: screen.show(MOVED)),
    ("scan", "heating", lambda screen: screen.show(HEATING)),
    ("scan", "waiting", lambda screen: screen.show(WAITING)),
    ("scan", "full", lambda screen: screen.show(TOO_WIDE)),
    ("scan", "unknown", lambda screen: screen.show(UNKNOWN)),
    ("heat", "hot", lambda screen: screen.shown(scanned=TOO_HOT)),
    ("heat", "until-read", lambda screen: screen.shown(scanned=HOT_UNTIL_READ)),
    ("hot", "none", lambda screen: screen.show((), ())),
    ("hot", "board", lambda screen: _hot(screen)),
    ("hot", "sleeve", lambda screen: _hot(screen, "H1")),
    ("hot", "warm", lambda screen: _hot(screen, "H3")),
    ("reading", "where", lambda screen: _reading(screen, 0)),
    ("reading", "figure", lambda screen: _reading(screen, 1)),
    ("reading", "answer", lambda screen: _reading(screen, 2)),
    ("typed", "begun", lambda screen: _typed(screen, "H7K2B")),
    ("typed", "wrong", lambda screen: _typed(screen, "HV4T8BRJ3X")),
    ("machine", "which", _which),
    ("machine", "first", lambda screen: _machine(screen, 0)),
    ("machine", "second", lambda screen: _machine(screen, 1)),
    ("machine", "third", lambda screen: _machine(screen, 2)),
    ("card", "measured", _card),
)
