"""Sizes of labels, tapes and sheets, in millimetres, and how people write them.

A size is what the stock measures, not what is drawn on it.  It must never know a printer or a text.  Tape widths
and label sizes are those sold for label printers; papers are A4 (ISO 216) and Letter (ANSI/ASME Y14.1).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

from kiosk.labels.faults import LabelError, SizeUnknown, WrongUse


class Stock(Enum):
    """What the labels come on."""

    TAPE = "tape"  # endless: as long as the text needs
    LABEL = "label"  # die-cut


@dataclass(frozen=True, slots=True)
class LabelSize:
    """One label.  `width_mm` None: tape, cut to the length its text needs.

    margin_mm: rim on which nothing is drawn, since printers cannot reach it or place it that exactly.
    """

    name: str
    width_mm: float | None
    height_mm: float
    stock: Stock = Stock.LABEL
    margin_mm: float = 0.5


STANDARD = (
    LabelSize("tape 9 mm", None, 9, Stock.TAPE, 0.75),
    LabelSize("tape 12 mm", None, 12, Stock.TAPE, 0.5),
    LabelSize("12x12", 12, 12),
    LabelSize("19x19", 19, 19),
    LabelSize("25x25", 25, 25, margin_mm=0.75),
    LabelSize("50x25", 50, 25, margin_mm=1),
    LabelSize("60x30", 60, 30, margin_mm=1),
    LabelSize("100x50", 100, 50, margin_mm=1.5),
)
LONGEST_MM = 420.0  # an A3 sheet's long side: beyond it a figure was mistyped
TAPE_LONGEST_MM = 150.0


def parse_size(text: str) -> LabelSize:
    """`25x25`, `40 x 20`, `40,5x20`, `tape 9 mm`, `tape 9`, `9` (tape of 9 mm).  Raises SizeUnknown."""
    plain = "".join(text.split()).lower().replace("×", "x").replace(",", ".").removesuffix("mm")
    if tape := re.fullmatch(r"(?:tape)?(\d+(?:\.\d+)?)", plain):
        return _custom(text, plain, None, float(tape[1]))
    if label := re.fullmatch(r"(\d+(?:\.\d+)?)(?:mm)?x(\d+(?:\.\d+)?)", plain):
        return _custom(text, plain, float(label[1]), float(label[2]))
    raise SizeUnknown(text, known())


def _custom(text: str, plain: str, width_mm: float | None, height_mm: float) -> LabelSize:
    if not all(0 < side <= LONGEST_MM for side in (width_mm, height_mm) if side is not None):
        raise SizeUnknown(text, known())
    if width_mm is None:
        size = LabelSize(f"tape {height_mm:g} mm", None, height_mm, Stock.TAPE, 0.75)
    else:
        size = LabelSize(f"{width_mm:g}x{height_mm:g}", width_mm, height_mm)
    return next((standard for standard in STANDARD if standard.name == size.name), size)


def known() -> str:
    """Names of the standard sizes, for messages."""
    return ", ".join(size.name for size in STANDARD)


class Paper(NamedTuple):
    """A sheet of paper, upright."""

    name: str
    width_mm: float
    height_mm: float


PAPERS = (Paper("A4", 210.0, 297.0), Paper("Letter", 215.9, 279.4))


class Spot(NamedTuple):
    """Where one label goes: page from 0, and its top left corner from the page's."""

    page: int
    left_mm: float
    top_mm: float


@dataclass(frozen=True, slots=True)
class Sheet:
    """Labels in rows and columns on paper.

    left_mm, top_mm: from the paper's corner to the first label's; gap: between labels; start: position from 1 of
    the first label still on a half-used sheet, counted along the rows; cut_marks: plain paper, to be cut.
    """

    paper: Paper
    label: LabelSize
    rows: int
    columns: int
    left_mm: float
    top_mm: float
    gap_x_mm: float = 0.0
    gap_y_mm: float = 0.0
    start: int = 1
    cut_marks: bool = True

    def __post_init__(self) -> None:
        width_mm, height_mm = self._side_mm()
        right = self.left_mm + self.columns * width_mm + (self.columns - 1) * self.gap_x_mm
        bottom = self.top_mm + self.rows * height_mm + (self.rows - 1) * self.gap_y_mm
        over = max(right - self.paper.width_mm, bottom - self.paper.height_mm)
        if self.rows < 1 or self.columns < 1 or min(self.left_mm, self.top_mm, self.gap_x_mm, self.gap_y_mm) < 0:
            raise WrongUse("a sheet needs at least one row and one column, and margins and gaps of 0 mm or more")
        if over > 0.05:
            raise WrongUse(
                f"{self.rows} rows and {self.columns} columns of {self.label.name} are {over:.1f} mm more than "
                f"{self.paper.name} has; take fewer, or smaller margins and gaps"
            )
        if not 1 <= self.start <= self.places:
            raise WrongUse(f"a sheet of {self.places} labels starts at 1 to {self.places}, not at {self.start}")

    @property
    def places(self) -> int:
        """Labels on a full sheet."""
        return self.rows * self.columns

    def pages(self, labels: int) -> int:
        """Sheets that this many labels take."""
        return -(-(labels + self.start - 1) // self.places)

    def spots(self) -> Iterator[Spot]:
        """Places in the order they are filled, without end."""
        width_mm, height_mm = self._side_mm()
        at = self.start - 1
        while True:
            page, place = divmod(at, self.places)
            row, column = divmod(place, self.columns)
            left_mm = self.left_mm + column * (width_mm + self.gap_x_mm)
            yield Spot(page, left_mm, self.top_mm + row * (height_mm + self.gap_y_mm))
            at += 1

    def _side_mm(self) -> tuple[float, float]:
        if self.label.width_mm is None:
            raise WrongUse("tape does not come on sheets; give a size such as 25x25")
        return self.label.width_mm, self.label.height_mm


EDGE_MM = 12.0  # what office printers leave white, and room for the ruler line at the foot
CUT_GAP_MM = 2.0


def sheet(
    paper: str,
    label: LabelSize,
    *,
    rows: int | None = None,
    columns: int | None = None,
    left_mm: float | None = None,
    top_mm: float | None = None,
    gap_mm: float | None = None,
    start: int = 1,
) -> Sheet:
    """A sheet of `A4` or `Letter`; what is left out is filled so that the sheet takes as many as it can.

    Rows, columns, margins or gap given: bought label stock, drawn without cut marks.  Raises LabelError.
    """
    found = next((each for each in PAPERS if each.name.lower() == paper.strip().lower()), None)
    if found is None:
        raise LabelError(f"{paper!r} is no paper the kiosk knows; give A4 or Letter", "paper_unknown", paper=paper)
    if label.width_mm is None:
        raise WrongUse("tape does not come on sheets; give a size such as 25x25")
    plain = rows is columns is left_mm is top_mm is gap_mm is None
    gap = CUT_GAP_MM if gap_mm is None else gap_mm
    across = _count(found.width_mm, EDGE_MM if left_mm is None else left_mm, label.width_mm, gap, columns)
    along = _count(found.height_mm, EDGE_MM if top_mm is None else top_mm, label.height_mm, gap, rows)
    if across < 1 or along < 1:
        raise WrongUse(f"{label.name} is larger than {found.name}; take a smaller label")
    left = (found.width_mm - across * label.width_mm - (across - 1) * gap) / 2 if left_mm is None else left_mm
    top = EDGE_MM if top_mm is None else top_mm
    return Sheet(found, label, along, across, left, top, gap, gap, start, cut_marks=plain)


def _count(paper_mm: float, edge_mm: float, label_mm: float, gap_mm: float, wanted: int | None) -> int:
    return int((paper_mm - 2 * edge_mm + gap_mm + 1e-6) // (label_mm + gap_mm)) if wanted is None else wanted
