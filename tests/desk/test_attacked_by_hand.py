"""Attacks by hand on tear-down, undo, heat settings and PINs; none of them begins at watched clock zero."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

import pytest

from kiosk import settings as shop_settings
from kiosk.desk.people import PinRefused
from kiosk.desk.session import ActRefused, Locked, NotThere
from kiosk.rules.assembly import Condition
from kiosk.rules.cards import Command, Heat
from kiosk.rules.codes import CodeKind
from kiosk.rules.lines import OperatorAdded, SettingChanged, TornDown
from kiosk.rules.outcomes import Done, Refused
from kiosk.screens.pulse import pulse
from tests.conftest import Shop
from tests.desk.test_people import PIN, STRICTER, WEAKER, heated_a_month_on, unlock

MONTHS_S = 100 * 86_400.0
WEEK_S = 7 * 86_400.0


@pytest.fixture
def torn(shop: Shop) -> Shop:
    """T001 was torn down just now, hot at the station."""
    shop.clock.forward(MONTHS_S)
    for code in (shop.holder("T001"), shop.place("Shrink station")):
        shop.desk.scan(code)
    shop.clock.forward(20.0)
    shop.desk.build.tear_down("T001", Condition.GOOD)
    return shop


def remaining_s(shop: Shop, key: str = "T001") -> float:
    hold = shop.desk.session.holder(key).hold
    return 0.0 if hold is None else cast(float, hold.remaining_s or 0.0)


def undone(shop: Shop) -> bool:
    return isinstance(shop.desk.undo().outcome, Done)


# Tear-down and undo ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("set_by_s", [-86_400.0, 3600.0])
@pytest.mark.parametrize(("after_s", "taken"), [(59.0, True), (61.0, False)])
def test_undo_of_a_tear_down_goes_by_the_watched_minute_wherever_the_wall_clock_is_set(
    torn: Shop, set_by_s: float, after_s: float, taken: bool
) -> None:
    torn.clock._wall_s += set_by_s
    torn.clock.forward(after_s)
    assert undone(torn) is taken
    assert torn.desk.session.holder("T001").heat is Heat.HELD


def test_of_two_tear_downs_within_the_minute_the_last_alone_is_taken_back(torn: Shop) -> None:
    for code in (torn.holder("T001"), torn.place("Sleeve 1"), torn.holder("T002"), torn.place("Shrink station")):
        torn.desk.scan(code)
    torn.desk.build.tear_down("T002", Condition.GOOD)
    assert undone(torn) and not undone(torn)
    cards = [torn.desk.session.holder(key) for key in ("T001", "T002")]
    assert [card.assembly is None for card in cards] == [True, False]
    assert [card.heat for card in cards] == [Heat.HELD, Heat.HELD]


def test_after_a_restart_a_tear_down_that_is_offered_is_taken_back_and_the_steel_is_hot_either_way(shop: Shop) -> None:
    shop.clock.forward(MONTHS_S)
    for code in (shop.holder("T001"), shop.place("Shrink station")):
        shop.desk.scan(code)
    before_s = remaining_s(shop)
    shop.desk.build.tear_down("T001", Condition.GOOD)
    shop.reopen()
    offered = pulse(shop.desk).undo_s > 0.0
    assert undone(shop) or not offered
    assert shop.desk.session.holder("T001").heat is Heat.HELD and remaining_s(shop) >= before_s - 1.0


def test_whoever_comes_takes_no_tear_down_of_another_back(torn: Shop) -> None:
    torn.desk.scan(torn.desk.shop.code_of("jo"))
    assert pulse(torn.desk).undo_s == 0.0 and not undone(torn)
    assert torn.desk.session.holder("T001").assembly is None


def test_whoever_was_signed_out_by_time_leaves_no_older_step_of_nobody_to_be_taken_back(shop: Shop) -> None:
    shop.clock.forward(MONTHS_S)
    for code in (shop.holder("T015"), shop.place("Bench 1")):
        shop.desk.scan(code)
    kiosk = replace(shop.desk.session.settings.kiosk, sign_out_s=30.0)
    shop.desk.session.take_settings(replace(shop.desk.session.settings, kiosk=kiosk))
    shop.desk.scan(shop.desk.shop.code_of("jo"))
    for code in (shop.holder("T002"), shop.place("Rack 1")):
        shop.desk.scan(code)
    shop.clock.forward(45.0)
    shop.desk.tick()
    assert shop.desk.session.operator is None
    offered = pulse(shop.desk)
    was = shop.desk.session.holder("T002").at
    done = undone(shop)
    assert done is (offered.undo_s > 0.0), "what is offered is what is done"
    assert shop.desk.session.holder("T002").at == was


@pytest.mark.parametrize("after_s", [0.0, 30.0, 59.5, 59.9, 60.0, 60.1, 75.0])
def test_undo_is_taken_when_it_is_offered_and_not_after_its_minute(shop: Shop, after_s: float) -> None:
    shop.clock.forward(MONTHS_S + 0.3)
    for code in (shop.holder("T015"), shop.place("Bench 1")):
        shop.desk.scan(code)
    shop.clock.forward(after_s)
    offered = pulse(shop.desk).undo_s > 0.0
    assert undone(shop) is (after_s <= 60.0) and (offered or after_s >= 60.0)


def test_the_first_scan_and_the_question_end_at_one_moment_though_the_setting_changed_meanwhile(shop: Shop) -> None:
    shop.clock.forward(MONTHS_S)
    shop.desk.scan(shop.holder("T015"))
    home = shop.desk.session.holder("T015").at
    kiosk = replace(shop.desk.session.settings.kiosk, pair_s=10.0)
    shop.desk.session.take_settings(replace(shop.desk.session.settings, kiosk=kiosk))
    shop.clock.forward(11.0)
    assert pulse(shop.desk).waiting is None
    shop.desk.scan(shop.place("Bench 1"))
    assert shop.desk.session.holder("T015").at == home


def test_a_tear_down_card_scanned_between_the_two_scans_of_a_pair_tears_nothing_down(shop: Shop) -> None:
    shop.clock.forward(MONTHS_S)
    for code in (shop.holder("T001"), shop.place("Shrink station"), shop.holder("T001")):
        shop.desk.scan(code)
    shop.desk.command(Command.TEAR_DOWN)
    for code in (shop.holder("T002"), shop.place("Bench 1"), shop.holder("T001")):
        shop.desk.scan(code)
    assert not any(isinstance(line.entry, TornDown) for line in shop.desk.session.book.lines())


# Heat settings while something is warm ---------------------------------------------------------------------------


def test_however_often_and_whichever_way_a_heat_setting_is_changed_no_hold_that_runs_is_shorter(shop: Shop) -> None:
    heated_a_month_on(shop)
    least_s = remaining_s(shop)
    for name, value in (WEAKER[0], STRICTER[0], WEAKER[0], STRICTER[1], WEAKER[1], WEAKER[2]):
        shop.desk.people.change_setting("heat", name, value, "again")
        assert remaining_s(shop) >= least_s - 1.0, (name, value)


def test_a_file_made_weaker_while_the_kiosk_was_closed_lets_nothing_hot_go_sooner(shop: Shop) -> None:
    heated_a_month_on(shop)
    before_s = remaining_s(shop)
    path = shop.folder / shop_settings.NAME
    for key, value in WEAKER:
        shop_settings.changed(path, "heat", key, value)
    shop.reopen()
    assert remaining_s(shop) >= before_s - 1.0


@pytest.mark.parametrize(("key", "value"), WEAKER)
def test_another_kiosks_weaker_setting_lets_nothing_hot_here_go_sooner(shop: Shop, key: str, value: str) -> None:
    heated_a_month_on(shop)
    before_s = remaining_s(shop)
    shop.desk.session.book.append([SettingChanged(f"heat.{key}", value, "as agreed elsewhere")])
    shop.desk.session.catch_up()
    shop.desk.session.follow_rules()
    assert getattr(shop.desk.session.settings.heat, key) == float(value)
    assert remaining_s(shop) >= before_s - 1.0


@pytest.mark.parametrize(("key", "value"), WEAKER)
def test_what_is_heated_again_under_a_weaker_setting_is_not_free_before_what_it_was_held_for(
    shop: Shop, key: str, value: str
) -> None:
    heated_a_month_on(shop)
    before_s = remaining_s(shop)
    shop.desk.people.change_setting("heat", key, value, "as agreed")
    for code in (shop.holder("T001"), shop.place("Shrink station"), shop.holder("T001"), shop.place("Rack 1")):
        shop.desk.scan(code)
    assert remaining_s(shop) >= before_s - 60.0
    assert shop.desk.session.holder("T001").heat is Heat.HELD


def test_undo_takes_no_heat_setting_back(shop: Shop) -> None:
    heated_a_month_on(shop)
    shop.desk.people.change_setting("heat", "limit_c", "38", "as agreed")
    strict_s = remaining_s(shop)
    shop.desk.undo()
    assert shop.desk.session.settings.heat.limit_c == 38.0 and remaining_s(shop) >= min(strict_s, 60.0)
    assert shop.desk.session.holder("T001").heat is Heat.HELD


# PINs ------------------------------------------------------------------------------------------------------------


@pytest.fixture
def opened(shop: Shop) -> Shop:
    shop.clock.forward(WEEK_S)
    unlock(shop)
    return shop


def locked(shop: Shop) -> bool:
    try:
        shop.desk.session.supervised()
    except Locked:
        return True
    return False


@pytest.mark.parametrize("set_by_s", [-7200.0, -1.0, 86_400.0])
def test_a_pin_is_good_for_five_watched_minutes_wherever_the_wall_clock_is_set(opened: Shop, set_by_s: float) -> None:
    opened.clock._wall_s += set_by_s
    opened.clock.forward(300.0)
    assert not locked(opened)
    opened.clock.forward(300.1)
    assert locked(opened)


def test_a_restart_shuts_what_a_pin_opened(opened: Shop) -> None:
    opened.reopen()
    assert locked(opened)


def test_whoever_is_signed_out_by_time_leaves_nothing_open(opened: Shop) -> None:
    kiosk = replace(opened.desk.session.settings.kiosk, sign_out_s=60.0)
    opened.desk.session.take_settings(replace(opened.desk.session.settings, kiosk=kiosk))
    opened.desk.scan(opened.desk.shop.code_of("kim"))
    unlock(opened)
    opened.clock.forward(61.0)
    opened.desk.tick()
    assert opened.desk.session.operator is None and locked(opened)


def test_only_a_supervisor_sets_another_supervisors_first_pin_and_a_setter_gets_none(opened: Shop) -> None:
    opened.desk.people.add("lee", "Lee", "supervisor", opened.desk.session.fresh_code(CodeKind.BADGE).text)
    opened.desk.people.lock()
    for choose in (opened.desk.people.first_pin, opened.desk.people.choose_pin):
        with pytest.raises(Locked):
            choose("lee", "1111")
    unlock(opened)
    with pytest.raises(PinRefused):
        opened.desk.people.first_pin("jo", "1111")
    with pytest.raises((NotThere, PinRefused)):
        opened.desk.people.choose_pin("jo", "1111")


def test_a_retired_supervisor_opens_nothing_and_what_was_open_is_shut(opened: Shop) -> None:
    opened.desk.people.add("lee", "Lee", "supervisor", opened.desk.session.fresh_code(CodeKind.BADGE).text, "2222")
    opened.desk.people.unlock("lee", "2222")
    opened.desk.people.retire("kim", "left")
    with pytest.raises(NotThere):
        opened.desk.people.unlock("kim", PIN)
    opened.clock.forward(30.0)
    assert opened.desk.session.unlocked_by() == "lee"
    with pytest.raises(ActRefused):
        opened.desk.people.retire("lee", "the last")


def test_wrong_pins_wait_though_the_wall_clock_is_set_a_year_on_and_the_kiosk_restarts(opened: Shop) -> None:
    opened.desk.people.lock()
    for _ in range(5):
        with pytest.raises(PinRefused):
            opened.desk.people.unlock("kim", "0000")
    opened.clock._wall_s += 365 * 86_400.0
    opened.reopen()
    with pytest.raises(PinRefused) as met:
        opened.desk.people.unlock("kim", PIN)
    assert met.value.wait_s > 0.0


@pytest.mark.parametrize("role", ["setter", "supervisor"])
def test_a_line_from_elsewhere_that_takes_role_or_pin_shuts_what_is_open_here(opened: Shop, role: str) -> None:
    changed = OperatorAdded("kim", "Kim", role, "another hash" if role == "supervisor" else None)
    opened.desk.session.book.append([changed])
    opened.desk.session.catch_up()
    assert opened.desk.session.unlocked_by() is None


def test_a_badge_alone_opens_nothing_nor_does_the_pin_of_one_who_went(opened: Shop) -> None:
    opened.desk.scan(opened.desk.shop.code_of("jo"))
    assert locked(opened)
    opened.desk.scan(opened.desk.shop.code_of("kim"))
    assert locked(opened)


def test_undo_after_its_time_is_refused_with_why_and_what_to_do(torn: Shop) -> None:
    torn.clock.forward(3600.0)
    late = torn.desk.undo().outcome
    assert isinstance(late, Refused) and late.why and late.remedy
