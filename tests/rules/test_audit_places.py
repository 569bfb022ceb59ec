"""Where a missing holder probably is, and which slot of a photographed drawer a holder stands in."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from kiosk.rules.drawer import slots_of
from kiosk.rules.likely import Mistake, Relation, likely_places, relation
from kiosk.rules.places import Kind, Place

PLACES = {
    place.code: place
    for place in (
        Place("C", "Cabinet", Kind.CABINET),
        *(Place(f"D{d}", f"Drawer {d}", Kind.DRAWER, "C", d) for d in (1, 2)),
        *(Place(f"D{d}S{s}", f"{d}-{s}", Kind.SLOT, f"D{d}", s) for d in (1, 2) for s in (1, 2, 3, 4, 5)),
        Place("K", "Other cabinet", Kind.CABINET),
        Place("KD", "Drawer 1", Kind.DRAWER, "K", 1),
        Place("KS", "1-1", Kind.SLOT, "KD", 1),
        Place("B", "Bench", Kind.BENCH),
        Place("M", "Mill", Kind.MACHINE),
        Place("MP", "pocket 1", Kind.POCKET, "M", 1),
        Place("O", "Regrind", Kind.OUT),
    )
}


def best(
    booked: str, came_from: str | None = None, mistakes: tuple[Mistake, ...] = (), **more: frozenset[str]
) -> list[str]:
    return [each.place for each in likely_places(booked, came_from, mistakes, PLACES, **more)]


def test_places_lie_to_each_other_as_a_setter_would_say() -> None:
    assert relation("D1S2", "D1S3", None, PLACES) is Relation.NEXT_SLOT
    assert relation("D1S2", "D1S5", None, PLACES) is Relation.SAME_DRAWER
    assert relation("D1S2", "D2S2", None, PLACES) is Relation.OTHER_DRAWER
    assert relation("D1S2", "D2S3", None, PLACES) is Relation.SAME_CABINET
    assert relation("D1S2", "KS", None, PLACES) is Relation.ELSEWHERE
    assert relation("D1S2", "MP", None, PLACES) is Relation.MACHINE
    assert relation("D1S2", "B", None, PLACES) is Relation.STATION
    assert relation("D1S2", "B", "B", PLACES) is Relation.CAME_FROM


def test_a_new_shop_looks_first_where_it_came_from_then_next_door() -> None:
    found = best("D1S2", "B")
    assert found[0] == "B"
    assert set(found[1:3]) == {"D1S1", "D1S3"}


def test_the_shops_own_mistakes_change_the_order() -> None:
    drawers_mixed_up = tuple(Mistake(f"D1S{s}", f"D2S{s}") for s in (1, 3, 4, 5)) * 3
    assert best("D1S2", None, drawers_mixed_up)[0] == "D2S2"


def test_a_pair_that_was_mixed_up_before_comes_first() -> None:
    found = likely_places("D1S2", None, [Mistake("D1S2", "KS"), Mistake("D1S2", "KS")], PLACES)
    assert found[0].place == "KS" and found[0].times == 2


def test_places_that_were_looked_through_are_left_out() -> None:
    found = best("D1S2", "B", ruled_out=frozenset(("B", "D1S1")))
    assert "B" not in found and "D1S1" not in found and found[0] == "D1S3"


def test_shares_are_of_all_places_and_fall() -> None:
    found = likely_places("D1S2", "B", [], PLACES, count=100)
    shares = [each.share for each in found]
    assert abs(sum(shares) - 1.0) < 1e-9
    assert shares == sorted(shares, reverse=True)
    assert all(PLACES[each.place].kind not in (Kind.CABINET, Kind.DRAWER, Kind.MACHINE) for each in found)


def test_each_holder_in_a_picture_goes_to_the_slot_beside_it() -> None:
    slots = {"S1": (100.0, 200.0), "S2": (200.0, 200.0), "S3": (300.0, 200.0)}
    assert slots_of([(205.0, 150.0), (98.0, 160.0)], slots) == ("S2", "S1")


def test_a_holder_far_from_every_slot_has_none() -> None:
    slots = {"S1": (100.0, 200.0), "S2": (200.0, 200.0)}
    assert slots_of([(900.0, 900.0)], slots) == (None,)


def test_two_holders_at_one_slot_share_out_by_nearness() -> None:
    slots = {"S1": (0.0, 0.0), "S2": (100.0, 0.0)}
    assert slots_of([(20.0, 0.0), (5.0, 0.0)], slots) == ("S2", "S1")
    assert slots_of([(1.0, 0.0)], {}) == (None,)


@given(st.permutations(range(6)), st.floats(-20.0, 20.0), st.floats(-20.0, 20.0))
def test_a_tidy_drawer_is_read_right_in_whatever_order_the_labels_come(order: list[int], dx: float, dy: float) -> None:
    slots = {f"S{at}": (100.0 * (at % 3), 150.0 * (at // 3)) for at in range(6)}
    holders = [(slots[f"S{at}"][0] + dx, slots[f"S{at}"][1] - 25.0 + dy) for at in order]
    assert slots_of(holders, slots) == tuple(f"S{at}" for at in order)
