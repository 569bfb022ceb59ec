"""Building up says why a cutter does not go in, whole, where the hand is, and what is offered goes in."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.journeys.window import Window

SIZES = pytest.mark.parametrize("size", [(800, 480), (360, 640)], ids=["800x480", "360x640"])


def texts(kiosk: Window) -> list[str]:
    return [str(text[0]) for text in kiosk.screen()["texts"]]


@SIZES
def test_a_reason_is_said_whole_on_the_page_of_the_cutters_and_the_one_after(
    size: tuple[int, int], open_window: Callable[..., Window]
) -> None:
    kiosk = open_window(size)
    for code in (kiosk.holder("T014"), kiosk.place("Bench 1")):
        kiosk.scan(code)
        kiosk.wait(1.0)
    kiosk.sees("→ Bench 1")
    kiosk.open_screen("build")
    kiosk.sees("Scan a bare holder")
    kiosk.scan(kiosk.holder("T014"))
    kiosk.sees("fits")
    said = [text for text in texts(kiosk) if "is not the size of the bore" in text]
    for _ in range(20):
        if said:
            break
        kiosk.touch_key("down")
        kiosk.wait(1.0)
        said = [text for text in texts(kiosk) if "is not the size of the bore" in text]
    assert said and said[0] not in kiosk.screen()["cut"]
    kiosk.picture("build-reason-list")
    kiosk.touch_at(said[0])
    kiosk.sees(said[0], "Not like this")
    kiosk.picture("build-reason-whole")
    assert said[0] not in kiosk.screen()["cut"]


@SIZES
def test_where_nothing_can_be_built_that_is_said_before_a_cutter_is_looked_at(
    size: tuple[int, int], open_window: Callable[..., Window]
) -> None:
    """T014 lies in the cabinet; a shrink fit is built up at the station or on the bench."""
    kiosk = open_window(size)
    kiosk.open_screen("build")
    kiosk.sees("Scan a bare holder")
    kiosk.scan(kiosk.holder("T014"))
    kiosk.sees("Cabinet B · 1-01")
    (why,) = [text for text in texts(kiosk) if "Cabinet B · 1-01" in text]
    assert why not in kiosk.screen()["cut"] and "fits" not in texts(kiosk)
    kiosk.picture("build-not-here")
