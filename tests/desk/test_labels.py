"""Labels of the book's things, and the first scan that binds one."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from unittest.mock import patch

import pytest

from kiosk.desk.session import NotThere
from kiosk.rules import codes
from kiosk.rules.cards import Command
from kiosk.rules.outcomes import Done, Reason, Refused, Wait
from tests.conftest import Shop


def test_a_new_label_is_bound_by_its_first_scan_and_retires_the_old_one(shop: Shop) -> None:
    old = shop.holder("T002")
    content = shop.desk.labels.fresh_label("T002")
    assert shop.holder("T002") == old, "printed is not bound"
    assert isinstance(shop.desk.scan(old).outcome, Wait), "the old label still works"
    bound = shop.desk.scan(content.code.text)
    assert isinstance(bound.outcome, Done) and bound.outcome.say.key == "label_bound"
    assert len(bound.lines) == 1, "binding and retiring are one line"
    assert shop.holder("T002") == content.code.text
    retired = shop.desk.scan(old).outcome
    assert isinstance(retired, Refused) and retired.reason is Reason.RETIRED_CODE
    assert shop.desk.session.book.check() == []


def test_a_label_on_hot_steel_is_bound_with_an_alarm(shop: Shop) -> None:
    shop.clock.forward(9 * 86_400.0 + 3.0)
    fresh = shop.desk.labels.fresh_label("T001").code.text
    for code in (shop.holder("T001"), shop.place("Shrink station")):
        shop.desk.scan(code)
    bound = shop.desk.scan(fresh).outcome
    assert isinstance(bound, Done) and bound.alarm and bound.say.key == "label_bound_hot"
    cool = shop.desk.scan(shop.desk.labels.fresh_label("T002").code.text).outcome
    assert isinstance(cool, Done) and not cool.alarm



def test_a_label_torn_in_the_printer_is_printed_again_with_the_same_code(shop: Shop) -> None:
    assert shop.desk.labels.fresh_label("T002").code == shop.desk.labels.fresh_label("T002").code


def test_a_new_label_gets_no_code_of_which_a_swap_could_pass(shop: Shop) -> None:
    missed = next(n for n in range(10**6) if not codes.catches_swaps(codes.make(codes.CodeKind.HOLDER, n)))
    caught = next(n for n in range(10**6) if codes.catches_swaps(codes.make(codes.CodeKind.HOLDER, n)))
    with patch("secrets.randbelow", side_effect=[missed, caught]):
        assert shop.desk.session.fresh_code(codes.CodeKind.HOLDER) == codes.make(codes.CodeKind.HOLDER, caught)


def test_a_printed_label_waits_for_its_first_scan_over_a_restart(shop: Shop) -> None:
    code = shop.desk.labels.fresh_label("T002").code.text
    shop.reopen()
    assert isinstance(shop.desk.scan(code).outcome, Done)


def test_every_kind_of_thing_has_a_label(shop: Shop) -> None:
    counts = {kind: len(shop.desk.labels.all_of(kind)) for kind in ("holders", "places", "badges", "commands")}
    assert counts["holders"] == 40 and counts["badges"] == 3 and counts["commands"] == len(Command)
    assert counts["places"] > 200
    cabinet = shop.desk.labels.inside(shop.place("Cabinet A"))
    assert cabinet[0].name == "Cabinet A" and len(cabinet) == 1 + 4 + 48
    with pytest.raises(NotThere):
        shop.desk.labels.all_of("machines")


def test_a_hot_tag_says_when_it_is_safe_only_once_time_alone_can_end_it(shop: Shop) -> None:
    with pytest.raises(NotThere):
        shop.desk.labels.hot_tag("T001")
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Shrink station"))
    tag = shop.desk.labels.hot_tag("T001")
    assert tag.heading == "HOT" and "Safe only by a reading" in tag.details


def test_a_hot_tag_names_no_time_that_is_up_while_others_may_have_heated_it_again(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Shrink station"))
    card = shop.desk.session.holder("T001")
    assert card.hold is not None
    for left_s, unheard, by_reading in ((0.0, True, True), (900.0, True, False), (900.0, False, False)):
        hold = replace(card.hold, remaining_s=left_s, needs_reading=False, unheard=unheard)
        with patch.object(type(shop.desk.session), "holder", return_value=replace(card, hold=hold)):
            tag = shop.desk.labels.hot_tag("T001")
        assert ("Safe only by a reading" in tag.details) is by_reading


def test_a_label_goes_to_a_file_with_the_kiosks_own_size(shop: Shop, tmp_path: Path) -> None:
    contents = [shop.desk.labels.content(shop.holder("T002"))]
    made = shop.desk.labels.make(shop.desk.labels.request(contents, out=tmp_path / "label.png"))
    assert made.labels == 1 and (tmp_path / "label.png").stat().st_size > 300


def test_a_code_of_nothing_has_no_label(shop: Shop) -> None:
    with pytest.raises(NotThere):
        shop.desk.labels.content(shop.desk.session.fresh_code(codes.CodeKind.PLACE).text)
