"""Proof before ink: good labels pass, and every way a label can be bad is caught with its reason."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from kiosk.labels.content import LabelContent
from kiosk.labels.faults import ProofFailed
from kiosk.labels.layout import Layout, lay_out
from kiosk.labels.letters import Face
from kiosk.labels.proof import prove
from kiosk.labels.sizes import STANDARD, parse_size
from kiosk.labels.symbol import QUIET, modules_of
from kiosk.labels.typeset import Text
from kiosk.rules.codes import NUMBERS, CodeKind, make

Labels = Callable[..., LabelContent]


def with_modules(layout: Layout, modules: tuple[tuple[bool, ...], ...]) -> Layout:
    return replace(layout, symbol=replace(layout.symbol, modules=modules))


@pytest.mark.parametrize("dpi", [203, 300, 600])
@pytest.mark.parametrize("size", STANDARD, ids=lambda size: size.name)
def test_labels_of_every_size_are_read_by_both_libraries_after_a_bad_print(
    label: Labels, size: object, dpi: int
) -> None:
    for step in range(3):
        prove(lay_out(label((step * 7_919_777_777 + dpi) % NUMBERS), size, dpi))  # type: ignore[arg-type]


def test_a_symbol_that_says_something_else_is_caught(label: Labels) -> None:
    layout = lay_out(label(), parse_size("25x25"))
    other = make(CodeKind.HOLDER, 42).text
    with pytest.raises(ProofFailed) as failed:
        prove(with_modules(layout, modules_of(other)))
    assert failed.value.read == other
    assert failed.value.code == layout.content.code.text


def test_a_symbol_with_half_its_modules_wrong_is_caught(label: Labels) -> None:
    layout = lay_out(label(), parse_size("25x25"))
    torn = tuple(
        tuple(dark != (row > 7 and column % 2 == 0) for column, dark in enumerate(line))
        for row, line in enumerate(layout.symbol.modules)
    )
    with pytest.raises(ProofFailed, match="could not read it when printed well"):
        prove(with_modules(layout, torn))


def test_a_symbol_without_its_corner_is_caught(label: Labels) -> None:
    layout = lay_out(label(), parse_size("25x25"))
    torn = tuple(
        tuple(dark and not (row < 8 and column < 8) for column, dark in enumerate(line))
        for row, line in enumerate(layout.symbol.modules)
    )
    with pytest.raises(ProofFailed):
        prove(with_modules(layout, torn))


def test_letters_in_the_quiet_zone_are_caught(label: Labels) -> None:
    layout = lay_out(label(), parse_size("50x25"))
    dot_mm = 25.4 / layout.dpi
    left, top = layout.symbol.left_dots * dot_mm, layout.symbol.top_dots * dot_mm
    bars = tuple(
        Text("HHHHHHHHHHHH", Face.CODE, left - QUIET * layout.module_mm, top + step * 1.5, 4.0) for step in range(14)
    )
    with pytest.raises(ProofFailed):
        prove(replace(layout, texts=bars))


def test_a_symbol_printed_white_on_black_is_caught(label: Labels) -> None:
    layout = lay_out(label(), parse_size("25x25"))
    inverse = tuple(tuple(not dark for dark in row) for row in layout.symbol.modules)
    with pytest.raises(ProofFailed):
        prove(with_modules(layout, inverse))


def test_the_same_label_meets_the_same_proof(label: Labels) -> None:
    layout = lay_out(label(), parse_size("tape 9 mm"), 203)
    outcomes = set()
    for _ in range(3):
        try:
            prove(layout)
            outcomes.add("read")
        except ProofFailed as failed:
            outcomes.add(str(failed))
    assert outcomes == {"read"}
