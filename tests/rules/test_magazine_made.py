"""A magazine that cannot exist is not made, at the very edge of what can, and says which value is at fault."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from kiosk.rules.fitting.magazine import Magazine, MagazineFault, MagazineKind
from kiosk.rules.fitting.pockets import clashes

CHAIN = Magazine(MagazineKind.CHAIN, 24, 80.0)
SHELF = Magazine(MagazineKind.SHELF, 24, 80.0, rows=4, row_pitch_mm=90.0)
RING = Magazine(MagazineKind.DISC, 24, 80.0, ring_mm=620.0)


@pytest.mark.parametrize(
    ("magazine", "change", "field"),
    [
        (CHAIN, {"pockets": 0}, "pockets"), (CHAIN, {"pockets": -3}, "pockets"), (CHAIN, {"pitch_mm": 0.0}, "pitch_mm"),
        (CHAIN, {"pitch_mm": float("nan")}, "pitch_mm"), (CHAIN, {"clearance_mm": -0.01}, "clearance_mm"),
        (CHAIN, {"clearance_mm": float("nan")}, "clearance_mm"), (SHELF, {"rows": 0}, "rows"),
        (SHELF, {"rows": 5}, "rows"), (SHELF, {"row_pitch_mm": None}, "rows"), (SHELF, {"row_pitch_mm": 0.0}, "rows"),
        (SHELF, {"row_pitch_mm": -1.0}, "rows"), (CHAIN, {"rows": 2, "row_pitch_mm": 90.0}, "rows"),
        (RING, {"ring_mm": 0.0}, "ring_mm"), (RING, {"ring_mm": -5.0}, "ring_mm"), (CHAIN, {"ring_mm": 9.0}, "ring_mm"),
        (SHELF, {"ring_mm": 9.0}, "ring_mm"), (CHAIN, {"fixed": frozenset({1, 25})}, "fixed"),
        (CHAIN, {"closed": frozenset({0})}, "closed"), (CHAIN, {"change_at": 25}, "change_at"),
        (CHAIN, {"change_at": 0}, "change_at"), (CHAIN, {"first": 101, "change_at": 24}, "change_at"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_not_made(magazine: Magazine, change: dict[str, Any], field: str) -> None:
    with pytest.raises(MagazineFault) as fault:
        replace(magazine, **change)
    assert fault.value.field == field
    assert str(fault.value) == f"magazine: {field}: {fault.value.why.key.removeprefix('magazine_fault.')}"


@pytest.mark.parametrize(
    ("magazine", "change"),
    [
        (CHAIN, {"pockets": 1}), (CHAIN, {"pitch_mm": 0.01}), (CHAIN, {"clearance_mm": 0.0}), (SHELF, {"rows": 24}),
        (SHELF, {"rows": 1, "row_pitch_mm": None}), (SHELF, {"row_pitch_mm": 0.5}), (RING, {"ring_mm": 0.5}),
        (RING, {"kind": MagazineKind.CAROUSEL}), (CHAIN, {"fixed": frozenset({1, 24}), "closed": frozenset({24})}),
        (CHAIN, {"change_at": 24}), (CHAIN, {"first": 0, "change_at": 0}), (CHAIN, {"first": 101, "change_at": 124}),
    ],
)  # fmt: skip
def test_what_just_can_be_is_made(magazine: Magazine, change: dict[str, Any]) -> None:
    made = replace(magazine, **change)
    assert len(made.numbers) == made.pockets and made.numbers[0] == made.first
    assert made.first in made and made.numbers[-1] in made
    assert made.first - 1 not in made and made.numbers[-1] + 1 not in made


def test_all_but_a_shelf_go_round_and_a_magazine_is_plain_until_it_is_said_otherwise() -> None:
    assert [kind for kind in MagazineKind if not kind.wraps] == [MagazineKind.SHELF]
    assert (CHAIN.clearance_mm, CHAIN.first, CHAIN.rows, CHAIN.coolant) == (5.0, 1, 1, False)


def test_nothing_shares_a_pocket_however_thin_and_what_is_kept_for_the_next_who_asks_cannot_be_changed() -> None:
    bare = replace(CHAIN, clearance_mm=0.0)
    clash = clashes(bare, 0.0, 0.0)
    assert clash.diagonal().all() and clash.sum() == bare.pockets
    with pytest.raises(ValueError, match="read-only"):
        clash[0, 0] = False
