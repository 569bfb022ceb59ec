"""A kiosk that was switched off in order, woken cut off, and one that is gone for good: real desks, a real server."""

from __future__ import annotations

from kiosk.rules.hearing import WITHIN_S
from tests.link.kiosk import until
from tests.link.shop import Shop
from tests.link.test_books import Make, make, sound
from tests.link.test_heat_everywhere import done, scans, shows, two

__all__ = ["make"]


def test_one_that_was_closed_in_order_is_waited_for_no_more_and_woken_cut_off_it_heats_nothing(
    make: Make, on_server: Shop
) -> None:
    a, b = two(make)
    done(b, "steel-1", "slot")
    until(shows(a, place="Slot"))
    a.quit()
    b("wait", str(WITHIN_S + 1.0))
    until(shows(b, heard=True, all_heard=True))
    a.network.refuse()
    a.start()
    card = a("card", "H1")
    assert (card["awake"], card["station"], card["heard"], card["all_heard"]) == (False, False, False, False)
    assert card["warmth"] == "unknown", "what was heated while it was off, it did not hear"
    assert scans(a, "steel-1", "station")["reason"] == "not_the_station"
    assert shows(b, heard=True, all_heard=True, warmth="cool")()
    a.network.heal()
    until(shows(a, awake=True, station=True, all_heard=True), 60)  # a try that was refused waits 15 s for the next
    for each in (a, b):
        until(shows(each, warmth="held", all_heard=True))  # the scan that was refused is known now
    sound(on_server, a, b)


def test_one_that_was_killed_is_waited_for_until_it_is_locked_out_and_then_nothing_is_cool(
    make: Make, on_server: Shop
) -> None:
    a, b = two(make)
    done(b, "steel-1", "slot")
    until(shows(a, place="Slot"))
    a.network.refuse()
    until(shows(a, heard=False))
    assert scans(a, "steel-1", "station")["outcome"] == "Done", "the station works on, cut off"
    a.kill()
    until(shows(b, heard=False, warmth="cool"))
    told = b("lock_out", a.kiosk)
    assert told["shared"] > 0
    until(shows(b, heard=True, all_heard=True, warmth="unknown"))
    assert scans(b, "steel-1", "slot2")["reason"] == "nowhere_known"
    a.network.heal()
    a.start()
    until(lambda: a.standing["state"] == "locked_out")
    assert shows(a, station=False)()
    sound(on_server, b)
