"""What a scan refuses as not known to be cool, no list shows as ready: find, the way there, files, audits, phones."""

from __future__ import annotations

from collections.abc import Callable

import msgspec
import pytest

from kiosk.handheld import said
from kiosk.ledger import stock
from kiosk.ledger import tables as T
from kiosk.rules.apart import Apart
from kiosk.rules.cards import Heat
from kiosk.rules.checkin import warmth
from kiosk.rules.finding import Usable, parse
from kiosk.rules.lines import CodeBound, Moved
from kiosk.rules.merge import Made
from kiosk.rules.stock import book_entry
from tests.conftest import Shop

COOL = "T002"  # a shrink fit that stands on a bench
ELSEWHERE = "b" * 16


def says(shop: Shop, key: str) -> set[bool]:
    """Whether it is cool, by everything that says so."""
    desk = shop.desk
    card = desk.session.holder(key)
    (row,) = [row for row in desk.finding.find(card.name, count=500).rows if row.key == key]
    hot = {row.key for row in desk.finding.find(parse(f"{card.name} hot"), count=500).rows}
    (item,) = stock.items(desk.session.cards, [key])
    unproven = Usable.UNPROVEN
    phone = said.found(desk.finding.find(card.name, count=500))
    (told,) = [each for each in phone["rows"] if each["holder"] == key]
    way = desk.finding.way(key)
    return {
        item.heat is Heat.COOL,
        warmth(card) is Heat.COOL,
        row.usable is not unproven,
        way.usable is not unproven,
        not book_entry(card).hot,
        told["tone"] != "heat",
        said.way(way)["tone"] != "heat",
        key not in hot,
    }


@pytest.fixture
def cool(shop: Shop) -> Shop:
    shop.clock.forward(50 * 86400.0)
    desk = shop.desk
    at = desk.session.holder(COOL).at
    desk.session.write(Moved(COOL, at.place.code if at else None, shop.place("Bench 2")))
    assert says(shop, COOL) == {True}
    return shop


def written(shop: Shop) -> None:
    """A line about something else: what was read before is stale."""
    at = shop.desk.session.holder("T001").at
    shop.desk.session.write(Moved("T001", at.place.code if at else None, shop.place("Bench 1")))


def test_one_label_on_two_holders_makes_neither_cool_in_any_list_until_it_is_settled(cool: Shop) -> None:
    desk = cool.desk
    first = desk.session.write(CodeBound("MARK 12", COOL, "holder", foreign=True))[0].id
    made = (Made(first, desk.session.book.kiosk, COOL), Made(first, ELSEWHERE, "T001"))
    told = msgspec.json.encode(made).decode()
    T.Difference.create(key="label/MARK 12", matter="label", subject="MARK 12", claims=told, opened_line=first)
    written(cool)
    assert says(cool, COOL) == {False} and says(cool, "T001") == {False}
    T.Difference.update(closed_line=first).execute()
    written(cool)
    assert says(cool, COOL) == {True}


def test_a_heating_that_could_not_be_written_is_in_every_list(cool: Shop) -> None:
    cool.desk.session.cards.unwritten.add(COOL)
    assert says(cool, COOL) == {False}
    cool.desk.session.cards.unwritten.clear()
    assert says(cool, COOL) == {True}


def _unheard(kiosk: str) -> Apart:
    return Apart(kiosk, stations_heard=False, all_heard=False, caught_up=False)


@pytest.mark.parametrize(
    ("apart", "is_cool"),
    [
        (_unheard, True),  # it was brought here by this kiosk
        (lambda kiosk: _unheard(ELSEWHERE), False),
        (lambda kiosk: Apart(kiosk, stations_heard=False, all_heard=False, caught_up=True, own_whole=False), False),
        (lambda kiosk: Apart(ELSEWHERE, stations_heard=True, all_heard=True, caught_up=True), True),
    ],
)
def test_cut_off_a_shrink_fit_that_another_brought_is_ready_in_no_list(
    cool: Shop, apart: Callable[[str], Apart], is_cool: bool
) -> None:
    session = cool.desk.session
    session.cards.apart = apart(session.book.kiosk)
    assert says(cool, COOL) == {is_cool}
    session.cards.apart = None
    assert says(cool, COOL) == {True}, "heard again"
