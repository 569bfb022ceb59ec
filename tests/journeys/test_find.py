"""Finding in the window: a few keys, the list, the way there, the holder and its history."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.journeys.window import Window


@pytest.mark.parametrize("size", [(800, 480), (360, 640)])
def test_a_diameter_and_a_radius_lead_to_the_slot_and_to_what_can_be_done(
    size: tuple[int, int], open_window: Callable[..., Window]
) -> None:
    kiosk = open_window(size)
    kiosk.touch("Find")
    kiosk.sees("40 found")
    kiosk.touch_key("1")
    kiosk.touch_key("2")
    kiosk.sees("12_")
    kiosk.picture("find-typing")
    kiosk.touch_key("find")
    kiosk.sees("Finishing mill 12 R0.2", "in the cabinet")
    kiosk.picture("find-rows")
    kiosk.touch("Finishing mill 12 R0.2")
    kiosk.sees("Cabinet A", "Drawer 2", "2-02")
    kiosk.picture("find-place")
    kiosk.touch("What can be done with it")
    kiosk.sees("Take me there", "Tear down")
    kiosk.picture("find-holder")
    kiosk.touch("Condition")
    kiosk.touch("Worn")
    kiosk.sees("Cutter: Worn")
    kiosk.touch("History")
    kiosk.sees("cutter is worn")
    kiosk.picture("find-history")
    kiosk.touch_key("back")
    kiosk.sees("Cutter: Worn")
    kiosk.touch("Label")
    kiosk.sees("true size")
    assert kiosk.check() == []


def test_what_is_hot_counts_down_where_it_is_found(kiosk: Window) -> None:
    kiosk.hold_up(kiosk.holder("T001"))
    kiosk.sees("Scan where it goes")
    kiosk.hold_up(kiosk.place("Shrink station"))
    kiosk.sees("Heating")
    kiosk.touch("Find")
    kiosk.touch_key("ABC")
    for letter in "ROUGH":
        kiosk.touch_key(letter)
    kiosk.sees("ROUGH_")
    kiosk.picture("find-letters")
    kiosk.touch_key("find")
    kiosk.sees("Roughing mill 12 R1")
    kiosk.touch("Roughing mill 12 R1")
    kiosk.sees("Shrink station")
    kiosk.touch("What can be done with it")
    kiosk.sees("HOT", "Enter a reading")
    kiosk.picture("find-hot")
