"""What was typed, as a query; and what a query matches."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.rules.assembly import Clamping, Condition, Coupling
from kiosk.rules.cards import Heat
from kiosk.rules.finding import Query, SoughtHolder, Span, Usable, matches, parse, searched_text
from kiosk.rules.places import Kind

HSK63 = Coupling.parse("HSK63")


def row(**more: object) -> SoughtHolder:
    plain: dict[str, object] = {
        "key": "T002", "code": "H7SJEC466N", "name": "End mill 12 R0.5", "holder_name": "Shrink 12 x 80",
        "names": searched_text("End mill 12 R0.5", "Shrink 12 x 80", "HSK63"),
        "marks": searched_text("H7SJEC466N", "T002"), "coupling": "HSK63", "clamping": "shrink_fit", "bore_mm": 12.0,
        "bore_min_mm": None, "free": False, "dc_mm": 12.0, "re_mm": 0.5, "length_mm": 130.5, "condition": "good",
        "place": "P1", "place_name": "Cabinet A · 1-02", "place_kind": Kind.SLOT, "heat": Heat.COOL,
    }  # fmt: skip
    return SoughtHolder(**(plain | more))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("typed", "query"),
    [
        ("", Query()),
        ("HSK63", Query(coupling=HSK63)),
        ("hsk 63", Query(coupling=HSK63)),
        ("HSK-63 shrink", Query(coupling=HSK63, clamping=Clamping.SHRINK_FIT)),
        ("a40 collet", Query(coupling=Coupling.parse("A40"), clamping=Clamping.COLLET)),
        ("12 R0.5", Query(numbers=((12.0, "12"),), corners=((0.5, "r0.5"),))),
        ("12 r0,5", Query(numbers=((12.0, "12"),), corners=((0.5, "r0.5"),))),
        ("12mm", Query(numbers=((12.0, "12"),))),
        ("8,5", Query(numbers=((8.5, "8.5"),))),
        ("Ø12", Query(diameter_mm=Span(11.95, 12.05))),
        ("10-12", Query(diameter_mm=Span(10.0, 12.0), diameter_said="10-12")),
        ("1-05", Query(words=("1-05",))),
        ("diameter 12 to 10", Query(diameter_mm=Span(10.0, 12.0))),
        ("length 80-100", Query(length_mm=Span(80.0, 100.0))),
        ("length 80 - 100 mm", Query(length_mm=Span(80.0, 100.0))),
        ("Länge 80 bis 100", Query(length_mm=Span(80.0, 100.0))),
        ("length 100", Query(length_mm=Span(99.5, 100.5))),
        ("free holder for a 12 mm shank with HSK63", Query(coupling=HSK63, shank_mm=12.0, free=True)),
        ("free holder for a 12 mm shank with HSK-size 63", Query(coupling=HSK63, shank_mm=12.0, free=True)),
        ("porte-outil libre pour queue de 12 HSK63", Query(coupling=HSK63, shank_mm=12.0, free=True)),
        ("portaherramientas libre para mango 12 HSK63", Query(coupling=HSK63, shank_mm=12.0, free=True)),
        ("portautensile libero per codolo 12 HSK63", Query(coupling=HSK63, shank_mm=12.0, free=True)),
        ("porta-ferramentas livre para haste 12 HSK63", Query(coupling=HSK63, shank_mm=12.0, free=True)),
        ("wolna oprawka dla chwyt 12 HSK63", Query(coupling=HSK63, shank_mm=12.0, free=True)),
        ("volný držák pro 12 mm stopka HSK63", Query(coupling=HSK63, shank_mm=12.0, free=True)),
        ("12 mm şaft için boş tutucu HSK63", Query(coupling=HSK63, shank_mm=12.0, free=True)),
        ("longueur 80 à 100", Query(length_mm=Span(80.0, 100.0))),
        ("DŁUGOŚĆ 80 do 100", Query(length_mm=Span(80.0, 100.0))),
        ("průměr 10 až 12", Query(diameter_mm=Span(10.0, 12.0))),
        ("12 a40", Query(numbers=((12.0, "12"),), coupling=Coupling.parse("A40"))),
        ("frettage", Query(clamping=Clamping.SHRINK_FIT)),
        ("pinza", Query(clamping=Clamping.COLLET)),
        ("usé", Query(condition=Condition.WORN)),
        ("KIRIK", Query(condition=Condition.BROKEN)),
        ("kırık", Query(condition=Condition.BROKEN)),
        ("gorące", Query(hot=True)),
        ("horký", Query(hot=True)),
        ("chybí", Query(nowhere=True)),
        ("freier Halter für 12 mm Schaft HSK 63", Query(coupling=HSK63, shank_mm=12.0, free=True)),
        ("free 12", Query(shank_mm=12.0, free=True)),
        ("free a 12", Query(shank_mm=12.0, free=True)),
        ("worn", Query(condition=Condition.WORN)),
        ("hot", Query(hot=True)),
        ("missing", Query(nowhere=True)),
        ("Cabinet A", Query(words=("cabinet", "a"))),
        ("end mi", Query(words=("end", "mi"))),
        ("HSK64", Query(words=("hsk64",))),
        ("12 R", Query(numbers=((12.0, "12"),), words=("r",))),
        ("H7SJEC466N", Query(words=("h7sjec466n",))),
    ],
)
def test_what_was_typed_becomes_a_query(typed: str, query: Query) -> None:
    assert parse(typed) == query


@pytest.mark.parametrize("typed", ["kılıç", "KILIÇ", "kiliç", "KİLİÇ", "kilic", "Kılıç"])
def test_capital_and_small_letters_of_turkish_find_the_same_holder(typed: str) -> None:
    for name in ("Kılıç 12", "KILIÇ 12", "kiliç 12"):
        assert matches(parse(typed), row(names=searched_text(name)))


@pytest.mark.parametrize("typed", ["celni freza", "ČELNÍ FRÉZA", "čelní fréza"])
def test_accents_may_be_left_out(typed: str) -> None:
    assert matches(parse(typed), row(names=searched_text("Fréza čelní 12")))


@given(st.text(max_size=60))
def test_no_text_is_turned_down(typed: str) -> None:
    query = parse(typed)
    assert matches(query, row()) in (True, False)


@pytest.mark.parametrize(
    "typed",
    ["12", "12 r0.5", "12 r", "hsk63", "cabinet a", "ec466", "length 130-131", "mill", "1-02", "10-12", "Ø12"],
)
def test_a_holder_is_found_by_what_is_known_of_it(typed: str) -> None:
    assert matches(parse(typed), row())


@pytest.mark.parametrize("typed", ["10", "12 r1", "hsk100", "cabinet b", "free", "worn", "hot", "missing", "length 90"])
def test_and_not_by_what_it_is_not(typed: str) -> None:
    assert not matches(parse(typed), row())


def test_every_letter_typed_on_the_way_to_a_name_still_finds_it() -> None:
    whole = "End mill 12 R0.5"
    for length in range(1, len(whole) + 1):
        assert matches(parse(whole[:length]), row()), whole[:length]


def test_a_free_holder_takes_the_shank_of_its_bore_or_of_its_collets_range() -> None:
    bare = row(free=True, dc_mm=None, re_mm=None)
    collet = row(free=True, dc_mm=None, re_mm=None, bore_min_mm=2.0, bore_mm=16.0, clamping="collet")
    asked = parse("free holder for a 12 mm shank")
    assert matches(asked, bare) and matches(asked, collet)
    assert not matches(parse("free 11"), bare) and matches(parse("free 11"), collet)
    assert not matches(parse("free 17"), collet)


@pytest.mark.parametrize(
    ("more", "usable"),
    [
        ({}, Usable.READY),
        ({"place_kind": Kind.BENCH}, Usable.NEAR),
        ({"place_kind": Kind.COOLING, "heat": Heat.HELD}, Usable.COOLING),
        ({"heat": Heat.UNKNOWN}, Usable.UNPROVEN),
        ({"place_kind": Kind.POCKET}, Usable.IN_MACHINE),
        ({"place_kind": Kind.SPINDLE}, Usable.IN_MACHINE),
        ({"place": None, "place_kind": None, "heat": Heat.UNKNOWN}, Usable.NOWHERE),
        ({"place": None, "place_kind": None, "heat": Heat.HELD}, Usable.COOLING),
        ({"place_kind": Kind.OUT}, Usable.OUT),
        ({"condition": "worn"}, Usable.WORN),
        ({"condition": "broken", "place_kind": Kind.BENCH}, Usable.BROKEN),
        ({"condition": "worn", "place_kind": Kind.POCKET}, Usable.WORN),
        ({"condition": "worn", "heat": Heat.HELD}, Usable.COOLING),
        ({"condition": "broken", "heat": Heat.UNKNOWN}, Usable.UNPROVEN),
        ({"measured_warm": True}, Usable.REMEASURE),
        ({"measured_warm": True, "condition": "worn"}, Usable.WORN),
    ],
)
def test_how_soon_a_holder_is_of_use(more: dict[str, object], usable: Usable) -> None:
    assert row(**more).usable is usable
