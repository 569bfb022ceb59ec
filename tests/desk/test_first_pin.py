"""A shop's first PIN: only a supervisor chooses it, whichever way somebody else comes for it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kiosk.desk.hand import Hand
from kiosk.desk.session import ActRefused, Locked
from kiosk.ledger import tables as T
from kiosk.rules import lines as L
from kiosk.rules.codes import CodeKind
from kiosk.rules.merge import NOTHING, RETIRED, USED, Made
from kiosk.rules.outcomes import Reason
from kiosk.screens.questions import shop as asks
from tests.conftest import Shop
from tests.desk.test_settled_by_hand import supervised
from tests.desk.test_told_differently import OTHER, A, differs

PIN = "4711"


@pytest.fixture
def grown(shop: Shop) -> Shop:
    """A shop forty days old, whose supervisor Kim has signed in and has no PIN yet."""
    shop.clock.forward(40 * 86_400.0)
    shop.desk.scan(shop.desk.shop.code_of("kim"))
    shop.desk.people.sign_out()
    return shop


def sign_in(shop: Shop, key: str) -> None:
    shop.desk.scan(shop.desk.shop.code_of(key))


def new_code(shop: Shop) -> str:
    return shop.desk.session.fresh_code(CodeKind.BADGE).text


def by_file(shop: Shop, folder: Path, row: str) -> None:
    path = folder / "operators.csv"
    path.write_text(f"code,key,name,role\n{row}\n", "utf-8")
    plan = shop.desk.intake.plan(path)
    assert plan.changes
    shop.desk.intake.take(plan, path.name)


WAYS: dict[str, Callable[[Shop, Path], object]] = {
    "kim's": lambda shop, _: shop.desk.people.choose_pin("kim", PIN),
    "kim's on the screen": lambda shop, _: asks.choose_pin("kim", PIN)(shop.desk),
    "a supervisor more": lambda shop, _: shop.desk.people.add("eve", "Eve", "supervisor", new_code(shop)),
    "a supervisor with a PIN": lambda shop, _: shop.desk.people.add("eve", "E", "supervisor", new_code(shop), PIN),
    "a setter with a PIN": lambda shop, _: shop.desk.people.add("eve", "E", "setter", new_code(shop), PIN),
    "raised": lambda shop, _: shop.desk.session.write(L.OperatorAdded("jo", "Jo", "supervisor")),
    "raised by a file": lambda shop, at: by_file(shop, at, f"{shop.desk.shop.code_of('jo')},jo,Jo,supervisor"),
    "new by a file": lambda shop, at: by_file(shop, at, f"{new_code(shop)},eve,Eve,supervisor"),
    "another badge for kim": lambda shop, at: by_file(shop, at, f"{new_code(shop)},kim,Kim Adler,supervisor"),
    "kim's badge bound anew": lambda shop, _: shop.desk.session.write(L.CodeBound(new_code(shop), "kim", "operator")),
    "kim sent away": lambda shop, _: shop.desk.people.retire("kim", "left"),
    "kim no supervisor": lambda shop, _: shop.desk.session.write(L.OperatorAdded("kim", "Kim", "setter")),
    "kim's badge printed": lambda shop, _: shop.desk.labels.content(shop.desk.shop.code_of("kim")),
}  # fmt: skip


@pytest.mark.parametrize("who", ["nobody", "jo", "a telephone of jo's", "kim who went"])
@pytest.mark.parametrize("way", WAYS)
def test_nobody_but_a_supervisor_signed_in_comes_by_a_first_pin(
    grown: Shop, tmp_path: Path, way: str, who: str
) -> None:
    desk = grown.desk
    if who == "jo":
        sign_in(grown, "jo")
    elif who == "kim who went":
        sign_in(grown, "kim")
        desk.people.sign_out()
    before = desk.session.book.last_id
    phone = Hand(phone="a phone", operator=desk.session.cards.operator("jo"))
    hand = phone if who.startswith("a telephone") else desk.session.hand
    with desk.session.asked_by(hand), pytest.raises(ActRefused) as refused:
        WAYS[way](grown, tmp_path)
    assert refused.value.reason is Reason.SUPERVISOR_FIRST
    assert desk.session.book.last_id == before and not desk.people.has_pin("kim")


@pytest.mark.parametrize("way", [way for way in WAYS if way not in {"kim no supervisor", "kim sent away"}])
def test_with_a_supervisors_own_badge_each_of_these_is_done(grown: Shop, tmp_path: Path, way: str) -> None:
    sign_in(grown, "kim")
    WAYS[way](grown, tmp_path)


def test_the_first_pin_is_written_down_as_whose_badge_it_was(grown: Shop) -> None:
    sign_in(grown, "kim")
    assert asks.choose_pin("kim", PIN)(grown.desk) == "kim"
    lines = [grown.desk.session.book.line(at) for at in range(1, grown.desk.session.book.last_id + 1)]
    chosen = [line for line in lines if line and isinstance(line.entry, L.OperatorAdded) and line.entry.pin_hash]
    assert [line.operator for line in chosen] == ["kim"]
    with pytest.raises(Locked):  # from now on a badge is not enough
        grown.reopen()
        sign_in(grown, "kim")
        grown.desk.people.choose_pin("kim", "9999")


def test_who_is_signed_out_by_time_or_sent_away_by_another_kiosk_chooses_none(grown: Shop) -> None:
    sign_in(grown, "kim")
    sign_in(grown, "jo")  # the next badge is the next person
    with pytest.raises(ActRefused):
        grown.desk.people.choose_pin("kim", PIN)
    sign_in(grown, "kim")
    grown.clock.forward(86_400.0)
    grown.desk.tick()
    with pytest.raises(ActRefused):
        grown.desk.people.choose_pin("kim", PIN)


def test_a_shop_without_any_supervisor_is_founded_with_a_pin_and_only_once(grown: Shop) -> None:
    sign_in(grown, "kim")
    grown.desk.people.retire("kim", "left")
    assert grown.desk.session.operator is None
    assert asks.add_supervisor("Ann Baker", PIN)(grown.desk)
    assert grown.desk.session.unlocked_by()
    grown.desk.people.lock()
    with pytest.raises(Locked):
        asks.add_supervisor("Eve", "1111")(grown.desk)


def test_a_setter_is_everybodys_to_enter_and_to_send_away_as_long_as_nobody_has_a_pin(grown: Shop) -> None:
    grown.desk.people.add("eve", "Eve", "setter", new_code(grown))
    grown.desk.people.retire("eve", "left")


def test_a_badge_that_nobody_signed_in_with_yet_is_printed_for_everybody(shop: Shop) -> None:
    kim = shop.desk.shop.code_of("kim")
    assert shop.desk.labels.content(kim).code.text == kim
    assert kim in {label.code.text for label in shop.desk.labels.all_of("badges")}
    sign_in(shop, "kim")
    shop.desk.people.sign_out()
    assert kim not in {label.code.text for label in shop.desk.labels.all_of("badges")}
    sign_in(shop, "kim")
    assert kim in {label.code.text for label in shop.desk.labels.all_of("badges")}


def test_whose_badge_is_lost_has_the_command_line(grown: Shop) -> None:
    grown.desk.people.choose_pin("kim", PIN, by_owner=True)
    assert grown.desk.people.unlock("kim", PIN).key == "kim"
    grown.desk.people.lock()
    with pytest.raises(Locked):
        grown.desk.people.choose_pin("kim", "9999", by_owner=True)


@pytest.mark.parametrize("who", [None, "jo"])
@pytest.mark.parametrize(("key", "value"), [("badge/eve", USED), ("label/KIM", "T001"), ("label/KIM", NOTHING)])
def test_nobody_but_a_supervisor_settles_who_is_one_or_takes_the_badge_of_one(
    grown: Shop, key: str, value: str, who: str | None
) -> None:
    desk = grown.desk
    sign_in(grown, "kim")
    desk.people.add("eve", "Eve", "supervisor", new_code(grown))
    desk.people.retire("eve", "left")
    desk.people.sign_out()
    badge = desk.shop.code_of("kim")
    key = key.replace("KIM", badge)
    differs(grown, key, Made(1, A, RETIRED if key == "badge/eve" else "kim"), Made(2, OTHER, value))
    if who is not None:
        sign_in(grown, who)
    with pytest.raises(ActRefused) as refused:
        desk.differences.settle(key, value)
    assert refused.value.reason is Reason.SUPERVISOR_FIRST
    assert T.Operator.get_by_id("eve").retired and T.Binding.get_by_id(badge).retired_line is None
    sign_in(grown, "kim")
    desk.differences.settle(key, value)


@pytest.mark.parametrize("value", ["ines", NOTHING])
def test_where_a_pin_guards_people_no_badge_is_worth_something_again_or_nothing_without_it(
    shop: Shop, value: str
) -> None:
    supervised(shop)
    if value:
        shop.desk.session.book.append([L.CodeRetired("badge-ines", "lost")])
    differs(shop, "label/badge-ines", Made(1, A, "ines"), Made(2, OTHER, NOTHING))
    with pytest.raises(Locked):
        shop.desk.differences.settle("label/badge-ines", value)
    shop.desk.people.unlock("ines", "2580")
    shop.desk.differences.settle("label/badge-ines", value)
    assert (T.Binding.get_by_id("badge-ines").retired_line is None) is bool(value)
