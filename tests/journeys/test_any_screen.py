"""What holds on every screen: heat is told of, and a window that nobody touches goes back to Scan."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

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


def test_hot_steel_scanned_in_an_audit_fills_the_window_whatever_screen_is_in_sight(kiosk: Window) -> None:
    kiosk.wait(40 * 86_400.0)
    hot, slot = kiosk.holder("T001"), kiosk.place("Cabinet A · 1-05")
    kiosk.scan(hot)
    kiosk.sees("Where to?")
    kiosk.scan(kiosk.place("Shrink station"))
    kiosk.sees("1 hot")
    kiosk.touch("Audit")
    kiosk.sees("Scan the place to audit")
    kiosk.scan(kiosk.place("Cabinet A"))
    kiosk.sees("to see")
    silent = []
    for name in ("audit", "audit_photo", "audit_spot", "scan", "shop", "labels", "people", "hot", "card"):
        kiosk.open_screen(name)
        for code in (hot, slot):
            kiosk.read(code)
        try:
            kiosk.sees("HOT", "Understood", patience_s=8.0)
            kiosk.touch("Understood")
            kiosk.sees_not("Understood")
        except AssertionError as missing:
            silent.append(f"{name}: {missing}")
    assert silent == [], "\n".join(silent)
    assert kiosk.where("T001") == "Shrink station" and kiosk.check() == []


# Where a window leads that nobody touches for longer than two minutes, from each screen as it opens.
STAYS = {
    "scan": "where everybody expects it", "hot": "the board that everybody looks at",
    "audit": "whoever counts walks along the drawers", "audit_photo": "the same", "audit_spot": "the same",
    "audit_differences": "whoever looks for what is missing comes back", "setup": "whoever fetches tools walks about",
    "apart": "whoever settles it looks at the steel first", "kiosks": "joining takes its time",
    "bring_in": "somebody goes and mends the file", "enter": "a form half filled", "first": "a kiosk being put up",
}  # fmt: skip
ALARM = "heat"  # is raised below on every one of them, and ended by a hand alone


def test_every_screen_there_is_tells_of_heat_though_nobody_is_signed_in_and_knows_where_a_pause_leads(
    open_window: Callable[..., Window], tmp_path: Path
) -> None:
    (tmp_path / "data-0").mkdir()
    (tmp_path / "data-0" / "settings.toml").write_text("[kiosk]\nbadge_required = true\n")
    kiosk = open_window((800, 480))
    kiosk.wait(40 * 86_400.0)
    hot, slot = kiosk.holder("T001"), kiosk.place("Cabinet A · 1-05")
    kiosk.scan(kiosk.badge("jo"))
    kiosk.sees("Hello")
    kiosk.scan(hot)
    kiosk.sees("Where to?")
    kiosk.scan(kiosk.place("Shrink station"))
    kiosk.sees("1 hot")
    kiosk.wait(1800.0)  # longer than anybody stays signed in without a touch
    kiosk.sees_not("Jo Reed")
    goals = [slot, kiosk.place("Mill 1 · pocket 07"), kiosk.place("Presetter")]
    wrong = []
    for at, name in enumerate(each for each in SCREENS if each != ALARM):
        try:
            opened = kiosk.opens(name)
            pair = (hot, slot) if name in STAYS else (hot, goals[at % 3])
            for code in pair if at % 2 or name in STAYS else reversed(pair):
                kiosk.read(code)
            kiosk.waits_for(lambda: kiosk.screen()["view"] == ALARM, f"the alarm on {name}", 8.0)
            assert kiosk.passes(600.0) == ALARM, "an alarm is ended by a hand, never by a pause"
            kiosk.understood()
            back = kiosk.screen()["view"]
            led = kiosk.passes(121.0)
            if led != (back if back in STAYS else "scan"):
                wrong.append(f"{name} ({opened}, {back}): a pause leads to {led}")
        except AssertionError as missing:
            wrong.append(f"{name}: {str(missing)[:300]}")
            kiosk.opens("scan")
    kiosk.opens("first")
    kiosk.read(slot)
    kiosk.sees("Not taken: Cabinet A · 1-05")
    assert wrong == [], "\n".join(wrong)
    assert kiosk.where("T001") == "Shrink station" and kiosk.check() == []


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
