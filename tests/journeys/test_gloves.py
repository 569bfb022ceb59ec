"""A stiff glove: a finger that comes down twice does once what it touched, and touches nothing that this brought up."""

from __future__ import annotations

import sqlite3
import time
from contextlib import closing
from pathlib import Path

from kiosk.ledger.book import NAME
from tests.journeys.window import Window

SOON_S = 0.5  # by then the second touch would have done what it can


def test_understood_touched_twice_leaves_the_alarm_and_touches_nothing_behind_it(kiosk: Window) -> None:
    kiosk.wait(40 * 86_400)
    hot = kiosk.holder("T001")
    kiosk.scan(hot)
    kiosk.sees("Where to?")
    kiosk.scan(kiosk.place("Shrink station"))
    kiosk.sees("1 hot")
    kiosk.scan(hot)
    kiosk.scan(kiosk.place("Cabinet A · 1-05"))
    kiosk.sees("HOT")
    kiosk.touch("Understood", bounces=True)  # the keys of the rail lie below it
    time.sleep(SOON_S)
    kiosk.is_on("scan")
    assert kiosk.where("T001") == "Shrink station"


def test_a_key_touched_twice_types_nothing_on_the_pad_it_opened_and_a_key_of_the_pad_types_twice(kiosk: Window) -> None:
    kiosk.touch("Type a code", bounces=True)
    kiosk.is_on("typed")
    time.sleep(SOON_S)
    kiosk.sees("···· ···· ··")
    kiosk.touch_key("H")
    kiosk.touch_key("H")
    kiosk.sees("HH·· ···· ··")


def test_a_menu_key_touched_twice_opens_its_page_and_chooses_nothing_there(kiosk: Window) -> None:
    kiosk.touch("Shop")
    kiosk.touch("New holder", bounces=True)  # a row of tapers lies below it
    time.sleep(SOON_S)
    kiosk.is_on("register")
    kiosk.sees("Which taper sits in the spindle?")


def test_the_arrow_of_a_list_touched_twice_turns_one_page(kiosk: Window) -> None:
    kiosk.touch("Shop")
    kiosk.touch("Holders")
    kiosk.sees("HSK-A 63")
    first = rows(kiosk)
    kiosk.touch_key("down")
    kiosk.waits_for(lambda: rows(kiosk) != first, "the second page")
    second = rows(kiosk)
    kiosk.touch_key("up")
    kiosk.waits_for(lambda: rows(kiosk) == first, "the first page again")
    kiosk.touch("down", bounces=True)
    time.sleep(SOON_S)
    assert rows(kiosk) == second


def rows(kiosk: Window) -> set[str]:
    """What the rows of holders in sight say."""
    return {str(text[0]) for text in kiosk.screen()["texts"] if " · " in str(text[0])}


def test_an_answer_touched_again_while_the_desk_works_is_given_once(kiosk: Window, tmp_path: Path) -> None:
    kiosk.touch("Shop")
    kiosk.touch("New holder")
    kiosk.touch("HSK-A 40")
    kiosk.touch("Shrink")
    for figures in ("10", "24", "80"):
        for figure in figures:
            kiosk.touch_key(figure)
        kiosk.touch("Enter")
    kiosk.sees("Scan the place")
    kiosk.scan(kiosk.place("Bench 2"))
    kiosk.sees("heated within the last day")
    kiosk.hang_desk(True)  # it works something out, and nothing has happened yet
    for _ in range(3):
        kiosk.touch("No, it stood cold")
        time.sleep(SOON_S)
    kiosk.hang_desk(False)
    kiosk.sees("Added")
    time.sleep(2 * SOON_S)
    with closing(sqlite3.connect(f"{(tmp_path / 'data-0' / NAME).as_uri()}?mode=ro", uri=True)) as book:
        assert book.execute("SELECT count(*) FROM holder WHERE name = 'Shrink 10 x 80'").fetchone() == (1,)
    assert kiosk.check() == []
