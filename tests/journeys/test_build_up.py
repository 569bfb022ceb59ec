"""Building up, measuring too early, and tearing down, with touches and labels."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.journeys.window import Window


@pytest.mark.parametrize("size", [(800, 480), (360, 640)])
def test_a_cutter_is_built_in_and_measured_too_warm(
    size: tuple[int, int], open_window: Callable[..., Window]
) -> None:
    kiosk = open_window(size)
    holder, bench = kiosk.holder("T014"), kiosk.place("Bench 1")
    kiosk.scan(holder)
    kiosk.sees("Where to?")
    kiosk.scan(bench)
    kiosk.sees("Moved")
    kiosk.touch("Shop")
    kiosk.sees("Build up")
    kiosk.picture("shop-menu")
    kiosk.touch("Build up")
    kiosk.sees("Scan a bare holder")
    kiosk.scan(holder)
    kiosk.sees("Shrink 10 x 120", "fits")
    kiosk.picture("build-cutters")
    kiosk.touch("10")
    kiosk.sees("Speed limit")
    kiosk.picture("build-fits")
    kiosk.touch("Build it in")
    kiosk.sees("Built", "Nobody knows how warm")
    kiosk.picture("build-done")
    kiosk.touch("Scan a bare holder")
    kiosk.touch("back")
    kiosk.touch_key("Scan")
    kiosk.scan(holder)
    kiosk.sees("Where to?")
    kiosk.scan(kiosk.place("Shrink station"))
    kiosk.sees("1 hot")
    kiosk.touch("Shop")
    kiosk.touch("Measure")
    kiosk.sees("Scan the assembly")
    kiosk.scan(holder)
    kiosk.sees("Still warm")
    for figures in ("180.25", "9.98", "4"):
        for figure in figures:
            kiosk.touch_key(figure)
        kiosk.touch("Enter")
    kiosk.sees("Warm", "of this length is heat")
    kiosk.picture("measure-warm")
    assert kiosk.check() == []


def test_a_shrink_fit_is_torn_down_only_where_there_is_heat(kiosk: Window) -> None:
    holder = kiosk.holder("T001")
    kiosk.touch("Shop")
    kiosk.touch("Tear down")
    kiosk.sees("Scan the holder")
    kiosk.scan(holder)
    kiosk.sees("cannot be torn down at Bench 1", "shrink station")
    kiosk.picture("tear-down-refused")
    kiosk.touch_key("Scan")
    kiosk.scan(holder)
    kiosk.sees("Where to?")
    kiosk.scan(kiosk.place("Shrink station"))
    kiosk.sees("Heating")
    kiosk.touch("Shop")
    kiosk.touch("Tear down")
    kiosk.sees("Scan the holder")
    kiosk.scan(holder)
    kiosk.sees("How is the cutter?")
    kiosk.touch("Worn")
    kiosk.touch("Leave it in")
    kiosk.touch("Worn")
    kiosk.scan(kiosk.holder("T002"))
    kiosk.sees("Take the cutter out of", "Answer this first")
    kiosk.touch("Take it out")
    kiosk.sees("Torn down", "Hot: gloves on")
    kiosk.picture("tear-down-done")
    assert kiosk.hot() == ["T001"]
    kiosk.scan(holder)  # where it was told to go, with nothing touched between
    kiosk.sees("Where to?")
    kiosk.scan(kiosk.place("Sleeve 1"))
    kiosk.sees("Moved", "→ Sleeve 1")


def test_what_comes_back_from_a_machine_is_asked_for_in_one_touch(kiosk: Window) -> None:
    back, other = kiosk.holder("T007"), kiosk.holder("T001")
    assert "Mill" in str(kiosk.where("T007"))
    kiosk.scan(back)
    kiosk.sees("Where to?")
    kiosk.scan(kiosk.place("Bench 2"))
    kiosk.sees("How is the cutter?", "Bench 2")
    kiosk.picture("came-back")
    kiosk.touch("Worn")
    kiosk.sees("Worn", "Next: ")
    kiosk.scan(other)  # nobody has to touch anything to go on
    kiosk.sees("Where to?", "Roughing mill 12 R1")
    assert kiosk.check() == []
