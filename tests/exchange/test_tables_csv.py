"""Tables in the shapes that shops' programs write, and out so that no spreadsheet runs them."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.exchange.faults import FieldFault, FileFaults
from kiosk.exchange.tables_csv import (
    FORMULA_STARTS,
    Dialect,
    Record,
    decoded,
    neutral,
    number,
    original,
    read_table,
    write_table,
)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("12", 12.0),
        ("12.5", 12.5),
        ("12,5", 12.5),
        ("1.234,5", 1234.5),
        ("1,234.5", 1234.5),
        ("1 234,5", 1234.5),
        ("1,234", 1.234),
        (".5", 0.5),
        ("1e2", 100.0),
        (" 7 ", 7.0),
    ],
)
def test_numbers_with_point_or_comma_are_read(text: str, value: float) -> None:
    assert number(text, "DC") == value


@pytest.mark.parametrize("text", ["", "abc", "1.2.3", "12 mm", "nan", "inf", "1e400", "-3", "1,2,3", "--1", "0x10"])
def test_what_is_no_number_or_cannot_be_is_a_fault_of_its_field(text: str) -> None:
    with pytest.raises(FieldFault) as caught:
        number(text, "DC")
    assert caught.value.field == "DC"


@pytest.mark.parametrize("mark", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_every_usual_shape_of_file_reads_the_same(mark: str, encoding: str, end: str) -> None:
    data = end.join([f"name{mark}Ø", f'"a{mark}b"{mark}5', ""]).encode(encoding)
    table = read_table(decoded(data, "t.csv"), "t.csv")
    assert table.columns == ("name", "Ø")
    assert [dict(record.values) for record in table.records] == [{"name": f"a{mark}b", "Ø": "5"}]


def test_rows_of_the_wrong_width_are_faults_with_their_line_and_the_others_are_kept() -> None:
    table = read_table('a;b\n1;2\n3\n\n"four\nlines";5\n6;7;8\n9;0;;\n', "t.csv")
    assert [(record.line, record.values["a"]) for record in table.records] == [
        (2, "1"),
        (5, "four\nlines"),
        (8, "9"),
    ]
    assert [str(fault) for fault in table.faults] == [
        "t.csv, line 3: has 1 columns where the header has 2",
        "t.csv, line 7: has 3 columns where the header has 2",
    ]


def test_a_spreadsheets_separator_line_is_heeded() -> None:
    table = read_table("sep=;\na;b\n1,5;2\n", "t.csv")
    assert table.records[0].line == 3
    assert table.records[0].maybe_number("a") == 1.5


def test_a_broken_quote_is_a_fault_and_not_the_end() -> None:
    table = read_table('a,b\n"x"y,1\n2,3\n', "t.csv")
    assert [fault.line for fault in table.faults] == [2]
    assert [record.values["a"] for record in table.records] == ["2"]


@pytest.mark.parametrize("text", ["", "\n\n", "a,a\n1,2\n", "a,,b\n1,2,3\n"])
def test_without_a_usable_header_there_is_no_table(text: str) -> None:
    with pytest.raises(FileFaults, match=r"t\.csv"):
        read_table(text, "t.csv")


def test_bytes_that_are_no_text_are_refused_with_their_line_or_taken_as_eight_bit() -> None:
    data = b"a,b\n1,\xd8 5\n"
    with pytest.raises(FileFaults) as caught:
        decoded(data, "t.csv")
    assert caught.value.faults[0].line == 2
    assert decoded(data, "t.csv", eight_bit=True) == "a,b\n1,Ø 5\n"


@pytest.mark.parametrize(("text", "flag"), [("yes", True), ("TRUE", True), ("ja", True), ("no", False), ("", False)])
def test_flags_are_yes_or_no(text: str, flag: bool) -> None:
    assert Record(2, {"flat": text}).flag("flat") is flag


def test_a_flag_that_is_neither_is_a_fault() -> None:
    with pytest.raises(FieldFault, match="yes or no"):
        Record(2, {"flat": "maybe"}).flag("flat")


@given(st.text())
def test_neutralised_texts_start_no_formula_and_come_back_whole(text: str) -> None:
    safe = neutral(text)
    assert safe.lstrip(" ")[:1] not in FORMULA_STARTS
    assert original(safe) == text


@pytest.mark.parametrize("text", ["=1+1", "+A1", "-A1", "@SUM(A1)", "  =1", "\t=1", "＝1+1"])
def test_what_a_spreadsheet_would_run_is_written_with_an_apostrophe(text: str) -> None:
    assert neutral(text) == f"'{text}"


CELLS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-1000, 1000),
    st.floats(-1e6, 1e6).map(lambda value: round(value, 6)),
    st.text(st.characters(codec="utf-8", exclude_characters="\x00"), min_size=1).filter(
        lambda text: text == text.strip() and text
    ),
)


@given(
    st.lists(st.tuples(CELLS, CELLS).filter(any), min_size=1, max_size=5),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from([".", ","]),
    st.booleans(),
)
def test_what_is_written_is_read_again(rows: list[tuple[object, ...]], mark: str, decimal: str, bom: bool) -> None:
    dialect = Dialect(mark, decimal, bom)  # type: ignore[arg-type]
    text = write_table(["first", "second"], rows, dialect)  # type: ignore[arg-type]
    table = read_table(decoded(text.encode(), "t.csv"), "t.csv")
    assert table.faults == ()
    assert len(table.records) == len(rows)
    for record, row in zip(table.records, rows, strict=True):
        for name, value in zip(("first", "second"), row, strict=True):
            if value is None:
                assert record.maybe(name) is None
            elif isinstance(value, bool):
                assert record.flag(name) is value
            elif isinstance(value, int | float):
                assert record.maybe_number(name, signed=True) == pytest.approx(value, abs=1e-6)
            else:
                assert record.text(name) == value


def test_numbers_are_written_plainly_and_with_the_decimal_sign_asked_for() -> None:
    text = write_table(["a", "b"], [(0.0000004, 12.5), (-1e-9, True)], Dialect(";", ","))
    assert list(csv.reader(io.StringIO(text), delimiter=";"))[1:] == [["0", "12,5"], ["0", "yes"]]


def test_a_row_that_does_not_fit_its_header_is_never_written() -> None:
    with pytest.raises(ValueError, match="1 cells under 2"):
        write_table(["a", "b"], [("x",)])
