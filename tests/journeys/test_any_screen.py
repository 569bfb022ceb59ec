"""What holds on every screen: heat is told of, and a window that nobody touches goes back to Scan."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import kiosk.screens
from kiosk.screens.pages import SCREENS
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


def _take_scans() -> list[str]:
    """Screens that may keep a scan for themselves; all the others leave it to the clerk."""
    folder = Path(kiosk.screens.__file__).parent
    modules = {name: folder / f"{module.partition(':')[0].replace('.', '/')}.py" for name, module in SCREENS.items()}
    found = [name for name, path in modules.items() if "def scanned(" in path.read_text("utf-8") and name != "heat"]
    assert len(found) > 10
    return found


def test_heat_comes_before_everything_on_every_screen_with_a_badge_asked_for_and_nobody_signed_in(
    open_window: Callable[..., Window], tmp_path: Path
) -> None:
    (tmp_path / "data-0").mkdir()
    (tmp_path / "data-0" / "settings.toml").write_text("[kiosk]\nbadge_required = true\n")
    window = open_window((800, 480))
    window.wait(40 * 86_400.0)
    hot, slot = window.holder("T001"), window.place("Cabinet A · 1-05")
    window.scan(window.badge("jo"))
    window.sees("Hello")
    window.scan(hot)
    window.sees("Where to?")
    window.scan(window.place("Shrink station"))
    window.sees("1 hot")
    window.wait(1800.0)  # longer than anybody stays signed in without a touch
    window.sees_not("Jo Reed")
    silent = []
    for name in _take_scans():
        window.open_screen(name)
        window.read(hot)
        window.read(slot)
        try:
            window.sees("HOT", "Not to Cabinet A · 1-05.", patience_s=8.0)
            window.is_on("heat")
            window.touch("Understood")
            window.is_off("heat")
        except AssertionError as missing:
            silent.append(f"{name}: {missing}")
    assert silent == [], "\n".join(silent)
    assert window.where("T001") == "Shrink station"


def test_what_is_read_after_a_touch_is_for_the_screen_touched_though_the_window_was_busy(kiosk: Window) -> None:
    kiosk.wait(3 * 86_400)
    hands: dict[str, Callable[[str], None]] = {"T001": kiosk.hold_up, "T002": kiosk.scan}
    for key, read in hands.items():
        label = kiosk.holder(key)
        kiosk.touch("Labels")
        kiosk.is_on("labels")
        left, low, width, height = next(touch[1:] for touch in kiosk.screen()["touches"] if touch[0] == "Scan")
        kiosk.block(1.0)
        kiosk.display.touch(left + width / 2, low + height / 2)
        read(label)
        kiosk.sees(kiosk.name(key), "Where to?")
        kiosk.put_away()
        kiosk.wait(40)
