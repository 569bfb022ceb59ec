"""MTConnect assets: valid by the published schema, and saying what the book says and no more."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.exchange.mtconnect import NAMESPACE, Export, document, statuses
from kiosk.rules.assembly import Assembly, Clamping, Condition, Coupling, Cutter, Holder, Measured
from kiosk.rules.fitting.magazine import Magazine
from kiosk.rules.fitting.magazine import MagazineKind as MagazineKind
from kiosk.rules.places import Kind
from kiosk.rules.stock import BookEntry

SCHEMA = Path(__file__).parents[3] / "shared" / "reference" / "mtconnect" / "MTConnectAssets_2.4.xsd"
EXPORT = Export(datetime(2026, 11, 24, 22, 0, tzinfo=UTC), "shop kiosk")
HOLDER = Holder(
    *("h1", "Shrink 12", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0),
    nose_mm=24.0,
    projection_mm=80.0,
    mass_kg=1.0,
    rpm_max=25000.0,
)
CUTTER = Cutter("c1", "End mill 12", 12.0, 12.0, 83.0, lu_mm=36.0, re_mm=1.0, zefp=4, wt_kg=0.12, life_min=90.0)
BUILT = Assembly("a1", "Rougher 12 R1", HOLDER, CUTTER, 40.0, Measured(122.987, 11.995, 0.998), used_min=12.5)
ENTRY = BookEntry("H7K2B4N9RX", HOLDER, BUILT, "Mill 1 · 07", Kind.POCKET, "Mill 1", 7, regrinds=2, tool_number=12)
WIDE = replace(ENTRY, assembly=replace(BUILT, key="a2", measured=replace(BUILT.measured, diameter_mm=120.0)))
SPINDLE = replace(ENTRY, kind=Kind.SPINDLE, pocket=None, assembly=replace(BUILT, key="a3", measured=None))
DRAWER = replace(
    ENTRY, kind=Kind.SLOT, place="Cabinet A · 1-05", machine=None, pocket=None, assembly=replace(BUILT, key="a4")
)
BARE = replace(ENTRY, assembly=None)
MAGAZINES = {"Mill 1": Magazine(MagazineKind.CHAIN, 24, 80.0, 5.0)}


@cache
def schema() -> object:
    etree = pytest.importorskip("lxml.etree")
    if not SCHEMA.exists():
        pytest.skip(f"the published schema is not at {SCHEMA}; the rules below are tested without it")
    return etree.XMLSchema(etree.parse(str(SCHEMA)))


def errors(data: bytes) -> list[str]:
    etree = pytest.importorskip("lxml.etree")
    valid = schema()
    valid.validate(etree.fromstring(data))  # type: ignore[attr-defined]
    return [str(error) for error in valid.error_log]  # type: ignore[attr-defined]


def tools(data: bytes) -> dict[str, ET.Element]:
    return {tool.attrib["assetId"]: tool for tool in ET.fromstring(data).iter(f"{{{NAMESPACE}}}CuttingTool")}


def of(tool: ET.Element, name: str) -> ET.Element:
    found = tool.find(f".//{{{NAMESPACE}}}{name}")
    assert found is not None
    return found


def test_an_export_is_valid_by_the_published_schema() -> None:
    assert errors(document([ENTRY, WIDE, SPINDLE, DRAWER, BARE], EXPORT, MAGAZINES)) == []
    assert errors(document([], EXPORT)) == []


def test_a_schema_that_passes_everything_would_be_noticed() -> None:
    data = document([ENTRY], EXPORT, MAGAZINES)
    assert errors(data.replace(b"<Status>MEASURED</Status>", b"<Status>NEARLY</Status>"))


ODD = st.text(max_size=12)


@settings(max_examples=40, deadline=None)
@given(
    name=ODD,
    machine=ODD,
    place=st.none() | ODD,
    condition=st.sampled_from(Condition),
    kind=st.none() | st.sampled_from(Kind),
    measured=st.booleans(),
    bare=st.booleans(),
)
def test_whatever_the_book_holds_exports_validly(
    name: str, machine: str, place: str | None, condition: Condition, kind: Kind | None, measured: bool, bare: bool
) -> None:
    valid = schema()
    etree = pytest.importorskip("lxml.etree")
    holder = replace(HOLDER, nose_mm=None, projection_mm=None, mass_kg=None, rpm_max=None) if bare else HOLDER
    cutter = replace(CUTTER, name=name, lu_mm=None, life_min=None, zefp=1) if bare else CUTTER
    built = replace(BUILT, name=name, holder=holder, cutter=cutter, condition=condition)
    built = built if measured else replace(built, measured=None)
    entry = BookEntry("H7K2B4N9RX", holder, built, place, kind, machine, 3)
    data = document([entry], EXPORT, {machine: MAGAZINES["Mill 1"]})
    valid.validate(etree.fromstring(data))  # type: ignore[attr-defined]
    assert [str(error) for error in valid.error_log] == []  # type: ignore[attr-defined]


def test_elements_stand_in_the_order_the_standard_gives() -> None:
    order = (
        *("CutterStatus", "ReconditionCount", "ToolLife", "ProgramToolNumber", "Location", "ProcessSpindleSpeed"),
        *("ConnectionCodeMachineSide", "Measurements", "CuttingItems"),
    )
    life = of(tools(document([ENTRY], EXPORT))["a1"], "CuttingToolLifeCycle")
    assert tuple(child.tag.removeprefix(f"{{{NAMESPACE}}}") for child in life) == order


def test_a_pocket_is_a_pot_with_its_overlaps() -> None:
    found = tools(document([ENTRY, WIDE], EXPORT, MAGAZINES))
    narrow, wide = of(found["a1"], "Location"), of(found["a2"], "Location")
    assert (narrow.text, narrow.attrib) == (
        "7",
        {"type": "POT", "negativeOverlap": "0", "positiveOverlap": "0", "toolMagazine": "Mill-1"},
    )
    assert (wide.attrib["negativeOverlap"], wide.attrib["positiveOverlap"]) == ("1", "1")


def test_spindle_and_cabinet_have_their_own_location_and_nowhere_has_none() -> None:
    nowhere = replace(ENTRY, place=None, kind=None, machine=None, pocket=None)
    found = tools(document([SPINDLE, DRAWER, nowhere], EXPORT, MAGAZINES))
    assert of(found["a3"], "Location").attrib["type"] == "SPINDLE"
    drawer = of(found["a4"], "Location").attrib
    assert (drawer["type"], drawer["toolRack"]) == ("CRIB", "Cabinet-A---1-05")
    assert found["a1"].find(f".//{{{NAMESPACE}}}Location") is None


def test_measured_and_nominal_values_stand_side_by_side() -> None:
    tool = tools(document([ENTRY], EXPORT))["a1"]
    length = of(tool, "FunctionalLength")
    assert (length.text, length.attrib["nominal"]) == ("122.987", "123")
    assert of(tool, "CornerRadius").text == "0.998"
    assert of(tool, "Weight").attrib == {"code": "WT", "units": "GRAM", "nominal": "1120"}
    assert (of(tool, "ToolLife").text, of(tool, "ToolLife").attrib["limit"]) == ("12.5", "90")
    assert of(tool, "ReconditionCount").text == "2"
    assert of(tool, "ProgramToolNumber").text == "12"


def test_what_was_not_measured_is_left_empty() -> None:
    tool = tools(document([SPINDLE], EXPORT))["a3"]
    assert of(tool, "FunctionalLength").text is None
    assert "MEASURED" not in statuses(SPINDLE)


def cases() -> Iterator[tuple[BookEntry, str]]:
    yield ENTRY, "AVAILABLE"
    yield replace(ENTRY, hot=True), "UNAVAILABLE"
    yield replace(ENTRY, kind=Kind.OUT), "UNAVAILABLE"
    yield replace(ENTRY, assembly=replace(BUILT, condition=Condition.BROKEN)), "BROKEN"
    yield replace(ENTRY, assembly=replace(BUILT, condition=Condition.WORN)), "EXPIRED"
    yield replace(ENTRY, assembly=replace(BUILT, condition=Condition.UNKNOWN)), "UNKNOWN"
    yield replace(ENTRY, assembly=replace(BUILT, used_min=90.0)), "EXPIRED"


@pytest.mark.parametrize(("entry", "status"), list(cases()))
def test_the_status_is_the_worst_that_is_known(entry: BookEntry, status: str) -> None:
    states = {"AVAILABLE", "UNAVAILABLE", "BROKEN", "EXPIRED", "UNKNOWN"}
    assert states & set(statuses(entry)) == {status}


def test_a_used_one_is_not_new() -> None:
    assert "USED" in statuses(ENTRY)
    assert "NEW" in statuses(replace(ENTRY, assembly=replace(BUILT, used_min=0.0)))


def test_an_export_without_a_time_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="zone"):
        document([ENTRY], Export(datetime(2026, 11, 24), "kiosk"))
