"""A newer version by touch, the whole way: from a folder, behind a PIN, unpacked, tried, and begun in the same place.

    .venv/bin/python -m tests.journeys.update_by_touch

Real: the wheel is this tree's own with another version in it, pip unpacks it, and a process opens it.  Says how long
each part took; the code is 1 where the newer version did not open.
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
import time
from pathlib import Path

from kiosk import __version__, installed
from tests.cli.wheels import NEWER, anew, build, environment
from tests.journeys.display import Display
from tests.journeys.window import Window

LONGEST_S = 300.0


def to_versions(kiosk: Window) -> None:
    """Over the page that says how the kiosk is, where the version is among the last."""
    kiosk.touch("Shop")
    kiosk.touch("Kiosk OK?")
    kiosk.sees("things to look at")
    while not any("Version" in touch[0] for touch in kiosk.screen()["touches"]):
        kiosk.touch_key("down")
    kiosk.touch("Version")
    kiosk.touch("Look for a newer version")


PIN = "4711"


def choose_a_pin(kiosk: Window) -> None:
    """The first supervisor has one from now on, and has gone away since."""
    kiosk.touch("Shop")
    kiosk.touch("Settings")
    kiosk.sees("choose a PIN")
    kiosk.shows_badge("kim")
    for _ in range(2):
        type_it(kiosk)
    kiosk.sees("Heat and cooling")
    time.sleep(2.5)  # the last touch is counted within a second, before the pretended clock leaps
    kiosk.wait(310.0)  # longer than a PIN is good for
    kiosk.is_on("scan")


def type_it(kiosk: Window) -> None:
    for figure in PIN:
        kiosk.touch_key(figure)
    kiosk.touch("Open")


def main() -> int:
    display = Display()
    with tempfile.TemporaryDirectory(prefix="update-") as scratch:
        try:
            return whole(display, Path(scratch))
        finally:
            display.close()


def whole(display: Display, scratch: Path) -> int:
    """Everything a hand does, with what is told after each."""
    built = build(scratch)
    wheel = anew(built, scratch / "stick")
    base = environment(anew(built, scratch / "first", __version__), scratch / "base")
    current = scratch / "base" / installed.FOLDER / installed.NAME
    kiosk = Window(display, (800, 480), scratch / "data", python=base, goes_on=True)
    try:
        shutil.copytree(wheel.parent, scratch / "data" / "updates")
        choose_a_pin(kiosk)
        to_versions(kiosk)
        kiosk.touch(NEWER)
        kiosk.touch("Put it in place")
        type_it(kiosk)
        began = time.monotonic()
        kiosk.sees("of 4:")
        for _ in range(2):
            kiosk.touch_key("back")
        kiosk.touch("Scan")  # work goes on meanwhile
        kiosk.hold_up(kiosk.holder("T001"))
        kiosk.sees("Where to?")
        to_versions(kiosk)
        while f"Version {NEWER} is in place" not in (said := " ".join(text[0] for text in kiosk.screen()["texts"])):
            if time.monotonic() - began > LONGEST_S or "Refused" in said:
                print(f"not in place: {said}")
                return 1
            time.sleep(0.5)
        print(f"in place after {time.monotonic() - began:.0f} s")
        kiosk.picture("update-placed")
        kiosk.touch("Start it now")
        began = time.monotonic()
        while json.loads(current.read_text("utf-8"))["trial"]:
            if time.monotonic() - began > LONGEST_S:
                print("the newer version did not open")
                return 1
            time.sleep(0.2)
        print(f"opened, with its book, after {time.monotonic() - began:.0f} s")
    finally:
        kiosk.went_on()
    return int(json.loads(current.read_text("utf-8"))["name"] != NEWER)


if __name__ == "__main__":
    sys.exit(main())
