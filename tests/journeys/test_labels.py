"""Printing a label with gloves on: scan, look, print, stick it on, scan it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.journeys.window import Window


@pytest.mark.parametrize("size", [(800, 480), (360, 640)])
def test_a_torn_label_is_replaced_and_bound_by_its_first_scan(
    size: tuple[int, int], open_window: Callable[..., Window], tmp_path: Path
) -> None:
    kiosk = open_window(size)
    old = kiosk.holder("T002")
    kiosk.touch("Labels")
    kiosk.picture("labels-choose")
    kiosk.hold_up(old)
    kiosk.sees("Shrink 6 x 80", "true size")
    kiosk.picture("labels-preview")
    kiosk.touch("25x25")
    kiosk.sees("Label size")
    kiosk.picture("labels-sizes")
    kiosk.touch("12x12")
    kiosk.sees("12x12", "New label")
    kiosk.touch("New label")
    kiosk.sees("Another label")
    kiosk.touch("Save")
    kiosk.sees("Label saved", "scan it")
    kiosk.picture("labels-scan-it")
    (png,) = (tmp_path / "data-0" / "labels").glob("*.png")
    new = png.stem
    assert kiosk.holder("T002") == old
    kiosk.hold_up(new)
    kiosk.sees("New label on", "Take the old one off")
    kiosk.picture("labels-bound")
    assert kiosk.holder("T002") == new
    assert kiosk.check() == []


def test_all_pockets_of_a_machine_come_as_one_file(kiosk: Window, tmp_path: Path) -> None:
    kiosk.touch("Labels")
    kiosk.touch("Cabinet or machine")
    kiosk.sees("Which one?")
    kiosk.touch_key("down")
    kiosk.touch("Mill 2")
    kiosk.sees("26 labels")
    kiosk.touch("Save")
    kiosk.sees("26 labels saved")
    (pdf,) = (tmp_path / "data-0" / "labels").glob("*.pdf")
    assert pdf.read_bytes().startswith(b"%PDF")
