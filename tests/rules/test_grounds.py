"""What a running hold rests on is not changed under it, and no place becomes another kind under what stands there."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Coupling, Cutter, Holder
from kiosk.rules.grounds import Grounds, Resting, grounds
from kiosk.rules.places import Kind, Place

STEEL = Holder("H1", "Shrink 12", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0)
MILL = Cutter("C1", "Mill 12", 12.0, 12.0, 80.0)
CABINET = Place("W", "Wall", Kind.CABINET)
DRAWER = Place("D", "Drawer 1", Kind.DRAWER, parent="W", number=1)
SLOT = Place("S", "Slot 1", Kind.SLOT, parent="D", number=1, capacity=1)
SLEEVE = Place("P", "Sleeve", Kind.COOLING, way="sleeve", wet_length_mm=50.0)
BENCH, MACHINE = Place("B", "Bench", Kind.BENCH), Place("M", "Mill", Kind.MACHINE)
POCKET = Place("M1", "Pocket 1", Kind.POCKET, parent="M", number=1)
BOOK = {place.code: place for place in (CABINET, DRAWER, SLOT, SLEEVE, BENCH, MACHINE, POCKET)}


def refused(found: Grounds, entry: L.Entry) -> str | None:
    said = found.refuses(entry)
    return said.key if said else None


def resting(*places: str, cutter: str | None = "C1") -> Grounds:
    return grounds([Resting(STEEL, cutter, places)], BOOK, ())


@pytest.mark.parametrize(
    "entry",
    [
        L.HolderRegistered(STEEL),
        L.Built("A2", "Mill", "H1", "C2"),
        L.CutterAdded(MILL),
        L.CutterReground("C1", 11.9),
        L.TornDown("H1", "A1"),
        L.TornDown("H1", "A1", undoes=7),
    ],
    ids=lambda entry: entry.kind,
)
def test_holder_and_cutter_of_a_hold_stay_as_they_are_and_those_of_others_do_not(entry: L.Entry) -> None:
    assert refused(resting(), entry) == "intake.hot"
    assert refused(grounds([], BOOK, ()), entry) is None
    other = replace(STEEL, key="H9")
    assert refused(grounds([Resting(other, "C9", ())], BOOK, ()), entry) is None
    said = resting().refuses(entry)
    assert said is not None and said["name"] == "Shrink 12"


def test_an_empty_holder_holds_back_no_cutter() -> None:
    assert refused(resting(cutter=None), L.CutterAdded(MILL)) is None


def test_lines_that_change_no_fact_are_not_refused() -> None:
    assert refused(resting("P"), L.Moved("H1", "P", "S")) is None


def test_a_place_a_hold_stood_at_keeps_how_it_cools_and_so_does_what_it_is_inside() -> None:
    found = resting("P", "S")
    assert refused(found, L.PlaceAdded(replace(SLEEVE, wet_length_mm=80.0))) == "intake.hot"
    assert refused(found, L.PlaceAdded(replace(SLEEVE, way="forced_air"))) == "intake.hot"
    for around in (SLOT, DRAWER, CABINET):
        assert refused(found, L.PlaceAdded(replace(around, parent="B"))) == "intake.hot"
    assert refused(found, L.PlaceAdded(replace(POCKET, parent="B"))) is None
    renamed = replace(SLEEVE, name="Sleeve 2", number=4, capacity=3)
    assert refused(found, L.PlaceAdded(renamed)) is None, "names, numbers and room change no hold"
    assert refused(found, L.PlaceAdded(replace(SLEEVE, code="NEW"))) is None


@pytest.mark.parametrize("before", list(Kind))
@pytest.mark.parametrize("after", list(Kind))
def test_what_is_built_in_is_that_for_ever_and_other_places_change_only_while_unused(before: Kind, after: Kind) -> None:
    built_in = {Kind.CABINET, Kind.DRAWER, Kind.SLOT, Kind.MACHINE, Kind.POCKET, Kind.SPINDLE}
    place = Place("X", "Somewhere", before)
    entry = L.PlaceAdded(replace(place, kind=after))
    empty, used = grounds([], {"X": place}, ()), grounds([], {"X": place}, ("X",))
    warm = grounds([Resting(STEEL, None, ("X",))], {"X": place}, ())
    if before is after:
        assert refused(empty, entry) is refused(used, entry) is refused(warm, entry) is None
    elif before in built_in or after in built_in:
        assert refused(empty, entry) == refused(used, entry) == refused(warm, entry) == "intake.kind_for_ever"
    else:
        assert refused(empty, entry) is None
        assert refused(used, entry) == refused(warm, entry) == "intake.in_use"


def test_what_stands_in_a_slot_uses_its_drawer_and_cabinet_too() -> None:
    found = grounds([], BOOK, ("S",))
    assert found.in_use == {"S", "D", "W"}
    assert resting("S").in_use == {"S", "D", "W"} and resting().in_use == frozenset()


def test_places_in_a_ring_or_inside_what_is_not_there_are_gone_through_once() -> None:
    ring = {"X": replace(BENCH, code="X", parent="Y"), "Y": replace(BENCH, code="Y", parent="X")}
    assert grounds([], ring, ("X",)).in_use == {"X", "Y"}
    assert grounds([], {"X": replace(BENCH, code="X", parent="gone")}, ("X",)).in_use == {"X", "gone"}
    assert grounds([], {}, ("nowhere",)).in_use == {"nowhere"}
