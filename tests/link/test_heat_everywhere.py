"""Heat at one kiosk is heat at every other, and what is not heard is not cool: real desks and a real server."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tests.link.kiosk import until
from tests.link.shop import Shop
from tests.link.test_books import KioskProcess, Make, level, make, sound

__all__ = ["make"]


def scans(kiosk: KioskProcess, holder: str, place: str) -> dict[str, Any]:
    assert kiosk("scan", holder)["outcome"] == "Wait"
    return kiosk("scan", f"at-{place}")


def done(kiosk: KioskProcess, holder: str, place: str) -> None:
    """Scanned until it is: on a slow machine another kiosk may not be in hearing for a moment."""
    until(lambda: scans(kiosk, holder, place)["outcome"] == "Done")


def shows(kiosk: KioskProcess, **wanted: object) -> Callable[[], bool]:
    def so() -> bool:
        card = kiosk("card", "H1")
        return {name: card[name] for name in wanted} == wanted

    return so


def two(make: Make) -> tuple[KioskProcess, KioskProcess]:
    """Both know the shop, and each other."""
    a, b = make("A"), make("B")
    a("shop")
    until(level(a, b))
    for each in (a, b):
        until(shows(each, place="Bench", heard=True, all_heard=True, station=True, warmth="cool"))
    return a, b


def test_a_heating_at_one_kiosk_is_refused_at_the_other(make: Make, on_server: Shop) -> None:
    a, b = two(make)
    assert scans(a, "steel-1", "station")["outcome"] == "Done"
    until(shows(b, warmth="held", place="Station"))
    assert scans(b, "steel-1", "slot")["reason"] == "hot"
    sound(on_server, a, b)


def test_cut_off_what_the_other_brought_here_is_not_cool_and_what_was_heard_again_is(
    make: Make, on_server: Shop
) -> None:
    a, b = two(make)
    b.network.refuse()
    until(shows(b, heard=False, warmth="unknown"))
    assert scans(b, "steel-1", "slot")["reason"] == "unheard"
    b.network.heal()
    until(shows(b, heard=True, warmth="cool"))
    done(b, "steel-1", "slot")
    sound(on_server, a, b)


def test_a_heating_that_was_not_heard_beside_a_step_not_verified_is_a_difference_and_hot_everywhere(
    make: Make, on_server: Shop
) -> None:
    a, b = two(make)
    done(b, "steel-1", "slot")
    until(shows(a, place="Slot"))
    until(level(a, b))
    b.network.refuse()
    until(shows(b, heard=False, caught_up=False))
    assert b("undo")["reason"] == "undo_shared", "the others have seen that step"
    assert scans(a, "steel-1", "station")["outcome"] == "Done"
    assert scans(b, "steel-1", "slot2")["outcome"] == "Done"  # its own, and marked as not verified
    b.network.heal()
    for each in (a, b):
        until(shows(each, warmth="held", place=None, differences=["place/H1"]))
    sound(on_server, a, b)


def test_a_heating_that_is_refused_at_a_kiosk_elsewhere_is_hot_at_every_other(make: Make, on_server: Shop) -> None:
    a, b = two(make)
    b("stands", "slot")
    until(shows(b, station=False))
    assert scans(b, "steel-1", "station")["reason"] == "not_the_station"
    for each in (b, a):
        until(shows(each, warmth="held", place="Bench"))
    assert scans(a, "steel-1", "slot")["reason"] == "hot"
    sound(on_server, a, b)
