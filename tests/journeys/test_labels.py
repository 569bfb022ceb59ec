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


@pytest.mark.parametrize("has_program", [True, False])
def test_the_file_of_a_label_is_opened_or_said_to_lie_in_its_folder(
    has_program: bool, open_window: Callable[..., Window], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    programs, opened = tmp_path / "programs", tmp_path / "opened"
    programs.mkdir()
    if has_program:
        program = programs / "xdg-open"
        program.write_text(f'#!/bin/sh\nprintf %s "$1" > "{opened}"\n')
        program.chmod(0o755)
    monkeypatch.setenv("PATH", str(programs))
    kiosk = open_window((800, 480))
    kiosk.touch("Labels")
    kiosk.is_on("labels")
    kiosk.scan(kiosk.holder("T002"))
    kiosk.sees("true size")
    kiosk.touch("Save")
    kiosk.sees("Label saved", "data-0/labels")
    kiosk.touch("Open it")
    if has_program:
        kiosk.waits_for(opened.exists, "the program to be started")
        assert opened.read_text().startswith(str(tmp_path / "data-0" / "labels"))
    else:
        kiosk.sees("no program", "data-0/labels")
        assert not any("Open it" in touch[0] for touch in kiosk.screen()["touches"])
    kiosk.picture(f"labels-open-{has_program}")
