"""The control's list, read by the shop's own column map and held against the book."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.exchange.control_list import (
    Columns,
    ListMap,
    comparison_csv,
    comparison_text,
    guess_columns,
    read_list,
    read_map,
    write_map,
)
from kiosk.exchange.faults import FileFaults
from kiosk.exchange.tables_csv import read_table
from kiosk.rules.assembly import Assembly, Clamping, Coupling, Cutter, Holder, Measured
from kiosk.rules.compare import Compared, Listed, Tolerance, Verdict, compare
from kiosk.rules.places import Kind
from kiosk.rules.say import Say
from kiosk.rules.stock import BookEntry

MAP = """
unit = "mm"
skip_lines = 1
spindle = ["SPL"]
length_tolerance_mm = 0.02
[columns]
name = "Tool"
number = "Number"
pocket = "Place"
length = "Length"
radius = "Radius"
"""
LIST = "control list today\nNumber;Tool;Place;Length;Radius\n1;Mill 12;7;120,015;5,998\n2;-;8;;\n3;Drill 8;SPL;99;4\n"


def entry(name: str, pocket: int | None = 1, length_mm: float | None = 100.0, **more: object) -> BookEntry:
    holder = Holder(f"h-{name}-{pocket}", "steel", Coupling.parse("HSK63"), Clamping.COLLET, 12.0)
    cutter = Cutter(f"c-{name}-{pocket}", "cutter", 12.0, 12.0, 83.0)
    measured = None if length_mm is None else Measured(length_mm, 12.0)
    built = Assembly(f"a-{name}-{pocket}", name, holder, cutter, measured=measured)
    book = BookEntry(*(f"code-{name}-{pocket}", holder, built, f"Mill 1 · {pocket}", Kind.POCKET, "Mill 1", pocket))
    return replace(book, **more)  # type: ignore[arg-type]


def verdicts(listed: list[Listed], book: list[BookEntry]) -> list[tuple[str, set[Verdict]]]:
    return [(line.name, set(line.verdicts)) for line in compare(listed, book, "Mill 1").lines]


def words(message: Say) -> str:
    return f"{message.key}({message['name']})"


def test_a_list_is_read_by_the_shops_map() -> None:
    read = read_list(LIST.encode("cp1252"), "tools.csv", read_map(MAP, "map.toml"))
    assert read.whole() == (
        Listed(3, "Mill 12", 1, 7, False, 120.015, 11.996),
        Listed(5, "Drill 8", 3, None, True, 99.0, 8.0),
    )


def test_a_list_in_inches_is_compared_in_millimetres() -> None:
    made = ListMap(Columns(name="N", length="L", diameter="D"), unit="inch")
    (line,) = read_list(b"N,L,D\nMill,4.5,0.5\n", "t.csv", made).whole()
    assert (line.length_mm, line.diameter_mm) == (pytest.approx(114.3), pytest.approx(12.7))


def test_bad_lines_are_reported_with_line_and_field_and_the_rest_is_kept() -> None:
    made = ListMap(Columns(name="N", pocket="P", length="L"))
    read = read_list(b"N,P,L\nMill,1,long\nDrill,2,99\nTap,x,1\nshort\n", "t.csv", made)
    assert [line.name for line in read.good] == ["Drill"]
    assert [(fault.line, fault.field) for fault in read.faults] == [(2, "L"), (4, "P"), (5, "")]


def test_a_column_of_the_map_that_is_not_there_is_named() -> None:
    read = read_list(b"N,L\nMill,1\n", "t.csv", ListMap(Columns(name="N", length="LENGTH")))
    assert read.good == ()
    assert str(read.faults[0]) == "t.csv, line 1, LENGTH: is missing; the map takes that column for length"


@pytest.mark.parametrize(
    ("text", "field"),
    [
        ("x = 1\n[columns]\nname = 'N'", "x"),
        ("[columns]\nnme = 'N'", "[columns] nme"),
        ("unit = 'mm'", "[columns]"),
        ("[columns]\nlength = 'L'", "[columns] name"),
        ("[columns]\nname = 'N'\ndiameter = 'D'\nradius = 'R'", "[columns] radius"),
        ("skip_lines = -1\n[columns]\nname = 'N'", "skip_lines"),
        ("delimiter = '||'\n[columns]\nname = 'N'", "delimiter"),
        ("unit = 'cm'\n[columns]\nname = 'N'", "unit"),
        ("unit = ", ""),
    ],
)
def test_a_map_that_cannot_be_used_names_its_key(text: str, field: str) -> None:
    with pytest.raises(FileFaults) as caught:
        read_map(text, "map.toml")
    assert [(fault.file, fault.field) for fault in caught.value.faults] == [("map.toml", field)]


def test_a_map_is_saved_and_read_again() -> None:
    made = read_map(MAP, "map.toml")
    assert made.tolerance == Tolerance(0.02, 0.01)
    assert read_map(write_map(made), "map.toml") == made


def test_a_first_map_is_guessed_from_the_header() -> None:
    header = ["Number", "Name", "Pocket", "Length", "Radius", "Diameter"]
    assert guess_columns(header) == Columns("Name", "Number", "Pocket", "Length", "Diameter", "")


def test_a_header_of_single_letters_is_not_guessed_at() -> None:
    """T, D, Z and the like mean one thing at this control and another at the next."""
    assert guess_columns(["T", "D", "L", "R", "Z", "P"]) == Columns()


def test_a_list_whose_columns_nobody_recognises_is_not_taken_for_an_empty_one() -> None:
    with pytest.raises(FileFaults, match="needs the tool's name or its number"):
        read_list(b"A,B\n1,2\n", "t.csv", ListMap(guess_columns(["A", "B"])))


def test_the_same_is_the_same_up_to_the_tolerance_and_not_beyond() -> None:
    book = [entry("Mill", 7, 120.0)]
    assert verdicts([Listed(2, "mill ", None, 7, False, 120.01, 12.0)], book) == [("Mill", {Verdict.SAME})]
    assert verdicts([Listed(2, "Mill", None, 7, False, 120.011, 12.011)], book) == [
        ("Mill", {Verdict.LENGTH, Verdict.DIAMETER})
    ]


def test_a_value_that_is_no_number_is_never_the_same() -> None:
    found = verdicts([Listed(2, "Mill", None, 7, False, float("nan"), 12.0)], [entry("Mill", 7)])
    assert found == [("Mill", {Verdict.LENGTH})]


def test_wrong_pockets_and_the_spindle_are_told_apart() -> None:
    book = [entry("Mill", 7), entry("Drill", None, kind=Kind.SPINDLE), entry("Tap", 9)]
    listed = [Listed(2, "Mill", pocket=8), Listed(3, "Drill", pocket=4), Listed(4, "Tap", spindle=True)]
    found = dict(verdicts(listed, book))
    assert Verdict.WRONG_POCKET in found["Mill"]
    assert Verdict.WRONG_POCKET not in found["Drill"]  # the control goes on naming the pocket it came from
    assert Verdict.WRONG_POCKET in found["Tap"]
    taken = dict(verdicts([Listed(3, "Drill", pocket=9)], book))
    assert Verdict.WRONG_POCKET in taken["Drill"]


def test_what_only_one_side_has_is_said_with_where_the_book_has_it() -> None:
    book = [
        entry("Mill", 7),
        entry("Drill", None, kind=Kind.SLOT, machine=None, place="Cabinet A · 1-05"),
    ]
    listed = [Listed(2, "Drill", pocket=3, length_mm=99.0), Listed(3, "Ghost", pocket=7)]
    lines = {line.name: line for line in compare(listed, book, "Mill 1").lines}
    assert lines["Mill"].verdicts == (Verdict.NOT_IN_CONTROL,)
    assert lines["Drill"].verdicts == (Verdict.ELSEWHERE,)
    assert lines["Drill"].values["place"] == "Cabinet A · 1-05"
    assert lines["Ghost"].verdicts == (Verdict.NOT_IN_BOOK,)
    assert lines["Ghost"].nearby == "Mill"


def test_names_that_are_there_twice_are_never_simply_the_same() -> None:
    book = [entry("Mill", 7, 100.0), entry("Mill", 8, 110.0)]
    listed = [
        Listed(2, "Mill", None, 8, False, 110.0, 12.0),
        Listed(3, "Mill", None, 7, False, 100.0, 12.0),
    ]
    lines = compare(listed, book, "Mill 1").lines
    assert [line.entry.pocket for line in lines if line.entry] == [7, 8]
    assert all(set(line.verdicts) == {Verdict.TWICE_IN_CONTROL, Verdict.TWICE_IN_BOOK} for line in lines)
    once = compare(listed[:1] * 1 + [Listed(9, "MILL", None, 5)], [book[0]], "Mill 1")
    assert once.count(Verdict.TWICE_IN_CONTROL) == 2
    assert once.count(Verdict.NOT_IN_BOOK) == 0


@pytest.mark.parametrize(
    "second", [Listed(3, "MILL", None, 5), Listed(3, "code-Mill-7", None, 7), Listed(3, "", 12, 9)]
)
@pytest.mark.parametrize("turned", [False, True])
def test_a_tool_the_control_has_twice_is_named_in_both_lines_whatever_each_calls_it(
    second: Listed, turned: bool
) -> None:
    book = [entry("Mill", 7, tool_number=12)]
    listed = [Listed(2, "Mill", 12, 7, False, 100.0, 12.0), second]
    found = compare(listed[::-1] if turned else listed, book, "Mill 1")
    assert len(found.lines) == 2
    for line in found.lines:
        assert line.entry is book[0]
        assert Verdict.TWICE_IN_CONTROL in line.verdicts
        assert Verdict.SAME not in line.verdicts
        assert not {Verdict.NOT_IN_BOOK, Verdict.NOT_IN_CONTROL} & set(line.verdicts)


def test_three_lines_for_one_tool_here_and_one_of_its_name_elsewhere() -> None:
    away = entry("Mill", None, kind=Kind.SLOT, machine=None, place="Cabinet A · 1-05", code="away")
    book = [away, entry("Mill", 7)]
    found = compare([Listed(at, "Mill", None, at) for at in (7, 8, 9)], book, "Mill 1")
    assert [line.entry and line.entry.code for line in found.lines] == ["code-Mill-7", "away", "code-Mill-7"]
    assert [line.verdicts[0] for line in found.lines[1:]] == [Verdict.ELSEWHERE, Verdict.TWICE_IN_CONTROL]
    assert found.count(Verdict.TWICE_IN_CONTROL) == 3


def test_one_line_given_twice_is_two_lines() -> None:
    line = Listed(2, "Mill", None, 7, False, 100.0, 12.0)
    assert compare([line, line], [entry("Mill", 7)], "Mill 1").count(Verdict.TWICE_IN_CONTROL) == 2
    assert compare([line, line], [], "Mill 1").count(Verdict.NOT_IN_BOOK) == 2


def test_what_was_never_measured_cannot_agree() -> None:
    found = verdicts([Listed(2, "Mill", None, 7, False, 1.0, 1.0)], [entry("Mill", 7, None)])
    assert found == [("Mill", {Verdict.NOT_MEASURED})]
    assert verdicts([Listed(2, "Mill", None, 7)], [entry("Mill", 7)]) == [("Mill", {Verdict.NO_VALUES})]


def test_a_list_without_names_is_matched_by_tool_number() -> None:
    book = [entry("Mill", 7, tool_number=12)]
    assert verdicts([Listed(2, "", 12, 7, False, 100.0, 12.0)], book) == [("Mill", {Verdict.SAME})]


def test_a_comparison_is_printed_with_a_box_for_each_deed_and_written_as_a_table() -> None:
    comparison = compare(
        [Listed(2, "Mill", None, 7, False, 100.0, 12.0), Listed(3, "Ghost", pocket=9)], [entry("Mill", 7)], "Mill 1"
    )
    assert comparison_text(comparison, words).splitlines() == [
        "Mill 1",
        "======",
        "   9  Ghost",
        "      compare.not_in_book(Ghost)",
        "      [ ] remedy.compare.not_in_book(Ghost)",
        "   7  Mill",
        "      compare.same(Mill)",
    ]
    table = read_table(comparison_csv(comparison, words), "c.csv")
    assert [record.maybe("what_to_do") for record in table.records] == ["remedy.compare.not_in_book(Ghost)", None]
    assert not comparison.agrees


NAMES = st.sampled_from(["Mill", "Drill", "Tap", "mill "])
POCKETS = st.none() | st.integers(1, 4)
LISTED = st.builds(Listed, line=st.integers(2, 9), name=NAMES, pocket=POCKETS, length_mm=st.sampled_from([None, 100.0]))
BOOK = st.tuples(NAMES, st.integers(1, 4), st.booleans())


@settings(max_examples=100, deadline=None)
@given(st.lists(LISTED, max_size=6), st.lists(BOOK, max_size=6, unique_by=lambda item: item[1]))
def test_no_line_of_either_side_is_lost_or_told_twice(listed: list[Listed], there: list[tuple[str, int, bool]]) -> None:
    listed = [replace(line, line=at) for at, line in enumerate(listed, 2)]
    book = [entry(name, pocket, machine="Mill 1" if here else "Mill 2") for name, pocket, here in there]
    lines: tuple[Compared, ...] = compare(listed, book, "Mill 1").lines
    assert sorted(line.listed.line for line in lines if line.listed) == [line.line for line in listed]
    here = [item for item in book if item.machine == "Mill 1"]
    told = [line.entry.code for line in lines if line.entry and line.entry.machine == "Mill 1"]
    assert set(told) == {item.code for item in here}
    for line in lines:
        assert line.verdicts
        if line.entry and told.count(line.entry.code) > 1:
            assert Verdict.TWICE_IN_CONTROL in line.verdicts
        # a name the book has anywhere is never said to be missing from it
        known = {item.name.strip().casefold() for item in book}
        assert (Verdict.NOT_IN_BOOK in line.verdicts) is (line.name.strip().casefold() not in known)
