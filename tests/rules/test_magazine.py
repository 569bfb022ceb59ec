"""Pockets: neighbours both ways round, limits, fixed pockets, proposals and the one move that makes room."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from math import hypot, pi, sin
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Holder, Measured
from kiosk.rules.fitting.loads import cutter_mass_kg, mass_kg, moment_nm
from kiosk.rules.fitting.magazine import Loaded, Magazine, MagazineFault, MagazineKind
from kiosk.rules.fitting.obstacles import Note, ObstacleReason, limits, notes, obstacles
from kiosk.rules.fitting.pockets import Overlap, distance_mm, overlap, reaches_mm
from kiosk.rules.fitting.proposals import NoRoom, Proposal, Relocation, propose

HSK63 = Coupling.parse("HSK63")
A40 = Coupling.parse("A40")


def assembly(key: str, diameter_mm: float = 20.0, **holder: object) -> Assembly:
    steel = Holder(
        key=f"h-{key}",
        name=f"holder {key}",
        coupling=HSK63,
        clamping=Clamping.COLLET,
        bore_mm=20.0,
        nose_mm=10.0,
        projection_mm=100.0,
        mass_kg=1.5,
    )
    cutter = Cutter(key=f"c-{key}", name=f"cutter {key}", dc_mm=diameter_mm, dmm_mm=12.0, oal_mm=100.0)
    return Assembly(key, f"assembly {key}", replace(steel, **holder), cutter, insert_mm=40.0)  # type: ignore[arg-type]


def reasons(found: tuple[object, ...]) -> set[ObstacleReason]:
    return {obstacle.reason for obstacle in found}  # type: ignore[attr-defined]


CHAIN = Magazine(MagazineKind.CHAIN, 24, pitch_mm=80.0, clearance_mm=5.0)


def test_neighbours_that_just_fit_are_let_in_and_a_hair_more_is_not() -> None:
    # 80 mm pitch, 5 mm clearance: 75 mm is left for two radii, so 100 mm beside 50 mm just fits
    wide = Loaded(10, assembly("wide", 100.0))
    assert obstacles(CHAIN, [wide], {}, 11, assembly("fits", 50.0)) == ()
    found = obstacles(CHAIN, [wide], {}, 11, assembly("not", 50.1))
    assert reasons(found) == {ObstacleReason.NEIGHBOUR}
    assert (found[0].pocket, found[0].other) == (10, "assembly wide")
    assert found[0].actual == pytest.approx(80.05)
    assert found[0].allowed == pytest.approx(80.0)


def test_a_very_wide_assembly_is_felt_two_pockets_away() -> None:
    # 160 mm at 2 x 80 mm: 80 + 80 + 5 > 160
    giant = Loaded(10, assembly("giant", 160.0))
    assert reasons(obstacles(CHAIN, [giant], {}, 12, assembly("other", 160.0))) == {ObstacleReason.NEIGHBOUR}
    assert obstacles(CHAIN, [giant], {}, 12, assembly("other", 150.0)) == ()


@pytest.mark.parametrize("kind", [MagazineKind.CHAIN, MagazineKind.DISC, MagazineKind.CAROUSEL])
def test_the_last_pocket_is_the_neighbour_of_the_first_where_the_magazine_wraps(kind: MagazineKind) -> None:
    magazine = replace(CHAIN, kind=kind)
    last = Loaded(24, assembly("last", 120.0))
    assert reasons(obstacles(magazine, [last], {}, 1, assembly("first", 60.0))) == {ObstacleReason.NEIGHBOUR}
    first = Loaded(1, assembly("first", 120.0))
    assert reasons(obstacles(magazine, [first], {}, 24, assembly("last", 60.0))) == {ObstacleReason.NEIGHBOUR}


def test_a_shelf_does_not_wrap() -> None:
    shelf = replace(CHAIN, kind=MagazineKind.SHELF)
    assert obstacles(shelf, [Loaded(24, assembly("last", 120.0))], {}, 1, assembly("first", 60.0)) == ()


def test_a_shelf_of_rows_ends_at_each_row_and_feels_the_row_above() -> None:
    shelf = Magazine(MagazineKind.SHELF, 12, 80.0, 5.0, rows=3, row_pitch_mm=100.0, diameter_max_mm=70.0)
    wide = Loaded(4, assembly("wide", 120.0))
    assert obstacles(shelf, [wide], {}, 5, assembly("next row", 30.0)) == ()
    # pocket 8 stands 100 mm straight above 4: 60 + 35 + 5 = 100 fits, one more does not
    assert obstacles(shelf, [wide], {}, 8, assembly("above", 70.0)) == ()
    assert ObstacleReason.NEIGHBOUR in reasons(obstacles(shelf, [wide], {}, 8, assembly("above", 72.0)))
    assert distance_mm(shelf, 1, 6) == pytest.approx((80.0**2 + 100.0**2) ** 0.5)


def test_on_a_disc_the_chord_counts_and_not_the_way_along_the_rim() -> None:
    # 12 pockets on a 300 mm ring: neighbours 300 sin 15 = 77.65 mm, opposite 300 mm apart
    disc = Magazine(MagazineKind.DISC, 12, pitch_mm=78.5, ring_mm=300.0, clearance_mm=0.0)
    assert distance_mm(disc, 1, 2) == pytest.approx(77.646, abs=1e-3)
    assert distance_mm(disc, 1, 7) == pytest.approx(300.0)
    assert distance_mm(disc, 12, 1) == distance_mm(disc, 1, 2)
    assert reasons(obstacles(disc, [Loaded(1, assembly("a", 77.0))], {}, 2, assembly("b", 79.0))) == {
        ObstacleReason.NEIGHBOUR
    }
    # without a ring the pitch is taken as the chord: 2 steps are less than twice the pitch
    bare = Magazine(MagazineKind.DISC, 12, pitch_mm=80.0)
    assert distance_mm(bare, 1, 2) == pytest.approx(80.0)
    assert 150.0 < distance_mm(bare, 1, 3) < 160.0


def test_a_diameter_that_needs_free_neighbours_is_kept_from_them_and_they_from_it() -> None:
    magazine = replace(CHAIN, diameter_max_mm=75.0, diameter_max_free_mm=125.0)
    small = Loaded(5, assembly("small", 10.0))
    found = obstacles(magazine, [small], {}, 6, assembly("wide", 80.0))
    assert reasons(found) == {ObstacleReason.NEEDS_FREE_NEIGHBOURS}
    assert (found[0].actual, found[0].allowed) == (80.0, 75.0)
    assert obstacles(magazine, [small], {}, 7, assembly("wide", 80.0)) == ()
    wide = Loaded(6, assembly("wide", 80.0))
    assert reasons(obstacles(magazine, [wide], {}, 5, assembly("small", 10.0))) == {
        ObstacleReason.NEEDS_FREE_NEIGHBOURS
    }
    assert reasons(obstacles(magazine, [], {}, 5, assembly("too wide", 126.0))) == {ObstacleReason.DIAMETER}


def test_an_occupied_a_closed_and_an_unknown_pocket_are_each_named() -> None:
    magazine = replace(CHAIN, closed=frozenset({3}))
    there = Loaded(2, assembly("there"))
    assert reasons(obstacles(magazine, [there], {}, 2, assembly("new"))) == {ObstacleReason.OCCUPIED}
    assert reasons(obstacles(magazine, [], {}, 3, assembly("new"))) == {ObstacleReason.CLOSED}
    for pocket in (0, 25, -1):
        assert reasons(obstacles(magazine, [], {}, pocket, assembly("new"))) == {ObstacleReason.NO_SUCH_POCKET}
    # the same assembly may be asked about while it stands there
    assert obstacles(magazine, [there], {}, 2, there.assembly) == ()


def test_a_fixed_pocket_belongs_to_its_holder_and_its_holder_to_it() -> None:
    magazine = replace(CHAIN, fixed=frozenset({7, 8}))
    owners = {7: "h-probe"}
    probe, other = assembly("probe"), assembly("other")
    assert reasons(obstacles(magazine, [], owners, 7, other)) == {ObstacleReason.KEPT_FOR_ANOTHER}
    assert reasons(obstacles(magazine, [], owners, 8, other)) == {ObstacleReason.KEPT_UNASSIGNED}
    assert obstacles(magazine, [], owners, 7, probe) == ()
    found = obstacles(magazine, [], owners, 9, probe)
    assert (reasons(found), found[0].pocket) == ({ObstacleReason.OWN_POCKET}, 7)
    assert propose(magazine, [], owners, probe) == Proposal(7)


def test_room_is_kept_for_what_comes_back_to_its_fixed_pocket() -> None:
    away = Loaded(7, assembly("mill", 100.0), fixed=True)
    owners = {7: "h-mill"}
    found = obstacles(CHAIN, [], owners, 8, assembly("wide", 60.0), returning=[away])
    assert (reasons(found), found[0].pocket) == ({ObstacleReason.NEIGHBOUR_RETURNS}, 7)
    assert obstacles(CHAIN, [], owners, 8, assembly("slim", 40.0), returning=[away]) == ()
    assert obstacles(CHAIN, [], owners, 7, away.assembly, returning=[away]) == ()


def test_every_limit_of_the_machine_is_checked_and_carries_its_values() -> None:
    magazine = replace(
        CHAIN,
        couplings=frozenset({HSK63}),
        mass_max_kg=1.6,
        moment_max_nm=1.0,
        length_max_mm=150.0,
        diameter_max_free_mm=60.0,
        rpm_needed=12000.0,
    )
    found = obstacles(magazine, [], {}, 1, assembly("all", 70.0, coupling=A40, mass_kg=8.0, rpm_max=8000.0))
    assert reasons(found) == {
        ObstacleReason.COUPLING,
        ObstacleReason.MASS,
        ObstacleReason.MOMENT,
        ObstacleReason.LENGTH,
        ObstacleReason.DIAMETER,
        ObstacleReason.SPEED,
    }
    by_reason = {obstacle.reason: obstacle for obstacle in found}
    assert by_reason[ObstacleReason.LENGTH].values == {
        "pocket": None,
        "other": None,
        "actual_mm": 160.0,
        "allowed_mm": 150.0,
    }
    assert by_reason[ObstacleReason.COUPLING].values.items() >= {
        ("actual", "A40"),
        ("allowed", "HSK63"),
    }
    assert by_reason[ObstacleReason.SPEED].message_id == "magazine.speed"


def test_what_is_not_known_counts_against_a_limit_that_asks_for_it() -> None:
    magazine = replace(CHAIN, mass_max_kg=8.0, moment_max_nm=20.0, length_max_mm=300.0, rpm_needed=8000.0)
    blank = replace(assembly("blank", mass_kg=None, projection_mm=None), insert_mm=None)
    assert reasons(limits(magazine, blank)) == {
        ObstacleReason.MASS_UNKNOWN,
        ObstacleReason.MOMENT_UNKNOWN,
        ObstacleReason.LENGTH_UNKNOWN,
        ObstacleReason.SPEED_UNKNOWN,
    }
    assert limits(CHAIN, blank) == ()


def test_two_machines_with_the_same_taper_can_want_different_knobs() -> None:
    magazine = replace(CHAIN, couplings=frozenset({A40}), knob="ISO 7388-3 AD")
    right = assembly("right", coupling=A40, knob="ISO 7388-3 AD")
    assert obstacles(magazine, [], {}, 1, right) == ()
    for knob in ("ISO 7388-3 UD", None):
        assert reasons(obstacles(magazine, [], {}, 1, assembly("wrong", coupling=A40, knob=knob))) == {
            ObstacleReason.KNOB
        }


def test_a_measured_value_that_is_no_number_never_passes() -> None:
    nan = float("nan")
    odd = replace(assembly("odd"), measured=Measured(nan, 20.0))
    assert reasons(limits(replace(CHAIN, length_max_mm=300.0), odd)) == {ObstacleReason.LENGTH}


def test_notes_say_what_to_mind_about_what_is_let_in() -> None:
    magazine = replace(CHAIN, rpm_max=18000.0, coolant=True)
    assert notes(magazine, assembly("slow", rpm_max=12000.0)) == (Note.HOLD_SPEED, Note.NO_CHANNEL)
    assert notes(magazine, assembly("fast", rpm_max=20000.0, coolant=True)) == ()
    through = assembly("through")
    through = replace(through, cutter=replace(through.cutter, coolant=True))
    assert notes(CHAIN, through) == (Note.NO_COOLANT_HERE,)


def test_mass_and_moment_are_the_hand_calculation() -> None:
    # cutter: round 12 x 100 mm of carbide = 11310 mm3 * 14500e-9 kg/mm3 = 0.1640 kg; its middle 110 mm out
    # holder: 1.5 kg at 50 mm.  Moment = 9.80665 * (1.5 * 0.050 + 0.1640 * 0.110) = 0.9124 Nm
    light = assembly("light", 12.0)
    assert cutter_mass_kg(light.cutter) == pytest.approx(0.1640, abs=1e-4)
    assert mass_kg(light) == pytest.approx(1.6640, abs=1e-4)
    assert moment_nm(light) == pytest.approx(0.9124, abs=1e-4)


def test_overlaps_are_counted_in_whole_pockets() -> None:
    # usual width 75 mm: 37.5 + 5 + r reaches the next centre past r = 37.5, the one after past r = 117.5
    assert overlap(CHAIN, assembly("slim", 75.0)) == Overlap(0, 0)
    assert overlap(CHAIN, assembly("wide", 76.0)) == Overlap(1, 1)
    assert overlap(CHAIN, assembly("giant", 236.0)) == Overlap(2, 2)
    assert overlap(replace(CHAIN, pockets=4), assembly("all round", 900.0)) == Overlap(2, 2)
    assert overlap(replace(CHAIN, pockets=5), assembly("all round", 900.0)) == Overlap(2, 2)


def test_on_a_shelf_an_overlap_is_counted_within_its_row() -> None:
    shelf = Magazine(MagazineKind.SHELF, 8, 80.0, 5.0, rows=2, row_pitch_mm=30.0)
    assert overlap(shelf, assembly("slim", 75.0)) == Overlap(0, 0)
    assert overlap(shelf, assembly("wide", 76.0)) == Overlap(1, 1)
    assert overlap(shelf, assembly("giant", 900.0)) == Overlap(3, 3)


def test_the_nearest_free_pocket_is_proposed_both_ways_round() -> None:
    magazine = replace(CHAIN, change_at=2)
    taken = [Loaded(pocket, assembly(str(pocket))) for pocket in (1, 2, 3)]
    assert propose(magazine, taken, {}, assembly("new")) == Proposal(4)
    taken.append(Loaded(4, assembly("4")))
    assert propose(magazine, taken, {}, assembly("new")) == Proposal(24)


def test_room_is_left_for_the_wide_ones_still_to_come() -> None:
    # five in a row and two that need free neighbours still to come: pocket 2 would leave room for one only
    shelf = Magazine(MagazineKind.SHELF, 5, 80.0, 5.0, diameter_max_mm=75.0, change_at=2)
    small = assembly("small", 20.0)
    wide = [assembly("w1", 130.0), assembly("w2", 130.0)]
    assert propose(shelf, [], {}, small) == Proposal(2)
    assert propose(shelf, [], {}, small, wide) == Proposal(1)
    three = [*wide, assembly("w3", 130.0)]
    assert propose(shelf, [], {}, small, three) == Proposal(1, left_over=1)


def test_when_nothing_fits_the_one_move_that_makes_room_is_named() -> None:
    # p _ s _ : the wide one needs free neighbours; the probe in 1 stays, moving the slim one to 2 frees 4
    shelf = Magazine(MagazineKind.SHELF, 4, 80.0, 5.0, diameter_max_mm=75.0)
    loaded = [Loaded(1, assembly("probe"), fixed=True), Loaded(3, assembly("slim"))]
    answer = propose(shelf, loaded, {}, assembly("wide", 120.0))
    assert isinstance(answer, NoRoom)
    assert answer.move == Relocation(loaded[1].assembly, 3, 2)
    assert answer.pocket == 4
    assert answer.obstacles
    after = [loaded[0], Loaded(2, loaded[1].assembly)]
    assert obstacles(shelf, after, {}, 4, assembly("wide", 120.0)) == ()


def test_a_full_magazine_says_which_one_to_take_out() -> None:
    tiny = Magazine(MagazineKind.CHAIN, 3, 80.0, change_at=2)
    loaded = [Loaded(pocket, assembly(str(pocket))) for pocket in tiny.numbers]
    answer = propose(tiny, loaded, {2: "h-2"}, assembly("new"))
    assert isinstance(answer, NoRoom)
    assert answer.move == Relocation(loaded[0].assembly, 1, None)
    assert answer.pocket == 1


def test_a_limit_of_the_whole_machine_is_no_question_of_room() -> None:
    answer = propose(replace(CHAIN, mass_max_kg=1.0), [], {}, assembly("heavy"))
    assert isinstance(answer, NoRoom)
    assert (reasons(answer.obstacles), answer.move) == ({ObstacleReason.MASS}, None)


@pytest.mark.parametrize(
    ("field", "change"),
    [
        ("pockets", {"pockets": 0}),
        ("pitch_mm", {"pitch_mm": 0.0}),
        ("pitch_mm", {"pitch_mm": float("nan")}),
        ("clearance_mm", {"clearance_mm": -1.0}),
        ("rows", {"rows": 5}),
        ("rows", {"rows": 2}),
        ("ring_mm", {"ring_mm": 300.0}),
        ("fixed", {"fixed": frozenset({25})}),
        ("closed", {"closed": frozenset({0})}),
        ("change_at", {"change_at": 25}),
    ],
)
def test_a_magazine_that_cannot_exist_names_the_field(field: str, change: dict[str, object]) -> None:
    with pytest.raises(MagazineFault) as caught:
        replace(CHAIN, **change)  # type: ignore[arg-type]
    assert caught.value.field == field


def test_a_magazine_may_count_from_any_number() -> None:
    magazine = replace(CHAIN, first=101, change_at=None)
    assert propose(magazine, [], {}, assembly("a")) == Proposal(101)
    assert reasons(obstacles(magazine, [], {}, 1, assembly("a"))) == {ObstacleReason.NO_SUCH_POCKET}
    assert reasons(obstacles(magazine, [Loaded(124, assembly("b", 140.0))], {}, 101, assembly("a"))) == {
        ObstacleReason.NEIGHBOUR
    }


MAGAZINES = st.builds(
    Magazine,
    kind=st.sampled_from(MagazineKind),
    pockets=st.integers(1, 12),
    pitch_mm=st.sampled_from([60.0, 80.0]),
    clearance_mm=st.sampled_from([0.0, 5.0]),
    mass_max_kg=st.sampled_from([None, 1.8]),
    diameter_max_mm=st.sampled_from([None, 50.0]),
    diameter_max_free_mm=st.sampled_from([None, 110.0]),
)
DIAMETERS = st.sampled_from([6.0, 20.0, 50.0, 63.0, 80.0, 110.0, 160.0])
STEPS = st.lists(st.tuples(st.integers(0, 5), st.booleans(), st.integers(0, 13)), max_size=20)


@settings(max_examples=150, deadline=None)
@given(MAGAZINES, st.lists(DIAMETERS, min_size=6, max_size=6), STEPS, st.integers(1, 12))
def test_no_accepted_sequence_ever_overlaps_exceeds_or_takes_anothers_pocket(
    magazine: Magazine, diameters: list[float], steps: list[tuple[int, bool, int]], kept: int
) -> None:
    parts = [assembly(str(at), diameter_mm, mass_kg=1.4 + 0.1 * at) for at, diameter_mm in enumerate(diameters)]
    owners = {kept: "h-0"} if kept in magazine else {}
    where: dict[int, Assembly] = {}
    for index, ask, pocket in steps:
        part = parts[index]
        loaded = [Loaded(at, there) for at, there in where.items()]
        if ask:
            answer = propose(magazine, loaded, owners, part, parts[:3])
            if isinstance(answer, NoRoom):
                assert all(obstacles(magazine, loaded, owners, at, part) for at in magazine.numbers)
                continue
            pocket = answer.pocket
            assert obstacles(magazine, loaded, owners, pocket, part) == ()
        elif obstacles(magazine, loaded, owners, pocket, part):
            continue
        where = {at: there for at, there in where.items() if there.key != part.key}
        assert pocket not in where
        where[pocket] = part
        centres = {at: _plain_centre(magazine, at) for at in where}
        for one, first in where.items():
            assert one in magazine
            assert owners.get(one, first.holder.key) == first.holder.key
            assert magazine.mass_max_kg is None or (mass_kg(first) or 0.0) <= magazine.mass_max_kg
            for other, second in where.items():
                if one < other:
                    apart = _plain_distance(magazine, centres[one], centres[other])
                    room = (first.diameter_mm + second.diameter_mm) / 2 + magazine.clearance_mm
                    assert room <= apart + 1e-6


def _plain_centre(magazine: Magazine, pocket: int) -> complex:
    """Pocket centre drawn on paper: a line, or a ring whose neighbours are one pitch apart."""
    from cmath import exp, pi
    from math import sin

    at = pocket - magazine.first
    if magazine.kind in (MagazineKind.DISC, MagazineKind.CAROUSEL) and magazine.pockets > 2:
        radius = magazine.pitch_mm / 2 / sin(pi / magazine.pockets)
        return radius * exp(2j * pi * at / magazine.pockets)
    return complex(at * magazine.pitch_mm)


def _plain_distance(magazine: Magazine, one: complex, other: complex) -> float:
    along = abs(one - other)
    ring = magazine.kind in (MagazineKind.DISC, MagazineKind.CAROUSEL) and magazine.pockets > 2
    if ring or magazine.kind is MagazineKind.SHELF:
        return along
    return min(along, magazine.pockets * magazine.pitch_mm - along)


@settings(max_examples=60, deadline=None)
@given(MAGAZINES, st.lists(DIAMETERS, min_size=1, max_size=5))
def test_moving_out_and_back_is_accepted_into_the_same_pocket(magazine: Magazine, diameters: list[float]) -> None:
    loaded: list[Loaded] = []
    for at, diameter_mm in enumerate(diameters):
        answer = propose(magazine, loaded, {}, assembly(str(at), diameter_mm))
        if isinstance(answer, Proposal):
            loaded.append(Loaded(answer.pocket, assembly(str(at), diameter_mm)))
    for entry in loaded:
        rest = [other for other in loaded if other is not entry]
        assert obstacles(magazine, rest, {}, entry.pocket, entry.assembly) == ()


@settings(max_examples=60, deadline=None)
@given(MAGAZINES, st.lists(DIAMETERS, min_size=2, max_size=8), DIAMETERS)
def test_the_move_that_makes_room_really_makes_it(magazine: Magazine, diameters: list[float], last: float) -> None:
    loaded: list[Loaded] = []
    for at, diameter_mm in enumerate(diameters):
        answer = propose(magazine, loaded, {}, assembly(str(at), diameter_mm))
        if isinstance(answer, Proposal):
            loaded.append(Loaded(answer.pocket, assembly(str(at), diameter_mm)))
    new = assembly("new", last)
    answer = propose(magazine, loaded, {}, new)
    if isinstance(answer, Proposal) or answer.move is None or answer.pocket is None:
        return
    move = answer.move
    after = [entry for entry in loaded if entry.assembly.key != move.assembly.key]
    if move.goal is not None:
        assert obstacles(magazine, after, {}, move.goal, move.assembly) == ()
        after.append(Loaded(move.goal, move.assembly))
    assert obstacles(magazine, after, {}, answer.pocket, new) == ()


def _drawn(chance: Random) -> tuple[Magazine, list[Loaded], dict[int, str], list[Loaded]]:
    """Any magazine there can be, filled at random without asking, with pockets closed, owned and waited for."""
    kind, first = chance.choice(list(MagazineKind)), chance.choice([0, 1, 1, 101])
    rows = chance.choice([1, 2, 3]) if kind is MagazineKind.SHELF else 1
    pockets = rows * chance.randint(1, 12 // rows)
    numbers = range(first, first + pockets)
    ringed = kind in (MagazineKind.DISC, MagazineKind.CAROUSEL) and chance.random() < 0.4
    magazine = Magazine(
        kind,
        pockets,
        chance.choice([60.0, 80.0]),
        chance.choice([0.0, 5.0]),
        mass_max_kg=chance.choice([None, None, None, 3.0]),
        length_max_mm=chance.choice([None, None, 160.0, 159.9]),
        diameter_max_mm=chance.choice([None, 50.0, 75.0]),
        diameter_max_free_mm=chance.choice([None, None, 110.0, 125.0]),
        change_at=chance.choice([None, *numbers]),
        fixed=frozenset(chance.sample(numbers, chance.choice([0, 0, 1]))),
        closed=frozenset(chance.sample(numbers, chance.choice([0, 0, 1]))),
        first=first,
        ring_mm=chance.choice([200.0, 300.0, 500.0]) if ringed else None,
        rows=rows,
        row_pitch_mm=chance.choice([60.0, 110.0]) if rows > 1 else None,
    )
    sizes = [6.0, 20.0, 50.0, 55.0, 63.0, 75.0, 80.0, 100.0, 110.0, 125.0, 160.0, 230.0]
    parts = [assembly(str(at), chance.choice(sizes), mass_kg=chance.choice([1.5, 1.5, 4.0, None])) for at in range(5)]
    places = [at for at in numbers if chance.random() < 0.3][:3]
    loaded = [Loaded(at, part) for at, part in zip(places, parts, strict=False)]
    owners = {at: chance.choice(["h-0", "h-4", "h-away"]) for at in numbers if chance.random() < 0.15}
    returning = [Loaded(at, parts[3], True) for at in numbers if at not in places and chance.random() < 0.15][:1]
    return magazine, loaded, owners, returning


def _apart_mm(magazine: Magazine, one: int, other: int) -> float:
    """Between two pockets, from where they are drawn on paper."""
    if magazine.kind is MagazineKind.SHELF:
        columns = magazine.pockets // magazine.rows
        (row, column), (down, across) = divmod(one, columns), divmod(other, columns)
        return hypot((column - across) * magazine.pitch_mm, (row - down) * (magazine.row_pitch_mm or 0.0))
    steps = min((one - other) % magazine.pockets, (other - one) % magazine.pockets)
    if magazine.kind is MagazineKind.CHAIN:
        return steps * magazine.pitch_mm
    ring_mm = magazine.ring_mm
    if ring_mm is None:
        if magazine.pockets < 3:
            return steps * magazine.pitch_mm
        ring_mm = magazine.pitch_mm / sin(pi / magazine.pockets)
    return ring_mm * sin(pi * steps / magazine.pockets)


def _next_to(magazine: Magazine, one: int, other: int) -> bool:
    if magazine.kind is MagazineKind.SHELF:
        columns = magazine.pockets // magazine.rows
        return abs(one - other) == 1 and one // columns == other // columns
    return one != other and (one - other) % magazine.pockets in (1, magazine.pockets - 1)


def _allowed(
    magazine: Magazine,
    loaded: list[Loaded],
    owners: dict[int, str],
    pocket: int,
    part: Assembly,
    returning: list[Loaded],
) -> bool:
    """The rules about pockets as they are said, one after another."""
    if not magazine.first <= pocket <= magazine.first + magazine.pockets - 1 or pocket in magazine.closed:
        return False
    own = [at for at, holder in owners.items() if holder == part.holder.key]
    if owners.get(pocket, part.holder.key) != part.holder.key or (own and pocket not in own):
        return False
    if pocket in magazine.fixed and pocket not in own:
        return False
    mass = mass_kg(part)
    if magazine.mass_max_kg is not None and (mass is None or mass > magazine.mass_max_kg + 1e-6):
        return False
    if magazine.length_max_mm is not None and (part.length_mm is None or part.length_mm > magazine.length_max_mm):
        return False
    if magazine.diameter_max_free_mm is not None and part.diameter_mm > magazine.diameter_max_free_mm:
        return False
    for other in [*loaded, *returning]:
        if other.assembly.key == part.key:
            continue
        if other.pocket == pocket:
            return False
        here, there = pocket - magazine.first, other.pocket - magazine.first
        room_mm = part.diameter_mm / 2 + other.assembly.diameter_mm / 2 + magazine.clearance_mm
        if room_mm > _apart_mm(magazine, here, there) + 1e-6:
            return False
        widest_mm = max(part.diameter_mm, other.assembly.diameter_mm)
        most_mm = magazine.diameter_max_mm
        if most_mm is not None and widest_mm > most_mm and _next_to(magazine, here, there):
            return False
    return True


def test_a_pocket_is_open_where_the_rules_say_so_and_nowhere_else() -> None:
    open_, shut = 0, 0
    for seed in range(3000):
        chance = Random(seed)
        magazine, loaded, owners, returning = _drawn(chance)
        part = chance.choice(
            [*(held.assembly for held in loaded[:1]), assembly("4", chance.choice([20.0, 75.0, 126.0]))]
        )
        others = [held for held in loaded if held.assembly.key != part.key]
        answers = {}
        for pocket in range(magazine.first - 1, magazine.first + magazine.pockets + 1):
            answers[pocket] = obstacles(magazine, loaded, owners, pocket, part, returning) == ()
            assert answers[pocket] is _allowed(magazine, loaded, owners, pocket, part, returning), (seed, pocket)
        opens = [pocket for pocket, is_open in answers.items() if is_open]
        open_, shut = open_ + len(opens), shut + len(answers) - len(opens)
        proposal = propose(magazine, loaded, owners, part, returning=returning)
        at = (magazine.change_at if magazine.change_at is not None else magazine.first) - magazine.first
        if opens:
            assert isinstance(proposal, Proposal), seed
            nearest = min(_apart_mm(magazine, at, pocket - magazine.first) for pocket in opens)
            assert proposal.pocket in opens, seed
            assert _apart_mm(magazine, at, proposal.pocket - magazine.first) == pytest.approx(nearest), seed
        else:
            assert isinstance(proposal, NoRoom), seed
            assert proposal.obstacles, seed
            if proposal.move is not None and proposal.pocket is not None:
                moved = [held for held in others if held.assembly.key != proposal.move.assembly.key]
                if proposal.move.goal is not None:
                    mover = proposal.move.assembly
                    assert _allowed(magazine, loaded, owners, proposal.move.goal, mover, returning), seed
                    moved.append(Loaded(proposal.move.goal, mover))
                assert _allowed(magazine, moved, owners, proposal.pocket, part, returning), seed
    assert min(open_, shut) > 1000, "the cases must be of both kinds"


def test_points_between_pockets_lie_where_the_pockets_say() -> None:
    # what the planner says of a point must be true: else two that clash could both stand, or two that fit could not
    for seed in range(300):
        magazine = _drawn(Random(seed))[0]
        pockets, pitch_mm = magazine.pockets, magazine.pitch_mm
        columns = pockets // magazine.rows
        between = [at for at in range(pockets) if (magazine.kind.wraps or (at + 1) % columns) and pockets > 2]
        centres = reaches_mm(magazine, np.arange(pockets) * pitch_mm)
        points = reaches_mm(magazine, (np.array(between, dtype=float) + 0.3) * pitch_mm)
        apart = np.array([[_apart_mm(magazine, one, other) for other in range(pockets)] for one in range(pockets)])
        assert centres == pytest.approx(apart, abs=1e-6), seed
        for at, reach in zip(between, points, strict=True):
            following = (at + 1) % pockets
            assert reach[at] == pytest.approx(0.3 * apart[at, following]), seed
            assert reach[at] + reach[following] == pytest.approx(apart[at, following]), seed
            assert np.all(reach[:, None] + reach[None, :] >= apart - 1e-6), seed


def test_at_its_very_limit_an_assembly_is_let_in_and_nothing_is_noted() -> None:
    exact = assembly("exact", 60.0, rpm_max=12000.0)
    at_limit = replace(
        CHAIN,
        rpm_needed=12000.0,
        rpm_max=12000.0,
        length_max_mm=exact.length_mm,
        mass_max_kg=mass_kg(exact),
        moment_max_nm=moment_nm(exact),
        diameter_max_free_mm=60.0,
        diameter_max_mm=60.0,
    )
    assert obstacles(at_limit, [Loaded(2, assembly("small"))], {}, 1, exact) == ()
    assert notes(at_limit, exact) == ()
    slower = assembly("slower", 60.0, rpm_max=11999.0)
    assert reasons(limits(at_limit, slower)) == {ObstacleReason.SPEED}
    assert notes(at_limit, slower) == (Note.HOLD_SPEED,)


@pytest.mark.parametrize(("spindle", "holder", "cutter"), list(product([False, True], repeat=3)))
def test_coolant_is_noted_where_one_side_has_what_the_other_lacks(spindle: bool, holder: bool, cutter: bool) -> None:
    built = assembly("a", coolant=holder)
    built = replace(built, cutter=replace(built.cutter, coolant=cutter))
    noted = set(notes(replace(CHAIN, coolant=spindle), built))
    assert (Note.NO_COOLANT_HERE in noted) is (cutter and not spindle)
    assert (Note.NO_CHANNEL in noted) is (spindle and not holder)


def test_of_two_pockets_of_its_own_the_first_is_named() -> None:
    found = obstacles(CHAIN, [], {9: "h-probe", 4: "h-probe"}, 5, assembly("probe"))
    assert [(one.reason, one.pocket) for one in found] == [(ObstacleReason.OWN_POCKET, 4)]


def test_a_magazine_keeps_5_mm_clear_unless_it_says_otherwise() -> None:
    bare = Magazine(MagazineKind.CHAIN, 3, 80.0)
    assert obstacles(bare, [Loaded(1, assembly("a", 75.0))], {}, 2, assembly("b", 75.0)) == ()
    assert obstacles(bare, [Loaded(1, assembly("a", 75.0))], {}, 2, assembly("b", 75.1)) != ()


@pytest.mark.parametrize("rows", [0, -1, 5])
def test_a_shelf_has_whole_rows(rows: int) -> None:
    with pytest.raises(MagazineFault, match="rows"):
        Magazine(MagazineKind.SHELF, 24, 80.0, rows=rows, row_pitch_mm=90.0)


@pytest.mark.parametrize("pitch_mm", [0.0, 0.5, 1.0])
def test_pockets_stand_apart(pitch_mm: float) -> None:
    if pitch_mm > 0:
        assert Magazine(MagazineKind.CHAIN, 3, pitch_mm).pitch_mm == pitch_mm
    else:
        with pytest.raises(MagazineFault, match="pitch_mm"):
            Magazine(MagazineKind.CHAIN, 3, pitch_mm)
