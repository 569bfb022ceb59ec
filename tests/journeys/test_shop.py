"""The shop's screens: a new holder with its first label, and a setting behind a PIN."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.journeys.window import Window


def enter(kiosk: Window, figures: str) -> None:
    for figure in figures:
        kiosk.touch_key(figure)


def walked_away(kiosk: Window, seconds: float) -> None:
    """Nobody is there for so long, and the window has gone back to Scan."""
    time.sleep(2.5)  # the last touch is counted within a second, before the pretended clock leaps
    kiosk.wait(seconds)
    kiosk.is_on("scan")


@pytest.mark.parametrize("size", [(800, 480), (360, 640)])
def test_a_new_holder_is_registered_with_four_answers_and_bound_by_its_label(
    size: tuple[int, int], open_window: Callable[..., Window], tmp_path: Path
) -> None:
    kiosk = open_window(size)
    bench = kiosk.place("Bench 2")
    kiosk.touch("Shop")
    kiosk.picture("shop-menu")
    kiosk.touch("New holder")
    kiosk.sees("Which taper sits in the spindle?")
    kiosk.picture("register-coupling")
    kiosk.touch("HSK-A 40")
    kiosk.touch("Shrink")
    kiosk.sees("Bore")
    for figures in ("10", "24", "80"):
        enter(kiosk, figures)
        kiosk.touch("Enter")
    kiosk.sees("without a cutter", "Scan the place")
    kiosk.picture("register-place")
    kiosk.hold_up(bench)
    kiosk.sees("heated within the last day")
    kiosk.picture("register-heated")
    kiosk.touch("No, it stood cold")
    kiosk.sees("Added", "Shrink 10 x 80")
    kiosk.put_away()
    kiosk.picture("register-done")
    kiosk.touch("Print its label")
    kiosk.sees("true size")
    kiosk.picture("register-label")
    kiosk.touch("Save")
    kiosk.sees("scan it")
    (png,) = (tmp_path / "data-0" / "labels").glob("*.png")
    kiosk.hold_up(png.stem)
    kiosk.sees("Label on Shrink 10 x 80")
    assert kiosk.check() == []


def test_settings_open_for_a_supervisors_pin_alone(kiosk: Window) -> None:
    kiosk.touch("Shop")
    kiosk.touch("Settings")
    kiosk.sees("choose a PIN")
    kiosk.scan(kiosk.badge("jo"))  # a setter's opens nothing
    enter(kiosk, "4711")
    kiosk.touch("Open")
    kiosk.sees("Only a supervisor chooses the shop's first PIN")
    kiosk.picture("pin-badge")
    kiosk.shows_badge("kim")
    enter(kiosk, "4711")
    kiosk.touch("Open")
    kiosk.sees("repeat the PIN")
    enter(kiosk, "4711")
    kiosk.touch("Open")
    kiosk.sees("Settings", "Heat and cooling")
    kiosk.picture("settings")
    walked_away(kiosk, 200)
    kiosk.touch("Shop")
    kiosk.touch("Settings")
    kiosk.sees("Heat and cooling")  # the PIN is good for five minutes
    kiosk.touch("Scanning")
    kiosk.touch("Undo lasts")
    kiosk.sees("taken back", "10 to 600")
    kiosk.touch("Type another")
    enter(kiosk, "90")
    kiosk.touch("Enter")
    kiosk.sees("90 s")
    walked_away(kiosk, 301)
    kiosk.touch("Shop")
    kiosk.touch("Settings")
    kiosk.sees("Kim Vale")
    enter(kiosk, "1234")
    kiosk.touch("Open")
    kiosk.sees("That is not the PIN")
    kiosk.picture("pin-wrong")


def test_a_second_supervisor_chooses_a_pin_beside_one_who_has_one(kiosk: Window) -> None:
    kiosk.touch("Shop")
    kiosk.touch("People")
    kiosk.touch("Somebody new")
    kiosk.shows_badge("kim")
    for _ in range(2):
        enter(kiosk, "4711")
        kiosk.touch("Open")
    kiosk.sees("What is the name?")
    kiosk.scan("Alex")
    kiosk.touch("Supervisor")
    kiosk.sees("Alex is entered")
    walked_away(kiosk, 301)
    kiosk.touch("Shop")
    kiosk.touch("Settings")
    kiosk.touch("Alex")
    kiosk.sees("First the PIN of a supervisor who has one")
    kiosk.touch("Kim Vale")
    enter(kiosk, "4711")
    kiosk.touch("Open")
    kiosk.sees("Alex: choose a PIN")
    for _ in range(2):
        enter(kiosk, "2222")
        kiosk.touch("Open")
    kiosk.sees("Heat and cooling")
    walked_away(kiosk, 301)
    kiosk.touch("Shop")
    kiosk.touch("Settings")
    kiosk.touch("Alex")
    enter(kiosk, "2222")
    kiosk.touch("Open")
    kiosk.sees("Heat and cooling")
    assert kiosk.check() == []


def test_who_is_at_work_signs_out_by_touching_the_name(kiosk: Window) -> None:
    kiosk.scan(kiosk.badge("sam"))
    kiosk.sees("Hello")
    kiosk.touch_at("Sam")
    kiosk.touch("Sign out")
    kiosk.sees("signed out")
    assert kiosk.history("sam")[0] == "signed out"
