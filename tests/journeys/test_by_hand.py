"""What a year brings, by touch alone: no keyboard, no mouse, no file."""

from __future__ import annotations

from pathlib import Path

from kiosk.exchange.sheet import read_sheet
from kiosk.rules.fitting.setup_sheet import Need
from tests.journeys.window import Window


def keys(kiosk: Window, *symbols: str) -> None:
    for symbol in symbols:
        kiosk.touch_key(symbol)


def test_a_setup_sheet_is_written_copied_changed_laid_aside_and_brought_back(kiosk: Window, tmp_path: Path) -> None:
    setups = tmp_path / "data-0" / "setups"
    kiosk.touch("Shop")
    kiosk.touch("Setup sheet")
    kiosk.touch("Write or change")
    kiosk.touch("New sheet")
    keys(kiosk, *"J", *"ob", "forward")
    kiosk.touch("One more tool")
    kiosk.touch("By its name")
    kiosk.touch("Search by name")
    keys(kiosk, *"B", *"all", "forward")
    kiosk.touch("Ball mill 10")
    keys(kiosk, "2")
    kiosk.touch("Enter")
    kiosk.sees("2 ×")
    kiosk.touch("One more tool")
    kiosk.touch("By its figures")
    kiosk.sees("DC")
    keys(kiosk, "1", "2")
    kiosk.touch("Enter")
    for _ in range(3):
        kiosk.touch("Leave empty")
    keys(kiosk, "1")
    kiosk.touch("Enter")
    kiosk.touch("Machine")
    kiosk.touch("Mill 1")
    kiosk.picture("sheets-lines")
    kiosk.touch("Keep the sheet")
    kiosk.sees("The sheet Job is kept")
    wanted = (Need(2, "Ball mill 10", 2, "Mill 1"), Need(3, "", 1, "Mill 1", 12.0))
    assert read_sheet((setups / "Job.csv").read_text("utf-8"), "Job.csv").whole() == wanted

    kiosk.touch("Job")
    kiosk.touch("Copy it")
    keys(kiosk, "b", "forward")
    kiosk.touch("Keep the sheet")
    kiosk.sees("The sheet Jobb is kept")
    kiosk.touch("Jobb")
    kiosk.touch("Ø12")
    kiosk.touch("Not on this sheet")
    kiosk.touch("Keep the sheet")
    kiosk.sees("The sheet Jobb is kept")
    assert read_sheet((setups / "Jobb.csv").read_text("utf-8"), "Jobb.csv").whole() == wanted[:1]
    kiosk.touch("Jobb")
    kiosk.touch("Lay it aside")
    kiosk.sees("The sheet Jobb is laid aside")
    assert not (setups / "Jobb.csv").exists()
    kiosk.touch("Laid aside")
    kiosk.touch("Jobb")
    kiosk.sees("The sheet Jobb is here again")
    assert (setups / "Jobb.csv").exists()


def test_what_is_gone_comes_back_with_a_pin_and_a_reason_and_somebody_is_copied(kiosk: Window) -> None:
    kiosk.touch("Shop")
    kiosk.touch("People")
    kiosk.touch("Jo Reed")
    kiosk.touch("Copy for another")
    kiosk.sees("choose a PIN")
    kiosk.shows_badge("kim")
    for _ in range(2):
        keys(kiosk, *"4711")
        kiosk.touch("Open")
    keys(kiosk, *"P", *"at", "forward")
    kiosk.sees("Pat is entered")
    kiosk.touch("To the list")
    kiosk.touch_key("back")
    kiosk.touch("Places")
    kiosk.touch("Set up the shop")
    kiosk.touch("Stations")
    kiosk.touch("down")
    kiosk.touch("Presetter")
    kiosk.touch("Gone for good")
    kiosk.touch("Sold or given away")
    kiosk.sees("is no longer here")
    kiosk.touch("To the list")
    kiosk.touch("Gone for good")
    kiosk.sees("Which one is back?")
    kiosk.touch("Presetter")
    kiosk.sees("why is it back?")
    kiosk.touch("Found again")
    kiosk.sees("is in use again")
    assert kiosk.place("Presetter") and kiosk.check() == []
