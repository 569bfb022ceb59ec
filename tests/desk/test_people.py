"""Badges, PINs and corrections: who may do what, and what no role may."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kiosk.desk.people import TRIES, WAIT_S, PinRefused
from kiosk.desk.session import Locked, NeedsReason, NotThere, StillHot
from kiosk.ledger import tables as T
from kiosk.rules.outcomes import Reason, Refused
from kiosk.settings import SettingsFault, load
from tests.conftest import Shop

PIN = "4711"


def unlock(shop: Shop) -> None:
    if not shop.desk.people.has_pin("kim"):
        shop.desk.people.first_pin("kim", PIN)
    shop.desk.people.unlock("kim", PIN)


def test_a_new_shop_without_any_pin_is_not_locked_out(shop: Shop) -> None:
    shop.desk.shop.retire("T005", "scrapped")
    assert shop.desk.session.holder("T005").retired


def test_once_a_supervisor_has_a_pin_corrections_need_it(shop: Shop) -> None:
    shop.desk.people.first_pin("kim", PIN)
    facts = shop.desk.session.holder("T005").holder
    for step in (
        lambda: shop.desk.shop.retire("T005", "scrapped"),
        lambda: shop.desk.shop.retire_code(shop.holder("T005"), "worn"),
        lambda: shop.desk.shop.correct(replace(facts, name="Shrink 5"), "typing mistake"),
        lambda: shop.desk.shop.correct_place("T005", shop.place("Bench 1"), "seen there"),
        lambda: shop.desk.people.retire("sam", "left"),
        lambda: shop.desk.people.set_pin("kim", "1"),
        lambda: shop.desk.people.change_setting("kiosk", "undo_s", "30", "as agreed"),
    ):
        before = shop.desk.session.book.last_id
        with pytest.raises(Locked):
            step()
        assert shop.desk.session.book.last_id == before
    unlock(shop)
    shop.desk.shop.retire("T005", "scrapped")
    line = shop.desk.session.book.line(shop.desk.session.book.last_id)
    assert line is not None and line.operator == "kim"


def test_a_pin_is_good_for_some_minutes_and_ends_with_a_touch(shop: Shop) -> None:
    unlock(shop)
    shop.clock.forward(200.0)
    shop.desk.people.change_setting("kiosk", "undo_s", "30", "as agreed")
    shop.clock.forward(200.0)  # counted from the last thing done
    shop.desk.people.change_setting("kiosk", "undo_s", "40", "as agreed")
    shop.clock.forward(301.0)
    with pytest.raises(Locked):
        shop.desk.people.change_setting("kiosk", "undo_s", "50", "as agreed")
    unlock(shop)
    shop.desk.people.lock()
    with pytest.raises(Locked):
        shop.desk.people.change_setting("kiosk", "undo_s", "50", "as agreed")


def test_a_correction_without_a_reason_is_none(shop: Shop) -> None:
    unlock(shop)
    for reason in ("", "   "):
        with pytest.raises(NeedsReason):
            shop.desk.shop.retire("T005", reason)


def test_five_wrong_pins_wait_and_a_restart_does_not_help(shop: Shop) -> None:
    shop.desk.people.first_pin("kim", PIN)
    waits = []
    for _ in range(TRIES):
        with pytest.raises(PinRefused) as refused:
            shop.desk.people.unlock("kim", "0000")
        waits.append(refused.value.wait_s)
    assert waits == [0.0] * (TRIES - 1) + [WAIT_S]
    shop.reopen()
    with pytest.raises(PinRefused) as refused:
        shop.desk.people.unlock("kim", PIN)
    assert 0.0 < refused.value.wait_s <= WAIT_S
    shop.clock.forward(WAIT_S + 1.0)
    assert shop.desk.people.unlock("kim", PIN).key == "kim"


def test_a_setter_has_no_pin_and_unlocks_nothing(shop: Shop) -> None:
    with pytest.raises(NotThere):
        shop.desk.people.unlock("jo", PIN)
    with pytest.raises(PinRefused):
        shop.desk.people.first_pin("jo", PIN)


def test_a_pin_is_kept_only_as_a_hash(shop: Shop) -> None:
    unlock(shop)
    stored = T.Operator.get_by_id("kim").pin_hash
    assert stored.startswith("$argon2") and PIN not in stored
    assert all(PIN not in row.payload for row in T.Line.select())


def test_a_new_pin_replaces_the_old(shop: Shop) -> None:
    unlock(shop)
    shop.desk.people.set_pin("kim", "9999")
    shop.desk.people.lock()
    with pytest.raises(PinRefused):
        shop.desk.people.unlock("kim", PIN)
    assert shop.desk.people.unlock("kim", "9999").role == "supervisor"


def test_no_role_ends_a_hold_or_makes_it_shorter(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Shrink station"))
    unlock(shop)
    facts = shop.desk.session.holder("T001").holder
    with pytest.raises(StillHot):
        shop.desk.shop.correct(replace(facts, nose_mm=10.0), "measured again")
    with pytest.raises(StillHot):
        shop.desk.people.change_setting("heat", "limit_c", "48", "summer")
    refused = shop.desk.shop.correct_place("T001", shop.place("Cabinet A · 1-05"), "it is there")
    assert isinstance(refused, Refused) and refused.reason is Reason.HOT
    assert [card.holder.key for card in shop.desk.heat.board()] == ["T001"]


def test_a_setting_is_changed_in_the_file_and_in_a_line(shop: Shop) -> None:
    unlock(shop)
    settings = shop.desk.people.change_setting("kiosk", "undo_s", "30", "as agreed")
    assert settings.kiosk.undo_s == 30.0 == shop.desk.session.settings.kiosk.undo_s
    assert load(shop.folder / "settings.toml").kiosk.undo_s == 30.0
    row = shop.desk.session.book.state.get("setting", "kiosk.undo_s")
    assert row is not None and row["value"] == "30"
    before = shop.desk.session.book.last_id
    with pytest.raises(SettingsFault):
        shop.desk.people.change_setting("kiosk", "undo_s", "99999", "far too long")
    assert shop.desk.session.book.last_id == before
    assert load(shop.folder / "settings.toml").kiosk.undo_s == 30.0


def test_a_book_set_right_by_hand_says_why(shop: Shop) -> None:
    unlock(shop)
    card = shop.desk.shop.correct_place("T005", shop.place("Bench 2"), "seen there by Kim")
    assert not isinstance(card, Refused) and card.place is not None and card.place.name == "Bench 2"
    row = shop.desk.records.history("T005")[0]
    assert row.operator == "Kim Vale" and dict(row.say.values)["reason"] == "seen there by Kim"


def test_a_retired_badge_opens_nothing(shop: Shop) -> None:
    shop.desk.people.retire("jo", "left")
    refused = shop.desk.scan("BSXD5X3637").outcome
    assert isinstance(refused, Refused) and refused.reason is Reason.RETIRED_BADGE
