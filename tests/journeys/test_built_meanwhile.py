"""Nothing spoke against a cutter, another hand was quicker, then it was touched: why not, whole, where the hand is."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.journeys.window import Window

SIZES = pytest.mark.parametrize("size", [(800, 480), (360, 640)], ids=["800x480", "360x640"])


def at_bench(kiosk: Window, key: str) -> None:
    for code in (kiosk.holder(key), kiosk.place("Bench 1")):
        kiosk.elsewhere(code)
        kiosk.wait(1.0)


def before_the_touch(kiosk: Window, key: str, cutter: str) -> None:
    """From the holder's label to the cutter against which nothing speaks."""
    kiosk.open_screen("build")
    kiosk.sees("Scan a bare holder")
    kiosk.hold_up(kiosk.holder(key))
    kiosk.sees(cutter, "fits")
    kiosk.put_away()
    kiosk.touch(cutter)
    kiosk.sees("Nothing speaks against it", "Build it in")


def touched(kiosk: Window, picture: str, *words: str) -> None:
    """It is touched all the same: one text on this page says all of these, whole, and nothing says that all is well."""
    kiosk.touch("Build it in")
    kiosk.sees(*words, "Not like this")
    screen = kiosk.screen()
    (said,) = [text[0] for text in screen["texts"] if words[0] in text[0]]
    assert all(word in said for word in words) and said not in screen["cut"], said
    assert not any("Nothing speaks" in text[0] for text in screen["texts"])
    assert screen["view"] == "build"
    kiosk.picture(picture)


@SIZES
def test_what_another_hand_did_before_the_touch_is_said_with_what_to_do_and_no_cutter_is_offered_again(
    size: tuple[int, int], open_window: Callable[..., Window]
) -> None:
    kiosk = open_window(size)
    for key in ("T014", "T017", "T039"):
        at_bench(kiosk, key)

    before_the_touch(kiosk, "T017", "End mill 6 R0.5")
    kiosk.built_elsewhere("T039", "C035")
    touched(kiosk, "build-cutter-taken", "End mill 6 R0.5 is in another holder", "Choose another")
    kiosk.touch("Change")  # a depth does not make it free again
    kiosk.touch_key("3")
    kiosk.touch_key("0")
    kiosk.touch("Enter")
    kiosk.sees("End mill 6 R0.5 is in another holder", "Not like this")
    kiosk.touch("back")
    kiosk.sees("End mill 8 R0.5")
    kiosk.sees_not("End mill 6 R0.5")

    before_the_touch(kiosk, "T017", "End mill 8 R0.5")
    kiosk.elsewhere(kiosk.holder("T017"), kiosk.place("Cabinet B · 1-02"))
    touched(kiosk, "build-holder-moved", "is at Cabinet B · 1-02, not at the bench", "Scan Collet 1-10 x 80 to a bench")
    kiosk.touch("back")
    kiosk.sees("Scan a bare holder", "is at Cabinet B · 1-02, not at the bench")

    before_the_touch(kiosk, "T014", "Roughing mill 10 R1")
    kiosk.elsewhere(kiosk.holder("T014"), kiosk.place("Shrink station"))
    kiosk.wait(30.0)
    kiosk.elsewhere(kiosk.holder("T014"), kiosk.place("Sleeve 1"))
    touched(kiosk, "build-holder-hot", "Shrink 10 x 120 is still hot", "In Sleeve 1 until")  # it may stay there
    kiosk.touch("back")
    kiosk.sees("Scan a bare holder", "Shrink 10 x 120 is still hot")
    assert kiosk.history("T014").count("built") == kiosk.history("T017").count("built") == 0
    assert kiosk.check() == []


@SIZES
def test_a_holder_that_another_hand_built_up_meanwhile_is_not_built_up_twice(
    size: tuple[int, int], open_window: Callable[..., Window]
) -> None:
    kiosk = open_window(size)
    at_bench(kiosk, "T017")
    before_the_touch(kiosk, "T017", "End mill 6 R0.5")
    kiosk.built_elsewhere("T017", "C036")
    touched(kiosk, "build-holder-taken", "already holds End mill 8 R0.5", "Tear it down first")
    assert kiosk.name("T017") == "End mill 8 R0.5"
    assert kiosk.check() == []
