"""A hot holder's alarm stays what it was raised for until it is understood, and loses nothing scanned meanwhile."""

from __future__ import annotations

from tests.journeys.window import Window


def _hot_to_a_cabinet(kiosk: Window, key: str) -> None:
    for code in (kiosk.holder(key), kiosk.place("Shrink station"), kiosk.holder(key), kiosk.place("Cabinet A · 1-05")):
        kiosk.scan(code)
        kiosk.wait(1.0)
    kiosk.is_on("heat")
    kiosk.sees("HOT", "Not to Cabinet A · 1-05.")


def test_an_alarm_keeps_its_place_and_says_afterwards_what_was_scanned_meanwhile(kiosk: Window) -> None:
    kiosk.wait(40 * 86400.0)
    _hot_to_a_cabinet(kiosk, "T001")
    kiosk.scan(kiosk.place("Cabinet A · 1-06"))
    kiosk.sees("Not to Cabinet A · 1-05.", "Not to Cabinet A · 1-06 either.")
    kiosk.scan(kiosk.holder("T002"))
    kiosk.scan(kiosk.place("Cabinet B · 1-02"))
    kiosk.sees("Not to Cabinet A · 1-05.", "Touch 'Understood' first")
    kiosk.picture("alarm-others-scanned")
    home = kiosk.where("T002")
    kiosk.touch("Understood")
    kiosk.sees("Not taken", "End mill 6 R0.5", "Cabinet B · 1-02", "Scan again")
    kiosk.picture("alarm-missed")
    assert kiosk.where("T002") == home and kiosk.where("T001") == "Shrink station"


def test_an_alarm_is_understood_at_the_very_corner_of_its_button(kiosk: Window) -> None:
    _hot_to_a_cabinet(kiosk, "T001")
    kiosk.touch_corner("Understood")
    kiosk.is_on("scan")
