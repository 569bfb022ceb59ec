"""A copy put back opens nothing: a PIN stays the one it is, who was sent away stays away, a stranger gets no say."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from kiosk.desk.people import PinRefused
from kiosk.desk.session import Locked, NotThere
from kiosk.ledger import tables as T
from kiosk.ledger.book import NAME, rows
from kiosk.rules import tries
from kiosk.rules.cards import Heat
from kiosk.rules.codes import CodeKind
from kiosk.rules.lines import TurnedAway
from tests.conftest import Shop
from tests.faults.test_restore import copy, heat
from tests.faults.test_restore_again import DAY_S, put_back

PIN, OLDER, OTHER = "4711", "1234", "9876"


@pytest.fixture(params=[7 * 3600.0, 40 * DAY_S], ids=["hours", "weeks"])
def shop(request: pytest.FixtureRequest, tmp_path: Path) -> Shop:
    """A kiosk that has run for a while, whose supervisor Kim has no PIN yet."""
    found = Shop(tmp_path / "data")
    found.clock.forward(request.param)
    found.desk.tick()
    request.addfinalizer(lambda: found.desk.close())
    return found


def takes(shop: Shop, key: str, pin: str) -> bool:
    try:
        shop.desk.people.unlock(key, pin)
    except (PinRefused, NotThere):
        return False
    shop.desk.people.lock()
    return True


def another(shop: Shop, key: str, role: str, pin: str | None) -> str:
    """Somebody new, by the supervisor's PIN; the text of the badge."""
    people = shop.desk.people
    people.unlock("kim", PIN)
    text = shop.desk.shop.fresh_code(CodeKind.BADGE).text
    people.add(key, key.title(), role, text, pin)
    people.lock()
    return text


def who(shop: Shop) -> dict[str, tuple[str, bool]]:
    """Roles, and whether out of use, by key."""
    return {row["key"]: (row["role"], bool(row["retired"])) for row in rows(T.Operator.select())}


@pytest.mark.parametrize("times", [1, 3])
def test_a_copy_from_before_the_pin_was_chosen_takes_no_pin_away(shop: Shop, times: int) -> None:
    made = copy(shop)
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
    for _ in range(times):
        put_back(shop, made)
        shop.clock.forward(3600.0)
    with pytest.raises(PinRefused):
        shop.desk.people.first_pin("kim", OTHER, by_owner=True)
    with pytest.raises(Locked):
        shop.desk.people.add("mo", "Mo", "supervisor", "BSXD5X3637", OTHER)
    assert not takes(shop, "kim", OTHER)
    assert takes(shop, "kim", PIN)
    assert shop.desk.session.book.check() == []


def test_a_copy_with_an_older_pin_brings_it_not_back(shop: Shop) -> None:
    shop.desk.people.first_pin("kim", OLDER, by_owner=True)
    made = copy(shop)
    shop.desk.people.unlock("kim", OLDER)
    shop.desk.people.set_pin("kim", PIN)
    put_back(shop, made)
    assert not takes(shop, "kim", OLDER)
    assert takes(shop, "kim", PIN)


def test_a_copy_made_since_knows_the_newer_pin(shop: Shop) -> None:
    shop.desk.people.first_pin("kim", OLDER, by_owner=True)
    shop.desk.close()
    before = {name: (shop.folder / name).read_bytes() for name in (NAME, "ledger.anchor")}
    shop.reopen()
    shop.desk.people.unlock("kim", OLDER)
    shop.desk.people.set_pin("kim", PIN)
    made = copy(shop)
    shop.desk.close()
    for name, data in before.items():
        (shop.folder / name).write_bytes(data)
    put_back(shop, made)
    assert takes(shop, "kim", PIN)
    assert not takes(shop, "kim", OLDER)


def test_wrong_tries_of_a_pin_that_the_copy_has_not_are_counted_on(shop: Shop) -> None:
    made = copy(shop)
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
    for _ in range(tries.FREE):
        assert not takes(shop, "kim", OTHER)
        put_back(shop, made)
    with pytest.raises(PinRefused) as refused:
        shop.desk.people.unlock("kim", OTHER)
    assert refused.value.wait_s == tries.WAITS_S[0]


def test_wrong_tries_of_a_pin_that_was_changed_are_counted_from_its_change(shop: Shop) -> None:
    shop.desk.people.first_pin("kim", OLDER, by_owner=True)
    assert [takes(shop, "kim", OTHER) for _ in range(2)] == [False] * 2
    made = copy(shop)
    shop.desk.people.unlock("kim", OLDER)
    shop.desk.people.set_pin("kim", PIN)
    assert [takes(shop, "kim", OLDER) for _ in range(tries.FREE - 1)] == [False] * (tries.FREE - 1)
    put_back(shop, made)
    assert not takes(shop, "kim", OLDER)
    with pytest.raises(PinRefused) as refused:
        shop.desk.people.unlock("kim", OLDER)
    assert refused.value.wait_s == tries.WAITS_S[0]


def test_who_was_sent_away_or_has_another_role_now_stays_so(shop: Shop) -> None:
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
    for key in ("ann", "ben"):
        another(shop, key, "supervisor", OTHER)
    made = copy(shop)
    people = shop.desk.people
    people.unlock("kim", PIN)
    people.retire("ann", "left")
    shop.desk.people.add("ben", "Ben", "setter", shop.desk.shop.fresh_code(CodeKind.BADGE).text)
    put_back(shop, made)
    assert who(shop)["ann"][1] and who(shop)["ben"] == ("setter", False)
    assert not takes(shop, "ann", OTHER) and not takes(shop, "ben", OTHER)
    assert takes(shop, "kim", PIN)


def test_a_supervisor_who_came_since_is_there_with_pin_and_badge(shop: Shop) -> None:
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
    made = copy(shop)
    badge = another(shop, "ann", "supervisor", OTHER)
    put_back(shop, made)
    assert takes(shop, "ann", OTHER)
    shop.desk.scan(badge)
    assert shop.desk.session.operator is not None and shop.desk.session.operator.key == "ann"


def test_a_badge_that_was_anothers_when_the_copy_was_made_stays_that_ones(shop: Shop, tmp_path: Path) -> None:
    """As where two kiosks bound one text each in their own way."""
    shop.desk.close()
    other = Shop(tmp_path / "other")
    badge = other.desk.shop.fresh_code(CodeKind.BADGE).text
    other.desk.people.add("zoe", "Zoe", "setter", badge)
    made = copy(other)
    other.desk.close()
    shop.reopen()
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
    shop.desk.people.unlock("kim", PIN)
    shop.desk.people.add("ann", "Ann", "supervisor", badge, OTHER)
    put_back(shop, made)
    assert takes(shop, "ann", OTHER)
    assert shop.desk.session.book.check() == []
    shop.desk.scan(badge)
    assert shop.desk.session.operator is not None and shop.desk.session.operator.key == "zoe"


@pytest.mark.parametrize("key", ["kim", "eve"])
def test_a_copy_of_a_kiosk_of_ones_own_makes_nobody_a_supervisor(shop: Shop, tmp_path: Path, key: str) -> None:
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
    shop.desk.close()
    mine = Shop(tmp_path / "mine")
    mine.desk.people.first_pin("kim", OTHER, by_owner=True)
    if key == "eve":
        mine.desk.people.unlock("kim", OTHER)
        mine.desk.people.add("eve", "Eve", "supervisor", mine.desk.shop.fresh_code(CodeKind.BADGE).text, OTHER)
    made = copy(mine)
    mine.desk.close()
    shop.reopen()
    put_back(shop, made)
    assert not takes(shop, key, OTHER)
    assert takes(shop, "kim", PIN)


def test_a_pin_that_a_supervisor_has_only_in_the_copy_opens_nothing(shop: Shop, tmp_path: Path) -> None:
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
    another(shop, "ann", "supervisor", None)
    shop.desk.close()
    mine = Shop(tmp_path / "mine")
    mine.desk.scan(mine.desk.shop.code_of("kim"))
    mine.desk.people.add("ann", "Ann", "supervisor", mine.desk.shop.fresh_code(CodeKind.BADGE).text, OTHER)
    made = copy(mine)
    mine.desk.close()
    shop.reopen()
    put_back(shop, made)
    assert not takes(shop, "ann", OTHER)
    assert takes(shop, "kim", PIN)


def test_a_pin_that_no_kiosk_wrote_shuts_nobody_out(shop: Shop) -> None:
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
    made = copy(shop)
    shop.desk.session.book.append([TurnedAway("NOT OURS", "foreign_code")])
    shop.desk.close()
    with closing(sqlite3.connect(shop.folder / NAME)) as ledger, ledger:
        ledger.execute("UPDATE operator SET pin_hash = 'nothing that any PIN could be'")
    put_back(shop, made)
    assert takes(shop, "kim", PIN)


@pytest.mark.parametrize("left", ["nothing", "damaged"])
def test_a_new_tablet_takes_the_pins_of_the_copy(shop: Shop, tmp_path: Path, left: str) -> None:
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
    heat(shop, "T002")
    made = copy(shop)
    shop.desk.close()
    shop.folder = tmp_path / "new"
    if left == "damaged":
        shop.folder.mkdir()
        (shop.folder / NAME).write_bytes(b"SQLite format 3\0" + bytes(5000))
    put_back(shop, made, shop.folder)
    shop.reopen()
    assert takes(shop, "kim", PIN)
    assert shop.desk.session.holder("T002").heat is not Heat.COOL


def test_a_ledger_that_was_taken_away_is_asked_among_those_replaced_before(shop: Shop) -> None:
    shop.desk.people.first_pin("kim", OLDER, by_owner=True)
    made = copy(shop)
    shop.desk.people.unlock("kim", OLDER)
    shop.desk.people.set_pin("kim", PIN)
    for _ in range(2):
        put_back(shop, made)
    shop.desk.close()
    os.unlink(shop.folder / NAME)
    put_back(shop, made)
    assert takes(shop, "kim", PIN)
    assert not takes(shop, "kim", OLDER)


def test_a_shop_without_a_pin_takes_the_people_of_the_copy_as_they_are(shop: Shop) -> None:
    before = who(shop)
    put_back(shop, copy(shop))
    assert who(shop) == before
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
