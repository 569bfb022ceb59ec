"""A book that is laid aside, because its kiosk joins anew, loses nothing of what only it knew."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from kiosk.ledger.book import NAME, Book
from kiosk.ledger.laid_aside import lay_aside, only_here
from kiosk.ledger.trouble import LedgerFault
from kiosk.rules import lines as L
from tests.ledger.kiosks import SETUP

KIOSK = "a" * 16


def test_what_an_earlier_book_was_unsure_of_is_told_if_that_was_never_shared(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.append(SETUP)
        book.share(KIOSK)
        book.append([L.Restored("ledger.db", (), ("T1", "T2"), "lost")])
    lay_aside(tmp_path, KIOSK)
    assert only_here(tmp_path).unsure >= {"T1", "T2"}


def test_a_book_that_another_program_reads_is_not_laid_aside_without_its_last_lines(tmp_path: Path) -> None:
    book = Book.open(tmp_path)
    book.append(SETUP)
    book.share(KIOSK)
    with closing(sqlite3.connect(tmp_path / NAME)) as other:
        other.execute("BEGIN")
        other.execute('SELECT COUNT(*) FROM "schema"').fetchone()
        book.append([L.Moved("T1", "B", "S"), L.Heated("T1", "S")])
        book.close()
        with pytest.raises(LedgerFault):
            lay_aside(tmp_path, KIOSK)
        assert (tmp_path / NAME).exists(), "it is as it was"
    lay_aside(tmp_path, KIOSK)
    assert "T1" in only_here(tmp_path).hot
