"""The table of moves."""

import pytest

from kiosk.rules.places import MOVES, Kind, Need, needs_of

TOUCHED = [kind for kind in Kind if not kind.may_be_hot and kind is not Kind.MACHINE]


def test_every_step_to_where_a_hand_touches_it_needs_it_cool() -> None:
    for move in MOVES:
        assert (Need.COOL in move.needs) == (not move.goal.may_be_hot), move


COLD = {Need.COOL}
BUILT = {Need.COOL, Need.ASSEMBLED}
LOADED = {Need.COOL, Need.ASSEMBLED, Need.FITS_POCKET, Need.SOUND}
GOALS = {
    Kind.BENCH: COLD, Kind.SHRINK: {Need.SHRINKS}, Kind.COOLING: set(), Kind.PRESETTER: BUILT, Kind.CABINET: COLD,
    Kind.DRAWER: COLD, Kind.SLOT: COLD, Kind.POCKET: LOADED, Kind.SPINDLE: LOADED, Kind.OUT: COLD,
}  # fmt: skip
NO_STEP = {
    (Kind.OUT, Kind.POCKET), (Kind.OUT, Kind.SPINDLE), (None, Kind.POCKET), (None, Kind.SPINDLE), (None, Kind.SHRINK),
}  # fmt: skip


@pytest.mark.parametrize("goal", list(Kind))
@pytest.mark.parametrize("origin", [None, *Kind])
def test_every_step_needs_what_is_written_here_a_second_time(origin: Kind | None, goal: Kind) -> None:
    no_step = (origin, goal) in NO_STEP or Kind.MACHINE in (origin, goal)
    assert needs_of(origin, goal) == (None if no_step else GOALS[goal])


def test_cabinets_store_pockets_are_in_machines_and_heat_stands_in_two_kinds_of_place() -> None:
    assert [kind for kind in Kind if kind.stores] == [Kind.CABINET, Kind.DRAWER, Kind.SLOT]
    assert [kind for kind in Kind if kind.in_machine] == [Kind.POCKET, Kind.SPINDLE]
    assert [kind for kind in Kind if kind.may_be_hot] == [Kind.SHRINK, Kind.COOLING]


def test_only_shrink_holders_go_to_the_shrink_station() -> None:
    assert all(Need.SHRINKS in move.needs for move in MOVES if move.goal is Kind.SHRINK)


def test_what_is_loaded_is_assembled_fits_and_is_not_broken() -> None:
    for move in MOVES:
        if move.goal.in_machine:
            assert {Need.ASSEMBLED, Need.FITS_POCKET, Need.SOUND, Need.COOL} == move.needs


def test_no_step_is_in_the_table_twice() -> None:
    assert len({(move.origin, move.goal) for move in MOVES}) == len(MOVES)


def test_nothing_goes_to_a_machine_as_a_whole() -> None:
    assert all(needs_of(kind, Kind.MACHINE) is None for kind in Kind)


@pytest.mark.parametrize("goal", [Kind.POCKET, Kind.SPINDLE])
def test_what_is_out_or_nowhere_known_never_goes_straight_into_a_machine(goal: Kind) -> None:
    assert needs_of(Kind.OUT, goal) is None and needs_of(None, goal) is None


@pytest.mark.parametrize("origin", [*TOUCHED, Kind.SHRINK, Kind.COOLING, None])
def test_cooling_takes_a_holder_from_everywhere(origin: Kind | None) -> None:
    assert needs_of(origin, Kind.COOLING) == frozenset()
