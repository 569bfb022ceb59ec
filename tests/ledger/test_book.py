"""The book: all or nothing, chained, one writer, and a check that finds what was touched."""

from __future__ import annotations

from pathlib import Path

import pytest

from kiosk.ledger import tables as T
from kiosk.ledger.book import NAME, Book, LedgerFault
from kiosk.ledger.derive import Broken
from kiosk.ledger.lineform import HASH_BEFORE_ANY_LINE, as_kept, line_hash
from kiosk.ledger.lock import InUse
from kiosk.ledger.upgrade import VERSION, NewerLedger, create_or_upgrade
from kiosk.ledger.verify import Stopped
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Coupling, Cutter, Family, Holder
from kiosk.rules.places import Kind, Place

HSK63 = Coupling(Family.HOLLOW_TAPER, 63)
HOLDER = Holder("T1", "Shrink 12", HSK63, Clamping.SHRINK_FIT, 12)
BENCH, RACK = Place("P1", "Bench", Kind.BENCH), Place("P2", "Rack", Kind.COOLING, way="free_air")
SETUP: tuple[L.Entry, ...] = (
    L.PlaceAdded(BENCH),
    L.PlaceAdded(RACK),
    L.HolderRegistered(HOLDER, stood_cold=True),
    L.Moved("T1", None, "P1"),
)


def raw(sql: str, *values: object) -> None:
    T.database.execute_sql(sql, values)


def test_lines_are_numbered_and_chained_from_the_first(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        written = book.append(SETUP, "jo")
        assert [line.id for line in written] == [1, 2, 3, 4]
        before = HASH_BEFORE_ANY_LINE
        for line in written:
            text = as_kept(line.entry)[1]
            assert line.hash == line_hash(before, line.stamp, line.kind, text)
            before = line.hash
        assert book.last_hash == before


def test_a_line_reads_back_as_it_was_written(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        written = book.append(SETUP, "jo")
        assert list(book.lines()) == list(written)
        assert book.line(4) == written[3]
        assert [line.id for line in book.lines(subject="T1")] == [3, 4]
        assert [line.id for line in book.lines(newest=2)] == [4, 3]


def test_a_step_that_cannot_follow_leaves_nothing_behind(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.append(SETUP)
        with pytest.raises(Broken) as broken:
            book.append([L.Moved("T1", "P1", "P2"), L.Moved("T1", "P1", "P2")])
        assert broken.value.line == 6
        assert book.last_id == 4
        assert T.Holder.get_by_id("T1").place == "P1"
        assert book.append([L.Moved("T1", "P1", "P2")])[0].id == 5
        assert book.check() == []


def test_a_length_given_as_a_whole_number_replays_to_the_same_table(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.append([L.CutterAdded(Cutter("C1", "End mill 12", 12, 12, 83, re_mm=1))])
        assert book.check() == []


@pytest.mark.parametrize(
    ("damage", "where"),
    [
        ("UPDATE line SET payload = replace(payload, 'Bench', 'Bunch') WHERE id = 1", "line 1"),
        ("UPDATE line SET utc_s = utc_s + 1 WHERE id = 2", "line 2"),
        ("UPDATE line SET operator = 'kim' WHERE id = 3", "line 3"),
        ("UPDATE holder SET place = 'P2' WHERE key = 'T1'", "holder T1"),
        ("UPDATE place SET capacity = 9 WHERE code = 'P1'", "place P1"),
        ("DELETE FROM holder WHERE key = 'T1'", "holder T1"),
        ("INSERT INTO setting (name, value) VALUES ('heat.limit_c', '48')", "setting heat.limit_c"),
        ("DELETE FROM mention WHERE subject = 'P2'", "history index"),
        ("PRAGMA foreign_keys = OFF; DELETE FROM line WHERE id = 2", "line 2"),
    ],
)
def test_the_check_names_what_was_touched(tmp_path: Path, damage: str, where: str) -> None:
    with Book.open(tmp_path) as book:
        book.append(SETUP, "jo")
        assert book.check() == []
        for sentence in damage.split(";"):
            raw(sentence)
        assert where in [wrong.where for wrong in book.check()]


def test_a_changed_line_cannot_be_hidden_by_giving_it_a_new_hash(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.append(SETUP)
        raw("UPDATE line SET hash = ? WHERE id = 2", "0" * 64)
        assert {"line 2", "line 3"} <= {wrong.where for wrong in book.check()}


def test_the_check_tells_how_far_it_is_and_can_be_stopped(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.append(SETUP)
        told: list[tuple[int, int]] = []
        assert book.check(lambda done, total: told.append((done, total))) == []
        assert told[-1] == (4, 4)

        def stop(done: int, total: int) -> None:
            raise Stopped

        with pytest.raises(Stopped):
            book.check(stop)


def test_tables_thrown_away_are_built_again_from_the_lines(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.append(SETUP, "jo")
        raw("DELETE FROM holder")
        raw("DELETE FROM mention")
        assert book.check() != []
        book.rebuild()
        assert book.check() == []
        assert T.Holder.get_by_id("T1").place == "P1"


def test_a_second_start_on_the_same_folder_is_told_who_has_it(tmp_path: Path) -> None:
    with Book.open(tmp_path), pytest.raises(InUse) as refused:
        Book.open(tmp_path)
    assert refused.value.folder == tmp_path


def test_a_reader_needs_a_ledger_that_is_there(tmp_path: Path) -> None:
    with pytest.raises(LedgerFault) as fault:
        Book.open(tmp_path, read_only=True)
    assert fault.value.path == tmp_path / NAME


def test_a_reader_cannot_write(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.append(SETUP)
    with Book.open(tmp_path, read_only=True) as reader:
        assert reader.last_id == 4
        with pytest.raises(LedgerFault):
            reader.append([L.Moved("T1", "P1", "P2")])
        assert reader.check() == []


def test_a_file_that_is_no_ledger_is_told_with_its_name(tmp_path: Path) -> None:
    (tmp_path / NAME).write_bytes(b"this is a letter to the night shift, not a database" * 100)
    with pytest.raises(LedgerFault) as fault:
        Book.open(tmp_path)
    assert fault.value.path == tmp_path / NAME


def test_a_ledger_of_a_newer_kiosk_is_left_alone(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.append(SETUP)
        T.Schema.update(version=VERSION + 1).execute()
    stood = (tmp_path / NAME).read_bytes()
    for read_only in (False, True):
        with pytest.raises(NewerLedger) as refused:
            Book.open(tmp_path, read_only=read_only)
        assert (refused.value.found, refused.value.known) == (VERSION + 1, VERSION)
    assert (tmp_path / NAME).read_bytes() == stood


def test_an_older_ledger_is_brought_up_step_by_step_and_keeps_its_lines(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.append(SETUP)
        T.Schema.update(version=VERSION).execute()
        ran: list[int] = []
        steps = {VERSION + at: lambda database, at=at: ran.append(at) for at in range(3)}
        assert create_or_upgrade(T.database.obj, "ledger.db", steps, VERSION + 3)
        assert ran == [0, 1, 2]
        assert T.Schema.get_by_id("ledger").version == VERSION + 3
        assert not create_or_upgrade(T.database.obj, "ledger.db", steps, VERSION + 3)
        assert [line.id for line in book.lines()] == [1, 2, 3, 4]


def test_an_upgrade_that_fails_half_way_stops_at_the_last_whole_step(tmp_path: Path) -> None:
    def breaks(database: object) -> None:
        raw("CREATE TABLE half (a INTEGER)")
        raise OSError("no room")

    with Book.open(tmp_path):
        steps = {VERSION: lambda database: raw("CREATE TABLE whole (a INTEGER)"), VERSION + 1: breaks}
        with pytest.raises(OSError, match="no room"):
            create_or_upgrade(T.database.obj, "ledger.db", steps, VERSION + 2)
        assert T.Schema.get_by_id("ledger").version == VERSION + 1
        assert T.database.table_exists("whole")
        assert not T.database.table_exists("half")


def test_tables_of_the_first_schema_are_built_anew_from_their_lines(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.append(SETUP)
        for column in ("kiosk", "first_watched_s", "body_unknown", "began"):
            raw(f'ALTER TABLE "hold" DROP COLUMN "{column}"')
        for column in ("since_watched_s", "heat_unused"):
            raw(f'ALTER TABLE "holder" DROP COLUMN "{column}"')
        T.Schema.update(version=1).execute()
    with Book.open(tmp_path) as book:
        assert T.Schema.get_by_id("ledger").version == VERSION
        assert [line.id for line in book.lines()] == [1, 2, 3, 4]
        assert book.check() == []
