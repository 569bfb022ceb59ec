"""What a copy put back by touch says when it fails, who may, and what the page does while the desk is closed."""

from __future__ import annotations

import errno
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from kiosk import where, words
from kiosk.desk import Desk, beside
from kiosk.desk.session import Locked
from kiosk.exchange.shop import read_shop
from kiosk.ledger import copying
from kiosk.ledger import restore as restoring
from kiosk.ledger.backup import CopyFault, RestoreDone
from kiosk.ledger.book import NAME
from kiosk.ledger.trouble import Cause, LedgerFault
from kiosk.ledger.upgrade import VERSION
from kiosk.rules.cards import Heat
from kiosk.screens.questions import health
from kiosk.screens.questions import put_back as asks
from kiosk.screens.shop.health import HealthScreen
from kiosk.screens.shop.put_back import PutBack
from kiosk.settings import Settings
from kiosk.telling import is_damage
from kiosk.words import t
from tests.conftest import Shop
from tests.faults.test_restore import copy, heat


@pytest.fixture(autouse=True)
def english() -> None:
    words.speak("en", "en")


def _kept(path: Path) -> asks.Kept:
    return asks.Kept(path, asks.Lies.DRIVE, "STICK", 1_790_000_000.0)


def _refused(shop: Shop, path: Path, tell: Callable[[int, int], None]) -> str:
    """What is said when this copy is put back; the book that was there is there yet."""
    lines = shop.desk.session.book.last_id
    shop.desk.close()
    with pytest.raises(Exception) as fault:
        asks.put_back(asks.Where(shop.folder, ""), _kept(path), tell)
    assert shop.reopen().session.book.last_id > lines, "what was there, and that it was begun again"
    assert not (shop.folder / restoring.MAKING).exists()
    return asks.why(fault.value)


def _silent(*_: int) -> None:
    """Nobody looks how far it is."""


def test_a_stick_that_is_pulled_out_in_the_middle_changes_nothing_and_is_asked_for_again(
    shop: Shop, tmp_path: Path
) -> None:
    stick = copy(shop).rename(tmp_path / "ledger-stick.db")
    told: list[tuple[int, ...]] = []

    def pull(*given: int) -> None:
        told.append(given)
        stick.unlink()

    assert _refused(shop, stick, pull) == t("put_back.gone")
    assert len(told) == 1, "it was pulled once every line was read, and before it was put back"


def test_no_line_of_a_copy_is_read_in_the_process_of_the_window(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = copy(shop)
    shop.desk.close()

    def in_this_process(*_: Any) -> None:
        raise AssertionError("the pictures of the window would wait for it")

    monkeypatch.setattr(copying, "verify", in_this_process)
    at = asks.Where(shop.folder, "")
    seen = asks.look(_kept(made), _silent, lambda: False)
    assert seen is not None and seen.fault is None and seen.lines
    assert asks.put_back(at, _kept(made), _silent).line > seen.lines
    (again,) = health.copies_made(shop.folder, (tmp_path / "copies",), 3)
    assert again.copy is not None and again.copy.lines > seen.lines


def test_whoever_wants_another_copy_meanwhile_has_it_stopped(shop: Shop) -> None:
    made = copy(shop)
    assert asks.look(_kept(made), _silent, lambda: True) is None


def test_a_disk_that_is_full_a_newer_copy_and_a_damaged_one_change_nothing_and_say_so(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = copy(shop)

    def full(path: Path) -> None:
        raise OSError(errno.ENOSPC, "No space left on device", str(path))

    with monkeypatch.context() as patch:
        patch.setattr(restoring, "to_disk", full)
        patch.setattr(beside, "run", lambda job, *given, tell: job(*given, tell))  # where it can be played
        assert _refused(shop, made, _silent) == t("fault.disk_full")
    newer, cut = tmp_path / "ledger-newer.db", tmp_path / "ledger-cut.db"
    shutil.copy(made, newer)
    with closing(sqlite3.connect(newer)) as book:
        book.execute("UPDATE schema SET version = ?", (VERSION + 1,))
        book.commit()
    cut.write_bytes(made.read_bytes()[:30_000])
    assert _refused(shop, newer, _silent) == t("put_back.newer")
    assert _refused(shop, cut, _silent) == t("put_back.damaged")


def test_a_copy_of_another_shop_lets_nothing_hot_go(shop: Shop, tmp_path: Path) -> None:
    heat(shop, "T001")
    shop.desk.close()
    with Desk.open(tmp_path / "other") as other:
        other.shop.load(read_shop(where.demo_tags()))
        (there,) = other.copies.backup()
    assert there.copy is not None
    done = asks.put_back(asks.Where(shop.folder, ""), _kept(there.copy.path), _silent)
    assert "T001" in done.holders and shop.reopen().session.holder("T001").heat is Heat.HELD


def test_a_supervisors_pin_is_asked_where_one_has_a_pin_that_can_be_read(shop: Shop) -> None:
    assert asks.may()(shop.desk) is None
    raised: list[Exception] = [Locked(), LedgerFault(shop.folder, "malformed", cause=Cause.DAMAGED)]

    def supervised() -> str | None:
        raise raised[0]

    desk: Any = SimpleNamespace(session=SimpleNamespace(supervised=supervised))
    with pytest.raises(Locked):
        asks.may()(desk)
    del raised[0]
    assert asks.may()(desk) is None, "nobody's PIN can be read any more"


def test_only_a_damaged_book_keeps_a_window_open_that_has_none() -> None:
    causes = {cause: is_damage(LedgerFault(Path(NAME), "said", cause=cause)) for cause in Cause}
    assert [cause for cause, damage in causes.items() if damage] == [Cause.DAMAGED]


class Screen:
    """The pages and the clerk that `PutBack` drives, and what it asked of them."""

    def __init__(self) -> None:
        self.page = self.summary = self.title = self.word = self.what = self.remedy = self.offer = self.sign = ""
        self.good, self.rows, self.name = True, list[Any](), "health"
        self.played, self.went, self.reopened = list[Any](), list[str](), list[tuple[Any, Any, Any]]()
        self.clerk = SimpleNamespace(
            settings=Settings(),
            play=self.played.append,
            go=lambda name, **_: self.went.append(name),
            reopen=lambda *given: self.reopened.append(given),
            ask=lambda question, then, failed: then and then(None),
        )


def _at_work() -> tuple[Screen, PutBack]:
    """A copy was chosen and is being put back."""
    screen: Any = Screen()
    return screen, _begun(screen)


def _begun(screen: Any) -> PutBack:
    putting = PutBack(screen)
    putting.on, putting._where, putting._one = True, asks.Where(Path("data"), ""), "0"
    putting._kept = {"0": _kept(Path("ledger-x.db"))}
    screen.offer = t("put_back.take")
    putting.do()
    return putting


def test_a_second_touch_a_scan_and_the_way_back_do_nothing_while_it_is_at_work() -> None:
    screen, putting = _at_work()
    for _ in range(2):
        putting.do()
        putting._begin("kim")  # the answer to a touch before
    putting.back()
    putting.scanned()
    assert len(screen.reopened) == 1 and screen.went == [] and putting.holds
    assert screen.remedy == t("put_back.no_scan")


def test_an_alarm_that_comes_over_it_hides_nothing_of_what_came_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(asks, "put_back", lambda *_: RestoreDone(None, 7, ("T001",), ()))
    screen, putting = _at_work()
    putting.rest()
    meanwhile, then, _ = screen.reopened[0]
    meanwhile()
    then()
    assert not putting.working and putting.untold and screen.offer == t("put_back.see_hot")
    assert t("put_back.hot", count=1) in screen.remedy
    putting.do()
    assert screen.went == ["hot"] and not putting.untold


def test_what_came_of_it_is_told_first_until_somebody_has_left_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """A book that is opened anew has nobody signed in: no other language throws away what is hot by it."""
    monkeypatch.setattr(asks, "put_back", lambda *_: RestoreDone(None, 7, ("T001",), ()))
    screen: Any = Screen()
    health = HealthScreen(clerk=screen.clerk)
    health.putting = _begun(health)
    assert health.tells_first
    meanwhile, then, _ = screen.reopened[0]
    meanwhile()
    then()
    assert health.tells_first and not health.stays
    health.back()
    assert not health.tells_first and screen.went == ["scan"]
    health.putting = _begun(health)
    screen.reopened[1][2](CopyFault(Path("x"), "is not there"))
    assert not health.tells_first, "the book is as it was"


def test_a_copy_that_was_put_back_and_does_not_open_is_not_said_to_be_there() -> None:
    screen, putting = _at_work()
    _, then, failed = screen.reopened[0]
    putting.begin_broken(Path("data"))  # what the desk's thread found when it opened it
    assert putting.broken and not putting.working
    then()
    failed(LedgerFault(Path("x"), "malformed", cause=Cause.DAMAGED))
    assert screen.played == [] and screen.summary == t("put_back.looking")


def test_the_answer_to_a_touch_puts_back_no_copy_that_was_turned_to_since_nor_any_once_the_screen_was_left() -> None:
    for turned in ("another copy", "the list", "another screen"):
        screen: Any = Screen()
        asked: list[tuple[Any, Any]] = []
        screen.clerk.ask = lambda question, then, failed, asked=asked: asked.append((then, failed))
        putting = PutBack(screen)
        putting.on, putting._where, putting._one = True, asks.Where(Path("data"), ""), "0"
        putting._kept = {key: _kept(Path(f"ledger-{key}.db")) for key in "01"}
        putting._seen = {key: asks.Seen(1, "k", "h", LookupError("spoilt")) for key in "01"}
        screen.offer = t("put_back.take")
        putting.do()
        if turned == "another screen":
            putting.rest()
        else:
            putting.back()
        if turned == "another copy":
            putting.choose(SimpleNamespace(key="1", text="another"))  # type: ignore[arg-type]
        ((then, failed),) = asked
        then("kim")
        failed(Locked())
        assert not screen.reopened and not putting.working and "pin" not in screen.went, turned


def test_while_a_damaged_book_is_tried_once_more_nothing_else_is_begun_that_would_wait_for_the_next_damage() -> None:
    screen: Any = Screen()
    putting = PutBack(screen)
    putting.begin_broken(Path("data"))
    putting._kept = {"0": _kept(Path("ledger-0.db"))}
    putting._seen = {"0": asks.Seen(1, "k", "h")}
    putting.back()
    putting.back()
    putting.choose(SimpleNamespace(key="0", text="one"))  # type: ignore[arg-type]
    screen.offer = t("put_back.take")
    putting.do()
    assert len(screen.reopened) == 1 and putting._one == ""
    _, _, failed = screen.reopened[0]
    failed(LedgerFault(Path("x"), "malformed", cause=Cause.DAMAGED))
    putting.choose(SimpleNamespace(key="0", text="one"))  # type: ignore[arg-type]
    assert putting.holds and putting._one == "0"
    putting.back()
    putting.back()
    screen.reopened[1][1]()
    assert screen.went == ["scan"] and not putting.holds and not putting.working
