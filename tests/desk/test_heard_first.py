"""What other kiosks did is looked at before a card is, and what comes back with a step's line is what is said."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import msgspec
import pytest

from kiosk.desk.differences import DifferencesCounter
from kiosk.ledger import tables as T
from kiosk.rules.lines import NOT_VERIFIED, CodeBound, Heated, Moved
from kiosk.rules.merge import Made
from kiosk.rules.outcomes import Done, Outcome, Reason, Refused
from kiosk.rules.say import say
from kiosk.telling import told
from tests.conftest import Shop


class Others:
    """Other kiosks whose lines come the moment this one asks for them."""

    def __init__(self, comes: Callable[[], object] = lambda: None, back: Refused | None = None) -> None:
        self.kiosks, self.comes, self._back = self, comes, back

    def fresh(self) -> bool:
        self.comes()
        return True

    def heard(self) -> None: ...

    def told_back(self, outcome: Outcome, differences: DifferencesCounter) -> Refused | None:
        return self._back

    def rests(self) -> None: ...


def among(shop: Shop, others: Any) -> None:
    shop.clock.forward(50 * 86400.0)
    shop.desk._together = others


def test_a_heating_that_comes_with_the_second_scan_is_seen_by_that_scan(shop: Shop) -> None:
    def heated() -> None:
        shop.desk.session.book.append([Heated("T002", "S")])

    others = Others()
    among(shop, others)
    shop.desk.scan(shop.place("Bench 2"))
    others.comes = heated
    outcome = shop.desk.scan(shop.holder("T002")).outcome
    assert isinstance(outcome, Refused) and outcome.reason is Reason.HOT


def differs(shop: Shop, key: str, *made: Made) -> None:
    matter, _, subject = key.partition("/")
    T.Difference.create(
        key=key, matter=matter, subject=subject, claims=msgspec.json.encode(made).decode(), opened_line=made[-1].line
    )


@pytest.mark.parametrize("place", ["", "Bench 1"])
def test_another_kiosks_claim_is_named_where_this_ones_step_stands_against_it(shop: Shop, place: str) -> None:
    mine, theirs = shop.place("Bench 2"), shop.place(place) if place else ""
    line = shop.desk.session.write(Moved("T002", shop.desk.session.holder("T002").at.place.code, mine))[0].id
    differs(shop, "place/T002", Made(line, shop.desk.session.book.kiosk, mine), Made(line + 9, "b" * 16, theirs))
    told = shop.desk.differences.told_otherwise("T002", mine)
    assert told is not None and told.reason is Reason.TOLD_OTHERWISE
    assert dict(told.why.values)["kiosk"] == "bbbb"
    assert dict(told.why.values)["what"] == (place or None)
    assert shop.desk.differences.told_otherwise("T001", shop.place("Bench 1")) is None


def test_what_was_heated_by_one_and_moved_by_this_one_is_told_as_hot_and_once(shop: Shop) -> None:
    mine = shop.place("Bench 2")
    at = shop.desk.session.holder("T002").at.place.code
    line = shop.desk.session.write(Moved("T002", at, mine, reason=NOT_VERIFIED))[0].id
    shop.desk.session.book.append([Heated("T002", mine)])
    differs(shop, "place/T002", Made(line, shop.desk.session.book.kiosk, mine), Made(line + 9, "b" * 16, "S"))
    told = shop.desk.differences.told_otherwise("T002", mine)
    assert told is not None and told.reason is Reason.HOT
    assert shop.desk.differences.called_out() is None, "it was told just now"


def test_the_answer_to_a_step_is_what_came_back_with_its_line(shop: Shop) -> None:
    back = shop.desk.scan("0000000000").outcome
    assert isinstance(back, Refused)
    shop.desk.scan(shop.holder("T002"))
    among(shop, Others(back=back))
    shop.desk.scan(shop.holder("T002"))
    told = shop.desk.scan(shop.place("Bench 2"))
    assert told.outcome is back and told.undo_s is None
    assert [line.kind for line in told.lines] == ["moved"]
    among(shop, Others())
    shop.desk.scan(shop.holder("T002"))
    assert isinstance(shop.desk.scan(shop.place("Bench 1")).outcome, Done)


def test_how_far_a_step_can_be_relied_on_is_said_with_it(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T002"))
    done = shop.desk.scan(shop.place("Bench 2"))
    assert isinstance(done.outcome, Done)
    assert told(done.outcome, done.holder).why == ""
    noted = replace(done.outcome, note=say("note.not_verified", silent_at=None))
    assert told(noted, done.holder).why == "Not verified: the station is not heard"


def test_a_kiosk_that_was_just_opened_takes_no_step_of_another_for_one_made_just_now(shop: Shop) -> None:
    T.Holder.update(last_kiosk="b" * 16).where(T.Holder.key == "T002").execute()
    cards = shop.desk.session.cards
    assert cards.holder("T002").since_watched_s is not None, "one clock, and another name of this kiosk"
    shop.desk.session.book.sharing = SimpleNamespace(generation=0)
    try:
        assert cards.holder("T002").since_watched_s is None
    finally:
        shop.desk.session.book.sharing = None


@pytest.mark.parametrize("claimed", ["T002", "T001"])
def test_a_label_that_two_kiosks_put_on_two_holders_lets_neither_of_them_go_as_cool(shop: Shop, claimed: str) -> None:
    shop.clock.forward(20 * 86400.0)
    other = "T001" if claimed == "T002" else "T002"
    text = "(01)04012345678901"  # a maker's mark that says the type and not the piece
    differs(shop, f"label/{text}", Made(3, "a" * 16, other), Made(9, "b" * 16, claimed))
    shop.desk.session.write(CodeBound(text, claimed, "holder", foreign=True))
    where = shop.desk.session.holder("T002").at
    shop.desk.scan(shop.holder("T002") if claimed != "T002" else text)
    refused = shop.desk.scan(shop.place("Cabinet A · 1-05")).outcome
    assert isinstance(refused, Refused) and refused.reason is Reason.NOWHERE_KNOWN
    assert shop.desk.session.holder("T002").at == where
    T.Difference.update(closed_line=12).execute()
    shop.desk.session.write(CodeBound("else", claimed, "holder", foreign=True))
    shop.desk.scan(shop.holder("T002"))
    assert isinstance(shop.desk.scan(shop.place("Cabinet A · 1-05")).outcome, Done)
