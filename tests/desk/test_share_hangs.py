"""A share that stops answering in the middle of whatever is done with it: nobody waits for it, and it is told."""

from __future__ import annotations

import os
import shutil
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from kiosk import words
from kiosk.desk import copies, far_folder, sticks
from kiosk.desk.putting_back import NEAR
from kiosk.ledger import copying
from kiosk.ledger import restore as restoring
from kiosk.ledger.book import NAME
from kiosk.screens.questions import bring_in, put_out
from kiosk.screens.questions import found as settings_found
from kiosk.screens.questions import put_back as asks
from kiosk.words import t
from tests.conftest import Shop
from tests.desk.test_kiosk_ok import Hung, hung, old_shop

__all__ = ["hung", "old_shop"]

LONGEST_S = 20.0  # on a busy machine


@pytest.fixture(autouse=True)
def english() -> None:
    words.speak("en", "en")


@pytest.fixture
def share(hung: Hung) -> Hung:
    """A share that answers yet; `back.clear()`: no more."""
    hung.back.set()
    return hung


def nobody(*_: int) -> None:
    """Nobody looks how far it is."""


def within(job: Callable[[], Any]) -> Any:
    """What came of it on another thread than the desk's, an error too; it must end."""
    came: list[Any] = []

    def run() -> None:
        try:
            came.append(job())
        except Exception as error:
            came.append(error)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    thread.join(LONGEST_S)
    assert came, "it waits for the share"
    return came[0]


def on_it(shop: Shop, share: Hung) -> asks.Kept:
    (made, *_) = shop.desk.copies.backup(shop.folder / "backups")
    assert made.copy is not None
    path = Path(shutil.copy(made.copy.path, share.folder))
    return asks.Kept(path, asks.Lies.DRIVE, "share", 1_790_000_000.0)


def put_back(shop: Shop, kept: asks.Kept, tell: Callable[[int, int], None]) -> str:
    """Why it was not put back, said to the desk's thread, on which it is done; the book is as it was, and opens."""
    last = shop.desk.session.book.last_id
    shop.desk.close()
    began_s = time.monotonic()
    with pytest.raises(Exception) as fault:
        asks.put_back(asks.Where(shop.folder, ""), kept, tell)
    assert time.monotonic() - began_s < LONGEST_S
    assert shop.reopen().session.book.last_id > last
    assert not any((shop.folder / each).exists() for each in (NEAR, restoring.MAKING))
    return asks.why(fault.value)


@pytest.mark.parametrize("when", ["before", "in the middle"])
def test_the_desk_is_not_kept_closed_by_a_share_with_the_copy_that_is_put_back(
    old_shop: Shop, share: Hung, when: str
) -> None:
    kept = on_it(old_shop, share)
    if when == "before":
        share.back.clear()
    assert put_back(old_shop, kept, lambda *_: share.back.clear()) == t("fault.silent")


def test_nor_by_a_file_there_that_no_system_opens(old_shop: Shop, share: Hung, tmp_path: Path) -> None:
    pipe = tmp_path / "ledger-pipe.db"
    os.mkfifo(pipe)
    kept = asks.Kept(pipe, asks.Lies.DRIVE, "share", 1_790_000_000.0)
    assert put_back(old_shop, kept, nobody) == t("fault.silent")
    os.close(os.open(pipe, os.O_RDWR))


def test_a_copy_on_a_share_that_answers_is_put_back_with_its_settings_and_leaves_nothing_beside(
    old_shop: Shop, share: Hung
) -> None:
    kept = on_it(old_shop, share)
    (kept.path.parent / f"{kept.path.stem}.toml").write_text('[kiosk]\nname = "From there"\n', "utf-8")
    (old_shop.folder / "settings.toml").unlink(missing_ok=True)
    old_shop.desk.close()
    share.back.set()
    told: list[tuple[int, int]] = []
    done = asks.put_back(asks.Where(old_shop.folder, ""), kept, lambda *far: told.append(far))
    assert done.line > 0 and told and not (old_shop.folder / NEAR).exists()
    assert "From there" in (old_shop.folder / "settings.toml").read_text("utf-8")


def test_a_copy_that_was_made_by_hand_of_a_running_kiosk_is_put_back_with_the_log_beside_it(
    old_shop: Shop, share: Hung
) -> None:
    path = share.folder / "ledger-20260101-000000.db"
    for ending in ("", "-wal"):
        shutil.copy(old_shop.folder / (NAME + ending), path.with_name(path.name + ending))
    kept = asks.Kept(path, asks.Lies.DRIVE, "share", 1_790_000_000.0)
    last = old_shop.desk.session.book.last_id
    assert within(lambda: asks.look(kept, nobody, bool)).lines == last
    old_shop.desk.close()
    assert asks.put_back(asks.Where(old_shop.folder, ""), kept, nobody).line > last


@pytest.mark.parametrize("part", ["look", "lost"])
def test_what_is_in_a_copy_and_what_it_lacks_are_not_waited_for_either(old_shop: Shop, share: Hung, part: str) -> None:
    kept = on_it(old_shop, share)
    seen = within(lambda: asks.look(kept, nobody, bool))
    assert seen.fault is None
    share.back.clear()
    if part == "look":
        fault = within(lambda: asks.look(kept, nobody, bool)).fault
    else:
        fault = within(lambda: asks.lost(asks.Where(old_shop.folder, ""), kept, seen))
    assert asks.why(fault) == t("fault.silent")


def test_a_copy_into_a_share_that_stops_in_the_middle_is_told_and_holds_up_neither_the_first_nor_the_books_log(
    old_shop: Shop, share: Hung, monkeypatch: pytest.MonkeyPatch
) -> None:
    goes: tuple[Path, tuple[Path, ...], int] = (
        old_shop.folder, (old_shop.folder / "backups", share.folder), 5
    )  # fmt: skip
    told: list[int] = []
    asked: list[Path] = []
    whole = copying.reading

    def reading(path: Path) -> Any:
        asked.append(path)
        return whole(path)

    monkeypatch.setattr(copying, "reading", reading)

    def stops(*_: int) -> None:
        told.append(1)
        if len(told) > 1:
            share.back.clear()  # the second is verified

    first, second = within(lambda: copies.backup(*goes, progress=stops))
    assert first.copy is not None and second.copy is None and isinstance(second.fault, far_folder.Silent)
    book = old_shop.folder / NAME
    assert asked.index(first.copy.path) > asked.index(book) and asked.count(book) == 1, "the second of the first"


def test_a_folder_that_is_chosen_for_copies_and_does_not_answer_is_not_waited_for(old_shop: Shop, share: Hung) -> None:
    share.back.clear()
    assert isinstance(within(lambda: settings_found.try_folder(str(share.folder / "kept"))), far_folder.Silent)
    assert within(lambda: [settings_found.newest_copy(old_shop.folder, str(share.folder))]) == [None]


def test_a_share_hides_neither_a_stick_nor_what_lies_on_it(
    share: Hung, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sticks, "MOUNTED_UNDER", (tmp_path,))
    monkeypatch.setattr(os.path, "ismount", lambda path: path in (share.folder, tmp_path / "stick"))
    for folder in (share.folder, tmp_path / "stick"):
        folder.mkdir(exist_ok=True)
        (folder / "holders.csv").write_text("code\n", "utf-8")
    assert sticks.drives() == (share.folder, tmp_path / "stick")
    share.back.clear()
    assert within(sticks.drives) == (tmp_path / "stick",)
    monkeypatch.setattr(sticks, "drives", lambda: (share.folder, tmp_path / "stick"))
    found = within(lambda: sticks.found(tmp_path / "data"))
    assert [each.path for each in found] == [tmp_path / "stick" / "holders.csv"]


def test_a_file_that_is_brought_in_or_put_out_is_not_waited_for(share: Hung) -> None:
    table = share.folder / "holders.csv"
    table.write_text("code\n", "utf-8")
    share.back.clear()
    assert isinstance(within(lambda: bring_in.read(table, {})), far_folder.Silent)
    assert isinstance(within(lambda: bring_in.fill(share.folder)), far_folder.Silent)
    made = put_out.Made("tools.csv", b"x")
    assert isinstance(within(lambda: put_out.keep(share.folder / "holder-kiosk", made)), far_folder.Silent)
