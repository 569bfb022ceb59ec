"""A shift in the real window: real touches, labels held before the camera, and what the book says afterwards."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.journeys.window import Window

SIZES = ((800, 480), (360, 640))


@pytest.mark.parametrize("size", SIZES)
def test_a_shrunk_holder_is_refused_while_hot_and_goes_to_its_machine_when_a_reading_ends_the_hold(
    open_window: Callable[..., Window], size: tuple[int, int]
) -> None:
    kiosk = open_window(size)
    kiosk.sees("Scan a holder or a place")
    kiosk.put_away()
    kiosk.picture("scan-idle")
    holder, station = kiosk.holder("T001"), kiosk.place("Shrink station")

    kiosk.hold_up(holder)
    kiosk.sees("Where to?")
    kiosk.picture("scan-wait")
    kiosk.hold_up(station)
    kiosk.sees("Heating", "1 hot")
    kiosk.picture("scan-heating")
    assert kiosk.where("T001") == "Shrink station"

    kiosk.hold_up(holder)
    kiosk.sees("Where to?")
    kiosk.hold_up(kiosk.place("Cabinet A · 1-05"))
    kiosk.sees("HOT", "gloves")
    kiosk.picture("heat-refusal")
    assert kiosk.where("T001") == "Shrink station"
    kiosk.hold_up(kiosk.holder("T002"))
    kiosk.sees("HOT", "Touch 'Understood' first")
    kiosk.touch("Understood")
    kiosk.is_on("scan")

    kiosk.hold_up(holder)
    kiosk.sees("Where to?")
    kiosk.hold_up(kiosk.place("Sleeve 1"))
    kiosk.sees("Moved", "→ Sleeve 1")
    kiosk.picture("scan-moved")
    assert kiosk.where("T001") == "Sleeve 1"

    kiosk.wait(60)
    kiosk.touch("Hot")
    kiosk.sees("Roughing mill 12 R1", "Enter a reading")
    assert kiosk.where("T001") == "Sleeve 1"  # asked after the curve, so that it is in the picture
    kiosk.picture("hot-board")

    kiosk.wait(3000)
    if size == (800, 480):  # where it is hottest, by its temperature
        kiosk.sees("29\xa0°C")
        assert "flange" in [text[0] for text in kiosk.screen()["texts"]]
    else:
        kiosk.sees("· flange")  # beside the drawing that names it
    kiosk.touch("Enter a reading")
    kiosk.picture("reading-where")
    kiosk.touch("hottest now")
    for key in "24":
        kiosk.touch(key)
    kiosk.picture("reading-figure")
    kiosk.touch("Enter")
    kiosk.sees("safe to touch")
    kiosk.picture("reading-cool")
    assert kiosk.hot() == []
    kiosk.touch("Back")
    kiosk.touch("Scan")

    kiosk.hold_up(holder)
    kiosk.sees("Where to?")
    kiosk.touch("Choose a pocket")
    kiosk.picture("machine-which")
    kiosk.touch("Mill 1")
    kiosk.sees("Put it here")
    kiosk.picture("machine-pockets")
    kiosk.touch("Put it here")
    kiosk.sees("was not measured", "Take it to the presetter")
    kiosk.picture("card-to-type")
    assert (kiosk.where("T001") or "").startswith("Mill 1")
    kiosk.touch("Undo")
    kiosk.sees("Taken back")
    kiosk.picture("scan-undone")
    assert kiosk.where("T001") == "Sleeve 1"
    assert kiosk.check() == []
