"""Setup sheets as people have them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk.exchange.faults import FileFaults
from kiosk.exchange.sheet import read_sheet
from kiosk.rules.fitting.setup_sheet import Need


def test_a_table_is_read_by_its_header_in_either_language() -> None:
    text = "Bezeichnung;DC;RE;Menge;Maschine\nRougher 12;;;2;Mill 1\n;12,0;0,5;;\n"
    assert read_sheet(text, "job.csv", "Mill 9").whole() == (
        Need(2, "Rougher 12", 2, "Mill 1"),
        Need(3, "", 1, "Mill 9", 12.0, 0.5),
    )


@pytest.mark.parametrize(
    ("line", "need"),
    [
        ("Rougher 12", Need(1, "Rougher 12")),
        ("2 x Rougher 12", Need(1, "Rougher 12", 2)),
        ("3× Rougher", Need(1, "Rougher", 3)),
        ("Rougher 12; 2; Mill 1", Need(1, "Rougher 12", 2, "Mill 1")),
        ("Rougher 12\t2", Need(1, "Rougher 12", 2)),
        ("DC=12 RE=0,5 LU=30 ZEFP=4", Need(1, "", 1, "", 12.0, 0.5, 30.0, 4)),
        ("2 x Mill dc=12.0 RPM=18000", Need(1, "Mill", 2, dc_mm=12.0, rpm=18000.0)),
        ("Drill 8 x 100", Need(1, "Drill 8 x 100")),
    ],
)
def test_a_pasted_line_is_understood(line: str, need: Need) -> None:
    assert read_sheet(line, "pasted").whole() == (need,)


@pytest.mark.parametrize(
    ("text", "line", "field"),
    [
        ("Mill\nMill; two", 2, "quantity"),
        ("Mill; 0", 1, "quantity"),
        ("Mill; 500", 1, "quantity"),
        ("Mill; 1.5", 1, "quantity"),
        ("2 x Mill; 3", 1, "quantity"),
        ("a;1;Mill 1;more", 1, ""),
        ("DC=12 DC=13", 1, "DC"),
        ("DC=1.2.3", 1, "DC"),
        ("; 2", 1, "name"),
        ("name;DC\nMill;wide", 2, "DC"),
        ("name;DC\n;", 0, ""),
        ("name;quantity\nMill;1;2;3", 2, ""),
        ("name;quantity\n;2", 2, "name"),
    ],
)
def test_a_line_that_is_not_understood_is_named(text: str, line: int, field: str) -> None:
    read = read_sheet(text, "job.csv")
    if line == 0:
        assert read.faults == () and read.good == ()
    else:
        assert [(fault.line, fault.field) for fault in read.faults] == [(line, field)]
        with pytest.raises(FileFaults, match=f"job.csv, line {line}"):
            read.whole()


def test_columns_that_mean_nothing_here_or_the_same_thing_are_named_and_the_rest_is_read() -> None:
    read = read_sheet("name,DC,D,comment\nMill,12,13,urgent\n", "job.csv")
    assert read.good == (Need(2, "Mill", dc_mm=12.0),)
    assert [(fault.line, fault.field) for fault in read.faults] == [(1, "D"), (1, "comment")]


@given(st.text(max_size=60))
def test_any_paste_gives_needs_or_faults_and_never_breaks(text: str) -> None:
    try:
        read = read_sheet(text, "pasted")
    except FileFaults:
        return
    for need in read.good:
        assert need.says_something
        assert need.quantity >= 1
