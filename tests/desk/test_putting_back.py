"""Copies that can be put back: found wherever they lie, read before one is chosen, and what is lost is counted."""

from __future__ import annotations

import os
import shutil
import sqlite3
import time
from contextlib import closing
from pathlib import Path

import pytest

from kiosk import where, words
from kiosk.desk import Desk, putting_back, sticks
from kiosk.desk.copies import restore
from kiosk.desk.putting_back import Lies
from kiosk.exchange.shop import read_shop
from kiosk.ledger.backup import CopyFault
from kiosk.ledger.book import NAME
from kiosk.ledger.upgrade import VERSION, NewerLedger
from kiosk.rules.codes import CodeKind
from tests.conftest import Shop
from tests.faults.test_restore import copy, heat


@pytest.fixture
def stick(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A stick that is plugged in."""
    stick = tmp_path / "media" / "SHOPSTICK"
    stick.mkdir(parents=True)
    monkeypatch.setattr(sticks, "MOUNTED_UNDER", (tmp_path / "media",))
    monkeypatch.setattr(os.path, "ismount", lambda path: Path(path) == stick)
    return stick


def test_copies_are_found_beside_the_book_in_the_second_folder_on_sticks_and_where_one_was_replaced(
    shop: Shop, stick: Path, tmp_path: Path
) -> None:
    made = copy(shop)
    shop.desk.close()
    second = tmp_path / "second"
    for folder in (second, stick, stick / "backups", stick / "old tablet" / "backups"):
        shutil.copytree(made.parent, folder, dirs_exist_ok=True)
    (stick / "ledger-half.db.part").touch()
    restore(shop.folder, made)
    found = putting_back.found(shop.folder, str(second))
    assert sorted((each.lies, each.drive) for each in found) == [
        *[(Lies.DRIVE, "SHOPSTICK")] * 3, (Lies.OWN, ""), (Lies.REPLACED, ""), (Lies.SECOND, "second"),
    ]  # fmt: skip
    assert [each.made_utc_s for each in found] == sorted((each.made_utc_s for each in found), reverse=True)
    shop.reopen()


def test_a_folder_that_is_both_the_second_one_and_on_a_stick_is_listed_once(shop: Shop, stick: Path) -> None:
    shutil.copytree(copy(shop).parent, stick / "kiosk")
    found = putting_back.found(shop.folder, str(stick / "kiosk"))
    assert [each.lies for each in found if each.lies is not Lies.OWN] == [Lies.SECOND]


def test_a_folder_that_is_gone_or_has_no_name_hides_no_other(shop: Shop) -> None:
    made = copy(shop)
    for second in ("/nowhere/at all", "~nobody/copies", "a\0b"):
        assert [each.path for each in putting_back.found(shop.folder, second)] == [made]


def test_every_line_of_a_copy_is_read_and_what_cannot_be_put_back_says_why(shop: Shop, tmp_path: Path) -> None:
    made = copy(shop)
    counted: list[tuple[int, int]] = []
    seen = putting_back.look(made, lambda done, total: counted.append((done, total)))
    book = shop.desk.session.book
    assert (seen.lines, seen.kiosk, seen.hash, seen.fault) == (book.last_id, book.kiosk, book.last_hash, None)
    assert counted[-1] == (seen.lines, seen.lines)
    newer, changed, cut = (tmp_path / f"ledger-{name}.db" for name in ("newer", "changed", "cut"))
    for path, sql in ((newer, f"UPDATE schema SET version = {VERSION + 1}"), (changed, "UPDATE holder SET heat='x'")):
        shutil.copy(made, path)
        with closing(sqlite3.connect(path)) as spoilt:
            spoilt.execute(sql)
            spoilt.commit()
    cut.write_bytes(made.read_bytes()[:20_000])
    faults = [putting_back.look(path).fault for path in (newer, changed, cut, tmp_path / "pulled out.db")]
    assert [type(fault) for fault in faults] == [NewerLedger, CopyFault, CopyFault, CopyFault]


def test_what_the_book_has_and_the_copy_lacks_is_counted(shop: Shop, tmp_path: Path) -> None:
    made = copy(shop).rename(tmp_path / "ledger-before.db")  # another one may be made within the same second
    seen = putting_back.look(made)
    assert putting_back.lost(shop.folder, made, seen) == putting_back.Lost(0, earlier=True)
    before = shop.desk.session.book.last_id
    heat(shop, "T001")
    since = shop.desk.session.book.last_id - before
    assert putting_back.lost(shop.folder, made, seen) == putting_back.Lost(since, earlier=True)
    later = copy(shop)
    shop.desk.close()
    restore(shop.folder, made)
    parted = putting_back.lost(shop.folder, later, putting_back.look(later))
    assert parted == putting_back.Lost(1), "the line that says it was put back"
    shop.reopen()


def test_a_copy_of_another_shop_is_told_and_a_new_kiosk_loses_nothing_by_one(shop: Shop, tmp_path: Path) -> None:
    made = copy(shop)
    seen = putting_back.look(made)
    shop.desk.close()
    with Desk.open(tmp_path / "other") as other:
        other.shop.load(read_shop(where.demo_tags()))
        lines = other.session.book.last_id
    assert putting_back.lost(tmp_path / "other", made, seen) == putting_back.Lost(lines, another=True)
    with Desk.open(tmp_path / "new") as new:
        begun = new.session.book.last_id
    assert putting_back.lost(tmp_path / "new", made, seen) == putting_back.Lost(begun, new=True)
    with Desk.open(tmp_path / "new") as new:
        new.people.add("kim", "Kim", "supervisor", new.shop.fresh_code(CodeKind.BADGE).text)
    assert not putting_back.lost(tmp_path / "new", made, seen).new, "whoever was entered here is lost"
    shop.reopen()


def test_of_a_book_that_is_damaged_or_gone_nobody_says_what_is_lost(shop: Shop) -> None:
    made = copy(shop)
    seen = putting_back.look(made)
    shop.desk.close()
    book = shop.folder / NAME
    book.write_bytes(b"not a book" * 1000)
    assert putting_back.lost(shop.folder, made, seen) == putting_back.Lost(None)
    book.unlink()
    assert putting_back.lost(shop.folder, made, seen) == putting_back.Lost(None)
    restore(shop.folder, made)
    shop.reopen()


def test_a_copy_dated_beyond_every_calendar_and_a_name_that_leads_nowhere_hide_no_other(
    shop: Shop, stick: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = copy(shop)
    plain = Path(shutil.copy(made, stick / "ledger-old.db"))
    (stick / "ledger-z.db").symlink_to(stick / "ledger-z.db")
    (stick / "ledger-y.db").symlink_to(stick / "nothing")
    dated = [stick / "ledger-00010101-000000.db", stick / "ledger-99991231-235959.db"]
    for path in dated:
        shutil.copy(made, path)
    found = putting_back.found(shop.folder)
    assert {each.path for each in found} == {made, plain, *dated}
    words.speak("en", "en")
    for zone in ("UTC", "Europe/Berlin", "America/New_York", "Pacific/Auckland"):
        monkeypatch.setenv("TZ", zone)
        time.tzset()
        assert all(words.t("put_back.made", made_on=each.made_utc_s) for each in found)
    monkeypatch.undo()
    time.tzset()


def test_a_name_that_is_no_text_in_any_language_is_on_no_list_and_hides_no_other(shop: Shop, stick: Path) -> None:
    """A window cannot draw it, and a line of the book cannot say it."""
    made = copy(shop)
    good = Path(shutil.copy(made, stick / "ledger-good.db"))
    for name in (b"ledger-\xff-20260101-000000.db", b"list\xfe.csv"):
        shutil.copy(made, stick / os.fsdecode(name))
    (folder := stick / os.fsdecode(b"\xfc")).mkdir()
    shutil.copy(made, folder / "ledger-20260102-000000.db")
    assert [each.path for each in putting_back.found(shop.folder) if each.lies is Lies.DRIVE] == [good]
    assert sticks.found(shop.folder) == ()


def test_a_file_that_only_pretends_to_be_a_book_keeps_nobody_waiting(tmp_path: Path) -> None:
    """A view may go on for ever, and the copies behind it would never be read."""
    path = tmp_path / "ledger-20260101-000000.db"
    with closing(sqlite3.connect(path)) as made:
        made.execute("CREATE TABLE schema (name TEXT, version INTEGER)")
        made.execute("INSERT INTO schema VALUES ('ledger', ?)", (VERSION,))
        made.execute(
            "CREATE VIEW line AS WITH RECURSIVE n(id) AS (SELECT 1 UNION ALL SELECT id + 1 FROM n LIMIT 300000) "
            "SELECT id, 0.0 AS utc_s, 0.0 AS watched_s, 'k' AS kiosk, NULL AS operator, hex(randomblob(9)) AS kind, "
            "'{}' AS payload, 'h' AS hash FROM n"
        )
        made.commit()
    steps: list[int] = []

    class Counted(sqlite3.Connection):
        def __init__(self, *given: object, **named: object) -> None:
            super().__init__(*given, **named)  # type: ignore[arg-type]
            self.set_progress_handler(lambda: steps.append(1), 10_000)

    with pytest.MonkeyPatch.context() as patch:
        real = sqlite3.connect
        patch.setattr(
            "kiosk.ledger.copying.sqlite3.connect", lambda *given, **named: real(*given, factory=Counted, **named)
        )
        seen = putting_back.look(path)
    assert isinstance(seen.fault, CopyFault) and not steps
