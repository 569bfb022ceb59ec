"""A job from its sheet to the machine, the control's list, and a new colleague, with touches and labels."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.journeys.window import Window


@pytest.mark.parametrize("size", [(800, 480), (360, 640)])
def test_a_setup_sheet_leads_through_the_cabinet_and_to_a_change_plan(
    size: tuple[int, int], open_window: Callable[..., Window]
) -> None:
    kiosk = open_window(size)
    kiosk.touch("Shop")
    kiosk.touch("Setup sheet")
    kiosk.sees("Pump cover", "Bearing block")
    kiosk.picture("setup-sheets")
    kiosk.touch("Pump cover")
    kiosk.sees("Mill 1", "10 of 13 ready", "In Cabinet A · 2-03")
    kiosk.picture("setup-pieces")
    kiosk.touch("Pick round, 9 places")
    kiosk.sees("Cabinet A · 1-01", "End mill 6 R0.5", "1 of 9")
    kiosk.picture("setup-round")
    before = kiosk.where("T002")
    kiosk.scan(kiosk.holder("T002"))
    kiosk.sees("End mill 6 R0.5 taken", "Cabinet A · 1-02", "2 of 9")
    kiosk.scan(kiosk.holder("T001"))
    kiosk.sees("Roughing mill 12 R1 is not on this list", "Cabinet A · 1-02")
    kiosk.picture("setup-not-listed")
    kiosk.touch("It is not there")
    kiosk.sees("Ball mill 6 left out", "Cabinet A · 1-03")
    assert kiosk.where("T002") == before  # a tick on the round is no move
    kiosk.touch("back")
    kiosk.touch("Change plan")
    kiosk.sees("No plan does it with fewer moves", "still to be built or missing", "Put in, from Cabinet A")
    kiosk.picture("setup-plan")
    kiosk.touch("back")
    kiosk.sees("10 of 13 ready")
    assert kiosk.check() == []


def test_the_round_ends_with_what_was_not_there(kiosk: Window) -> None:
    kiosk.touch("Shop")
    kiosk.touch("Setup sheet")
    kiosk.touch("Bearing block")
    kiosk.touch("Pick round, 3 places")
    kiosk.sees("Cabinet A · 4-02")
    kiosk.touch("It is not there")
    kiosk.sees("Cabinet B · 2-04", "Shrink 16 x 95")  # a bare holder to build with
    kiosk.scan(kiosk.holder("T032"))
    kiosk.sees("Shrink 16 x 95 taken", "Cabinet B · 3-01")
    kiosk.hold_up(kiosk.holder("T035"))
    kiosk.sees("2 taken", "Not there: Ball mill 10")
    kiosk.put_away()
    kiosk.picture("setup-round-over")
    kiosk.hold_up(kiosk.holder("T030"))  # found after all
    kiosk.sees("All taken")


def test_what_has_become_hot_since_is_not_ticked_on_the_round(kiosk: Window) -> None:
    hot = kiosk.holder("T010")
    kiosk.scan(hot)
    kiosk.sees("Where to?")
    kiosk.scan(kiosk.place("Shrink station"))
    kiosk.sees("1 hot")
    kiosk.touch("Shop")
    kiosk.touch("Setup sheet")
    kiosk.touch("Pump cover")
    kiosk.sees("Hot at Shrink station", "9 of 13 ready")
    kiosk.picture("setup-hot")
    kiosk.touch("Pick round, 8 places")
    kiosk.sees("Cabinet A · 1-01")
    kiosk.scan(hot)
    kiosk.sees("is hot: leave it where it is", "1 of 8")


@pytest.mark.parametrize("size", [(800, 480), (360, 640)])
def test_the_controls_list_is_compared_line_by_line_and_saved(
    size: tuple[int, int], open_window: Callable[..., Window], tmp_path: Path
) -> None:
    kiosk = open_window(size)
    kiosk.touch("Shop")
    kiosk.touch("Setup sheet")
    kiosk.touch("Compare a control's list")
    kiosk.touch("Mill 1")
    kiosk.touch("Mill 1 tool table")
    kiosk.sees("3 agree, 6 do not", "length differs")
    kiosk.sees("Length 115.466\u00a0mm in the control, 114.966\u00a0mm measured", "Measure it, then correct")
    kiosk.picture("compare-lines")
    kiosk.touch("Save table")
    kiosk.sees("Saved: comparisons/")
    (table,) = (tmp_path / "data-0" / "comparisons").glob("*.csv")
    assert "Spot drill 10" in table.read_text("utf-8")
    kiosk.touch("Save to print")
    kiosk.sees(".txt")


def test_columns_guessed_from_the_header_are_said_and_kept(kiosk: Window, tmp_path: Path) -> None:
    kiosk.touch("Shop")
    kiosk.touch("Setup sheet")
    kiosk.touch("Compare a control's list")
    kiosk.touch("Mill 2")
    kiosk.touch("Mill 2 export")
    kiosk.sees("Columns taken from the header: Tool name, Tool number, Pocket, Length, Diameter", "other pocket")
    kiosk.picture("compare-guessed")
    kiosk.touch("Keep columns")
    kiosk.sees("Columns kept in Mill 2.toml")
    assert 'pocket = "Pocket"' in (tmp_path / "data-0" / "controls" / "Mill 2.toml").read_text("utf-8")


@pytest.mark.parametrize("size", [(800, 480), (360, 640)])
def test_a_supervisor_adds_somebody_and_retires_a_badge(
    size: tuple[int, int], open_window: Callable[..., Window]
) -> None:
    kiosk = open_window(size)
    kiosk.touch("Shop")
    kiosk.touch("People")
    kiosk.sees("Kim Vale", "Supervisor")
    kiosk.picture("people")
    kiosk.touch("Somebody new")
    kiosk.sees("choose a PIN")
    kiosk.shows_badge("kim")
    for _ in range(2):
        for figure in "4711":
            kiosk.touch_key(figure)
        kiosk.touch("Open")
    kiosk.sees("What is the name?")
    kiosk.picture("people-name")
    kiosk.scan("Pat")
    kiosk.sees("scans, builds, measures")
    kiosk.picture("people-role")
    kiosk.touch("Tool setter")
    kiosk.sees("Pat is entered")
    kiosk.picture("people-added")
    kiosk.touch("Print the badge")
    kiosk.sees("Size", "Pat")
    kiosk.touch("Shop")
    kiosk.touch("People")
    kiosk.touch("Jo Reed")
    kiosk.picture("people-one")
    kiosk.touch("No longer here")
    kiosk.touch("Badge lost")
    kiosk.sees("The badge of Jo Reed is no longer valid")
    assert kiosk.check() == []


def test_a_presetters_list_is_taken_down_line_by_line(kiosk: Window) -> None:
    kiosk.touch("Shop")
    kiosk.touch("Measure")
    kiosk.touch("From the presetter")
    kiosk.touch("Morning")
    kiosk.sees("2 measurements taken", "No holder, or more than one, has this name or code: Chamfer mill 10")
    kiosk.picture("presetter-taken")
    assert kiosk.check() == []
