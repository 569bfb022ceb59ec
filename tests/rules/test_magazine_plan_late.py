"""What a plan is where the solver runs out of time, or did not see that some wait for each other: never called best."""

from __future__ import annotations

from typing import Any
from unittest.mock import patch

from kiosk.rules.fitting import magazine_plan
from kiosk.rules.fitting.change_plan import Aim, ChangePlan, Doing, Proof
from kiosk.rules.fitting.magazine import Loaded, Magazine, MagazineKind
from kiosk.rules.fitting.magazine_plan import plan
from kiosk.rules.fitting.plan_programme import Reached
from tests.rules.test_magazine_plan import SHELF, assembly

WIDE = Magazine(MagazineKind.SHELF, 5, 80.0, 5.0, change_at=1)


def solved(*answers: tuple[dict[str, int] | None, Reached]) -> Any:
    """In the place of the solver: its answers one after the other."""
    return patch.object(magazine_plan, "solve", side_effect=list(answers))


def pockets(answer: ChangePlan) -> dict[str, int]:
    return {entry.key: pocket for pocket, entry in answer.after.items()}


def test_without_an_answer_what_plain_packing_finds_is_the_plan_and_its_way_is_not_called_the_shortest() -> None:
    with solved((None, Reached(2.0, 1.0, 0.0))):
        answer = plan(WIDE, [], {}, [assembly("a"), assembly("b")])
    assert pockets(answer) == {"a": 1, "b": 2} or pockets(answer) == {"a": 2, "b": 1}
    assert answer.proofs == (
        Proof(Aim.PLACED, 2.0, 2.0), Proof(Aim.MOVES, 2.0, 1.0), Proof(Aim.TRAVEL, 80.0, 0.0),
    )  # fmt: skip
    assert not answer.proven


def test_of_an_answer_that_is_not_proven_and_plain_packing_the_better_one_is_the_plan() -> None:
    new = [assembly("a"), assembly("b")]
    for chosen, bounds, taken, way_mm in (
        ({"a": 3, "b": 4}, Reached(2.0, 1.0, 70.0), {1, 2}, 0.0),  # farther than it need be
        ({"a": 0, "b": 1}, Reached(2.0, 1.0, 70.0), {1, 2}, 70.0),  # no worse: its own bound is kept
        ({"a": 3, "b": 4}, Reached(2.0, 2.0, 70.0), {4, 5}, 70.0),  # as many and as few moves as can be: it stands
        ({"a": 3}, Reached(2.0, 2.0, 70.0), {1, 2}, 0.0),  # fewer than there is room for
    ):
        with solved((chosen, bounds)):
            answer = plan(WIDE, [], {}, new)
        assert set(pockets(answer).values()) == taken, chosen
        assert answer.proofs[2].bound == way_mm, chosen


def test_with_fewer_placed_than_might_be_no_number_of_moves_is_called_the_fewest() -> None:
    huge = [assembly(name, 150.0) for name in "abcde"]
    with solved((None, Reached(4.0, 3.0, 10.0))):
        answer = plan(WIDE, [], {}, huge)
    placed, moves, way = answer.proofs
    assert placed.value < 4.0 == placed.bound and (moves.value, moves.bound) == (placed.value, 0.0)
    assert len(answer.unplaced) == 5 - int(placed.value) and way.bound == 0.0
    with solved((None, Reached(1.0, 9.0, 10.0))):
        generous = plan(WIDE, [], {}, huge)
    assert generous.proofs[0].bound == placed.value and generous.proofs[1].bound == moves.value, "no worse than itself"


def test_a_plan_by_the_outside_is_solved_again_with_that_way_seen_and_the_better_one_is_taken() -> None:
    one, two = assembly("one"), assembly("two")
    standing = [Loaded(1, one), Loaded(2, two)]
    full = Magazine(MagazineKind.SHELF, 2, 80.0, 5.0)
    swap = {"one": 1, "two": 0}
    stay = {"one": 0, "two": 1}
    for again, taken in ((stay, stay), (None, swap), (swap, swap)):
        bounds = Reached(2.0, 0.0, 80.0) if again is stay else Reached(2.0, 3.0, 80.0)
        with (
            solved((swap, Reached(2.0, 2.0, 80.0)), (again, bounds)) as solve,
            patch.object(magazine_plan, "_packed", return_value=swap),
        ):
            answer = plan(full, standing, {}, [one, two])
        assert solve.call_count == 2 and solve.call_args[0][0].magazine is full
        assert pockets(answer) == {key: at + 1 for key, at in taken.items()}
        assert answer.proofs[1].bound == (0.0 if again is stay else 3.0), "the tighter bound counts"
    looser = ((swap, Reached(2.0, 2.0, 80.0)), (swap, Reached(2.0, 1.0, 80.0)))
    with solved(*looser), patch.object(magazine_plan, "_packed", return_value=swap):
        assert plan(full, standing, {}, [one, two]).proofs[1].bound == 2.0


def test_packing_leaves_guests_alone_if_all_find_room_and_else_each_whose_pocket_nobody_needs() -> None:
    guests = [Loaded(pocket, assembly(f"g{pocket}")) for pocket in (1, 2, 3, 4)]
    for count, out in ((1, 0), (2, 2), (3, 3), (5, 4)):
        with solved((None, Reached(float(count), 0.0, 0.0))):
            answer = plan(SHELF, guests, {}, [assembly(f"n{at}") for at in range(count)])
        doing = [step.doing for step in answer.steps]
        assert doing.count(Doing.TAKE_OUT) == out and doing.count(Doing.PUT_IN) == count, count
        assert (
            all(step.origin == step.goal for step in answer.steps if step.doing is Doing.LEAVE) and not answer.unplaced
        )


def test_packing_keeps_what_is_fixed_and_what_stands_in_a_pocket_of_its_own() -> None:
    fixed, own = Loaded(1, assembly("fixed", 110.0), fixed=True), Loaded(3, assembly("own"))
    with solved((None, Reached(2.0, 0.0, 0.0))):
        answer = plan(SHELF, [fixed, own], {3: "h-own"}, [assembly("n0"), assembly("n1")])
    assert pockets(answer) == {
        "fixed": 1,
        "own": 3,
        **{key: at for key, at in pockets(answer).items() if key[0] == "n"},
    }
    with solved((None, Reached(1.0, 0.0, 0.0))):
        kept = plan(SHELF, [], {}, [assembly("n0")], returning=[Loaded(1, assembly("away"))])
    assert pockets(kept)["n0"] != 1, "its pocket is kept for what comes back"


def test_a_plan_takes_twenty_seconds_a_search_unless_it_is_said_otherwise() -> None:
    for given, taken in (({}, 20.0), ({"seconds": 3.0}, 3.0)):
        with solved(({}, Reached(0.0, 0.0, 0.0))) as solve:
            plan(SHELF, [], {}, [], **given)
        assert solve.call_args[0][1] == taken
