"""The last seconds of what can be taken back, and of a first scan: what is offered then is not refused when touched."""

from __future__ import annotations

from typing import Any

import pytest

from kiosk.settings import Settings
from tests.journeys.window import Window

PAIR_S = int(Settings().kiosk.pair_s)
ON_ITS_WAY_S = 0.9  # a finger that saw it just before the window heard of the next second


def step(kiosk: Window, place: str) -> None:
    kiosk.elsewhere(kiosk.holder("T002"), kiosk.place(place))


def offered(kiosk: Window) -> Any:
    """Where Undo can be touched on the screen as it stands; None: it is not offered."""
    return next((touch for touch in kiosk.screen()["touches"] if touch[0].startswith("Undo")), None)


@pytest.mark.parametrize("by_way_of", ["scan", "shop"])
def test_undo_is_offered_until_shortly_before_it_is_too_late_and_never_refused(kiosk: Window, by_way_of: str) -> None:
    taken_back = 0
    for number, left_s in enumerate((8.0, 3.0, 1.2, 0.8, 0.5, 0.5)):
        kiosk.passes(600.0)
        step(kiosk, f"Bench {1 + number % 2}")
        kiosk.passes(1.0)
        if by_way_of != "scan":
            kiosk.open_screen(by_way_of)
            kiosk.passes(1.0)
            kiosk.open_screen("scan")
        kiosk.passes(float(kiosk._ask(do="desk", what="undoable")) - left_s)
        place = offered(kiosk)
        if place is None:
            continue
        undone = kiosk.shift(0.0, 4e9)["undone"]
        kiosk.wait(ON_ITS_WAY_S)
        kiosk.display.touch(place[1] + place[3] / 2, place[2] + place[4] / 2)
        kiosk.passes(0.0)
        kiosk.passes(0.0)
        said = [text[0] for text in kiosk.screen()["texts"]]
        assert not any("Refused" in text or "too long ago" in text for text in said), (left_s, said)
        taken_back += kiosk.shift(0.0, 4e9)["undone"] - undone
    assert taken_back >= 1
    assert kiosk.check() == []


def test_a_first_scan_and_the_question_for_the_second_end_together(kiosk: Window) -> None:
    kiosk.wait(600.0)
    kiosk.hold_up(kiosk.holder("T002"))
    kiosk.sees("Where to?")
    asked = []
    for _ in range(PAIR_S + 2):
        view = kiosk.passes(1.0)
        asks = any("Where to?" in text[0] for text in kiosk.screen()["texts"])
        waits = bool(kiosk._ask(do="desk", what="waits"))
        assert view == "scan" and (asks == waits or not asks), len(asked)
        asked.append(asks)
    assert asked[: PAIR_S - 15] == [True] * (PAIR_S - 15) and not asked[-1]
    kiosk.put_away()
    kiosk.hold_up(kiosk.place("Bench 1"))  # a place is now a first scan itself
    kiosk.sees("Scan the holder that goes there")
    assert kiosk.where("T002") == "Cabinet A · 1-01"
    assert kiosk.check() == []
