"""What stands at a place, for the list of places; and what the controls call an assembly, for the card to type."""

from __future__ import annotations

from kiosk.screens.questions import common
from kiosk.screens.questions import shop as asks
from tests.conftest import Shop


def test_a_place_lists_what_stands_in_it_and_what_left_it_no_more(shop: Shop) -> None:
    desk = shop.desk
    cabinet = shop.place("Cabinet A")
    inside = asks.standing(cabinet)(desk)
    assert inside and all(card.at is not None and card.at.path[0] == "Cabinet A" for card in inside)
    gone = inside[0]
    desk.scan(gone.code)
    desk.scan(shop.place("Bench 1"))
    assert gone.holder.key not in {card.holder.key for card in asks.standing(cabinet)(desk)}
    names = {card.name: said for card, said in asks.places()(desk)}
    assert gone.name in names["Bench 1"]
    assert sum(map(len, names.values())) == sum(1 for card in desk.shop.holders() if card.at)


def test_the_tool_number_is_the_assemblys_and_goes_with_it(shop: Shop) -> None:
    desk = shop.desk
    desk.build.number("T002", 1048)
    assert common.tool_number("T002")(desk) == 1048
    desk.build.number("T002", None)
    assert common.tool_number("T002")(desk) is None
