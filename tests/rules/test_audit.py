"""Book against sightings: every difference once, what it counts as, and what may be done about it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.rules import audit as A
from kiosk.rules.assembly import Condition
from kiosk.rules.audit import Action, Difference, Item, Settled, Shows, Sighting
from kiosk.rules.audit_findings import evaluate
from kiosk.rules.cards import Heat
from kiosk.rules.places import Kind

OPENED = 100
STANDARD = A.Standard(now_utc_s=1e9, measured_s=86400.0, heat_limit=500.0)


def spot(code: str, kind: Kind = Kind.SLOT, number: int | None = None) -> A.Spot:
    return A.Spot(code, code.lower(), kind, number)


def cabinet() -> A.Scope:
    """One cabinet C, two drawers D1 and D2 with three slots each."""
    drawers = {f"D{at}": tuple(f"D{at}S{slot}" for slot in (1, 2, 3)) for at in (1, 2)}
    slots = [code for inside in drawers.values() for code in inside]
    inside = {"C": frozenset(("C", *drawers, *slots))}
    inside |= {drawer: frozenset((drawer, *codes)) for drawer, codes in drawers.items()}
    inside |= {code: frozenset((code,)) for code in slots}
    kinds = dict.fromkeys(slots, Kind.SLOT) | dict.fromkeys(drawers, Kind.DRAWER) | {"C": Kind.CABINET}
    groups = (
        A.Group("C", "c", (spot("C", Kind.CABINET),)),
        *(A.Group(drawer, drawer, (spot(drawer, Kind.DRAWER), *map(spot, codes))) for drawer, codes in drawers.items()),
    )
    return A.Scope("C", "c", groups, inside, kinds)


SCOPE = cabinet()


def item(key: str, place: str | None, **more: object) -> Item:
    return Item(key, f"H{key}", f"name {key}", place, place, since_line=10, assembled=True, **more)  # type: ignore[arg-type]


def look(
    items: list[Item], sightings: list[Sighting] = [], settled: list[Settled] = [], scope: A.Scope = SCOPE  # noqa: B006
) -> A.Findings:
    return evaluate(scope, {each.key: each for each in items}, sightings, settled, OPENED, STANDARD)


def seen(each: Item, place: str | None = None, line: int = 150, **more: object) -> Sighting:
    return Sighting(each.code, each.key, place, line, **more)  # type: ignore[arg-type]


def kinds(found: A.Findings) -> list[Difference]:
    return [each.difference for each in found.open]


def test_what_is_seen_where_the_book_has_it_makes_no_difference() -> None:
    one = item("1", "D1S1")
    for place in ("D1S1", "D1", "C", None):
        found = look([one], [seen(one, place)])
        assert found.open == ()
        assert (found.counts.expected, found.counts.seen, found.counts.right_share) == (1, 1, 1.0)


def test_what_nobody_saw_is_missing_in_walking_order() -> None:
    items = [item("1", "D2S1"), item("2", "D1S3"), item("3", "D1S1")]
    found = look(items)
    assert [each.text for each in found.open] == ["3", "2", "1"]
    assert [each.key for each in found.missing] == ["3", "2", "1"]
    assert found.counts.missing == 3 and found.counts.right_share == 0.0


def test_a_holder_scanned_to_its_slot_while_the_audit_runs_was_seen_by_that_scan() -> None:
    moved_in = replace(item("1", "D1S1"), since_line=OPENED + 5)
    found = look([moved_in])
    assert found.open == () and found.counts.seen == 1


def test_a_holder_taken_out_while_the_audit_runs_is_not_expected_any_more() -> None:
    one = replace(item("1", "M1"), since_line=160)
    found = look([one], [seen(one, "D1S1", line=150)])
    assert found.open == () and found.counts.expected == 0


def test_in_another_slot_it_is_misplaced_and_in_the_wrong_cabinet_not_expected() -> None:
    here, stray = item("1", "D1S1"), item("2", "M1")
    found = look([here, stray], [seen(here, "D2S3"), seen(stray, "D1S2")])
    assert kinds(found) == [Difference.MISPLACED, Difference.UNEXPECTED]
    assert (found.open[0].booked, found.open[0].found) == ("D1S1", "D2S3")
    assert (found.counts.misplaced, found.counts.unexpected, found.counts.expected) == (1, 1, 1)
    assert found.counts.right_share == 0.0


def test_another_drawer_is_misplaced_even_when_no_slot_was_scanned() -> None:
    one = item("1", "D1S1")
    assert kinds(look([one], [seen(one, "D2")])) == [Difference.MISPLACED]


@pytest.mark.parametrize(
    ("heat", "difference"), [(Heat.HELD, Difference.HOT), (Heat.UNKNOWN, Difference.NOT_PROVEN_COOL)]
)
def test_hot_in_the_cabinet_comes_before_everything_else(heat: Heat, difference: Difference) -> None:
    hot, gone = item("1", "R1", heat=heat), item("2", "D1S1")
    found = look([hot, gone], [seen(hot, "D1S2")])
    assert kinds(found) == [difference, Difference.MISSING, Difference.UNEXPECTED]
    assert found.counts.hot == 1
    assert Action.CARRIED_OVER not in found.open[0].actions, "heat is never carried over"
    grid = {state.spot.code: state.state for group in found.groups for state in group.spots}
    assert grid["D1S2"] is Shows.HOT


def test_hot_at_a_cooling_place_is_as_it_should_be() -> None:
    rack = A.Scope(
        "R", "r", (A.Group("R", "r", (spot("R", Kind.COOLING),)),), {"R": frozenset("R")}, {"R": Kind.COOLING}
    )
    one = item("1", "R", heat=Heat.HELD)
    found = look([one], [seen(one)], scope=rack)
    assert found.open == () and found.groups[0].spots[0].state is Shows.SEEN


def test_labels_nobody_knows_are_told_apart() -> None:
    sightings = [
        Sighting("X1", None, "D1S1", 150),
        Sighting("X2", None, "D1S2", 151, retired=True),
        Sighting("X3", None, "D1S3", 152, bound=True),
    ]
    found = look([], sightings)
    assert kinds(found) == [Difference.UNKNOWN_CODE, Difference.RETIRED_LABEL]
    assert found.counts.unknown == 2
    grid = {state.spot.code: state.state for group in found.groups for state in group.spots}
    assert grid["D1S1"] is Shows.UNKNOWN


def test_one_code_in_two_slots_at_once_is_a_label_too_many() -> None:
    one = item("1", "D1S1")
    found = look([one], [seen(one, "D1S1", twin="D2S1")])
    assert kinds(found) == [Difference.DUPLICATE_LABEL]
    assert (found.open[0].booked, found.open[0].found) == ("D2S1", "D1S1")


def test_an_empty_holder_where_an_assembly_should_be() -> None:
    told = item("1", "D1S1")
    assert kinds(look([told], [seen(told, "D1S1", empty=True)])) == [Difference.EMPTY_HOLDER]
    put_here_with_a_cutter = replace(item("2", "D1S2"), assembled=False, torn_line=50)
    assert kinds(look([put_here_with_a_cutter], [seen(put_here_with_a_cutter)])) == [Difference.EMPTY_HOLDER]
    bare_all_along = replace(item("3", "D1S3"), assembled=False, torn_line=5)
    assert look([bare_all_along], [seen(bare_all_along)]).open == ()


def test_past_life_and_old_measurements_are_named() -> None:
    worn = item("1", "D1S1", used_min=90.0, life_min=90.0)
    cycled = item("2", "D1S2", heat_cycles=500)
    old = item("3", "D1S3", measured_utc_s=1e9 - 86401.0)
    fresh = item("4", "D2S1", measured_utc_s=1e9 - 86399.0, used_min=89.0, life_min=90.0, heat_cycles=499)
    said = item("5", "D2S2", used_min=99.0, life_min=90.0, condition=Condition.WORN)
    items = [worn, cycled, old, fresh, said]
    found = look(items, [seen(each, each.place) for each in items])
    assert [(each.text, each.difference) for each in found.open] == [
        ("1", Difference.PAST_LIFE), ("2", Difference.PAST_LIFE), ("3", Difference.MEASURED_LONG_AGO),
    ]  # fmt: skip
    assert found.counts.right_share == 1.0, "notes about the steel are no fault of the book"


def test_a_worn_label_is_noted_on_what_was_seen_and_only_from_half_of_its_correction_on() -> None:
    bare = replace(item("1", "D1S1", label_spent=0.5), assembled=False)
    items = [bare, item("2", "D1S2", label_spent=0.49), item("3", "D1S3", label_spent=1.0)]
    found = look(items, [seen(each, each.place) for each in items[:2]])
    assert [(each.text, each.difference) for each in found.open] == [
        ("3", Difference.MISSING), ("1", Difference.LABEL_WORN),
    ]  # fmt: skip
    assert Difference.LABEL_WORN in A.NOTES and found.counts.unknown == 0


def settled(text: str, difference: Difference, action: Action, line: int = 170) -> Settled:
    return Settled(text, difference, action, "", "D1S1", "D2S1", line)


def test_a_settled_difference_waits_no_more_and_still_counts() -> None:
    gone = replace(item("1", None), since_line=170)  # booked as nowhere known since
    found = look([gone], settled=[settled("1", Difference.MISSING, Action.NOWHERE)])
    assert found.open == ()
    assert (found.counts.expected, found.counts.missing, found.counts.seen) == (1, 1, 0)


def test_what_was_given_up_and_turns_up_is_not_missing_any_more() -> None:
    one = item("1", "D1S1")
    found = look([one], [seen(one, "D1S1", line=180)], [settled("1", Difference.MISSING, Action.CARRIED_OVER)])
    assert found.open == () and found.counts.missing == 0


def test_a_book_moved_here_was_not_expected_and_is_not_counted_as_if() -> None:
    come = replace(item("1", "D2S1"), since_line=170)
    found = look([come], [seen(come, "D2S1", line=150)], [settled("1", Difference.UNEXPECTED, Action.BOOK_MOVED)])
    assert (found.counts.expected, found.counts.unexpected) == (0, 1)


def test_every_difference_can_be_closed_and_only_heat_cannot_wait() -> None:
    assert A.ACTIONS.keys() == set(Difference)
    stubborn = {difference for difference in Difference if Action.CARRIED_OVER not in A.ACTIONS[difference]}
    assert stubborn == {Difference.HOT, Difference.NOT_PROVEN_COOL}


def test_the_time_somebody_was_at_it_leaves_the_breaks_out() -> None:
    assert A.active_s([("K", 8e6), ("K", 8e6 + 4.0), ("K", 8e6 + 9.0)]) == 9.0
    assert A.active_s([("K", 0.0), ("K", 5000.0), ("K", 5003.0)]) == A.LONGEST_GAP_S + 3.0
    assert A.active_s([("K", 7.0)]) == 0.0


def test_between_the_lines_of_two_kiosks_no_time_is_counted() -> None:
    assert A.active_s([("K", 8e6), ("K", 8e6 + 4.0), ("other", 8e6 + 9.0), ("other", 8e6 + 10.0)]) == 5.0


def test_the_pace_is_given_for_a_hundred_holders() -> None:
    mark = A.Mark("a", 0.0, A.Counts(50, 40, 10), 80.0)
    assert mark.seconds_per_hundred == 200.0
    assert mark.counts.right_share == 0.8
    assert A.Mark("b", 0.0, A.Counts(), 80.0).seconds_per_hundred is None


PLACES = ["D1S1", "D1S2", "D2S1", "D2S3", "D1", "D2", "M1", "R1", None]


@given(
    st.lists(
        st.tuples(st.sampled_from(PLACES), st.sampled_from([None, *PLACES]), st.booleans(), st.sampled_from(Heat)),
        max_size=12,
    )
)
def test_every_holder_is_seen_or_missing_and_the_counts_agree(
    drawn: list[tuple[str | None, str | None, bool, Heat]],
) -> None:
    items = [item(str(at), place, heat=heat) for at, (place, _, _, heat) in enumerate(drawn)]
    sightings = [
        seen(each, where if where in SCOPE.members else None)
        for each, (_, where, was_seen, _) in zip(items, drawn, strict=True)
        if was_seen
    ]
    found = look(items, sightings)
    here = [each for each in items if each.place in SCOPE.members]
    assert found.counts.expected == len(here)
    assert found.counts.expected == found.counts.seen + found.counts.missing
    assert len({each.key for each in found.open}) == len(found.open)
    shown = [state.holder for group in found.groups for state in group.spots if state.holder]
    assert len(shown) == len(set(shown)), "a holder stands in one place of the grid"
    assert {each.key for each in here} <= set(shown)
    again = look(items[::-1], sightings[::-1])
    assert again.counts == found.counts


def test_what_was_moved_away_since_it_was_seen_is_none_of_this_audit() -> None:
    gone = replace(item("1", "X9", used_min=90.0, life_min=60.0), since_line=200)
    assert look([gone], [seen(gone, "D1S1", line=150)]).open == ()
    here = replace(gone, since_line=10)
    assert set(kinds(look([here], [seen(here, "D1S1", line=150)]))) == {Difference.UNEXPECTED, Difference.PAST_LIFE}


def test_a_label_too_many_is_called_by_its_holders_name_where_one_is_known() -> None:
    one = item("1", "D1S1")
    found = look([one], [seen(one, "D1S2", twin="D1S1")])
    named = [each for each in found.open if each.difference is Difference.DUPLICATE_LABEL]
    assert [(each.name, each.booked, each.found) for each in named] == [("name 1", "D1S1", "D1S2")]
    strange = look([], [Sighting("X", None, "D1S2", 150, twin="D1S1")])
    assert {each.name for each in strange.open} == {"X"}


def test_what_was_seen_at_a_place_this_audit_knows_nothing_of_is_only_astray() -> None:
    for more in ({"heat": Heat.HELD}, {}):
        one = replace(item("1", "D1S1", **more), assembled=False, torn_line=50)
        assert kinds(look([one], [seen(one, "X9")])) == [Difference.MISPLACED]


def test_a_holder_without_a_cutter_in_a_machine_is_empty_and_a_cutter_that_is_out_was_not_measured_long_ago() -> None:
    mill = replace(SCOPE, kinds={**SCOPE.kinds, "D1S1": Kind.POCKET})
    bare = replace(item("1", "D1S1"), assembled=False, measured_utc_s=1.0)
    assert kinds(look([bare], [seen(bare, "D1S1")], scope=mill)) == [Difference.EMPTY_HOLDER]
    assert kinds(look([bare], [seen(bare, "D1S1")])) == []


def test_a_holders_own_heat_limit_comes_before_the_shops() -> None:
    for own, cycles, worn in (
        (5.0, 5, True), (5.0, 4, False), (None, 499, False), (None, 500, True), (900.0, 600, False),
    ):  # fmt: skip
        one = item("1", "D1S1", heat_cycles=cycles, heat_limit=own)
        assert (Difference.PAST_LIFE in kinds(look([one], [seen(one, "D1S1")]))) is worn, (own, cycles)


def test_differences_are_told_in_walking_order_of_where_they_were_found_and_missing_ones_of_where_they_belong() -> None:
    one, two = item("1", "D2S1"), item("2", "D1S2")
    astray = look([one, two], [seen(one, "D1S1"), seen(two, "D2S3")])
    assert [(each.text, each.found) for each in astray.open] == [("1", "D1S1"), ("2", "D2S3")]
    assert [each.text for each in look([one, two]).open] == ["2", "1"]


def test_only_what_was_booked_here_though_nobody_expected_it_is_not_counted_as_expected() -> None:
    one = item("1", "D1S1")
    for difference, action, expected in (
        (Difference.UNEXPECTED, Action.BOOK_MOVED, 0), (Difference.UNEXPECTED, Action.PUT_BACK, 1),
        (Difference.MISPLACED, Action.BOOK_MOVED, 1),
    ):  # fmt: skip
        closed = [settled("1", difference, action)]
        assert look([one], [seen(one, "D1S1")], closed).counts.expected == expected


def test_a_drawer_is_no_slot_that_waits_to_be_filled_and_a_bench_is_a_place_of_its_own() -> None:
    def shown(scope: A.Scope) -> list[tuple[str, Shows]]:
        return [(each.spot.code, each.state) for group in look([], scope=scope).groups for each in group.spots]

    slots = [f"D{drawer}S{slot}" for drawer in (1, 2) for slot in (1, 2, 3)]
    assert shown(SCOPE) == [(code, Shows.EMPTY) for code in slots]
    bench = A.Scope("B", "b", (A.Group("B", "b", (spot("B", Kind.BENCH),)),), {"B": frozenset("B")}, {"B": Kind.BENCH})
    assert shown(bench) == [("B", Shows.EMPTY)]
