"""From a bare tablet to a working shop by touch alone: no keyboard, no mouse, no file, and every touch counted."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from kiosk.labels.queue import Job, JobState
from tests.journeys.window import Window
from tests.labels.test_label_cups import Cups, cups, paper

__all__ = ["cups", "paper"]  # fixtures
MOST_TOUCHES = 150


class Finger:
    """Touches a window, and counts."""

    def __init__(self, kiosk: Window) -> None:
        self.kiosk = kiosk
        self.count = 0

    def touch(self, *words: str) -> None:
        for word in words:
            self.kiosk.touch(word)
            self.count += 1

    def keys(self, *symbols: str) -> None:
        for symbol in symbols:
            self.kiosk.touch_key(symbol)
            self.count += 1

    def write(self, name: str) -> None:
        self.keys(*name, "forward")


def test_a_bare_tablet_becomes_a_shop_by_touch_alone_and_heats_its_first_holder(
    open_window: Callable[..., Window],
    cups: Cups,
    paper: Callable[[str], Path],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    monkeypatch.setenv("CUPS_SERVER", str(cups.socket))
    kiosk = open_window(demo=False)
    hand = Finger(kiosk)
    kiosk.sees("Which language?")
    kiosk.picture("first-language")
    hand.touch("English")
    kiosk.sees("What stands beside")
    hand.touch("Shrink station", "Bench", "Presetter")
    kiosk.picture("first-stands")
    hand.touch("Go on")
    kiosk.sees("Where does this kiosk stand?")
    kiosk.picture("first-at")
    hand.touch("Later")
    kiosk.sees("bank card")
    kiosk.picture("first-panel")
    hand.touch("As long as the card")
    kiosk.sees("upright")
    hand.touch("It is right")
    kiosk.sees("Who is the supervisor?")
    hand.write("Kim")
    kiosk.sees("choose a PIN")
    for _ in range(2):
        hand.keys("4", "7", "1", "1")
        hand.touch("Open")
    kiosk.sees("Look around a demo shop")
    kiosk.picture("first-end")
    hand.touch("Begin your own")

    kiosk.sees("Set up the shop")
    kiosk.picture("things-menu")
    hand.touch("Cabinets", "Add one", "Slot +", "Slot +", "Slot +", "Drawer +")
    kiosk.sees("Drawer 2: 4 slots")
    kiosk.picture("enter-drawers")
    hand.touch("It looks like this")
    kiosk.sees("2 drawers, 8 slots")
    hand.touch("Add it")
    kiosk.sees("11 labels are new")
    kiosk.picture("things-answer")
    to_menu(hand)

    hand.touch("Machines", "Add one", "Chain")
    hand.keys("2", "4")
    hand.touch("Enter")
    kiosk.sees("From pocket center")
    hand.keys("1", "1", "0")
    hand.touch("Enter")
    hand.touch("HSK-A 63")
    kiosk.picture("enter-machine")
    hand.touch("Add it")
    kiosk.sees("26 labels are new")
    to_menu(hand)

    hand.touch("Stations", "Add one", "Cooling place", "Sleeve with water")
    kiosk.sees("ruler")
    hand.keys("8", "0")
    hand.touch("Enter", "Add it")
    kiosk.sees("Cooling place is added")
    to_menu(hand)

    hand.touch("Holders", "Add one", "HSK-A 63", "Shrink")
    for figures in ("12", "24", "90"):
        hand.keys(*figures)
        hand.touch("Enter")
    hand.touch("Add it", "No, it stood cold")
    kiosk.sees("Shrink 12 x 90 is added")
    hand.touch("To the list", "Shrink 12 x 90", "More like this")
    hand.keys("2")
    hand.touch("Enter", "No, all stood cold")
    kiosk.sees("2 labels are new")
    to_menu(hand)

    hand.touch("People", "Somebody new")
    kiosk.sees("What is the name?")
    kiosk.picture("people-keyboard")
    hand.write("Sam")
    hand.touch("Setter")
    kiosk.sees("Sam is entered")
    hand.touch("To the list")
    hand.keys("back")

    hand.touch("Places", "Set up the shop", "New labels")
    kiosk.sees("46 labels")
    hand.touch("To a file", "The labels printer")
    hand.keys("Print")
    kiosk.sees("46 labels sent", patience_s=90)
    kiosk.picture("labels-printed")
    hand.touch("Where to stick")
    kiosk.sees("flange", "laminated", "degreaser")
    kiosk.picture("labels-stick")
    label = str(kiosk._ask(do="desk", what="waiting_label"))

    hand.keys("back")
    hand.touch("Scan")
    kiosk.hold_up(label)
    kiosk.sees("Label on Shrink 12 x 90")
    walk(kiosk, label, "Bench", "Moved")
    walk(kiosk, label, "Shrink station", "Heating")
    walk(kiosk, label, "Cooling place", "Moved")
    assert len(kiosk.hot()) == 1
    kiosk.wait(4 * 3600)
    kiosk.put_away()
    hand.touch("Hot", "Enter a reading", "Flange")
    hand.keys("2", "4")
    hand.touch("Enter")
    kiosk.sees("is safe to touch")
    hand.touch("Back", "Scan")
    walk(kiosk, label, "Cabinet · 1-01", "Moved")
    assert kiosk.hot() == [] and kiosk.check() == []
    assert hand.count < MOST_TOUCHES, hand.count
    print(f"{hand.count} touches")
    audited(kiosk, label, tmp_path / "data-0" / "reports", cups, paper)


def audited(kiosk: Window, label: str, reports: Path, cups: Cups, paper: Callable[[str], Path]) -> None:
    """The cabinet is audited, and its report goes to the same printer and to a file, both by touch."""
    kiosk.touch("Audit")
    kiosk.scan(kiosk.place("Cabinet"))
    kiosk.sees("to see")
    kiosk.scan(kiosk.place("Cabinet · 1-01"))
    kiosk.wait(5.0)
    kiosk.scan(label)
    kiosk.sees("1 of 1 seen")
    kiosk.touch("Close audit")
    kiosk.sees("Closed")
    kiosk.touch("Report")
    kiosk.is_on("report")
    kiosk.sees("Page 1 of")
    kiosk.touch("Save")
    kiosk.sees("Saved in the folder")
    kiosk.touch("Print")
    kiosk.touch("The labels printer")
    kiosk.sees("Sent to labels, job 2", patience_s=60)
    kiosk.picture("report-printed")
    (saved,) = reports.glob("*.pdf")
    cups.wait(Job("labels", 2, "", JobState.WAITING), JobState.DONE)
    printed = paper(saved.stem)
    assert saved.read_bytes().startswith(b"%PDF") and printed.read_bytes().startswith(b"%PDF")


def to_menu(hand: Finger) -> None:
    """From what was done back to what can be set up."""
    hand.touch("To the list")
    hand.kiosk.sees("Add one")
    hand.keys("back")
    hand.kiosk.sees("Set up the shop")


def walk(kiosk: Window, holder: str, place: str, word: str) -> Any:
    """A holder's label, then a place's, before the camera."""
    kiosk.put_away()
    kiosk.wait(40)
    kiosk.hold_up(holder)
    kiosk.sees("Where to?")
    kiosk.hold_up(kiosk.place(place))
    kiosk.sees(word)
