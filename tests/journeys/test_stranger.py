"""Orders of doing things that nobody had in mind."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from tests.journeys.window import Window


def test_a_badge_asked_for_in_the_middle_of_a_tear_down_is_taken_there(
    open_window: Callable[..., Window], tmp_path: Path
) -> None:
    (tmp_path / "data-0").mkdir()
    (tmp_path / "data-0" / "settings.toml").write_text("[kiosk]\nbadge_required = true\nsign_out_s = 60.0\n")
    kiosk = open_window()
    kiosk.wait(40 * 86_400.0)
    kiosk.scan(kiosk.badge("jo"))
    kiosk.sees("Hello")
    kiosk.scan(kiosk.holder("T002"))
    kiosk.sees("Where to?")
    kiosk.scan(kiosk.place("Shrink station"))  # where its cutter can come out
    kiosk.sees("1 hot")
    kiosk.touch("Shop")
    kiosk.touch("Tear down")
    kiosk.scan(kiosk.holder("T002"))
    kiosk.touch("Good")
    kiosk.sees("Take the cutter out")
    time.sleep(2.5)  # the clock asks once a second whether somebody was there
    kiosk.wait(80.0)
    kiosk.sees_not("Jo Reed")
    kiosk.touch("Take it out")
    kiosk.sees("Nobody is signed in")
    kiosk.scan(kiosk.badge("jo"))
    kiosk.sees("Jo Reed")
    kiosk.sees_not("Nobody is signed in")
    kiosk.is_on("tear_down")
    kiosk.sees("How is the cutter?")
