"""What accepted readings teach a shop: every film that was passed, and types together."""

from __future__ import annotations

import math
import random
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.belief import FilmSlope, Instrument, Lesson, Prediction
from kiosk.rules.cooling.mesh import Zone
from kiosk.rules.cooling.unknowns import FILM, HEAT_LEVEL, SKIN, Way
from kiosk.rules.lessons import Heats, Known, untaught

PLACES: Mapping[Way, str | None] = {Way.FREE_AIR: "rack", Way.SLEEVE: "sleeve 1"}
AIR, SLEEVE = 1 + list(Way).index(Way.FREE_AIR), 1 + list(Way).index(Way.SLEEVE)


def lesson(
    off_k: float,
    heating: int = 1,
    of_type: str = "HSK63 12",
    sleeve: str = "sleeve 1",
    sleeve_k: float = -25.0,
    instrument: Instrument = Instrument.PROBE,
) -> Lesson:
    films = (
        FilmSlope(Way.FREE_AIR, "rack", -12.0, math.log(SKIN)),
        FilmSlope(Way.SLEEVE, sleeve, sleeve_k, math.log(SKIN)),
    )
    seen = Prediction(22.0, 72.0, 50.0, -12.0, 2.5, 11.0, 72.0, 0.0, films)
    return Lesson(5e6 + heating, Zone.NOSE, instrument, 72.0 + off_k, seen, Way.FREE_AIR, of_type, heating, heating)


def known(*lessons: Lesson, of_type: str = "HSK63 12", places: Mapping[Way, str | None] = PLACES) -> Known:
    return Heats(lessons).known(of_type, places)


def test_before_any_reading_nothing_is_known_but_what_is_written() -> None:
    found = known()
    assert np.allclose(found.mean, 0.0)
    assert np.allclose(found.cov, untaught().cov)


def test_a_colder_reading_means_less_heat_and_more_of_every_film_it_passed() -> None:
    cold, hot = known(lesson(-10.0)), known(lesson(10.0))
    assert cold.mean[0] < 0 < cold.mean[AIR] and cold.mean[SLEEVE] > 0
    assert hot.mean[0] > 0 > hot.mean[AIR] and hot.mean[SLEEVE] < 0


def test_a_stage_that_was_passed_teaches_its_own_film_though_it_was_not_the_last() -> None:
    found = known(*(lesson(0.0, heating) for heating in range(1, 7)))
    assert found.film_var_share(Way.SLEEVE) < 0.6
    assert found.film_var_share(Way.MIST) == 1.0, "no reading ever passed it"


def test_another_sleeve_is_known_less_well_than_the_one_that_was_read() -> None:
    lessons = [lesson(0.0, heating) for heating in range(1, 7)]
    same = known(*lessons)
    other = known(*lessons, places={**PLACES, Way.SLEEVE: "sleeve 2"})
    assert same.cov[SLEEVE, SLEEVE] < other.cov[SLEEVE, SLEEVE] < untaught().cov[SLEEVE, SLEEVE]


def test_what_types_share_is_learnt_from_all_and_a_types_own_only_from_it() -> None:
    lessons = [lesson(-9.0, heating, f"type {heating}") for heating in range(1, 30)]
    stranger = known(*lessons, of_type="never read")
    assert stranger.mean[SLEEVE] > 0.02
    read = known(*lessons, *(lesson(-9.0, heating) for heating in range(30, 60)))
    assert read.cov[SLEEVE, SLEEVE] < stranger.cov[SLEEVE, SLEEVE] < untaught().cov[SLEEVE, SLEEVE]
    own = 0.4 * FILM[Way.SLEEVE].learnt ** 2
    assert stranger.cov[SLEEVE, SLEEVE] >= own, "however many others are read"


def test_thirty_heats_of_one_type_say_less_about_the_shop_than_one_each_of_thirty_types() -> None:
    of_one = known(*(lesson(-9.0, heating, "one type") for heating in range(1, 31)), of_type="never read")
    of_many = known(*(lesson(-9.0, heating, f"type {heating}") for heating in range(1, 31)), of_type="never read")
    assert of_one.cov[SLEEVE, SLEEVE] > of_many.cov[SLEEVE, SLEEVE]
    assert abs(of_one.mean[SLEEVE]) < abs(of_many.mean[SLEEVE])


def test_readings_of_one_heat_say_less_than_as_many_heats() -> None:
    one_heat = known(*(lesson(5.0, 1) for _ in range(10)))
    ten = known(*(lesson(5.0, heating) for heating in range(1, 11)))
    assert one_heat.cov[SLEEVE, SLEEVE] > 1.5 * ten.cov[SLEEVE, SLEEVE]
    logger = known(*(lesson(5.0, 1) for _ in range(1000)))
    assert np.allclose(logger.cov, known(*(lesson(5.0, 1) for _ in range(12))).cov)


def test_what_is_new_in_every_heat_is_never_learnt_away() -> None:
    found = known(*(lesson(0.0, heating) for heating in range(1, 200)))
    assert found.cov[0, 0] >= 0 and HEAT_LEVEL.fresh > 0
    assert np.linalg.eigvalsh(found.cov).min() > 0


def test_only_heats_that_began_earlier_count() -> None:
    heats = Heats([lesson(-10.0, 5), lesson(-10.0, 9)])
    assert np.allclose(heats.known("HSK63 12", PLACES, before=5).mean, 0.0)
    first = heats.known("HSK63 12", PLACES, before=9).mean[0]
    assert heats.known("HSK63 12", PLACES).mean[0] < first < 0


def test_a_reading_far_off_is_trusted_less() -> None:
    a_little, far = known(lesson(-11.0)), known(lesson(-33.0))
    assert abs(far.mean[0]) < 3 * abs(a_little.mean[0])


def test_a_line_that_knows_only_its_last_film_still_teaches_that() -> None:
    old = Prediction(22.0, 72.0, 50.0, -12.0, 2.5)
    found = known(Lesson(1.0, Zone.NOSE, Instrument.PROBE, 60.0, old, Way.FREE_AIR, "HSK63 12", None, 4))
    assert found.mean[0] < 0 < found.mean[AIR]


@given(st.floats(-12.0, 12.0))
def test_one_reading_moves_what_is_expected_as_the_textbooks_filter_does(off_k: float) -> None:
    one = lesson(off_k)
    slope = np.zeros(5)
    slope[[0, AIR, SLEEVE]] = np.array([50.0, -12.0, -25.0]) / 50.0
    before = untaught().cov
    fresh = np.array([HEAT_LEVEL.fresh, *(FILM[way].fresh for way in Way)])
    right = math.exp(-0.5 * (off_k / one.sd_k) ** 2) / (one.sd_k * math.sqrt(2 * math.pi))
    wrong = 1.0 / ((50.0 + off_k) * math.log(400.0 / 3.0))
    trust = 0.95 * right / (0.95 * right + 0.05 * wrong)
    alone = (2.0 / min(50.0, 50.0 + off_k)) ** 2 / trust
    variance = slope @ before @ slope + (slope**2) @ fresh**2 + (2.5 / 50.0) ** 2 + alone
    gain = before @ slope / variance
    found = known(one)
    assert np.allclose(found.mean, gain * math.log((50.0 + off_k) / 50.0), atol=1e-9)
    assert np.allclose(found.cov, before - np.outer(gain, slope @ before), atol=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.floats(-30, 30), st.integers(1, 5), st.sampled_from("ab")), max_size=10), st.randoms())
def test_the_order_of_readings_does_not_matter(
    readings: list[tuple[float, int, str]], shuffled: random.Random
) -> None:
    lessons = [lesson(off_k, heating, of_type) for off_k, heating, of_type in readings]
    mixed = list(lessons)
    shuffled.shuffle(mixed)
    one, two = known(*lessons, of_type="a"), known(*mixed, of_type="a")
    assert np.allclose(one.mean, two.mean, atol=1e-9) and np.allclose(one.cov, two.cov, atol=1e-12)


def test_a_hold_that_runs_learns_nothing_from_what_is_read_after_it_began() -> None:
    """Whatever was read of whichever heat: before line 50 it counts, from there on not."""
    early = [replace(lesson(-9.0, heating), line=40 + heating) for heating in range(1, 6)]
    late = [replace(lesson(9.0, heating), line=50 + heating) for heating in range(1, 9)]
    running, alone = Heats([*early, *late]).known("HSK63 12", PLACES, 50), Heats(early).known("HSK63 12", PLACES)
    assert running.mean == pytest.approx(alone.mean)
    assert running.cov == pytest.approx(alone.cov)
    assert Heats([*early, *late]).known("HSK63 12", PLACES).mean[0] != pytest.approx(alone.mean[0], abs=1e-3)


def same(one: Known, other: Known, within: float = 1e-9) -> bool:
    return np.allclose(one.mean, other.mean, rtol=within, atol=within) and np.allclose(one.cov, other.cov, rtol=within)


def test_what_was_asked_before_a_reading_came_is_not_said_again_after_it() -> None:
    lessons = [replace(lesson(off_k), line=line) for line, off_k in ((11, -9.0), (12, 4.0), (13, -2.0))]
    heats = Heats(lessons[:1])
    for upto in (1, 2, 3):
        assert same(heats.known("HSK63 12", PLACES), known(*lessons[:upto]))
        if upto < 3:
            heats.add(lessons[upto])
    for before, upto in ((12, 1), (14, 3), (13, 2), (12, 1)):
        assert same(heats.known("HSK63 12", PLACES, before), known(*lessons[:upto]))


def test_the_twelve_latest_readings_of_one_heat_are_learnt_from() -> None:
    lessons = [replace(lesson(-9.0 + line), line=line) for line in range(14)]
    assert same(known(*lessons), known(*lessons[-12:]))
    assert not same(known(*lessons), known(*lessons[-11:]))


def test_a_reading_of_no_known_heating_is_a_heat_of_its_own() -> None:
    alone, other = replace(lesson(-9.0), heating=None, line=7), replace(lesson(6.0), heating=7, line=8)
    assert same(known(alone, other), known(replace(alone, heating=100), other))
    assert not same(known(alone, other), known(replace(alone, heating=7), other))
    two = (replace(alone, line=3), replace(alone, line=4))
    assert same(known(*two), known(replace(two[0], heating=50), replace(two[1], heating=51)))


def test_what_its_heat_was_taken_for_already_counts_as_shown() -> None:
    plain = lesson(0.0)
    hotter = replace(plain, prediction=replace(plain.prediction, about_heat=0.05))
    shown_k = 50.0 * math.exp(0.05)  # a reading that shows as much, expected by nobody
    shown = replace(plain, value_c=22.0 + shown_k, prediction=replace(plain.prediction, expected_c=22.0 + shown_k))
    assert known(hotter).mean[0] > 0.0
    assert known(hotter).mean[0] == pytest.approx(known(shown).mean[0], rel=0.05)


def test_less_than_a_fifth_of_what_is_usual_teaches_as_a_fifth() -> None:
    def showing(share: float) -> float:
        plain = lesson(0.0)
        value_c = 22.0 + 100.0 * share
        seen = replace(plain.prediction, usual_c=122.0, expected_c=value_c)
        return float(known(replace(plain, value_c=value_c, prediction=seen)).mean[0])

    assert showing(0.1) == pytest.approx(showing(0.2), rel=0.02)
    assert showing(0.15) == pytest.approx(showing(0.2), rel=0.02)
    assert showing(0.3) != pytest.approx(showing(0.2), rel=0.05)


def told_again(before_k: float, after_k: float, heats: int) -> float:
    """How far a sleeve's film moved from what 300 heats said to what as many later ones say, after so many of those."""
    before = [lesson(before_k, heating) for heating in range(1, 301)]
    after = [lesson(after_k, heating) for heating in range(301, 361)]
    was, is_now = known(*before).mean[SLEEVE], known(*after).mean[SLEEVE]
    return float((known(*before, *after[:heats]).mean[SLEEVE] - was) / (is_now - was))


@pytest.mark.parametrize("off_k", [-2.0, 2.0])
def test_a_shop_that_drifts_is_known_anew_after_as_many_heats_however_many_there_were_before(off_k: float) -> None:
    assert told_again(-off_k, off_k, 4) == pytest.approx(0.2, abs=0.05)
    assert told_again(-off_k, off_k, 14) == pytest.approx(0.5, abs=0.1)
    assert told_again(-off_k, off_k, 45) > 0.85


@pytest.mark.parametrize("off_k", [-8.0, 8.0])
def test_a_shop_that_changed_is_known_anew_after_a_few_heats_and_less_well_than_it_was(off_k: float) -> None:
    """A sleeve scales up, or a nozzle is moved: the next holders come out of it warmer, or colder, all of them."""
    assert told_again(-off_k, off_k, 3) > 0.5
    assert told_again(-off_k, off_k, 14) > 0.85
    before = [lesson(-off_k, heating) for heating in range(1, 301)]
    after = [lesson(off_k, heating) for heating in range(301, 304)]
    assert known(*before, *after).cov[SLEEVE, SLEEVE] > 1.1 * known(*before).cov[SLEEVE, SLEEVE]


def test_one_strange_heat_among_many_changes_no_shop() -> None:
    before = [lesson(0.0, heating) for heating in range(1, 41)]
    strange, usual = lesson(25.0, 41), [lesson(0.0, heating) for heating in range(42, 45)]
    plain, one = known(*before), known(*before, strange)
    assert abs(one.mean[SLEEVE] - plain.mean[SLEEVE]) < 0.2 * FILM[Way.SLEEVE].learnt
    assert one.cov[SLEEVE, SLEEVE] < 1.05 * plain.cov[SLEEVE, SLEEVE]
    assert known(*before, strange, *usual).cov[SLEEVE, SLEEVE] < 1.05 * plain.cov[SLEEVE, SLEEVE]


def test_what_a_type_taught_fades_with_what_the_shop_reads_of_others_but_slower() -> None:
    """A type tells of its sleeve only, the others of a mist only."""

    def tells(of: FilmSlope, heating: int, of_type: str) -> Lesson:
        seen = replace(lesson(0.0).prediction, by_heat_k=0.0, films=(of,))
        return replace(lesson(0.0, heating, of_type), prediction=seen)

    mist = FilmSlope(Way.MIST, "mist 1", -12.0, math.log(SKIN))
    others = [tells(mist, 100 + at, f"type {at}") for at in range(400)]
    own = tells(FilmSlope(Way.SLEEVE, "sleeve 1", -25.0, math.log(SKIN)), 1, "HSK63 12")

    def said(*lessons: Lesson) -> float:
        """How much is said of the sleeve."""
        return 1.0 / float(known(*lessons).cov[SLEEVE, SLEEVE]) - 1.0 / FILM[Way.SLEEVE].learnt ** 2

    assert said(own, *others[:14]) > 0.9 * said(own)
    assert said(own, *others[:200]) == pytest.approx(0.5 * said(own), rel=0.05)
    assert said(own, *others[:400]) == pytest.approx(0.25 * said(own), rel=0.05)


def test_heats_fade_in_the_order_their_readings_stand_in_the_book_whoever_hears_them_when() -> None:
    heats = [lesson(-8.0, heating) if heating < 20 else lesson(8.0, heating) for heating in range(1, 40)]
    assert same(known(*heats), known(*reversed(heats)))
    turned = [replace(each, line=100 - each.line) for each in heats]
    assert not same(known(*heats), known(*turned), 1e-3)
