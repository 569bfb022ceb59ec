"""What is in a holder is told differently while it is warm: a hold is worked out from that, so only readings end it."""

from __future__ import annotations

import pytest

from kiosk.rules import lines as L
from kiosk.rules.cards import Heat
from tests.ledger.kiosks import Kiosk, Server
from tests.ledger.kiosks import shop as kiosks
from tests.ledger.test_people_apart import meet

A = "a" * 16
IN_ITS_PLACE = (L.TornDown("T1", "A0"), L.Built("A2", "b", "T1", "C2"))
CLAIMS: dict[str, tuple[tuple[L.Entry, ...], tuple[L.Entry, ...]]] = {
    "empty and another cutter": ((L.TornDown("T1", "A0"),), IN_ITS_PLACE),
    "empty, and in again": ((L.TornDown("T1", "A0"),), (L.TornDown("T1", "A0"), L.TornDown("T1", "A0", undoes=1))),
    "two other cutters": ((L.TornDown("T1", "A0"), L.Built("A3", "c", "T1", "C1")), IN_ITS_PLACE),
}


def heated(holder: str = "T1") -> tuple[L.Entry, ...]:
    return L.Moved(holder, "B", "S"), L.Heated(holder, "S"), L.Moved(holder, "S", "R")


def under_a_hold(*before: L.Entry) -> tuple[Server, Kiosk, Kiosk]:
    server, (founder, other) = kiosks(A)
    founder.says(*before, *heated())
    meet(server, founder, other)
    assert founder.row("hold", "T1")["reading_only"] == 0
    return server, founder, other


def only_readings(kiosk: Kiosk, holder: str = "T1") -> bool:
    hold = kiosk.row("hold", holder)
    held = kiosk.row("holder", holder)["heat"] == Heat.HELD.value and hold["ended_line"] is None
    return held and hold["reading_only"] == 1 and hold["readings"] == "[]"


@pytest.mark.parametrize("founder_first", [True, False])
@pytest.mark.parametrize("said", CLAIMS.values(), ids=CLAIMS)
def test_a_hold_whose_holder_is_told_differently_is_ended_by_readings_only_however_it_is_settled(
    said: tuple[tuple[L.Entry, ...], tuple[L.Entry, ...]], founder_first: bool
) -> None:
    server, founder, other = under_a_hold(L.Built("A0", "a", "T1", "C1"))
    founder.says(*said[0])
    other.says(*said[1])
    meet(server, *((founder, other) if founder_first else (other, founder)))
    assert "holder/T1" in founder.differences() and only_readings(founder)
    built = founder.row("holder", "T1")["assembly"]
    out = [L.TornDown("T1", built)] if built else []
    founder.says(L.ClaimSettled("holder", "T1", ""), *out)
    meet(server, founder, other)
    assert "holder/T1" not in founder.differences() and only_readings(founder), "nobody read it"
    assert founder.row("holder", "T1")["assembly"] is None


@pytest.mark.parametrize("founder_first", [True, False])
def test_one_cutter_in_two_warm_holders_leaves_both_to_readings(founder_first: bool) -> None:
    server, founder, other = under_a_hold(*heated("T2"))
    founder.says(L.Built("A1", "a", "T1", "C1"))
    other.says(L.Built("A2", "b", "T2", "C1"))
    meet(server, *((founder, other) if founder_first else (other, founder)))
    assert founder.differences() == {"cutter/C1"}
    assert only_readings(founder, "T1") and only_readings(founder, "T2")


def test_a_heating_while_that_is_open_is_left_to_readings_too_and_one_after_it_was_settled_is_not() -> None:
    server, founder, other = under_a_hold(L.Built("A0", "a", "T1", "C1"), *heated("T2"))
    founder.says(L.TornDown("T1", "A0"))
    other.says(*IN_ITS_PLACE)
    meet(server, founder, other)
    again = L.Moved("T1", "R", "S"), L.Heated("T1", "S")
    other.says(*again)
    meet(server, other, founder)
    assert only_readings(founder)
    built = founder.row("holder", "T1")["assembly"]
    assert built is None, "the first in the order said so"
    other.says(L.ClaimSettled("holder", "T1", ""))
    hold = founder.row("hold", "T1")["heated_line"]
    other.says(L.HoldEnded("T1", "reading", hold), L.Moved("T1", "S", "B"), *heated())
    meet(server, other, founder)
    assert founder.row("hold", "T1")["reading_only"] == 0 and founder.row("hold", "T2")["reading_only"] == 0
