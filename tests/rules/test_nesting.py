"""What may be inside what: written here a second time, and nothing is inside itself."""

from __future__ import annotations

import pytest

from kiosk.rules import nesting
from kiosk.rules.places import Kind, Place
from kiosk.words import catalogue

INSIDE = {
    Kind.DRAWER: {Kind.CABINET, None},
    Kind.SLOT: {Kind.DRAWER, Kind.CABINET, None},
    Kind.POCKET: {Kind.MACHINE},
    Kind.SPINDLE: {Kind.MACHINE},
}


def fault(place: Place, places: dict[str, Place]) -> str | None:
    """In the words of the command line."""
    found = nesting.fault(place, places)
    return catalogue("en").say(found.key, **dict(found.values)) if found else None


def place(code: str, kind: Kind, parent: str | None = None) -> Place:
    return Place(code, code, kind, parent, way="free_air" if kind is Kind.COOLING else None)


@pytest.mark.parametrize("kind", list(Kind))
@pytest.mark.parametrize("around", [None, *Kind])
def test_each_kind_is_inside_what_is_written_here_and_nothing_else(around: Kind | None, kind: Kind) -> None:
    inner = place("X", kind, "Y" if around else None)
    places = {"X": inner} | ({"Y": place("Y", around)} if around else {})
    said = fault(inner, places)
    assert (said is None) is (around in INSIDE.get(kind, {None}))
    if said:
        assert said.startswith(f"a {kind.value} is inside ")
        assert said.endswith(f"not {around.value if around else 'nothing'}")


def test_a_place_in_a_ring_or_in_none_that_is_there_cannot_be() -> None:
    one = place("A", Kind.SLOT, "A")
    assert fault(one, {"A": one}) == "is inside itself"
    ring = {"A": place("A", Kind.SLOT, "B"), "B": place("B", Kind.DRAWER, "C"), "C": place("C", Kind.CABINET, "B")}
    assert {fault(each, ring) for each in ring.values()} == {"is inside itself"}
    lost = place("A", Kind.SLOT, "gone")
    assert fault(lost, {"A": lost}) == "there is no place 'gone'"
    assert fault(place("A", Kind.SLOT, "B"), {"B": place("B", Kind.DRAWER, "gone")}) == "there is no place 'gone'"


@pytest.mark.parametrize("kind", list(Kind))
@pytest.mark.parametrize("way", [None, "sleeve"])
def test_a_cooling_place_says_how_it_cools_and_no_other_does(kind: Kind, way: str | None) -> None:
    said = fault(Place("X", "X", kind, way=way), {})
    assert (said is not None and "how it cools" in said) is ((kind is Kind.COOLING) != (way is not None))
