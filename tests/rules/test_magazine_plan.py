"""A setup placed at once: against every placement tried by hand, and step by step against the rules."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import replace
from itertools import combinations
from random import Random
from types import SimpleNamespace
from unittest.mock import patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Holder
from kiosk.rules.fitting.change_plan import Aim, ChangePlan, Doing, Proof, Step
from kiosk.rules.fitting.magazine import Loaded, Magazine, MagazineKind
from kiosk.rules.fitting.magazine_plan import plan
from kiosk.rules.fitting.obstacles import ObstacleReason, limits, obstacles
from kiosk.rules.fitting.plan_steps import a_circle, stepping_outside
from kiosk.rules.say import say
from tests.rules.by_hand import Hands

SHELF = Magazine(MagazineKind.SHELF, 5, 80.0, 5.0)
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
    assert [obstacle.reason for obstacle in answer.unplaced[0].obstacles] == [ObstacleReason.MASS]


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
    assert answer.proofs[1] == Proof(Aim.MOVES, 3.0, 3.0)


def test_without_time_there_is_still_a_plan_and_it_does_not_claim_to_be_the_best() -> None:
    magazine = Magazine(MagazineKind.CHAIN, 60, 80.0, 5.0)
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
    magazine = Magazine(MagazineKind.CHAIN, 60, 80.0, 5.0, change_at=17, diameter_max_mm=75.0, fixed=frozenset({1}))
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
    kind=st.sampled_from(MagazineKind),
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
    with nullcontext() if solver else patch("scipy.optimize.milp", return_value=out_of_time):
        answer = plan(magazine, loaded, {}, wanted)
    after = {held.assembly.key: held.pocket for held in walk(magazine, loaded, {}, answer)}
    assert all(after[held.assembly.key] == held.pocket for held in loaded if held.fixed)
    missing = {unplaced.assembly.key for unplaced in answer.unplaced}
    assert missing == {entry.key for entry in wanted} - set(after)
    assert answer.proofs[0].value == len(set(wanted)) - len(missing) - sum(held.fixed for held in loaded[:2])


def _assembly(chance: Random, key: str) -> Assembly:
    built = assembly(key, chance.choice(WIDTHS_MM[:6]))
    return replace(built, holder=replace(built.holder, mass_kg=chance.choice([1.0, 1.0, 1.0, 3.0])))


Case = tuple[Magazine, list[Loaded], dict[int, str], list[Assembly], list[Loaded]]


def any_case(chance: Random) -> Case:
    """A small magazine as a shift may leave it: some fixed, some where they may not stand, some too heavy."""
    kind, pockets = chance.choice(list(MagazineKind)), chance.randint(2, 6)
    rows = 2 if kind is MagazineKind.SHELF and pockets % 2 == 0 and chance.random() < 0.5 else 1
    numbers = range(1, pockets + 1)
    magazine = Magazine(
        kind,
        pockets,
        80.0,
        5.0,
        diameter_max_mm=chance.choice([None, None, 70.0]),
        mass_max_kg=chance.choice([None, None, 1.5]),
        diameter_max_free_mm=chance.choice([None, None, 120.0]),
        change_at=chance.choice([None, 1, 2]),
        closed=frozenset(chance.sample(numbers, chance.choice([0, 0, 0, 1]))),
        rows=rows,
        row_pitch_mm=90.0 if rows > 1 else None,
    )
    old = [_assembly(chance, f"old{at}") for at in range(chance.randint(0, min(4, pockets)))]
    new = [_assembly(chance, f"new{at}") for at in range(chance.randint(0, 3))]
    bare = replace(magazine, closed=frozenset(), mass_max_kg=None, diameter_max_free_mm=None)
    loaded: list[Loaded] = []
    for entry in old:
        pocket = chance.choice(numbers)
        if not obstacles(bare, loaded, {}, pocket, entry):
            loaded.append(Loaded(pocket, entry, chance.random() < 0.15))
    wanted = [held.assembly for held in loaded if chance.random() < 0.6] + new
    chance.shuffle(wanted)
    holders = chance.sample(["h-away", *(entry.holder.key for entry in [*old, *new])], min(len(old) + len(new) + 1, 3))
    owners = dict(zip(chance.sample(numbers, chance.randint(0, min(3, pockets))), holders, strict=False))
    if chance.random() < 0.5:
        magazine = replace(magazine, fixed=frozenset(owners))
    returning = [Loaded(at, _assembly(chance, "away"), True) for at, whose in owners.items() if whose == "h-away"]
    return magazine, loaded, owners, wanted[:4], returning


def changing_places(chance: Random) -> Case:
    """A magazine so full, and pockets so owned, that those inside stand in each other's way."""
    pockets = chance.randint(2, 5)
    magazine = Magazine(
        chance.choice(list(MagazineKind)), pockets, 80.0, 5.0, diameter_max_mm=chance.choice([None, 70.0])
    )
    loaded: list[Loaded] = []
    for at in range(min(4, pockets - chance.choice([0, 0, 0, 1]))):
        entry = assembly(f"old{at}", chance.choice([20.0, 20.0, 63.0, 80.0, 110.0]))
        if free := [pocket for pocket in magazine.numbers if not obstacles(magazine, loaded, {}, pocket, entry)]:
            loaded.append(Loaded(chance.choice(free), entry))
    holders = [held.assembly.holder.key for held in loaded]
    chance.shuffle(holders)
    owners = dict(zip(chance.sample(magazine.numbers, pockets), holders, strict=False))
    wanted = [held.assembly for held in loaded if chance.random() < 0.85]
    if len(loaded) < 4 and chance.random() < 0.4:
        wanted.append(assembly("new", chance.choice([20.0, 63.0, 110.0])))
    return magazine, loaded, owners, wanted, []


@pytest.mark.parametrize(("draw", "first"), [(any_case, 0), (any_case, 400), (changing_places, 0)])
def test_no_plan_of_hands_alone_is_better_and_hands_do_what_is_counted(
    draw: Callable[[Random], Case], first: int
) -> None:
    round_outside = 0
    for seed in range(first, first + 400):
        magazine, loaded, owners, wanted, returning = draw(Random(seed))
        answer = plan(magazine, loaded, owners, wanted, returning)
        assert answer.proven, seed
        values = [proof.value for proof in answer.proofs]
        assert values == pytest.approx(Hands(magazine, loaded, owners, wanted, returning).best(), abs=0.01), seed
        assert answer.moves == values[1], seed
        walk(magazine, loaded, owners, answer)
        assert {one.assembly.key: one.obstacles for one in answer.unplaced if one.obstacles} == {
            entry.key: limits(magazine, entry) for entry in wanted if limits(magazine, entry)
        }, seed
        out = {step.assembly.key for step in answer.steps if step.doing is Doing.TAKE_OUT}
        round_outside += any(step.assembly.key in out for step in answer.steps if step.doing is Doing.PUT_IN)
    assert draw is any_case or round_outside > 30, "the cases must be of the hard kind too"


HEAVY = replace(assembly("heavy"), holder=replace(assembly("heavy").holder, mass_kg=9.0))


@pytest.mark.parametrize("owners", [{}, {3: "h-heavy"}])
@pytest.mark.parametrize("fixed", [False, True])
def test_a_limit_is_named_also_of_what_already_stands_in_the_machine(owners: dict[int, str], fixed: bool) -> None:
    light = replace(SHELF, mass_max_kg=5.0)
    answer = plan(light, [Loaded(3, HEAVY, fixed)], owners, [HEAVY])
    assert [step.doing for step in answer.steps] == [Doing.LEAVE]
    (named,) = answer.unplaced
    assert [obstacle.reason for obstacle in named.obstacles] == [ObstacleReason.MASS]
    assert named.stands_in == 3
    assert named.say == say("plan.over_limit", name="heavy", pocket=3)


def test_what_is_over_a_limit_makes_room_like_any_guest_and_is_still_named() -> None:
    light = replace(SHELF, pockets=1, mass_max_kg=5.0)
    answer = plan(light, [Loaded(1, HEAVY)], {}, [HEAVY, assembly("new")])
    assert [step.doing for step in answer.steps] == [Doing.TAKE_OUT, Doing.PUT_IN]
    assert [(one.assembly.key, one.stands_in, bool(one.obstacles)) for one in answer.unplaced] == [
        ("heavy", None, True)
    ]
    assert answer.unplaced[0].say.key == "plan.no_room"


@pytest.mark.parametrize("wanted", [True, False])
def test_what_comes_back_from_the_spindle_keeps_its_pocket_wanted_or_not_and_over_a_limit_or_not(wanted: bool) -> None:
    for away in (replace(HEAVY, cutter=replace(HEAVY.cutter, dc_mm=100.0)), assembly("away", 100.0)):
        returning = [Loaded(1, away, fixed=True)]
        owners = {1: away.holder.key}
        asked = [away, assembly("w2", 80.0)] if wanted else [assembly("w2", 80.0)]
        answer = plan(replace(SHELF, pockets=2, mass_max_kg=5.0), [], owners, asked, returning)
        assert all(entry.key != "w2" for entry in answer.after.values())


def test_without_time_nothing_wanted_is_left_where_it_may_not_stand() -> None:
    magazine = replace(SHELF, closed=frozenset({3}))
    out_of_time = SimpleNamespace(x=None, mip_dual_bound=None)
    loaded = [Loaded(3, assembly("here")), Loaded(4, assembly("guest"))]
    with patch("scipy.optimize.milp", return_value=out_of_time):
        answer = plan(magazine, loaded, {4: "h-other"}, [assembly("here")])
    assert [step.doing for step in answer.steps] == [Doing.LEAVE, Doing.MOVE]
    assert 3 not in answer.after


def test_a_book_in_which_two_stand_in_one_place_still_gives_a_plan() -> None:
    twins = [Loaded(2, assembly("a")), Loaded(2, assembly("b"))]
    answer = plan(SHELF, twins, {}, [held.assembly for held in twins])
    assert sorted(entry.key for entry in answer.after.values()) == ["a", "b"]
    assert answer.moves == 1
    out_of_time = SimpleNamespace(x=None, mip_dual_bound=None)
    with patch("scipy.optimize.milp", return_value=out_of_time):
        assert len(plan(SHELF, twins, {}, [held.assembly for held in twins]).after) == 2


@given(st.dictionaries(st.integers(0, 5), st.sets(st.integers(0, 5))))
def test_as_few_step_outside_as_break_every_circle(drawn: dict[int, set[int]]) -> None:
    waiting = {str(one): {str(other) for other in others if other in drawn} for one, others in drawn.items()}
    out = stepping_outside(waiting)

    def goes(gone: tuple[str, ...]) -> bool:
        left = {key: others - set(gone) for key, others in waiting.items() if key not in gone}
        while ready := [key for key, others in left.items() if not others & set(left)]:
            left = {key: others for key, others in left.items() if key not in ready}
        return not left

    assert goes(tuple(out))
    assert not out or not any(map(goes, combinations(waiting, len(out) - 1)))


def test_where_the_fewest_take_too_long_to_find_every_circle_is_broken_all_the_same() -> None:
    crowd = {str(one): {str(other) for other in range(8) if other != one} for one in range(8)}
    with patch("kiosk.rules.fitting.plan_steps.TRIES", 3):
        out = stepping_outside(crowd)
    assert a_circle(crowd, out) == []
