"""Undo at one kiosk while another writes: what nobody has seen yet is taken back, what others may have seen is not."""

from __future__ import annotations

from kiosk.rules.outcomes import Reason
from tests.link.kiosk import until
from tests.link.shop import Shop
from tests.link.test_books import KioskProcess, Make, level, make, sound
from tests.link.test_heat_everywhere import done, shows
from tests.link.test_heat_everywhere import two as at_the_bench

__all__ = ["make"]


def two(make: Make) -> tuple[KioskProcess, KioskProcess]:
    """One with a shop, its steel in the slot by this kiosk's own step, and another that knows of it."""
    a, b = at_the_bench(make)
    done(a, "steel-1", "slot")
    until(level(a, b))
    until(shows(b, place="Slot"))
    return a, b


def test_a_step_that_no_other_kiosk_has_is_undone_though_another_wrote_in_between(make: Make, on_server: Shop) -> None:
    a, b = two(make)
    a.network.refuse()
    done(a, "steel-1", "slot2")
    head = b.standing["head"]
    b("place", "meanwhile")
    until(lambda: b.standing["head"] > head and not b.standing["waiting"])
    until(shows(a, caught_up=False))
    undone = a("undo")
    assert undone["reason"] is None and undone["lines"], undone
    assert a("card", "H1")["place"] == "Slot"
    a.network.heal()
    sound(on_server, a, b)
    for each in (a, b):
        card = each("card", "H1")
        assert (card["place"], card["differences"]) == ("Slot", [])


def test_a_step_that_another_kiosk_has_seen_stays_once_it_is_not_heard_and_that_is_why(
    make: Make, on_server: Shop
) -> None:
    a, b = two(make)
    done(a, "steel-1", "slot2")
    until(shows(b, place="Slot 2"))
    a.network.refuse()
    b("place", "meanwhile")
    until(shows(a, caught_up=False))
    assert a("undo")["reason"] == Reason.UNDO_SHARED.value
    a.network.heal()
    sound(on_server, a, b)
    for each in (a, b):
        card = each("card", "H1")
        assert (card["place"], card["differences"]) == ("Slot 2", [])


def test_a_step_that_another_kiosk_has_seen_is_undone_in_hearing_and_not_once_that_took_the_holder_on(
    make: Make, on_server: Shop
) -> None:
    a, b = two(make)
    done(a, "steel-1", "slot2")
    until(shows(b, place="Slot 2"))
    b("place", "meanwhile")
    until(level(a, b))
    assert a("undo")["reason"] is None
    until(shows(b, place="Slot"))
    done(a, "steel-1", "slot2")
    until(shows(b, place="Slot 2"))
    done(b, "steel-1", "slot")
    until(level(a, b))
    assert a("undo")["reason"] == Reason.UNDO_OVERTAKEN.value
    sound(on_server, a, b)
    for each in (a, b):
        card = each("card", "H1")
        assert (card["place"], card["differences"]) == ("Slot", [])
