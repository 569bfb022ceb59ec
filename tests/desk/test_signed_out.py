"""Somebody who is taken out of use, here or at another kiosk, is at work nowhere any more, by no hand."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from kiosk.desk.hand import Hand
from kiosk.rules.lines import OperatorAdded, OperatorRetired
from tests.conftest import Shop


@pytest.fixture
def at_work(shop: Shop) -> Iterator[Shop]:
    """Jo works, Sam has given the PIN of a supervisor at the kiosk and at a telephone."""
    shop.clock.forward(60 * 86400.0)
    session = shop.desk.session
    session.write(OperatorAdded("jo", "Jo", "operator"), OperatorAdded("sam", "Sam", "supervisor", "hash"), by="kim")
    session.write(OperatorAdded("kim", "Kim", "supervisor", "hash"), by="sam")
    phone = Hand("phone of Sam", operator=session.cards.operator("sam"))
    session.hands.append(phone)
    session.operator = session.cards.operator("jo")
    for hand in session.hands:
        hand.supervisor, hand.supervised_at_s = session.cards.operator("sam"), session.now().watched_s
        hand.opened_with = "hash"
    yield shop
    session.hands.remove(phone)


@pytest.mark.parametrize("elsewhere", [True, False])
def test_who_is_taken_out_of_use_is_signed_out_of_every_hand(at_work: Shop, elsewhere: bool) -> None:
    session = at_work.desk.session
    gone = (OperatorRetired("jo", "left"), OperatorRetired("sam", "left"))
    if elsewhere:
        session.book.append(gone)
        assert session.operator is not None
        session.catch_up()  # as when lines of another kiosk came
    else:
        session.write(*gone, by="kim")
    assert [hand.operator for hand in session.hands] == [None, None]
    assert [hand.supervisor for hand in session.hands] == [None, None]


def test_a_supervisor_who_is_an_operator_by_now_opens_nothing_and_works_on(at_work: Shop) -> None:
    session = at_work.desk.session
    session.book.append([OperatorAdded("sam", "Sam Old", "operator")])
    session.catch_up()
    (kiosk, phone) = session.hands
    assert kiosk.supervisor is None and phone.supervisor is None
    assert phone.operator is not None and phone.operator.name == "Sam Old"
    assert kiosk.operator is not None and kiosk.operator.key == "jo"


def test_a_line_about_others_leaves_who_works_at_work(at_work: Shop) -> None:
    session = at_work.desk.session
    session.book.append([OperatorRetired("kim", "left")])
    session.catch_up()
    assert session.operator is not None and session.unlocked_by() == "sam"


def test_a_pin_that_was_changed_elsewhere_opens_nothing_by_the_old_one_any_more(at_work: Shop) -> None:
    session = at_work.desk.session
    session.book.append([OperatorAdded("sam", "Sam", "supervisor", "another hash")])
    session.catch_up()
    assert [hand.supervisor for hand in session.hands] == [None, None]
    assert session.operator is not None, "who works goes on working"


def test_who_chooses_another_pin_here_goes_on_and_their_telephone_does_not(at_work: Shop) -> None:
    desk = at_work.desk
    (kiosk, phone) = desk.session.hands
    desk.people.set_pin("sam", "2468")
    assert desk.session.unlocked_by() == "sam" and phone.supervisor is None
    desk.session.book.append([OperatorAdded("sam", "Sam", "supervisor")])  # another name or language, and the same PIN
    desk.session.catch_up()
    assert desk.session.unlocked_by() == "sam"
    at_work.clock.forward(250.0)
    assert not desk.shop.setting_up.needs_supervisor
    at_work.clock.forward(51.0)  # a look whether a PIN is needed is nothing done with it
    assert desk.shop.setting_up.needs_supervisor and kiosk.supervisor is None
