"""Holders and cutters as tables: every bad row is named, good ones come back as they were."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.exchange.columns import (
    BOOK_COLUMNS,
    CUTTER_COLUMNS,
    HolderRow,
    read_cutters,
    read_holders,
    write_book,
    write_cutters,
)
from kiosk.exchange.faults import FileFaults
from kiosk.exchange.tables_csv import Dialect, decoded, read_table
from kiosk.rules.assembly import (
    Assembly,
    Clamping,
    Condition,
    Coupling,
    Cutter,
    Holder,
    Measured,
)
from kiosk.rules.codes import CodeKind as CodeKind
from kiosk.rules.codes import make
from kiosk.rules.stock import BookEntry
from tests.made import CUTTERS, DIALECTS, HOLDERS, MEASURED

ROW = {
    "code": make(CodeKind.HOLDER, 7).text,
    "key": "h1",
    "name": "Shrink 12",
    "coupling": "HSK63",
    "clamping": "shrink_fit",
    "bore_mm": "12",
    "assembly": "a1",
    "assembly_name": "Mill",
    "insert_mm": "40,5",
    "cutter": "c1",
    "cutter_name": "End mill",
    "DC": "12",
    "DMM": "12",
    "OAL": "83",
    "RE": "0,5",
    "ZEFP": "4",
}


def table_of(*rows: dict[str, str], columns: tuple[str, ...] = tuple(ROW)) -> str:
    return "\n".join([";".join(columns), *(";".join(row.get(name, "") for name in columns) for row in rows)])


def test_a_row_with_decimal_commas_becomes_holder_cutter_and_assembly() -> None:
    read = read_holders(read_table(table_of(ROW), "h.csv"))
    (row,) = read.whole()
    assert row.holder.coupling == Coupling.parse("HSK63")
    assert row.assembly is not None
    assert row.assembly.insert_mm == 40.5
    assert (row.assembly.cutter.re_mm, row.assembly.cutter.zefp, row.assembly.cutter.shank_h6) == (0.5, 4, False)


@pytest.mark.parametrize(
    ("field", "value", "why"),
    [
        ("code", "HABC", "not a code"),
        ("code", make(CodeKind.PLACE, 7).text, "not the code of a holder"),
        ("key", "", "is empty"),
        ("coupling", "HSK64", "no coupling"),
        ("clamping", "glue", "must be one of"),
        ("bore_mm", "twelve", "is not a number"),
        ("bore_mm", "0", "more than 0"),
        ("DC", "-3", "cannot be"),
        ("ZEFP", "2.5", "not a whole number"),
        ("ZEFP", "0", "at least 1"),
        ("assembly", "", "though a cutter is built in"),
    ],
)
def test_a_bad_value_is_reported_with_file_line_and_field(field: str, value: str, why: str) -> None:
    good = ROW | {"code": make(CodeKind.HOLDER, 8).text, "key": "h2", "assembly": "a2", "cutter": "c2"}
    read = read_holders(read_table(table_of(good, ROW | {field: value}), "h.csv"))
    (fault,) = read.faults
    assert (fault.file, fault.line, fault.field) == ("h.csv", 3, field)
    assert why in fault.why
    assert [row.holder.key for row in read.good] == ["h2"]
    with pytest.raises(FileFaults, match=rf"h\.csv, line 3, {field}"):
        read.whole()


@pytest.mark.parametrize("field", ["code", "key", "assembly", "cutter"])
def test_what_must_be_unique_names_the_line_that_has_it_already(field: str) -> None:
    other = {"code": make(CodeKind.HOLDER, 8).text, "key": "h2", "assembly": "a2", "cutter": "c2"}
    other[field] = ROW[field]
    read = read_holders(read_table(table_of(ROW, ROW | other), "h.csv"))
    assert [(fault.line, fault.field) for fault in read.faults] == [(3, field)]
    assert "on line 2 already" in read.faults[0].why


def test_an_unknown_column_is_a_fault_and_a_missing_one_stops_the_table() -> None:
    odd = read_holders(read_table(table_of(ROW | {"colour": "red"}, columns=(*ROW, "colour")), "h.csv"))
    assert [(fault.line, fault.field) for fault in odd.faults] == [(1, "colour")]
    assert len(odd.good) == 1
    short = read_cutters(read_table("cutter;DC\nc1;12\n", "c.csv"))
    assert {fault.field for fault in short.faults} == {"cutter_name", "DMM", "OAL"}
    assert short.good == ()


def test_half_a_measurement_is_a_fault() -> None:
    row = ROW | {"length_mm": "120"}
    read = read_holders(read_table(table_of(row, columns=(*ROW, "length_mm", "diameter_mm")), "h.csv"))
    assert [fault.field for fault in read.faults] == ["diameter_mm"]


@settings(max_examples=60, deadline=None)
@given(CUTTERS, DIALECTS)
def test_a_cutter_goes_out_and_comes_back_as_it_was(cutter: Cutter, dialect: Dialect) -> None:
    text = write_cutters([cutter], dialect)
    assert read_cutters(read_table(decoded(text.encode(), "c.csv"), "c.csv")).whole() == (cutter,)


@settings(max_examples=60, deadline=None)
@given(HOLDERS, CUTTERS, st.none() | MEASURED, st.sampled_from(Condition), st.booleans(), DIALECTS)
def test_a_book_goes_out_and_comes_back_as_it_was(
    holder: Holder, cutter: Cutter, measured: Measured | None, condition: Condition, bare: bool, dialect: Dialect
) -> None:
    built = None if bare else Assembly("a1", "Mill", holder, cutter, 40.0, measured, condition, 3.5)
    entry = BookEntry(make(CodeKind.HOLDER, 5).text, holder, built, place="Cabinet A · 1-05")
    text = write_book([entry], dialect)
    assert read_holders(read_table(decoded(text.encode(), "h.csv"), "h.csv")).whole() == (
        HolderRow(entry.code, holder, built, "Cabinet A · 1-05"),
    )


def test_a_name_that_is_a_formula_leaves_harmless() -> None:
    cutter = Cutter("c1", '=HYPERLINK("x")', 12.0, 12.0, 83.0)
    text = write_cutters([cutter])
    assert "'=HYPERLINK" in text
    assert read_cutters(read_table(text, "c.csv")).whole()[0].name == '=HYPERLINK("x")'


def test_columns_are_named_once_and_speak_the_standards_symbols() -> None:
    assert len(set(BOOK_COLUMNS)) == len(BOOK_COLUMNS)
    assert {"DC", "DMM", "OAL", "LF", "LU", "RE", "ZEFP", "RPMX", "WT"} <= set(CUTTER_COLUMNS)


def test_a_cold_start_is_never_claimed_by_an_export() -> None:
    entry = BookEntry(make(CodeKind.HOLDER, 5).text, replace(holder_like(), name="x"))
    assert read_holders(read_table(write_book([entry]), "h.csv")).whole()[0].stood_cold is False


def holder_like() -> Holder:
    return Holder("h1", "Shrink 12", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0)
