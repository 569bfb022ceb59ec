"""Kiosks that were switched off in order, and kiosks that are gone: what the others know of them, from lines alone."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kiosk.ledger.shared_form import WAITING
from kiosk.rules import lines as L
from kiosk.rules.cards import Heat
from tests.ledger.kiosks import Kiosk, Server, shop

A, B = "a" * 16, "b" * 16


def together(server: Server, *kiosks: Kiosk) -> None:
    for each in kiosks:
        server.push(each.own_lines())
    for each in kiosks:
        each.pulls(server)


def member(kiosk: Kiosk, of: str) -> tuple[bool, bool, bool]:
    """Whether a kiosk takes another to rest, to be awake, to be gone."""
    with kiosk:
        found = kiosk.sharing.members()[of]
    return found.rests, found.awake, found.gone


def with_others(*, heats: bool = True) -> tuple[Server, list[Kiosk]]:
    """A founder and two more that said where they stand; `A` may book heatings or not."""
    server, kiosks = shop(A, B)
    founder, a, b = kiosks
    founder.says(L.KioskStands("Presetter", heats=False, known=True))
    a.says(L.KioskStands("Station", heats=heats, known=True))
    b.says(L.KioskStands("Cabinet", heats=False, known=True))
    together(server, *kiosks)
    return server, kiosks


def test_a_kiosk_that_said_it_rests_does_until_its_next_line_whatever_that_says() -> None:
    server, (founder, a, b) = with_others()
    a.says(L.KioskRests())
    together(server, founder, a, b)
    assert member(b, A) == (True, False, False)
    a.says(L.KioskStarted("2"))
    assert member(a, A) == (False, False, False), "the others do not know yet that it is awake"
    with a:
        assert a.sharing.members()[A].woke == WAITING + a.sharing.tail.number
    assert member(b, A) == (True, False, False)
    together(server, founder, a, b)
    assert member(a, A) == member(b, A) == (False, True, False)
    assert a.tables() == b.tables() and a.wrong() == []


def test_what_it_says_of_where_it_stands_wakes_it_no_sooner() -> None:
    server, (founder, a, b) = with_others()
    a.says(L.KioskRests())
    together(server, founder, a, b)
    a.says(L.KioskStarted("2"), L.KioskStands("Station", heats=True, known=True))
    assert not member(a, A)[1]
    server.push(a.own_lines()[:-1])
    a.pulls(server)
    assert member(a, A)[1], "its first line is known, so that all others hear from it"


@pytest.mark.parametrize("heats", [True, False])
def test_a_kiosk_that_is_gone_leaves_doubt_where_it_may_have_been_the_last(heats: bool) -> None:
    server, (founder, a, b) = with_others(heats=heats)
    founder.says(L.Moved("T2", "B", "S"), L.Heated("T2", "S"))
    together(server, founder, a, b)
    b.says(L.KioskLockedOut(A, "Station", 1, 3))
    together(server, founder, a, b)
    for each in (founder, b):
        assert member(each, A)[2]
        assert each.row("holder", "T1")["heat"] == (Heat.UNKNOWN if heats else Heat.COOL).value
        assert each.row("hold", "T2")["reading_only"] == 1, "it may have been taken out of the sleeve it cools in"
    assert founder.tables() == b.tables() and b.wrong() == []


@pytest.mark.parametrize("rests", [False, True])
@pytest.mark.parametrize("heats", [True, False])
def test_a_heating_that_knew_of_no_loss_is_left_to_readings(heats: bool, rests: bool) -> None:
    """What is gone may have heated or moved the same holder later, and the loss comes first in the shop's order."""
    server, (founder, a, b) = with_others(heats=heats)
    if rests:
        a.says(L.KioskRests())
        together(server, founder, a, b)
    founder.says(L.Moved("T1", "B", "S"), L.Heated("T1", "S"))
    b.says(L.KioskLockedOut(A, "Station", 1, 3))
    together(server, b, founder)
    for each in (founder, b):
        assert each.row("hold", "T1")["reading_only"] == int(not rests)
    assert founder.tables() == b.tables() and b.wrong() == []


def test_one_that_rested_left_nothing_unknown_and_one_that_leaves_says_all_itself() -> None:
    for gone, at in ((A, 2), (B, 2)):
        server, kiosks = with_others()
        if gone == A:
            kiosks[1].says(L.KioskRests())
            together(server, *kiosks)
        kiosks[at].says(L.KioskLockedOut(gone, "it"))
        together(server, *kiosks)
        assert member(kiosks[0], gone)[2]
        assert kiosks[0].row("holder", "T1")["heat"] == Heat.COOL.value


@pytest.mark.parametrize("ended", [L.HoldEnded("T2", "reading"), L.HoldEnded("T2", "time")])
def test_what_a_kiosk_proved_that_had_not_heard_of_the_loss_proves_nothing(ended: L.HoldEnded) -> None:
    server, (founder, a, b) = with_others()
    founder.says(L.Moved("T2", "B", "S"), L.Heated("T2", "S"))
    together(server, founder, a, b)
    heating = b.row("hold", "T2")["heated_line"]
    b.says(replace(ended, heating=heating))  # cut off meanwhile
    founder.says(L.KioskLockedOut(A, "Station"))
    server.push(founder.own_lines())
    together(server, founder, b)
    for each in (founder, b):
        assert each.row("hold", "T2")["ended_line"] is None
        assert each.row("holder", "T2")["heat"] == Heat.HELD.value
    b.says(L.HoldEnded("T2", "reading", heating))
    together(server, founder, b)
    assert founder.row("holder", "T2")["heat"] == Heat.COOL.value


def test_who_read_a_holder_all_over_knows_of_its_heat_what_who_brought_it_knows() -> None:
    server, (founder, a, b) = with_others()
    founder.says(L.Moved("T2", "B", "S"), L.Heated("T2", "S"))
    together(server, founder, a, b)
    b.says(L.HoldEnded("T2", "reading", b.row("hold", "T2")["heated_line"]))
    together(server, founder, a, b)
    for each in (founder, a, b):
        assert each.row("holder", "T2")["last_kiosk"] == B
    assert a.row("holder", "T1")["last_kiosk"] != B
