"""The holder drawn, in the real window: a finger on the picture is a spot to probe."""

from __future__ import annotations

from tests.journeys.window import Window


def test_a_finger_on_the_drawn_flange_asks_for_a_reading_there(kiosk: Window) -> None:
    kiosk.wait(40 * 86400.0)
    for code in (kiosk.holder("T001"), kiosk.place("Shrink station"), kiosk.holder("T001"), kiosk.place("Rack 1")):
        kiosk.scan(code)
        kiosk.wait(1.0)
    kiosk.sees("→ Rack 1")
    kiosk.wait(600)
    kiosk.touch("Hot")
    kiosk.sees("nose", "64\xa0°C")  # where it is hottest, by its temperature
    kiosk.touch("Enter a reading")
    kiosk.sees("Contact probe", "Flange", "Nose", "Shank")
    kiosk.hot()  # asked after the drawing, so that it is there
    kiosk.picture("reading-drawn")
    kiosk.touch_above("Flange", 8.0)
    kiosk.sees("Reading at the flange")
    kiosk.picture("reading-flange")


def test_a_hot_holder_is_drawn_in_its_refusal_and_in_its_card(kiosk: Window) -> None:
    kiosk.wait(40 * 86400.0)
    station, slot = kiosk.place("Shrink station"), kiosk.place("Cabinet A · 1-05")
    for code in (kiosk.holder("T001"), station, kiosk.holder("T001"), slot):
        kiosk.scan(code)
        kiosk.wait(1.0)
    kiosk.is_on("heat")
    kiosk.hot()
    kiosk.picture("alarm-drawn")
    kiosk.touch("Understood")
    kiosk.is_on("scan")
