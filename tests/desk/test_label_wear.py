"""A label that gets worse: a line when it changes, asked for on the holder's card and in the audit's list."""

from __future__ import annotations

import pytest

from kiosk.ledger.book import LedgerFault
from kiosk.ledger.trouble import Cause
from kiosk.rules import codes
from kiosk.rules.audit import Action, Difference
from kiosk.rules.label_wear import READS, asks_for_new
from kiosk.rules.lines import LabelWorn
from tests.conftest import Shop
from tests.reader.test_damage import damages, scene

CABINET = "Cabinet A"
DAY_S = 86400.0


def saw(shop: Shop, text: str, spent: float, times: int = READS) -> None:
    """The label was read on so many days."""
    for _ in range(times):
        shop.clock.forward(DAY_S)
        shop.desk.label_wear.saw({text: spent})


def lines(shop: Shop) -> list[LabelWorn]:
    return [line.entry for line in shop.desk.session.book.lines() if isinstance(line.entry, LabelWorn)]


def worn_in_audit(shop: Shop) -> list[str]:
    return [each.text for each in shop.desk.audits.status().differences if each.difference is Difference.LABEL_WORN]


@pytest.fixture
def holder(shop: Shop) -> str:
    """Key of a holder in the cabinet."""
    shop.desk.audits.open(shop.place(CABINET))
    return shop.desk.audits.status().missing[0].key


def test_a_label_that_gets_worse_over_weeks_asks_to_be_printed_anew(shop: Shop, holder: str) -> None:
    card = shop.desk.session.holder(holder)
    for spent in (0.0, 0.125, 0.25, 0.375):
        saw(shop, card.code, spent, 10)
    assert not asks_for_new(shop.desk.session.holder(holder).label_spent)
    saw(shop, card.code, 0.5, READS - 1)
    assert not asks_for_new(shop.desk.session.holder(holder).label_spent), "seen twice, it may be a thumb"
    saw(shop, card.code, 0.625, 20)
    assert asks_for_new(shop.desk.session.holder(holder).label_spent)
    assert [line.spent for line in lines(shop)] == [0.25, 0.5], "a line a step, not one a scan"
    assert shop.desk.session.book.check() == []


def test_what_a_camera_sees_of_growing_wear_asks_weeks_before_the_label_fails(shop: Shop, holder: str) -> None:
    code = shop.desk.session.holder(holder).code
    drawn, asked = scene(77, code), []
    for gone in (0, 4, 5, 7, 8):
        for each in damages(drawn, gone):
            saw(shop, each.text, each.spent)
        asked.append(asks_for_new(shop.desk.session.holder(holder).label_spent))
    assert asked == [False, False, True, True, True]
    assert damages(drawn, 8), "it is still read"
    assert len(lines(shop)) <= 3


def test_the_audits_list_names_it_once_it_was_seen_and_closes_without_a_hand(shop: Shop, holder: str) -> None:
    saw(shop, shop.holder(holder), 0.75)
    assert worn_in_audit(shop) == [], "what is missing is missing first"
    for item in shop.desk.audits.status().missing:
        assert item.place is not None
        shop.desk.scan(item.place)
        shop.clock.forward(6.0)
        shop.desk.scan(item.code)
        shop.clock.forward(6.0)
    assert worn_in_audit(shop) == [holder]
    audit = shop.desk.audits.status().row.key
    shop.desk.audits.close()
    (row,) = shop.desk.audits.report(audit).rows
    assert (row.difference, row.action) == (Difference.LABEL_WORN, Action.NOTED)


def test_a_new_label_asks_for_nothing_and_the_same_one_printed_again_soon_neither(shop: Shop, holder: str) -> None:
    session, old = shop.desk.session, shop.desk.session.holder(holder).code
    saw(shop, old, 1.0)
    saw(shop, old, 0.0, READS - 1)
    assert session.holder(holder).label_spent == 1.0
    saw(shop, old, 0.0, 1)
    assert session.holder(holder).label_spent == 0.0
    saw(shop, old, 1.0)
    fresh = session.fresh_code(codes.CodeKind.HOLDER).text
    assert shop.desk.shop.replace_label(holder, fresh).label_spent == 0.0
    before = len(lines(shop))
    saw(shop, old, 1.0)
    assert len(lines(shop)) == before, "it is on nothing any more"
    assert session.book.check() == []


def test_labels_nobody_knows_or_that_were_replaced_leave_no_line(shop: Shop) -> None:
    saw(shop, "H000000000", 1.0, 9)
    saw(shop, "http://example.org", 1.0, 9)
    assert lines(shop) == []


def test_after_a_restart_it_is_known_and_no_line_is_written_twice(shop: Shop, holder: str) -> None:
    code = shop.desk.session.holder(holder).code
    saw(shop, code, 0.5)
    shop.reopen()
    assert shop.desk.session.holder(holder).label_spent == 0.5
    saw(shop, code, 0.5, 9)
    assert len(lines(shop)) == 1


def test_a_disk_that_takes_no_line_stops_nothing_and_is_told_again(
    shop: Shop, holder: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    code = shop.desk.session.holder(holder).code
    with monkeypatch.context() as full:

        def refuse(*_: object, **__: object) -> None:
            raise LedgerFault(shop.desk.session.book.path, "is full", "make room", Cause.FULL)

        full.setattr(shop.desk.session.book, "append", refuse)
        saw(shop, code, 0.5)
    assert lines(shop) == []
    saw(shop, code, 0.5, 1)
    assert [line.spent for line in lines(shop)] == [0.5]


def test_nobody_needs_to_be_signed_in_for_it(shop: Shop, holder: str) -> None:
    saw(shop, shop.place(CABINET), 0.75)
    assert [(line.subject, line.what) for line in lines(shop)] == [(shop.place(CABINET), "place")]
