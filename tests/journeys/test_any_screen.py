"""What holds on every screen: heat is told of, and a window that nobody touches goes back to Scan."""

from __future__ import annotations

import time

from tests.journeys.window import Window


def test_hot_steel_and_a_slot_are_told_of_on_the_labels_screen(kiosk: Window) -> None:
    kiosk.wait(3 * 86_400)
    hot, slot = kiosk.holder("T001"), kiosk.place("Cabinet A · 1-05")
    kiosk.scan(hot)
    kiosk.sees("Where to?")
    kiosk.scan(kiosk.place("Shrink station"))
    kiosk.sees("1 hot")
    kiosk.touch("Labels")
    kiosk.is_on("labels")
    kiosk.scan(hot)
    kiosk.sees("true size")
    kiosk.scan(slot)
    kiosk.sees("HOT", "Not to Cabinet A · 1-05")
    kiosk.touch("Understood")
    kiosk.is_on("labels")
    assert kiosk.where("T001") == "Shrink station"


def test_a_window_nobody_touches_goes_back_to_scan_and_the_hot_board_stays(kiosk: Window) -> None:
    kiosk.touch("Shop")
    kiosk.is_on("shop")
    kiosk.wait(100)
    kiosk.touch("Holders")
    time.sleep(2.5)  # the clock asks once a second whether somebody was there
    kiosk.wait(100)  # counted from the last touch
    kiosk.is_on("shop")
    kiosk.wait(30)
    kiosk.is_on("scan")
    kiosk.touch("Hot")
    kiosk.wait(600)
    kiosk.is_on("hot")
