"""Sizes people write, and sheets whose labels lie where the paper is."""

from __future__ import annotations

from itertools import islice

import pytest

from kiosk.labels.faults import LabelError, SizeUnknown, WrongUse
from kiosk.labels.sizes import PAPERS, STANDARD, LabelSize, Stock, parse_size, sheet


@pytest.mark.parametrize(
    ("written", "width_mm", "height_mm"),
    [
        ("25x25", 25, 25),
        ("40 x 20", 40, 20),
        ("40,5X20mm", 40.5, 20),
        ("60×30", 60, 30),
        ("9", None, 9),
        ("tape 12", None, 12),
        ("tape 9", None, 9),
        ("Tape 12 mm", None, 12),
    ],
)
def test_a_size_is_read_however_a_setter_writes_it(written: str, width_mm: float | None, height_mm: float) -> None:
    size = parse_size(written)
    assert (size.width_mm, size.height_mm) == (width_mm, height_mm)
    assert (size.stock is Stock.TAPE) == (width_mm is None)


@pytest.mark.parametrize(
    "written", ["", "x", "0", "0x10", "-5x5", "25x", "9999x10", "big", "nanx5", "infx5", "25x25x25"]
)
def test_what_is_no_size_is_refused_with_the_sizes_there_are(written: str) -> None:
    with pytest.raises(SizeUnknown) as refused:
        parse_size(written)
    assert refused.value.text == written
    assert "25x25" in str(refused.value)


def test_every_standard_size_is_found_by_its_name() -> None:
    assert [parse_size(size.name) for size in STANDARD] == list(STANDARD)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("size", [size for size in STANDARD if size.width_mm])
def test_labels_lie_on_the_paper_and_beside_each_other(paper: object, size: LabelSize) -> None:
    made = sheet(paper.name, size)  # type: ignore[attr-defined]
    spots = list(islice(made.spots(), made.places))
    assert all(spot.page == 0 for spot in spots)
    for spot in spots:
        assert 5 <= spot.left_mm <= made.paper.width_mm - size.width_mm - 5
        assert 5 <= spot.top_mm <= made.paper.height_mm - size.height_mm - 5
    for at, one in enumerate(spots):
        for other in spots[at + 1 :]:
            apart = max(
                abs(one.left_mm - other.left_mm) - size.width_mm, abs(one.top_mm - other.top_mm) - size.height_mm
            )
            assert apart >= -1e-9


def test_a_half_used_sheet_goes_on_at_its_first_free_label() -> None:
    fresh, used = sheet("A4", parse_size("25x25")), sheet("A4", parse_size("25x25"), start=5)
    assert next(used.spots()) == list(islice(fresh.spots(), 5))[4]
    assert fresh.pages(fresh.places) == 1
    assert used.pages(used.places) == 2
    assert list(islice(used.spots(), used.places))[-1].page == 1


def test_bought_stock_keeps_its_own_margins_and_gets_no_cut_marks() -> None:
    stock = sheet("A4", parse_size("60x30"), rows=8, columns=3, left_mm=7, top_mm=20, gap_mm=3)
    assert not stock.cut_marks
    assert list(islice(stock.spots(), 4))[1:] == [(0, 70, 20), (0, 133, 20), (0, 7, 53)]


@pytest.mark.parametrize(
    "wish",
    [
        {"rows": 9, "columns": 20},
        {"rows": 0, "columns": 1},
        {"start": 0},
        {"start": 999},
        {"left_mm": -1.0},
        {"gap_mm": -2.0},
    ],
)
def test_a_sheet_that_cannot_be_is_refused(wish: dict[str, float]) -> None:
    with pytest.raises(WrongUse):
        sheet("A4", parse_size("25x25"), **wish)  # type: ignore[arg-type]


def test_paper_and_tape_are_not_mixed_up() -> None:
    with pytest.raises(LabelError, match="A4 or Letter"):
        sheet("A0", parse_size("25x25"))
    with pytest.raises(WrongUse, match="tape"):
        sheet("A4", parse_size("tape 9 mm"))
    with pytest.raises(WrongUse, match="larger than"):
        sheet("A4", parse_size("250x100"))
