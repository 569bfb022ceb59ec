"""A setup placed at once: against every placement tried by hand, and step by step against the rules."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import replace
from itertools import permutations
from types import SimpleNamespace
from unittest.mock import patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Holder
from kiosk.rules.magazine import Kind, Loaded, Magazine, Reason, obstacles, travel_mm
from kiosk.rules.magazine_plan import Aim, ChangePlan, Doing, Proof, Step, plan

SHELF = Magazine(Kind.SHELF, 5, 80.0, 5.0)
WIDTHS_MM = [6.0, 20.0, 63.0, 80.0, 110.0, 150.0, 200.0]


def assembly(key: str, diameter_mm: float = 20.0) -> Assembly:
    steel = Holder(f"h-{key}", key, Coupling.parse("HSK63"), Clamping.COLLET, 20.0, nose_mm=6.0, mass_kg=1.0)
    return Assembly(key, key, steel, Cutter(f"c-{key}", key, diameter_mm, 12.0, 100.0))


def walk(magazine: Magazine, loaded: list[Loaded], owners: dict[int, str], answer: ChangePlan) -> list[Loaded]:
    """Does every step as the operator would, asking the rules each time."""
    inside = {held.assembly.key: held for held in loaded}
    for step in answer.steps:
        key = step.assembly.key
        if step.doing is Doing.LEAVE:
            assert inside[key].pocket == step.goal == step.origin
        elif step.doing is Doing.TAKE_OUT:
            assert inside.pop(key).pocket == step.origin
        else:
            assert step.goal is not None
            assert (key in inside) is (step.doing is Doing.MOVE)
            assert obstacles(magazine, list(inside.values()), owners, step.goal, step.assembly) == ()
            inside[key] = Loaded(step.goal, step.assembly)
    return list(inside.values())


def test_what_is_there_stays_and_the_rest_stands_nearest() -> None:
    here = assembly("here")
    answer = plan(replace(SHELF, change_at=3), [Loaded(5, here)], {}, [assembly("new"), here])
    assert answer.steps == (
        Step(Doing.LEAVE, here, 5, 5),
        Step(Doing.PUT_IN, assembly("new"), None, 3),
    )
    assert answer.proven
    assert answer.after == {5: here, 3: assembly("new")}


def test_what_is_not_wanted_stays_unless_room_is_needed() -> None:
    guests = [Loaded(pocket, assembly(f"g{pocket}")) for pocket in (1, 2, 3, 4)]
    answer = plan(SHELF, guests, {}, [assembly("n1")])
    assert [step.doing for step in answer.steps].count(Doing.LEAVE) == 4
    two = plan(SHELF, guests, {}, [assembly("n1"), assembly("n2")])
    assert [step.doing for step in two.steps].count(Doing.TAKE_OUT) == 1
    assert two.proofs[1] == Proof(Aim.MOVES, 3.0, 3.0)


def test_fixed_ones_are_never_touched_even_where_that_costs_a_place() -> None:
    probe = Loaded(3, assembly("probe"), fixed=True)
    owner = Loaded(1, assembly("owner"))
    wide = [assembly("w1", 130.0), assembly("w2", 130.0)]
    magazine = replace(SHELF, diameter_max_mm=75.0)
    answer = plan(magazine, [probe, owner], {1: "h-owner"}, wide)
    assert answer.after[3] == probe.assembly
    assert answer.after[1] == owner.assembly
    assert len(answer.unplaced) == 1
    assert answer.unplaced[0].obstacles == ()
    assert answer.proofs[0] == Proof(Aim.PLACED, 1.0, 1.0)


def test_what_the_machine_cannot_take_is_left_out_with_its_reason() -> None:
    answer = plan(replace(SHELF, mass_max_kg=0.5), [], {}, [assembly("heavy")])
    assert answer.steps == ()
    assert [obstacle.reason for obstacle in answer.unplaced[0].obstacles] == [Reason.MASS]


def test_room_for_what_returns_to_its_fixed_pocket_is_kept() -> None:
    away = Loaded(1, assembly("away", 100.0), fixed=True)
    answer = plan(SHELF, [], {1: "h-away"}, [assembly("wide", 80.0)], returning=[away])
    assert list(answer.after) == [3]


def test_two_that_must_change_places_go_by_the_outside() -> None:
    one, other = assembly("one"), assembly("other")
    magazine = replace(SHELF, pockets=2)
    owners = {1: "h-other", 2: "h-one"}
    loaded = [Loaded(1, one), Loaded(2, other)]
    answer = plan(magazine, loaded, owners, [one, other])
    assert {held.pocket: held.assembly.key for held in walk(magazine, loaded, owners, answer)} == {
        1: "other",
        2: "one",
    }
    assert [step.doing for step in answer.steps] == [Doing.TAKE_OUT, Doing.MOVE, Doing.PUT_IN]


def test_without_time_there_is_still_a_plan_and_it_does_not_claim_to_be_the_best() -> None:
    magazine = Magazine(Kind.CHAIN, 60, 80.0, 5.0)
    wanted = [assembly(str(at), WIDTHS_MM[at % 7]) for at in range(30)]
    answer = plan(magazine, [], {}, wanted, seconds=0.0)
    assert len(walk(magazine, [], {}, answer)) + len(answer.unplaced) == 30
    assert not answer.proven
    assert any(proof.gap > 0 for proof in answer.proofs)


def test_each_aim_is_announced_before_it_is_sought() -> None:
    heard: list[tuple[Aim, float]] = []
    plan(SHELF, [], {}, [assembly("a")], report=lambda aim, share: heard.append((aim, share)))
    assert heard == [(Aim.MOVES, 0.0), (Aim.TRAVEL, 0.5)]


def test_forty_into_sixty_pockets_is_proven_best() -> None:
    magazine = Magazine(Kind.CHAIN, 60, 80.0, 5.0, change_at=17, diameter_max_mm=75.0, fixed=frozenset({1}))
    old = [Loaded(2 + 2 * at, assembly(f"old{at}", WIDTHS_MM[at % 3] - 0.01 * at)) for at in range(28)]
    wanted = [held.assembly for held in old[:15]]
    wanted += [assembly(f"new{at}", (WIDTHS_MM[at % 3] if at % 4 else 110.0) + 0.01 * at) for at in range(25)]
    answer = plan(magazine, old, {1: "h-probe"}, wanted)
    assert answer.proven
    assert answer.unplaced == ()
    after = walk(magazine, old, {1: "h-probe"}, answer)
    assert {held.assembly.key for held in after} >= {entry.key for entry in wanted}
    assert 1 not in {held.pocket for held in after}


LARGER = st.builds(
    Magazine,
    kind=st.sampled_from(Kind),
    pockets=st.integers(3, 14),
    pitch_mm=st.just(80.0),
    diameter_max_mm=st.sampled_from([None, 70.0]),
)


@settings(max_examples=60, deadline=None)
@given(
    LARGER,
    st.lists(st.tuples(st.integers(1, 14), st.sampled_from(WIDTHS_MM), st.booleans()), max_size=8),
    st.lists(st.sampled_from(WIDTHS_MM), max_size=8),
    st.booleans(),
)
def test_every_step_is_allowed_when_its_turn_comes_with_the_solver_and_without(
    magazine: Magazine, there: list[tuple[int, float, bool]], new: list[float], solver: bool
) -> None:
    loaded: list[Loaded] = []
    for at, (pocket, diameter_mm, fixed) in enumerate(there):
        entry = assembly(f"old{at}", diameter_mm)
        if not obstacles(magazine, loaded, {}, pocket, entry):
            loaded.append(Loaded(pocket, entry, fixed))
    wanted = [held.assembly for held in loaded[:2]]
    wanted += [assembly(f"new{at}", diameter_mm) for at, diameter_mm in enumerate(new)]
    out_of_time = SimpleNamespace(x=None, mip_dual_bound=None)
    with nullcontext() if solver else patch("kiosk.rules.magazine_plan.milp", return_value=out_of_time):
        answer = plan(magazine, loaded, {}, wanted)
    after = {held.assembly.key: held.pocket for held in walk(magazine, loaded, {}, answer)}
    assert all(after[held.assembly.key] == held.pocket for held in loaded if held.fixed)
    missing = {unplaced.assembly.key for unplaced in answer.unplaced}
    assert missing == {entry.key for entry in wanted} - set(after)
    assert answer.proofs[0].value == len(set(wanted)) - len(missing) - sum(held.fixed for held in loaded[:2])


def _tried_by_hand(
    magazine: Magazine, loaded: list[Loaded], owners: dict[int, str], wanted: list[Assembly]
) -> tuple[float, float, float]:
    """Best (placed, moves, travel) of every way to put subsets of wanted and of what is there into pockets."""
    keys = {entry.key for entry in wanted}
    guests = [held for held in loaded if held.assembly.key not in keys]
    at_now = {held.assembly.key: held.pocket for held in loaded}
    way = travel_mm(magazine)
    best = (0.0, float("inf"), float("inf"))
    spots = [*magazine.numbers, *([None] * len(wanted))]
    for goals in set(permutations(spots, len(wanted))):
        put = [Loaded(goal, entry) for goal, entry in zip(goals, wanted, strict=True) if goal is not None]
        if any(obstacles(magazine, put, owners, held.pocket, held.assembly) for held in put):
            continue
        for mask in range(1 << len(guests)):
            stay = [held for at, held in enumerate(guests) if mask >> at & 1]
            if any(obstacles(magazine, [*stay, *put], {}, held.pocket, held.assembly) for held in stay):
                continue
            carried = sum(at_now.get(held.assembly.key) != held.pocket for held in put)
            moves = carried + len(guests) - len(stay)
            travel = sum(way[held.pocket - magazine.first] for held in put)
            best = min(best, (-float(len(put)), float(moves), round(float(travel), 6)))
    return -best[0], best[1], best[2]


SMALL = st.builds(
    Magazine,
    kind=st.sampled_from(Kind),
    pockets=st.integers(2, 5),
    pitch_mm=st.just(80.0),
    diameter_max_mm=st.sampled_from([None, 70.0]),
    change_at=st.sampled_from([1, 2]),
)


@settings(max_examples=40, deadline=None)
@given(
    SMALL,
    st.lists(st.tuples(st.integers(1, 5), st.sampled_from(WIDTHS_MM)), max_size=3, unique_by=lambda pair: pair[0]),
    st.lists(st.sampled_from(WIDTHS_MM), max_size=3),
    st.integers(0, 2),
    st.booleans(),
)
def test_no_placement_tried_by_hand_is_better(
    magazine: Magazine, there: list[tuple[int, float]], new: list[float], kept: int, owned: bool
) -> None:
    owners = {2: "h-new0"} if owned else {}
    loaded: list[Loaded] = []
    for pocket, diameter_mm in there:
        entry = assembly(f"old{pocket}", diameter_mm)
        if not obstacles(magazine, loaded, {}, pocket, entry):
            loaded.append(Loaded(pocket, entry))
    wanted = [held.assembly for held in loaded[:kept]]
    wanted += [assembly(f"new{at}", diameter_mm) for at, diameter_mm in enumerate(new)]
    answer = plan(magazine, loaded, owners, wanted)
    assert answer.proven
    values = tuple(proof.value for proof in answer.proofs)
    if wanted:
        assert values == pytest.approx(_tried_by_hand(magazine, loaded, owners, wanted), abs=1e-3)
    after = walk(magazine, loaded, owners, answer)
    assert sum(held.assembly.key in {entry.key for entry in wanted} for held in after) == values[0]
