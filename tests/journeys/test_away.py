"""A window that nobody touches goes back to Scan, and nothing that somebody began or asked for is lost by it."""

from __future__ import annotations

import time

from tests.journeys.window import Window

DAY_S = 86_400.0


def _walk_away(kiosk: Window) -> None:
    """Longer than the pause after which the window goes back; once a second it is asked whether somebody was there."""
    for _ in range(2):
        time.sleep(2.0)
        kiosk.wait(130.0)
    time.sleep(2.0)


def test_what_was_asked_for_before_an_alarm_comes_after_it_though_a_reading_was_begun_and_left(kiosk: Window) -> None:
    kiosk.wait(40 * DAY_S)
    hot, slot, other, bench = (
        kiosk.holder("T001"), kiosk.place("Cabinet A · 1-05"), kiosk.holder("T002"), kiosk.place("Bench 1"),
    )  # fmt: skip
    kiosk.scan(hot)
    kiosk.scan(kiosk.place("Shrink station"))
    kiosk.sees("1 hot")
    kiosk.hang_desk(True)  # it works something out: a quick hand is further
    for code in (hot, slot, other, bench):
        kiosk.scan(code)
    kiosk.hang_desk(False)
    kiosk.is_on("heat")
    kiosk.touch("Enter a probe reading")
    kiosk.is_on("reading")
    _walk_away(kiosk)
    kiosk.sees("Not to Cabinet A · 1-05.")
    kiosk.touch("Understood")
    kiosk.sees("Moved", "End mill 6 R0.5", "→ Bench 1")


def test_what_somebody_began_to_enter_is_not_thrown_away_while_they_look_for_a_ruler(kiosk: Window) -> None:
    kiosk.wait(3 * DAY_S)
    kiosk.touch("Shop")
    kiosk.touch("New holder")
    kiosk.touch("HSK-A 63")
    kiosk.touch("Shrink")
    kiosk.sees("Bore")
    _walk_away(kiosk)
    kiosk.sees("Bore")
    kiosk.is_on("register")
    kiosk.touch("stop")
    kiosk.sees("Which taper")
    kiosk.touch("back")
    kiosk.touch("People")
    kiosk.touch("Somebody new")
    kiosk.shows_badge("kim")
    for asked in ("choose a PIN", "repeat the PIN"):  # the first supervisor chooses one, twice the same
        kiosk.sees(asked)
        for figure in "4711":
            kiosk.touch_key(figure)
        kiosk.touch("Open")
    kiosk.sees("What is the name?")
    for letter in "jan":
        kiosk.display.press(letter)
    kiosk.sees("jan")
    _walk_away(kiosk)
    kiosk.is_on("people")
    kiosk.display.press("e")
    kiosk.sees("jane")
