"""What a held holder still owes is said spot by spot, and nothing that was a slip, old or infrared pays for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.assembly import Clamping, Coupling, Holder
from kiosk.rules.cards import HoldView
from kiosk.rules.hold_facts import SPOTS, WITHDRAWN, HoldFacts, Reading, Stay
from kiosk.rules.hold_proof import NOTHING_OWED, SOAK_S, Owed, cool_all_over, cool_so_far, owed, owed_all_over

BEGINS = (0.0, 7 * 3600.0, 5 * 86400.0, 250 * 86400.0)
LIMIT_C = 43.0
HOLDER = Holder("k1", "12", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, nose_mm=24.0, projection_mm=106.0)
HELD = HoldView(180.0, 150.0, 190.0, "flange", 3000.0, 3500.0)


def probe(at_s: float, where: str, value_c: float = 24.0, verdict: str = "agrees", line: int = 0) -> Reading:
    return Reading(at_s, where, value_c, "probe", verdict, line)


def facts(now_s: float, *readings: Reading, withdrawn: Sequence[Reading] = (), unseen: bool = False) -> HoldFacts:
    stays = (Stay("station", now_s - 900.0), Stay("rack", now_s - 850.0, "free_air"))
    return HoldFacts(
        HOLDER,
        None,
        now_s - 900.0,
        1.79e9,
        None,
        None,
        stays,
        readings,
        reading_only=unseen,
        withdrawn=tuple(withdrawn),
    )


taken = st.lists(
    st.tuples(
        st.integers(0, 2400).map(float),
        st.sampled_from(SPOTS),
        st.sampled_from([24.0, 43.0, 43.5]),
        st.sampled_from(["agrees", "agrees", "questioned", WITHDRAWN]),
        st.sampled_from(["probe", "probe", "probe", "infrared"]),
    ),
    max_size=9,
)


@settings(max_examples=120)
@given(st.sampled_from(BEGINS), taken, st.integers(0, 1500))
def test_a_spot_is_cool_by_a_fresh_probe_after_which_nothing_was_warm_and_it_was_not_misread(
    begun_s: float, seen: list[tuple[float, str, float, str, str]], later_s: int
) -> None:
    readings = [
        Reading(begun_s + at_s, where, value_c, instrument, verdict, line)
        for line, (at_s, where, value_c, verdict, instrument) in enumerate(seen)
    ]
    now_s = max((each.at_s for each in readings), default=begun_s) + later_s
    told = [each for each in readings if each.instrument == "probe" and now_s - each.at_s <= 1200.0]
    told.sort(key=lambda each: (each.at_s, each.line))
    cool = [
        each
        for at, each in enumerate(told)
        if each.verdict != WITHDRAWN
        and each.value_c <= LIMIT_C
        and not any(later.value_c > LIMIT_C and later.verdict != WITHDRAWN for later in told[at:])
        and not any(later.where == each.where and later.verdict == WITHDRAWN for later in told[at:])
    ]
    found = cool_so_far(readings[::-1], LIMIT_C, now_s)
    spots = {each.where for each in cool}
    assert found.spots == spots
    if spots:
        assert found.first_s <= cool[0].at_s and found.last_s >= cool[-1].at_s
    proven_in_s = cool_all_over(readings, LIMIT_C, now_s)
    assert (proven_in_s is None) is (spots < set(SPOTS))
    told_owed = owed_all_over(readings, LIMIT_C, now_s)
    if spots < set(SPOTS):
        left = tuple(spot for spot in SPOTS if spot not in spots)
        assert told_owed == Owed(left, 0.0, tuple(spot for spot in SPOTS if spot in spots))
    else:
        assert told_owed.spots == ("nose",) and told_owed.cool == ("flange", "shank")
        assert told_owed.in_s == max(0.0, SOAK_S - (now_s - found.first_s))


@pytest.mark.parametrize("begun_s", BEGINS)
def test_the_soak_counts_from_the_first_cool_reading_after_the_last_warm_one(begun_s: float) -> None:
    all_cool = [probe(begun_s + at, where) for at, where in ((10, "nose"), (20, "flange"), (30, "shank"))]
    found = cool_so_far(all_cool, LIMIT_C, begun_s + 40)
    assert (found.first_s, found.last_s) == (begun_s + 10, begun_s + 30)
    before = [probe(begun_s + 1, "nose"), probe(begun_s + 5, "shank", 43.1), *all_cool]
    assert cool_so_far(before, LIMIT_C, begun_s + 40) == found, "what was cool before a warm reading is forgotten"
    for now, left in ((40, 270), (309, 1), (310, 0), (400, 0)):
        assert owed_all_over(all_cool, LIMIT_C, begun_s + now) == Owed(("nose",), left, ("flange", "shank"))


@pytest.mark.parametrize("begun_s", BEGINS)
def test_a_misread_spot_is_unread_and_the_others_stay_read(begun_s: float) -> None:
    nose, flange = probe(begun_s + 10, "nose", line=1), probe(begun_s + 20, "flange", line=2)
    misread = probe(begun_s + 30, "nose", 20.0, WITHDRAWN, line=3)
    found = cool_so_far([nose, flange, misread], LIMIT_C, begun_s + 40)
    assert (found.spots, found.first_s, found.last_s) == ({"flange"}, begun_s + 10, begun_s + 20)
    alone = cool_so_far([nose, misread, replace(flange, at_s=begun_s + 35)], LIMIT_C, begun_s + 40)
    assert (alone.spots, alone.first_s) == ({"flange"}, begun_s + 35), "nothing was left, so it begins anew"


def test_of_two_readings_at_one_moment_the_later_line_counts() -> None:
    warm, cool = probe(5e6, "nose", 60.0, line=8), probe(5e6, "nose", line=9)
    assert cool_so_far([cool, warm], LIMIT_C, 5e6).spots == {"nose"}
    assert cool_so_far([replace(cool, line=7), warm], LIMIT_C, 5e6).spots == frozenset()


@pytest.mark.parametrize("now_s", [9e5, 2e7])
def test_what_time_alone_ends_owes_nothing_and_what_needs_a_reading_owes_the_hottest_spot(now_s: float) -> None:
    assert owed(facts(now_s), HELD, LIMIT_C, now_s) == NOTHING_OWED == Owed((), 0.0, ())
    again = replace(HELD, needs_reading=True)
    assert owed(facts(now_s), again, LIMIT_C, now_s) == Owed(("flange",), 3000.0, ())
    agreed = facts(now_s, probe(now_s - 60.0, "nose", 40.0))
    assert owed(agreed, HELD, LIMIT_C, now_s) == NOTHING_OWED
    assert owed(agreed, again, LIMIT_C, now_s) == Owed(("flange",), 3000.0)


@pytest.mark.parametrize("now_s", [9e5, 2e7])
def test_where_no_model_speaks_for_it_every_spot_is_owed_that_was_not_found_cool(now_s: float) -> None:
    nose = probe(now_s - 60.0, "nose", 40.0, line=4)
    rest = Owed(("flange", "shank"), 0.0, ("nose",))
    assert owed(facts(now_s, unseen=True), HELD, LIMIT_C, now_s) == Owed(SPOTS)
    assert owed(facts(now_s, nose, unseen=True), HELD, LIMIT_C, now_s) == rest
    assert owed(facts(now_s, nose), replace(HELD, remaining_s=None), LIMIT_C, now_s) == rest
    misread = probe(now_s - 30.0, "nose", 20.0, WITHDRAWN, line=5)
    assert owed(facts(now_s, nose, withdrawn=[misread], unseen=True), HELD, LIMIT_C, now_s) == Owed(SPOTS)


@pytest.mark.parametrize("now_s", [9e5, 2e7])
@pytest.mark.parametrize("verdict", ["questioned", "confirmed"])
def test_a_cool_reading_nobody_can_explain_asks_for_all_spots_and_a_warm_one_for_its_own_again(
    now_s: float, verdict: str
) -> None:
    for value_c in (30.0, 43.0):
        puzzling = facts(now_s, probe(now_s - 60.0, "nose", value_c, verdict))
        assert owed(puzzling, HELD, LIMIT_C, now_s) == Owed(("flange", "shank"), 0.0, ("nose",))
    warm = facts(now_s, probe(now_s - 60.0, "shank", 43.1, verdict))
    doubted = Owed(("shank",)) if verdict == "questioned" else NOTHING_OWED
    assert owed(warm, HELD, LIMIT_C, now_s) == doubted
    explained = facts(now_s, probe(now_s - 90.0, "shank", 43.1, verdict), probe(now_s - 60.0, "nose", 80.0))
    assert owed(explained, HELD, LIMIT_C, now_s) == NOTHING_OWED


@pytest.mark.parametrize("now_s", [9e5, 2e7])
def test_a_misread_spot_is_owed_before_anything_else(now_s: float) -> None:
    misread = [probe(now_s - 90.0, "shank", 90.0, WITHDRAWN, 3), probe(now_s - 80.0, "nose", 90.0, WITHDRAWN, 5)]
    for needs in (False, True):
        view = replace(HELD, needs_reading=needs)
        assert owed(facts(now_s, withdrawn=misread), view, LIMIT_C, now_s) == Owed(("shank", "nose"))
        doubted = probe(now_s - 60.0, "nose", 120.0, "questioned", 6)
        assert owed(facts(now_s, doubted, withdrawn=misread), view, LIMIT_C, now_s) == Owed(("shank", "nose"))
