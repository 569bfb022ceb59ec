"""A ledger has one clock, whatever the kiosk is called: it never goes back and counts only what was watched."""

from __future__ import annotations

import random
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from kiosk.desk import Desk
from kiosk.ledger.book import NAME, Book
from kiosk.rules.cards import HoldView
from tests.conftest import Shop
from tests.faults.test_restore import heat

DAY_S = 86400.0


def called(folder: Path, name: str) -> None:
    (folder / "settings.toml").write_text(f'[kiosk]\nname = "{name}"\n')


def hold(desk: Desk, key: str) -> HoldView:
    found = desk.session.holder(key).hold
    assert found is not None
    return found


@pytest.mark.parametrize("ran_s", [6 * 3600.0, 40 * DAY_S, 200 * DAY_S])
def test_a_kiosk_renamed_and_renamed_back_uses_no_count_of_the_other_name(tmp_path: Path, ran_s: float) -> None:
    shop = Shop(tmp_path / "data")
    shop.clock.forward(ran_s)
    shop.desk.tick()
    shop.desk.close()
    called(shop.folder, "Other")
    shop.reopen()
    shop.clock.forward(60.0)  # longer than anybody needs to carry it here from the other kiosk
    heat(shop, "T002")
    shop.desk.close()
    called(shop.folder, "kiosk")
    desk = shop.reopen()
    desk.tick()
    assert [card.holder.key for card in desk.heat.board()] == ["T002"]
    assert (hold(desk, "T002").remaining_s or 9e9) > 1000.0
    desk.close()


@pytest.mark.parametrize("ran_s", [6 * 3600.0, 200 * DAY_S])
def test_a_heating_in_the_first_seconds_of_a_renamed_kiosk_is_written(tmp_path: Path, ran_s: float) -> None:
    shop = Shop(tmp_path / "data")
    shop.clock.forward(ran_s)
    shop.desk.tick()
    shop.desk.scan(shop.holder("T002"))
    shop.desk.scan(shop.place("Cabinet A · 1-05"))
    shop.desk.close()
    called(shop.folder, "Other")
    shop.reopen()
    shop.clock.forward(1.0)
    heat(shop, "T002")
    assert [card.holder.key for card in shop.desk.heat.board()] == ["T002"]
    shop.desk.close()


@pytest.mark.parametrize("ran_s", [6 * 3600.0, 200 * DAY_S])
def test_a_label_seen_in_an_audit_under_another_name_says_nothing_about_how_lately(
    tmp_path: Path, ran_s: float
) -> None:
    shop = Shop(tmp_path / "data")
    shop.clock.forward(ran_s)
    shop.desk.tick()
    seen = []
    for name, slot in (("kiosk", "Cabinet A · 1-01"), ("Other", "Cabinet A · 3-01")):
        shop.desk.close()
        called(shop.folder, name)
        shop.reopen()
        shop.desk.audits.open(shop.place("Cabinet A"))
        shop.desk.scan(shop.place(slot))
        seen.append(shop.desk.scan(shop.holder("T002")).outcome.say.key)  # type: ignore[union-attr]
    assert "audit.twin" not in seen and shop.desk.session.audit is not None
    shop.desk.close()


def test_watched_time_never_goes_back_nor_ahead_of_what_was_watched_under_any_names(tmp_path: Path) -> None:
    chance = random.Random(6)
    machine, seen_s, last_s = [3000.0], 0.0, 0.0
    for _ in range(25):
        with Book.open(tmp_path, chance.choice(["A", "B", "C"]), counter=lambda: machine[0]) as book:
            assert last_s <= book.now().watched_s <= seen_s + 1e-6
            for _ in range(chance.randrange(4)):
                went_s = chance.uniform(0.0, 9 * DAY_S)
                machine[0] += went_s
                seen_s += went_s
                if chance.random() < 0.5:
                    book.beat()
            last_s = book.now().watched_s
            assert last_s == pytest.approx(seen_s)
        machine[0] += chance.uniform(0.0, 9 * DAY_S)  # nobody watches
        if chance.random() < 0.3:
            machine[0] = 5.0  # and it was booted


def test_a_running_hold_that_an_older_kiosk_counted_by_two_clocks_waits_for_a_reading(tmp_path: Path) -> None:
    """Such a ledger has a row of watched time for each name; going from one to the other added hours."""
    shop = Shop(tmp_path / "data")
    shop.clock.forward(9 * 3600.0)
    heat(shop, "T002")
    shop.desk.close()
    older(shop.folder, ("kiosk", 9 * 3600.0), ("Other", 60.0), renamed="Other")
    desk = shop.reopen()
    assert hold(desk, "T002").needs_reading
    shop.clock.forward(40 * DAY_S)
    desk.tick()
    assert [card.holder.key for card in desk.heat.board()] == ["T002"]
    assert desk.session.book.check() == []
    desk.close()


def test_an_older_ledger_of_one_name_goes_on_and_gets_its_anchor(tmp_path: Path) -> None:
    shop = Shop(tmp_path / "data")
    shop.clock.forward(9 * 3600.0)
    heat(shop, "T002")
    shop.desk.close()
    older(shop.folder, ("kiosk", 9 * 3600.0 + 2.0))
    desk = shop.reopen()
    assert desk.session.book.lost is None and desk.session.book.check() == []
    assert desk.now().watched_s <= 9 * 3600.0 + 2.0
    assert hold(desk, "T002").since_utc_s
    desk.close()


def older(folder: Path, *beats: tuple[str, float], renamed: str = "") -> None:
    """Makes a ledger what schema 1 was: a beat a name, no seals, no anchor.  renamed: who wrote the last line."""
    if renamed:
        with Book.open(folder, renamed) as book:
            from kiosk.rules.lines import KioskStarted

            book.append([KioskStarted("older")])
    with closing(sqlite3.connect(folder / NAME)) as ledger, ledger:
        ledger.execute("DROP TABLE watch")
        ledger.execute("CREATE TABLE watch (kiosk TEXT NOT NULL PRIMARY KEY, watched_s REAL NOT NULL)")
        ledger.executemany("INSERT INTO watch VALUES (?, ?)", beats)
        ledger.execute("DROP TABLE doubted")
        ledger.execute("UPDATE schema SET version = 1")
    (folder / "ledger.anchor").unlink()
