"""What a disk may do: it is full, it cannot be written, its file is another's.  Nothing is lost and it says so."""

from __future__ import annotations

import os
import random
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from kiosk.desk import Desk
from kiosk.ledger import tables as T
from kiosk.ledger.book import NAME, Book, LedgerFault
from kiosk.rules.belief import ENOUGH_READINGS
from kiosk.rules.cards import Heat
from kiosk.rules.lines import TurnedAway
from kiosk.rules.outcomes import ABOUT_HEAT, Done, Refused
from tests.conftest import Shop


def fill(book: Book) -> LedgerFault:
    """Writes until the disk has no room left, not even for the shortest of lines: a refused one frees none."""
    pages = T.database.execute_sql("PRAGMA page_count").fetchone()[0]
    T.database.execute_sql(f"PRAGMA max_page_count = {pages + 3}")
    for text in ("text " * 24, "x"):  # lines as long as any, then what room they left
        with pytest.raises(LedgerFault) as fault:
            for _ in range(5000):
                book.append([TurnedAway(text, "foreign_code")])
    for _ in range(3):
        with pytest.raises(LedgerFault):
            book.append([TurnedAway("x", "foreign_code")])
    return fault.value


@contextmanager
def nothing_is_kept() -> Iterator[None]:
    """The disk refuses every line, whatever room its pages have left."""
    T.database.execute_sql("PRAGMA query_only = 1")
    try:
        yield
    finally:
        if not T.database.is_closed():
            T.database.execute_sql("PRAGMA query_only = 0")


def time_alone_ends_it(shop: Shop) -> None:
    """Enough is read of a held holder for its holds to need no reading from now on."""
    for _ in range(ENOUGH_READINGS):
        shop.clock.forward(400.0)
        hold = shop.desk.session.holder("T001").hold
        assert hold is not None
        shop.desk.heat.read("T001", hold.where, hold.hottest_c)


def test_a_full_disk_is_told_and_nothing_acknowledged_is_lost(shop: Shop) -> None:
    book = shop.desk.session.book
    fault = fill(book)
    assert "full" in fault.why
    assert fault.path == shop.folder / NAME
    last = book.last_id
    assert book.line(last) is not None
    assert book.line(last + 1) is None
    assert book.check() == []


def test_a_scan_on_a_full_disk_moves_nothing_and_works_again_with_room(shop: Shop) -> None:
    book = shop.desk.session.book
    code, bench = shop.holder("T002"), shop.place("Bench 1")
    before = shop.desk.session.holder("T002").at
    fill(book)
    with pytest.raises(LedgerFault):
        for _ in range(200):
            shop.desk.scan(code)
            shop.desk.scan(bench)
            shop.desk.scan("NOT A CODE OF OURS")
    assert book.check() == []
    T.database.execute_sql("PRAGMA max_page_count = 1000000")
    shop.clock.forward(60.0)
    shop.desk.cancel()
    shop.desk.scan(code)
    outcome = shop.desk.scan(bench).outcome
    assert isinstance(outcome, Done)
    card = shop.desk.session.holder("T002").at
    assert before is not None and card is not None and card.name == "Bench 1"
    assert book.check() == []


@pytest.mark.parametrize("ran_s", [3600.0, 60 * 86_400.0])
@pytest.mark.parametrize("between", [False, True])
def test_a_heating_that_a_full_disk_refused_is_not_forgotten_when_there_is_room(
    shop: Shop, ran_s: float, between: bool
) -> None:
    shop.clock.forward(ran_s)
    shop.desk.tick()
    code, station, slot = shop.holder("T001"), shop.place("Shrink station"), shop.place("Cabinet A · 1-05")
    shop.desk.scan(code)
    with nothing_is_kept(), pytest.raises(LedgerFault):
        shop.desk.scan(station)
    shop.clock.forward(30.0)
    shop.desk.cancel()
    if between:
        shop.desk.scan("NOT A CODE OF OURS")
        shop.reopen()
    shop.desk.scan(code)
    refused = shop.desk.scan(slot).outcome
    assert isinstance(refused, Refused) and refused.reason in ABOUT_HEAT
    shop.reopen()
    shop.clock.forward(86_400.0)
    shop.desk.tick()
    shop.desk.scan(code)
    assert isinstance(shop.desk.scan(slot).outcome, Refused), "only readings all over end it"
    assert shop.desk.session.book.check() == []


def test_a_second_heating_that_a_full_disk_refused_does_not_end_with_the_first(shop: Shop) -> None:
    shop.clock.forward(60 * 86_400.0)
    code, station, rack = shop.holder("T001"), shop.place("Shrink station"), shop.place("Rack 1")
    for text in (code, station, code, rack):
        shop.desk.scan(text)
    time_alone_ends_it(shop)
    shop.desk.scan(code)
    with nothing_is_kept(), pytest.raises(LedgerFault):
        shop.desk.scan(station)
    for _ in range(3):
        shop.clock.forward(20 * 3600.0)
        shop.desk.scan(code)
        assert isinstance(shop.desk.scan(shop.place("Cabinet A · 1-05")).outcome, Refused)
        shop.desk.tick()
    assert shop.desk.session.book.check() == []


def test_a_heating_scanned_again_once_there_is_room_is_one_heating_like_any_other(shop: Shop) -> None:
    shop.clock.forward(60 * 86_400.0)
    shop.desk.tick()
    code, station = shop.holder("T001"), shop.place("Shrink station")
    shop.desk.scan(code)
    with nothing_is_kept(), pytest.raises(LedgerFault):
        shop.desk.scan(station)
    shop.desk.scan(code)
    shop.desk.scan(station)
    card = shop.desk.session.holder("T001")
    assert card.hold is not None and card.heat_cycles == 1 and not card.body_unknown
    assert shop.desk.session.cards.unwritten == set()


@pytest.mark.parametrize("watched_s", [0.0, 9 * 3600.0, 60 * 86_400.0])
@pytest.mark.parametrize("stood_s", [0.0, 12.0])  # nobody scans any more: closed at once, or told of by the next beat
def test_a_heating_that_a_full_disk_refused_is_not_forgotten_by_a_kiosk_that_starts_again(
    shop: Shop, watched_s: float, stood_s: float
) -> None:
    shop.clock.forward(watched_s)
    shop.desk.tick()
    code, station = shop.holder("T001"), shop.place("Shrink station")
    for text in (code, station, code, shop.place("Rack 1")):
        shop.desk.scan(text)
    time_alone_ends_it(shop)
    shop.desk.scan(code)
    with nothing_is_kept(), pytest.raises(LedgerFault):
        shop.desk.scan(station)
    if stood_s:
        shop.clock.forward(stood_s)
        shop.desk.tick()
        assert shop.desk.session.cards.unwritten == set()
    shop.reopen()
    hold = shop.desk.session.holder("T001").hold
    assert hold is not None and hold.needs_reading
    assert shop.desk.session.book.check() == []


def test_a_disk_that_stays_full_stops_neither_the_second_nor_the_closing(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T001"))
    with nothing_is_kept():
        with pytest.raises(LedgerFault):
            shop.desk.scan(shop.place("Shrink station"))
        for _ in range(30):
            shop.clock.forward(1.0)
            with suppress(LedgerFault):
                shop.desk.tick()
            assert shop.desk.session.cards.unwritten == {"T001"}
            assert shop.desk.session.holder("T001").heat is not Heat.COOL
        shop.desk.close()
    shop.reopen()


def test_a_desk_closed_twice_leaves_alone_the_one_that_was_opened_since(shop: Shop) -> None:
    first = shop.desk
    with nothing_is_kept(), pytest.raises(LedgerFault):
        shop.desk.scan(shop.holder("T001"))
        shop.desk.scan(shop.place("Shrink station"))
    second = shop.reopen()
    first.close()
    second.scan(shop.holder("T002"))
    assert isinstance(second.scan(shop.place("Bench 1")).outcome, Done)
    assert second.session.book.check() == []


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere; the same is tried with a file in the way")
def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    folder.mkdir(mode=0o500)
    with pytest.raises(LedgerFault) as fault:
        Desk.open(folder)
    assert str(folder) in str(fault.value)


def test_a_file_where_the_folder_should_be_is_named(tmp_path: Path) -> None:
    (tmp_path / "data").write_text("a note")
    with pytest.raises(LedgerFault) as fault:
        Desk.open(tmp_path / "data")
    assert fault.value.path == tmp_path / "data"
    assert (tmp_path / "data").read_text() == "a note"


def test_a_damaged_file_is_told_and_left_as_it_is(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    Shop(folder).desk.close()
    file = folder / NAME
    whole = file.read_bytes()
    broken = whole[:4096] + random.Random(4096).randbytes(4096) + whole[8192:]
    file.write_bytes(broken)
    try:
        with Book.open(folder, read_only=True) as book:
            wrong = book.check()
    except LedgerFault as fault:
        assert fault.path == file
    else:
        assert wrong
    assert file.read_bytes() == broken


def test_a_copied_ledger_goes_on_from_what_was_watched_and_no_further(shop: Shop, tmp_path: Path) -> None:
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Shrink station"))
    shop.clock.forward(30.0)
    shop.desk.tick()
    left = shop.desk.heat.board()[0].hold
    shop.desk.close()
    copied = tmp_path / "other tablet"
    shutil.copytree(shop.folder, copied)
    shop.clock.forward(3 * 3600.0)  # the copy lay about
    with Desk.open(copied, counter=shop.clock.counter, wall=shop.clock.wall) as desk:
        held = desk.heat.board()[0].hold
        assert held is not None and left is not None and held.gap
        assert held.remaining_s is not None and left.remaining_s is not None
        assert held.remaining_s >= left.remaining_s - 1.0
    shop.reopen()


def test_a_wall_clock_set_ahead_frees_nothing(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Shrink station"))
    shop.clock._wall_s += 30 * 86400.0
    shop.desk.tick()
    assert [card.holder.key for card in shop.desk.heat.board()] == ["T001"]
    shop.clock._wall_s -= 60 * 86400.0
    shop.desk.tick()
    assert [card.holder.key for card in shop.desk.heat.board()] == ["T001"]
