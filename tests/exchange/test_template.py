"""What to type at the control: the card, and files by the shop's own templates."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kiosk import where
from kiosk.exchange.faults import FileFaults
from kiosk.exchange.template import fill, read_template
from kiosk.rules.assembly import Assembly, Clamping, Condition, Coupling, Cutter, Holder, Measured
from kiosk.rules.offsets import SYMBOLS, CardFault, CardRules, card, values
from kiosk.rules.places import Kind
from kiosk.rules.stock import BookEntry

HOLDER = Holder("h1", "Shrink 12", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0, rpm_max=25000.0, coolant=True)
CUTTER = Cutter("c1", "End mill 12", 12.0, 12.0, 83.0, re_mm=1.0, zefp=4, life_min=90.0, coolant=True)
BUILT = Assembly("a1", "Rougher 12", HOLDER, CUTTER, 40.0, Measured(122.987, 11.995), used_min=30.0)
ENTRY = BookEntry("H7K2B4N9RX", HOLDER, BUILT, "Mill 1 · 07", Kind.POCKET, "Mill 1", 7, tool_number=12)


def filled(text: str, entry: BookEntry = ENTRY, **more: object) -> str:
    return fill(read_template(text, "t.txt"), [entry], machine="Mill 1", **more).decode()  # type: ignore[arg-type]


def test_the_card_has_the_values_in_the_order_they_are_typed() -> None:
    rows = [(row.symbol, row.value, row.unit.value) for row in card(ENTRY).rows]
    assert rows == [
        ("POCKET", 7, ""),
        ("T", 12, ""),
        ("NAME", "Rougher 12", ""),
        ("LF", 122.987, "mm"),
        ("DC", 11.995, "mm"),
        ("RE", 1.0, "mm"),
        ("ZEFP", 4, ""),
        ("COOLANT", 1, ""),
        ("RPMX", 25000.0, "1/min"),
        ("LIFE", 60.0, "min"),
    ]


def test_a_shop_that_types_radii_gets_the_radius_and_what_is_unknown_is_left_out() -> None:
    bare = replace(ENTRY, tool_number=None)
    symbols = [row.symbol for row in card(bare, CardRules(radius=True, coolant=False), pocket=9).rows]
    assert symbols == ["POCKET", "NAME", "LF", "R", "RE", "ZEFP", "RPMX", "LIFE"]
    assert card(bare, CardRules(radius=True)).value("R") == pytest.approx(5.9975)
    assert card(bare, pocket=9).value("POCKET") == 9


@pytest.mark.parametrize(
    ("built", "reason"),
    [
        (None, "offsets.no_assembly"),
        (replace(BUILT, measured=None), "offsets.not_measured"),
        (replace(BUILT, measured=Measured(123.0, 12.0, length_error_um=4.0)), "offsets.measured_warm"),
        (replace(BUILT, measured=Measured(123.0, 12.0, length_error_um=float("nan"))), "offsets.measured_warm"),
    ],
)
def test_values_nobody_measured_cold_are_not_given_out(built: Assembly | None, reason: str) -> None:
    with pytest.raises(CardFault) as caught:
        card(replace(ENTRY, assembly=built))
    assert caught.value.reason.key == reason


def test_what_to_mind_is_on_the_card() -> None:
    spent = replace(BUILT, used_min=95.0, condition=Condition.WORN)
    keys = [message.key for message in card(replace(ENTRY, hot=True, assembly=spent)).cautions]
    assert keys == ["offsets.still_hot", "offsets.condition", "offsets.life_over"]
    assert card(ENTRY).cautions == ()


def test_every_symbol_a_template_may_use_has_its_value() -> None:
    assert set(values(ENTRY)) == set(SYMBOLS)


@pytest.mark.parametrize(
    ("line", "text"),
    [
        ("{LF}", "122.987"),
        ("{LF:.3f}", "122.987"),
        ("{LF/25.4:.4f}", "4.8420"),
        ("{DC*0.5:.4f}", "5.9975"),
        ("{R:.4f}", "5.9975"),
        ("{POCKET:03}", "007"),
        ("{POCKET:03d}", "007"),
        ("{ZEFP:>4}", "   4"),
        ("{NAME:<12}|", "Rougher 12  |"),
        ("{RPMX:d}", "25000"),
        ("{{{T}}}", "{12}"),
        ("{LF:>10.2f}", "    122.99"),
        ("{MACHINE}", "Mill 1"),
    ],
)
def test_a_value_is_written_as_the_template_asks(line: str, text: str) -> None:
    assert filled(f"[each]\n{line}\n[end]\n") == f"{text}\n"


def test_head_and_foot_are_written_once_and_lines_between_for_each() -> None:
    template = read_template("[decimal comma]\n[lines crlf]\nhead\n[each]\n{POCKET} {LF:.1f}\n[end]\nfoot\n", "t.txt")
    second = replace(ENTRY, pocket=8)
    assert fill(template, [ENTRY, second]) == b"head\r\n7 123,0\r\n8 123,0\r\nfoot\r\n"


@pytest.mark.parametrize(
    ("text", "line", "what"),
    [
        ("[each]\n{XX}\n[end]", 2, "XX is not a known symbol"),
        ("[each]\n{LF:.3q}\n[end]", 2, "no way to write"),
        ("[each]\n{LF\n[end]", 2, "is no value"),
        ("[each]\n}\n[end]", 2, "is no value"),
        ("[each]\n{lf}\n[end]", 2, "is no value"),
        ("[each]\n{LF/0:.3f}\n[end]", 2, "by 0"),
        ("{LF}\n[each]\n[end]", 1, "outside [each]"),
        ("only text", 0, "is missing"),
        ("[each]\n{LF}", 0, "is missing after"),
        ("[end]\n[each]", 1, "out of order"),
        ("[each]\n[end]\n[each]", 3, "out of order"),
    ],
)
def test_a_template_that_cannot_be_used_names_file_and_line(text: str, line: int, what: str) -> None:
    with pytest.raises(FileFaults) as caught:
        read_template(text, "offsets.txt")
    fault = next(fault for fault in caught.value.faults if fault.line == line)
    assert (fault.file, fault.line) == ("offsets.txt", line)
    assert what in fault.why


def test_all_wrong_lines_are_reported_at_once() -> None:
    with pytest.raises(FileFaults) as caught:
        read_template("[each]\n{XX} {YY}\n{ZZ}\n[end]", "t.txt")
    assert [(fault.line, fault.field) for fault in caught.value.faults] == [(2, "{XX}"), (2, "{YY}"), (3, "{ZZ}")]


def test_a_missing_value_names_the_assembly_and_writes_nothing() -> None:
    with pytest.raises(FileFaults, match=r"t\.txt, line 2, \{T\}: Rougher 12 has no value"):
        filled("[each]\n{T}\n[end]", replace(ENTRY, tool_number=None))
    with pytest.raises(FileFaults, match="no whole number"):
        filled("[each]\n{LF:d}\n[end]")


def test_a_name_cannot_end_a_comment_or_open_a_column() -> None:
    named = replace(ENTRY, assembly=replace(BUILT, name="Mill)\nM30;(%"))
    assert filled("[each]\n({NAME})\n[end]", named) == "(Mill]M30;[/)\n"
    assert filled("[each]\n{T};{NAME}\n[end]", named) == "12;Mill]M30 [/\n"


def test_a_control_that_reads_ascii_gets_ascii() -> None:
    named = replace(ENTRY, assembly=replace(BUILT, name="Fräser Ø12 größe µ"))
    text = filled("[encoding ascii]\nLänge\n[each]\n{NAME}\n[end]\n", named)
    assert text == "Lange\nFraser D12 grosse ?\n"


@given(st.text(max_size=20))
def test_no_name_breaks_the_line_or_the_comment_it_stands_in(name: str) -> None:
    named = replace(ENTRY, assembly=replace(BUILT, name=name))
    data = fill(read_template("[encoding ascii]\n[each]\n({NAME})\n[end]\n", "t.txt"), [named])
    assert data.count(b"\n") == 1
    assert data.count(b"(") == data.count(b")") == 1
    assert data.endswith(b")\n")


@pytest.mark.parametrize("name", ["offset_program.txt", "tool_table.txt", "inch_card.txt"])
def test_the_examples_are_good_templates(name: str) -> None:
    path = where.demo_tags() / "templates" / name
    text = fill(read_template(path.read_text("utf-8"), name), [ENTRY], machine="Mill 1").decode()
    assert "Rougher 12" in text


def test_the_example_program_sets_length_and_radius() -> None:
    path = where.demo_tags() / "templates" / "offset_program.txt"
    entry = replace(ENTRY, assembly=replace(BUILT, measured=Measured(122.987, 11.996)))
    lines = fill(read_template(path.read_text("utf-8"), path.name), [entry], machine="Mill 1").split(b"\r\n")
    assert b"G10 L10 P7 R122.987" in lines
    assert b"G10 L12 P7 R5.998" in lines
