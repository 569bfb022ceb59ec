"""A kiosk that has others, with a book in its folder that knows of none, is not alone: it heard of no heating."""

from __future__ import annotations

import pytest

from kiosk.desk import Desk, copies
from kiosk.desk.desk import MEMBER
from kiosk.ledger.book import Book
from kiosk.link import address as addresses
from kiosk.link.address import Membership
from kiosk.link.faults import Cause
from kiosk.rules.cards import Heat
from kiosk.rules.checkin import warmth
from kiosk.rules.outcomes import Done, Reason, Refused
from kiosk.screens.opening import open_desk
from kiosk.screens.options import Options
from kiosk.screens.pulse import pulse
from tests.conftest import Shop

HOUR_S = 3600.0
OWN = "a" * 16


def joined(shop: Shop) -> None:
    """The kiosk becomes one of several; nobody of them answers here."""
    shop.desk.close()
    with Book.open(shop.folder, counter=shop.clock.counter, wall=shop.clock.wall) as book:
        book.share(OWN)
    addresses.keep(shop.folder, Membership("127.0.0.1", 1, "x", OWN, "Cabinet", "key", "shop", ""))


def test_what_says_that_a_kiosk_has_others_is_called_the_same_where_nothing_of_the_network_is_loaded() -> None:
    assert MEMBER == addresses.NAME


@pytest.mark.parametrize("ran_s", [7 * HOUR_S, 60 * 24 * HOUR_S])
def test_a_copy_from_before_it_had_others_does_not_make_it_alone(shop: Shop, ran_s: float) -> None:
    shop.clock.forward(ran_s)
    shop.desk.tick()
    (made,) = shop.desk.copies.backup(shop.folder.parent / "copies")
    assert made.copy is not None
    joined(shop)
    copies.restore(shop.folder, made.copy.path)
    shop.reopen()
    shop.clock.forward(HOUR_S)
    for _ in range(2):  # it was cool then; another kiosk may have heated it since, and nobody here heard of that
        assert shop.desk.session.book.sharing is not None
        assert warmth(shop.desk.session.holder("T002")) is Heat.UNKNOWN
        shop.desk.scan(shop.holder("T002"))
        assert not isinstance(shop.desk.scan(shop.place("Cabinet A · 1-05")).outcome, Done)
        shop.reopen()
    assert shop.desk.session.book.check() == []


def test_who_only_reads_such_a_book_is_told_of_nothing_that_it_is_cool(shop: Shop) -> None:
    addresses.keep(shop.folder, Membership("127.0.0.1", 1, "x", OWN, "Cabinet", "key", "shop", ""))
    shop.desk.close()
    with Desk.open(shop.folder, read_only=True, counter=shop.clock.counter, wall=shop.clock.wall) as reader:
        assert warmth(reader.session.holder("T002")) is Heat.UNKNOWN
    shop.reopen()
    shop.desk.scan(shop.holder("T002"))
    refused = shop.desk.scan(shop.place("Cabinet A · 1-05")).outcome
    assert isinstance(refused, Refused) and refused.reason is Reason.UNHEARD


@pytest.mark.parametrize("spoilt", ["", "{", "null", "[]", '{"host": 1}', "\0", None])
def test_a_spoilt_word_of_others_makes_nothing_cool_and_leaves_no_trace(shop: Shop, spoilt: str | None) -> None:
    shop.clock.forward(9 * 24 * HOUR_S)
    path = shop.folder / addresses.NAME
    if spoilt is None:
        path.mkdir()
    else:
        path.write_text(spoilt)
    shop.reopen()
    assert warmth(shop.desk.session.holder("T002")) is Heat.UNKNOWN
    holder, slot = shop.holder("T002"), shop.place("Cabinet A · 1-05")
    shop.desk.close()
    with open_desk(Options(shop.folder), shop.clock.counter, shop.clock.wall) as desk:  # it says so
        assert desk.not_shared is not None and desk.not_shared.cause is Cause.UNNAMED
        assert desk.kiosks is None and desk.session.book.sharing is None
        assert warmth(desk.session.holder("T002")) is Heat.UNKNOWN
        desk.scan(holder)
        assert isinstance(desk.scan(slot).outcome, Refused)
        seen = pulse(desk).link
        assert seen is not None and not seen.quiet and seen.words
    path.rmdir() if spoilt is None else path.unlink()
    shop.reopen()
    shop.desk.scan(shop.holder("T002"))
    assert isinstance(shop.desk.scan(shop.place("Cabinet A · 1-05")).outcome, Done), "alone, as it always was"
