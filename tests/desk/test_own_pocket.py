"""A pocket that is kept for one holder: given, given to another, and given up, from the holder's side."""

from __future__ import annotations

import pytest

from kiosk.desk.session import NotThere
from kiosk.rules.lines import PlaceRetired
from tests.conftest import Shop


def owners(shop: Shop) -> dict[int, str]:
    return dict(shop.desk.session.place(shop.place("Mill 1")).owners)


def test_a_holder_has_one_pocket_of_its_own_and_gives_the_one_before_up(shop: Shop) -> None:
    shop.clock.forward(9 * 86400.0)
    handover = shop.desk.handover
    before = owners(shop)
    seven, nine = shop.place("Mill 1 · pocket 07"), shop.place("Mill 1 · pocket 09")
    assert handover.keep_pocket("T002", seven) is None
    assert owners(shop) == before | {7: "T002"}
    assert handover.keep_pocket("T002", nine) is None
    assert owners(shop) == before | {9: "T002"}
    assert [pocket.place.code for pocket in handover.own_pockets("T002")] == [nine]
    assert handover.keep_pocket("T002", None) is None
    assert owners(shop) == before and handover.own_pockets("T002") == ()


def test_whose_pocket_it_was_is_said_when_it_is_given_to_another(shop: Shop) -> None:
    handover = shop.desk.handover
    seven = shop.place("Mill 1 · pocket 07")
    handover.keep_pocket("T002", seven)
    assert handover.keep_pocket("T001", seven) == shop.desk.session.holder("T002").name
    assert handover.own_pockets("T002") == () and owners(shop)[7] == "T001"


def test_what_is_kept_already_writes_no_line_and_what_is_no_pocket_is_refused(shop: Shop) -> None:
    desk = shop.desk
    desk.handover.keep_pocket("T002", shop.place("Mill 1 · pocket 07"))
    last = desk.session.book.last_id
    assert desk.handover.keep_pocket("T002", shop.place("Mill 1 · pocket 07")) is None
    assert desk.session.book.last_id == last
    for wrong in (shop.place("Bench 2"), "NOWHERE"):
        with pytest.raises(NotThere):
            desk.handover.keep_pocket("T002", wrong)
    assert [each.place.number for each in desk.handover.own_pockets("T002")] == [7]


def test_a_pocket_that_is_out_of_use_is_kept_for_nobody(shop: Shop) -> None:
    session = shop.desk.session
    pocket = next(code for code, row in session.cards.places.rows.items() if row["kind"] == "pocket")
    session.book.append([PlaceRetired(pocket, "worn")])
    session.cards.forget_places()
    with pytest.raises(NotThere):
        shop.desk.handover.keep_pocket("T001", pocket)
    with pytest.raises(NotThere):
        shop.desk.handover.assign(pocket, "T001")
