"""What a kiosk did not know when it wrote never brings the end of a hold nearer, in whichever order lines arrive."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from kiosk.rules import lines as L
from kiosk.rules.assembly import Cutter
from kiosk.rules.cards import Heat
from kiosk.rules.places import Kind, Place
from tests.ledger.kiosks import SETUP, STEEL, VALUES, Kiosk, Server, shop

A, B = "a" * 16, "b" * 16
TO_STATION = (L.Moved("T1", "B", "S"), L.Heated("T1", "S"))


def shared(server: Server, *kiosks: Kiosk) -> None:
    """Pushed in this order, and pulled by all."""
    for each in kiosks:
        server.push(each.own_lines())
    for each in kiosks:
        each.pulls(server)


def read(kiosk: Kiosk, pair: str = "") -> tuple[L.Entry, ...]:
    """A reading that ends the hold that kiosk knows of."""
    heating = kiosk.row("hold", "T1")["heated_line"]
    taught = {"expected_c": 60.0, "way": "free_air", "ambient_c": 23.0, "by_heat_k": 1.0, "by_film_k": 1.0}
    reading = L.TemperatureRead("T1", "nose", 25.0, "probe", "agrees", pair=pair, other_sd_k=1.0, heating=heating,
                                **taught)  # type: ignore[arg-type]  # fmt: skip
    return reading, L.HoldEnded("T1", "reading", heating)


def test_a_reading_that_knew_of_no_later_heating_ends_no_hold_and_teaches_nothing() -> None:
    """B heats, reads and is cut off all the while; A heated the holder after that, and its lines come first."""
    server, (a, b) = shop(A)
    b.says(*TO_STATION)
    b.says(*read(b, "Shrink 12/R"))
    assert b.row("holder", "T1")["heat"] == Heat.COOL.value
    a.says(*TO_STATION)
    shared(server, a, b)
    for each in (a, b):
        assert each.row("holder", "T1")["heat"] == Heat.HELD.value
        hold = each.row("hold", "T1")
        assert (hold["ended_line"], hold["reading_only"], hold["readings"]) == (None, 1, "[]")
        with each:
            assert each.state.all("teaching") == []
    assert a.tables() == b.tables()


def test_a_reading_that_knew_of_no_other_step_ends_no_hold() -> None:
    server, (a, b) = shop(A)
    a.says(*TO_STATION)
    shared(server, a, b)
    a.says(L.Moved("T1", "S", "F"))
    server.push(a.own_lines())
    b.says(*read(b))
    shared(server, b, a)
    for each in (a, b):
        assert each.row("holder", "T1")["heat"] == Heat.HELD.value and each.row("hold", "T1")["ended_line"] is None


def test_a_reading_that_knew_of_all_ends_the_hold_at_every_kiosk() -> None:
    server, (a, b) = shop(A)
    a.says(*TO_STATION)
    shared(server, a, b)
    b.says(*read(b, "Shrink 12/R"))
    shared(server, b, a)
    for each in (a, b):
        assert each.row("holder", "T1")["heat"] == Heat.COOL.value
        with each:
            assert len(each.state.all("teaching")) == 1


@pytest.mark.parametrize("first", [0, 1])
@pytest.mark.parametrize(("theirs", "only_readings"), [(("F", "R"), 1), (("R",), 0), (("B", "R"), 0)])
def test_a_step_to_where_others_took_it_too_does_not_make_what_they_counted_between_true(
    first: int, theirs: tuple[str, ...], only_readings: int
) -> None:
    """B counts a long stay before the fan; A had taken it to the rack long before, which B did not know."""
    server, (a, b) = shop(A)
    a.says(*TO_STATION)
    shared(server, a, b)
    for origin, goal in zip(("S", *theirs), theirs, strict=False):
        b.says(L.Moved("T1", origin, goal))
    a.says(L.Moved("T1", "S", "R"))
    shared(server, *(a, b)[:: 1 - 2 * first])
    for each in (a, b):
        hold = each.row("hold", "T1")
        assert hold["ended_line"] is None
        assert hold["reading_only"] == (only_readings if first else max(only_readings, theirs != ("R",)))
    assert a.tables() == b.tables()


@pytest.mark.parametrize("first", [0, 1])
@pytest.mark.parametrize("out", [False, True])
def test_one_heating_opens_one_shrink_fit_though_two_kiosks_used_it(first: int, out: bool) -> None:
    """A difference about the cutter is none about the heat: the second time took heat that nobody saw."""
    server, (a, b) = shop(A)
    a.says(*([L.Built("A0", "a", "T1", "C1")] if out else []), *TO_STATION)
    a.says(L.Moved("T1", "S", "R"), *read(a))
    shared(server, a, b)
    for each, key, cutter in ((a, "A1", "C1"), (b, "A2", "C2")):
        each.says(*([L.TornDown("T1", "A0")] if out else []), *([L.Built(key, "b", "T1", cutter)] if not out else []))
        assert each.row("holder", "T1")["heat"] == Heat.COOL.value
    shared(server, *(a, b)[:: 1 - 2 * first])
    for each in (a, b):
        assert each.row("holder", "T1")["heat"] == Heat.UNKNOWN.value
    assert a.tables() == b.tables()


HEATED_ONCE_MORE = (L.Moved("T1", "B", "S"), L.Heated("T1", "S"), L.Moved("T1", "S", "R"))


def _others_say(what: str, b: Kiosk) -> L.Entry:
    if what == "a reading was a slip":
        hold = b.row("hold", "T1")
        (reading,) = json.loads(hold["readings"])
        return L.ReadingWithdrawn("T1", reading[5], reading[1], reading[2], hold["heated_line"])
    if what == "put back":
        return L.Restored("copy", ("T1",))
    if what == "unsure":
        return L.Restored("copy", (), ("T1",))
    return L.Built("A2", "b", "T1", "C1")


@pytest.mark.parametrize("first", [0, 1])
@pytest.mark.parametrize("what", ["a reading was a slip", "put back", "unsure", "a cutter that nobody saw heated"])
def test_a_heating_that_did_not_know_how_warm_its_steel_may_be_is_left_to_readings_in_either_order(
    what: str, first: int
) -> None:
    server, (a, b) = shop(A)
    a.says(*TO_STATION)
    a.says(*read(a), L.Moved("T1", "S", "B"))
    shared(server, a, b)
    b.says(_others_say(what, b))
    a.says(*HEATED_ONCE_MORE)
    shared(server, *(a, b)[:: 1 - 2 * first])
    for each in (a, b):
        hold = each.row("hold", "T1")
        assert hold["ended_line"] is None and (hold["reading_only"] or hold["body_unknown"]), hold
    assert a.tables() == b.tables()


FACTS: dict[str, L.Entry] = {
    "holder": L.HolderRegistered(replace(STEEL[0], bore_mm=6.0), stood_cold=True),
    "cutter": L.CutterAdded(Cutter("C1", "Mill 1", 6.0, 6.0, 50.0)),
    "reground": L.CutterReground("C1", 11.0, 40.0),
    "place": L.PlaceAdded(Place("R", "Rack", Kind.COOLING, way="forced_air")),
    "values": L.SettingChanged("heat.limit_c", "60.0"),
}


@pytest.mark.parametrize("facts", FACTS.values(), ids=FACTS)
@pytest.mark.parametrize("order", ["facts first", "heat first"])
def test_what_a_hold_rests_on_said_by_a_kiosk_that_knew_no_heating_leaves_only_readings(
    facts: L.Entry, order: str
) -> None:
    """At one kiosk no such line may be written under a hold: what it is worked out from stays as it was."""
    server, (a, b) = shop(A)
    a.says(L.Built("A0", "a", "T1", "C1"), *TO_STATION[:1])
    shared(server, a, b)
    a.says(TO_STATION[1], L.Moved("T1", "S", "R"))
    b.says(facts)
    shared(server, *((b, a) if order == "facts first" else (a, b)))
    for each in (a, b):
        assert each.row("hold", "T1")["reading_only"] == 1 or (
            order == "heat first" and "43" in each.row("hold", "T1")["began"] and isinstance(facts, L.SettingChanged)
        )
    assert a.tables() == b.tables()


@pytest.mark.parametrize("facts", FACTS.values(), ids=FACTS)
def test_what_was_known_before_the_heating_leaves_the_hold_as_it_is(facts: L.Entry) -> None:
    server, (a, b) = shop(A)
    a.says(L.Built("A0", "a", "T1", "C1"))
    shared(server, a, b)
    b.says(facts)
    shared(server, b, a)
    a.says(*TO_STATION, L.Moved("T1", "S", "R"))
    shared(server, a, b)
    assert a.row("hold", "T1")["reading_only"] == 0


def test_facts_of_another_holder_or_place_leave_a_hold_as_it_is() -> None:
    server, (a, b) = shop(A)
    a.says(*TO_STATION)
    b.says(L.PlaceAdded(Place("F", "Fan", Kind.COOLING, way="free_air")), L.HolderRegistered(STEEL[1], stood_cold=True),
           L.CutterAdded(Cutter("C2", "Mill", 6.0, 6.0, 50.0)))  # fmt: skip
    shared(server, a, b)
    assert a.row("hold", "T1")["reading_only"] == 0
    assert VALUES["limit_c"] in a.row("hold", "T1")["began"]


@pytest.mark.parametrize(
    ("mover", "goal", "longer"), [(0, "F", False), (1, "F", True), (1, "R", False)], ids=["own", "another", "as before"]
)
def test_a_stay_that_another_kiosk_ends_may_have_been_longer_where_it_cools_otherwise_from_then_on(
    mover: int, goal: str, longer: bool
) -> None:
    """Of another's stay a kiosk knows the least that it lasted; heat that went deeper leaves the next place later."""
    server, kiosks = shop(A)
    kiosks[0].says(*TO_STATION)
    shared(server, *kiosks)
    for each in kiosks:
        each.ages[kiosks[0].row("hold", "T1")["heated_line"]] = 40.0
    kiosks[mover].says(L.Moved("T1", "S", goal))
    shared(server, *kiosks)
    for each in kiosks:
        stages = json.loads(each.row("hold", "T1")["stages"])
        assert [stage[:2] for stage in stages] == [["S", 0.0], [goal, 40.0]]
        assert [any(stage[3:]) for stage in stages] == [longer, False]
        assert each.wrong() == []


def test_where_a_step_of_another_kiosk_is_taken_back_nothing_was_longer() -> None:
    server, (a, b) = shop(A)
    a.says(*TO_STATION, L.Moved("T1", "S", "F"))
    shared(server, a, b)
    a.says(L.Moved("T1", "F", "S", undoes=a.row("holder", "T1")["since_line"]))
    shared(server, a, b)
    assert [stage[0] for stage in json.loads(b.row("hold", "T1")["stages"])] == ["S"]
    assert a.tables() == b.tables()


def flagged(kiosk: Kiosk) -> dict[str, bool]:
    """Whether it stood longer than counted, by where it stood."""
    return {stage[0]: any(stage[3:]) for stage in json.loads(kiosk.row("hold", "T1")["stages"])}


def test_a_stay_of_which_the_least_is_known_is_longer_too_where_only_the_step_after_next_cools_it_otherwise() -> None:
    """B heard late of the heating, brought the holder to a place that cools it as before, and from there to the fan."""
    server, (a, b) = shop(A)
    a.says(*TO_STATION)
    shared(server, a, b)
    b.says(L.Moved("T1", "S", "R"))
    assert flagged(b) == {"S": False, "R": False}
    b.says(L.Moved("T1", "R", "F"))
    assert flagged(b) == {"S": True, "R": False, "F": False}, "of R it counted every second"
    shared(server, a, b)
    assert flagged(a) == flagged(b) and a.wrong() == b.wrong() == []


def test_a_heating_by_another_kiosk_of_the_station_is_no_stay_of_the_kiosk_that_brought_it_there() -> None:
    server, (a, b) = shop(A)
    a.says(*TO_STATION)
    shared(server, a, b)
    b.says(L.Heated("T1", "S"))
    shared(server, a, b)
    a.says(L.Moved("T1", "S", "F"))
    assert flagged(a) == {"S": True, "F": False}


@pytest.mark.parametrize("started", [0, 1])
def test_a_start_makes_only_that_kiosks_own_stays_longer_for_the_others_counted_on(started: int) -> None:
    server, kiosks = shop(A)
    kiosks[0].says(*TO_STATION)
    shared(server, *kiosks)
    kiosks[started].says(L.KioskStarted("2"))
    shared(server, *kiosks)
    for each in kiosks:
        assert flagged(each) == {"S": started == 0}
        assert each.row("hold", "T1")["gaps"] == (1 if started == 0 else 0)
        assert each.wrong() == []


def test_after_a_start_a_stay_another_kiosk_began_is_longer_once_it_is_brought_to_where_it_cools_otherwise() -> None:
    server, (a, b) = shop(A)
    a.says(*TO_STATION)
    shared(server, a, b)
    b.says(L.KioskStarted("2"))
    b.says(L.Moved("T1", "S", "F"))
    shared(server, a, b)
    assert flagged(a) == flagged(b) == {"S": True, "F": False}


@pytest.mark.parametrize("by", [0, 1])
def test_a_heating_scanned_again_by_a_kiosk_that_did_not_count_it_is_another_one_on_a_warm_body(by: int) -> None:
    server, kiosks = shop(A)
    kiosks[0].says(*TO_STATION)
    shared(server, *kiosks)
    kiosks[by].says(L.Heated("T1", "S", heats=0, again=True))
    shared(server, *kiosks)
    for each in kiosks:
        assert each.row("hold", "T1")["body_unknown"] == by
        assert each.wrong() == []


@pytest.mark.parametrize("by", [0, 1])
def test_a_cutter_joined_at_the_station_by_a_kiosk_that_did_not_count_the_stay_was_heated_in_once_more(by: int) -> None:
    server, kiosks = shop(A)
    kiosks[0].says(*TO_STATION)
    shared(server, *kiosks)
    kiosks[by].says(L.Built("A1", "Mill", "T1", "C1", 40.0))
    shared(server, *kiosks)
    assert [each.row("hold", "T1")["reading_only"] for each in kiosks] == [by, by]


def test_a_doubted_reading_that_knew_of_no_other_step_keeps_its_holder_at_every_kiosk() -> None:
    server, (_, a, b) = shop("a" * 16, "b" * 16)
    a.says(L.Moved("T1", "B", "S"), L.Heated("T1", "S"), L.Moved("T1", "S", "R"))
    shared(server, a, b)
    heating = b.row("hold", "T1")["heated_line"]
    a.says(L.Moved("T1", "R", "F"))
    server.push(a.own_lines())
    b.says(L.TemperatureRead("T1", "nose", 200.0, "probe", "questioned", heating=heating))
    shared(server, b, a)
    assert [kiosk.row("hold", "T1")["reading_only"] for kiosk in (a, b)] == [1, 1]


@pytest.mark.parametrize("doubted", [True, False])
def test_what_a_lone_kiosk_still_owed_is_owed_once_it_has_others(doubted: bool) -> None:
    """A doubted reading, a slip, or both, before the first step that is shared."""
    server, a = Server(), Kiosk("a" * 16)
    heating = len(SETUP) + 2
    lines = [*SETUP, L.Moved("T1", "B", "S"), L.Heated("T1", "S"), L.Moved("T1", "S", "R")]
    if doubted:
        lines.append(L.TemperatureRead("T1", "nose", 250.0, "probe", "questioned", heating=heating))
    lines.append(L.TemperatureRead("T1", "flange", 30.0, "probe", "agrees", heating=heating))
    lines.append(L.ReadingWithdrawn("T1", len(lines), "flange", 30.0, heating))
    a.founds(lines, server)
    a.says(L.Moved("T1", "R", "F"))
    assert a.row("hold", "T1")["reading_only"] == 1
