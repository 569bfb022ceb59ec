"""A copy beside the ledger of a kiosk that has others: its own chain is what the copy bears witness of."""

from __future__ import annotations

import shutil
from pathlib import Path

from kiosk.ledger import copying
from kiosk.ledger.anchor import NAME as ANCHOR
from kiosk.ledger.book import NAME, Book
from kiosk.ledger.witness import FOLDER
from kiosk.rules import lines as L
from kiosk.rules.chain import EMPTY_BOOK
from kiosk.rules.places import Kind, Place
from tests.ledger.kiosks import FOUNDER, SETUP, Kiosk, Server

OWN = "b" * 16


def places(book: Book, *names: str) -> None:
    book.append([L.PlaceAdded(Place(name, name, Kind.CABINET)) for name in names])


def joined(folder: Path) -> None:
    """A kiosk with many lines of another in its book, and two of its own."""
    server, founder = Server(), Kiosk(FOUNDER)
    founder.founds(SETUP, server)
    with Book.open(folder) as book:
        book.share(OWN)
        assert book.sharing is not None and book.sharing.tail.book == EMPTY_BOOK
        book.take(server.lines)
        places(book, "X", "Y")


def test_a_copy_of_a_shared_ledger_says_nothing_against_the_ledger_it_was_made_of(tmp_path: Path) -> None:
    joined(tmp_path)
    copying.copy(tmp_path, tmp_path / FOLDER, 1.8e9)
    with Book.open(tmp_path) as book:
        assert book.lost is None
        places(book, "Z")
    with Book.open(tmp_path) as book:
        assert book.lost is None and book.check() == []


def test_a_shared_ledger_put_back_to_before_its_copy_has_lost_its_end(tmp_path: Path) -> None:
    joined(tmp_path)
    before = tmp_path / "before"
    before.mkdir()
    for name in (NAME, ANCHOR):
        shutil.copy(tmp_path / name, before / name)
    with Book.open(tmp_path) as book:
        places(book, "Z")
    copying.copy(tmp_path, tmp_path / FOLDER, 1.8e9)
    for name in (NAME, ANCHOR):
        shutil.copy(before / name, tmp_path / name)
    with Book.open(tmp_path) as book:
        assert book.lost == "lost"
