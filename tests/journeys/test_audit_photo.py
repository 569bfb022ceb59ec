"""A drawer photographed in the window: by a camera held over it, and from a folder of pictures."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from kiosk.rules.codes import CodeKind, make
from tests.journeys.window import Window, draw_label

STRANGE = make(CodeKind.HOLDER, 987654).text


def drawer(path: Path, rows: list[list[str]], spoilt: str = "") -> Path:
    """A picture of labels lying in rows, clean and straight; `spoilt` is black between its finders."""
    single = path.with_name("one.png")
    cells = []
    for row in rows:
        cells.append([])
        for code in row:
            draw_label(code, single)
            cell = cv2.imread(str(single))[120:360, 200:440]
            if code == spoilt:
                cell[100:184, 100:184] = 25
                cell[60:140, 100:140] = 25
            cells[-1].append(cell)
    wide = max(map(len, cells))
    lying = [np.hstack([*row, *[np.full_like(cells[0][0], 110)] * (wide - len(row))]) for row in cells]
    cv2.imwrite(str(path), np.vstack(lying))
    return path


def test_a_drawer_is_photographed_and_the_picture_shows_what_was_seen(kiosk: Window, tmp_path: Path) -> None:
    slots = [kiosk.place(f"Cabinet A · 1-0{number}") for number in (1, 2, 3)]
    lying = [kiosk.holder("T002"), kiosk.holder("T008"), STRANGE]  # T008 belongs into drawer 2
    below = [kiosk.holder("T010"), kiosk.holder("T004"), kiosk.holder("T004")]  # one steel cannot lie in two places
    picture = drawer(tmp_path / "drawer.png", [lying, slots, below], spoilt=below[0])
    kiosk.touch("Audit")
    kiosk.is_on("audit")
    kiosk.hold_up(kiosk.place("Cabinet A"))
    kiosk.sees("10 to see")
    kiosk.touch("Photo")
    kiosk.is_on("audit_photo")
    kiosk.sees("straight above", "Drawer 1")
    kiosk.hold_up_picture(picture)
    kiosk.picture("photo-aim")
    kiosk.touch("Take the picture")
    kiosk.sees("✓\u00a02\u00a0seen", "↔\u00a01\u00a0wrong place", "↔\u00a01\u00a0label twice", "×\u00a01\u00a0unknown")
    kiosk.sees("?\u00a01 not read: scan it by hand")
    kiosk.picture("photo-marked")
    kiosk.touch_at("× unknown")  # the picture comes near where it was touched
    kiosk.sees("this label is not known here")
    kiosk.picture("photo-near")
    kiosk.touch("Go on")
    kiosk.is_on("audit")
    kiosk.sees("7 to see", "1 wrong place", "2 labels")
    kiosk.wait(10)
    kiosk.sees("7 to see", "1 wrong place", "2 labels")  # what lies before the camera still is no scan
    kiosk.picture("photo-walk")
    kiosk.touch("7 to see")
    kiosk.sees("3 differences · 7 to see")
    kiosk.touch("label twice ·")
    kiosk.touch("Label taken off")
    kiosk.sees("2 differences · 7 to see")
    assert kiosk.check() == []


def test_something_hot_in_the_photograph_is_an_alarm_before_the_picture_is_looked_at(
    open_window: Callable[..., Window], tmp_path: Path
) -> None:
    kiosk = open_window((480, 800))
    kiosk.hold_up(kiosk.holder("T001"))
    kiosk.sees("Scan where it goes")
    kiosk.hold_up(kiosk.place("Shrink station"))
    kiosk.sees("Heating")
    kiosk.touch("Audit")
    kiosk.is_on("audit")
    kiosk.hold_up(kiosk.place("Cabinet A"))
    kiosk.sees("of 10")
    kiosk.touch("Photo")
    kiosk.hold_up_picture(drawer(tmp_path / "hot.png", [[kiosk.holder("T001"), kiosk.holder("T002")]]))
    kiosk.touch("Take the picture")
    kiosk.sees("HOT", "must not be", "Gloves on")
    kiosk.picture("photo-hot")
    kiosk.touch("Taken to cooling")
    kiosk.sees("!\u00a01\u00a0HOT", "✓\u00a01\u00a0seen")
    kiosk.picture("photo-marked")
    assert kiosk.where("T001") == "Sleeve 1"
    assert kiosk.check() == []


def test_a_picture_in_which_nothing_is_read_says_so_and_counts_for_nothing(
    open_window: Callable[..., Window],
) -> None:
    kiosk = open_window((360, 640))
    kiosk.touch("Audit")
    kiosk.is_on("audit")
    kiosk.hold_up(kiosk.place("Cabinet A"))
    kiosk.sees("of 10")
    kiosk.put_away()
    kiosk.touch("Photo")
    kiosk.touch("Take the picture")
    kiosk.sees("No label was read")
    kiosk.picture("photo-nothing")
    kiosk.touch("Once more")
    kiosk.sees("straight above")
    kiosk.lose_camera(True)
    kiosk.sees("The camera is gone")
    kiosk.picture("photo-no-camera")
    kiosk.touch("back")
    kiosk.sees("10 to see")


def test_a_folder_of_photographs_is_shown_again_for_each_drawer(
    open_window: Callable[..., Window], tmp_path: Path
) -> None:
    folder = tmp_path / "pictures"
    folder.mkdir()
    # Empty drawers: what a folder shows at the start is scanned like anything held before a camera.
    cv2.imwrite(str(folder / "1.png"), np.full((480, 640, 3), 96, np.uint8))
    kiosk = open_window((800, 480), camera=str(folder))
    drawer(folder / "1.png", [[kiosk.holder("T002"), kiosk.holder("T003"), kiosk.holder("T004")]])
    (folder / "one.png").unlink()
    kiosk.touch("Scan")
    kiosk.sees("The last picture was shown")
    kiosk.touch("Audit")
    kiosk.touch("Cabinet A")
    kiosk.sees("10 to see")
    kiosk.touch("Photo")
    kiosk.touch("Take the picture")
    kiosk.sees("✓\u00a03\u00a0seen")
    kiosk.touch("Go on")
    kiosk.sees("7 to see")
    kiosk.touch("Photo")
    kiosk.touch("Take the picture")
    kiosk.sees("✓\u00a03\u00a0seen")
    kiosk.touch("Go on")
    kiosk.sees("7 to see")
    assert kiosk.check() == []
