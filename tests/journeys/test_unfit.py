"""What must not be taken for sound is never first and never green in Find's list, and a hand is told what is next."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kiosk.screens.theme import DARK
from tests.journeys.window import Window

GREEN = tuple(int(DARK.done[at : at + 2], 16) for at in (1, 3, 5))
SIGNS = "✓!×→?–"


def signs(kiosk: Window, path: Path) -> list[tuple[str, str, bool]]:
    """The rows in sight from the top: name, sign, and whether the sign stands on green."""
    screen = kiosk.screen()
    picture = kiosk.display.picture(kiosk.size, path)
    found = []
    for sign, x, y, _, height in sorted(screen["texts"], key=lambda text: text[2]):
        if len(sign) != 1 or sign not in SIGNS:
            continue
        beside = [text for text in screen["texts"] if len(text[0]) > 1 and y <= text[2] + text[4] / 2 <= y + height]
        name = min(beside, key=lambda text: (text[1], text[2]))[0]
        corner = picture.getpixel((round(x + 3), round(y + height / 2)))
        found.append((name, sign, corner == GREEN))
    return found


def all_signs(kiosk: Window, path: Path) -> list[tuple[str, str, bool]]:
    """The same of every page of the list."""
    rows = signs(kiosk, path)
    while any(touch[0] == "down" for touch in kiosk.screen()["touches"]):
        kiosk.touch_key("down")
        new = signs(kiosk, path)
        if new == rows[-len(new) :]:
            break
        rows += new
    return rows


def carry(kiosk: Window, key: str, place: str) -> None:
    kiosk.read(kiosk.holder(key))
    kiosk.sees("Where to?")
    kiosk.read(kiosk.place(place))


def look_up(kiosk: Window, figures: str) -> None:
    kiosk.open_screen("find")
    kiosk.is_on("find")
    kiosk.sees("40 found")
    for figure in figures:
        kiosk.touch_key(figure)
    kiosk.touch_key("find")
    kiosk.sees("in the cabinet")


@pytest.mark.parametrize("size", [(800, 480), (360, 640)], ids=["800x480", "360x640"])
def test_what_a_hand_calls_worn_or_broken_is_last_and_not_green(
    size: tuple[int, int], open_window: Callable[..., Window], tmp_path: Path
) -> None:
    kiosk = open_window(size)
    for called, sign in (("Worn", "×"), ("Broken", "×")):
        look_up(kiosk, "12")
        name, ready, green = signs(kiosk, tmp_path / "before.png")[0]
        assert ready == "✓" and green, "what is ready is green, or this journey looks at nothing"
        kiosk.touch(name)
        kiosk.touch("What can be done with it")
        kiosk.touch("Condition")
        kiosk.touch(called)
        kiosk.sees(f"Cutter: {called}", "Next: to", "and take the cutter out")
        kiosk.picture(f"unfit-{called.casefold()}")
        look_up(kiosk, "12")
        rows = all_signs(kiosk, tmp_path / "after.png")
        assert rows[0][0] != name and rows[0][1] == "✓"
        same = [row[1:] for row in rows if row[0] == name]  # one of that name is in a machine as well
        assert (sign, False) in same and not any(green for _, green in same)
    assert kiosk.check() == []


def test_what_was_measured_warm_is_not_green_once_it_is_cool(kiosk: Window, tmp_path: Path) -> None:
    kiosk.wait(40 * 86400.0)
    carry(kiosk, "T001", "Shrink station")
    kiosk.sees("Heating")
    kiosk.touch("Shop")
    kiosk.touch("Measure")
    kiosk.sees("Scan the assembly")
    kiosk.scan(kiosk.holder("T001"))
    kiosk.sees("Still warm")
    for figures in ("180.25", "11.98", "4"):
        for figure in figures:
            kiosk.touch_key(figure)
        kiosk.touch("Enter")
    kiosk.sees("Warm", "of this length is heat")
    kiosk.open_screen("scan")
    kiosk.is_on("scan")
    carry(kiosk, "T001", "Rack 1")
    kiosk.sees("→ Rack 1", "In Rack 1 until")
    kiosk.wait(6 * 3600.0)
    kiosk.touch_key("Hot")
    for asked in ("Enter a reading", *["Another reading"] * 6):
        kiosk.touch(asked)
        kiosk.sees("read")
        words = [text[0] for text in kiosk.screen()["texts"]]
        owed = next((each for each in words if each.startswith(("Still to read: ", "Next reading: "))), ": Nose")
        if owed.startswith("Next"):
            kiosk.wait(310)
        kiosk.touch(owed.split(": ")[1].split(",")[0])
        for figure in "23":
            kiosk.touch_key(figure)
        kiosk.touch("Enter")
        kiosk.sees("Another reading")
        if kiosk.hot() == []:
            break
    assert kiosk.hot() == []
    kiosk.open_screen("scan")
    kiosk.is_on("scan")
    carry(kiosk, "T001", "Cabinet A · 1-05")
    kiosk.sees("→ Cabinet A · 1-05", "Next: measure it, at Presetter")
    kiosk.wait(60.0)
    look_up(kiosk, "12")
    rows = all_signs(kiosk, tmp_path / "rows.png")
    assert rows[0][0] != "Roughing mill 12 R1"
    assert [row[1:] for row in rows if row[0] == "Roughing mill 12 R1"] == [("!", False)]


def test_what_comes_back_hears_where_it_goes_whatever_is_said_of_its_cutter(kiosk: Window) -> None:
    """Home where it is good; a worn one is torn down where it can be."""
    carry(kiosk, "T009", "Cabinet A · 1-05")
    kiosk.touch("Good")
    kiosk.sees("Noted")
    kiosk.open_screen("scan")
    carry(kiosk, "T009", "Mill 1 · pocket 07")
    kiosk.waits_for(lambda: "Mill 1" in str(kiosk.where("T009")), "it to be in the machine")
    kiosk.wait(60.0)
    kiosk.open_screen("scan")
    kiosk.is_on("scan")
    to_station = "Next: to Shrink station, and take the cutter out"
    for key, said, comes_next in (("T009", "Good", "Next: back to Cabinet A · 1-05"), ("T013", "Worn", to_station)):
        assert "Mill" in str(kiosk.where(key))
        carry(kiosk, key, "Bench 2")
        kiosk.sees("How is the cutter?")
        kiosk.touch(said)
        kiosk.sees("Noted" if said == "Good" else said, comes_next)
        kiosk.wait(60.0)
        kiosk.open_screen("scan")
        kiosk.is_on("scan")
