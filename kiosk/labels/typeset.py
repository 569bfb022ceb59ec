"""Letters into a box: lines at the largest size that fits, each wrapped or shrunk, none cut.

It must never set a letter smaller than a setter can read, or drop one.  Widths and heights are those of the font
files, in ems; sizes and places are in millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from kiosk.labels.letters import Face, extent

EM_LEAST_MM = 1.8  # capitals 1.4 mm high: the smallest a setter reads at arm's length
WORD_GAP_EM = 0.3  # between the groups of a code
LINE_GAP_EM = 0.28
ONE_ROW = 0.6  # a row may shrink to this part of its letter size before it is broken in two
ROWS_MOST = 3


@dataclass(frozen=True, slots=True)
class Text:
    """One run of letters.  Millimetres from the label's top left corner to the start of its baseline."""

    text: str
    face: Face
    left_mm: float
    baseline_mm: float
    em_mm: float


class LabelLine(NamedTuple):
    """One line of a label.  `weight`: letter size against the others; `most_mm`: largest letter size."""

    field: str
    text: str
    face: Face
    weight: float
    most_mm: float
    wraps: bool = False


class Block(NamedTuple):
    """Lines set in rows, each (text, face, em in mm), and the room they take."""

    rows: tuple[tuple[str, Face, float], ...]
    width_mm: float
    height_mm: float

    @property
    def least_em_mm(self) -> float:
        return min(em_mm for _, _, em_mm in self.rows)

    @property
    def code_rows(self) -> int:
        """Rows the code is broken into: one is read at a glance."""
        return sum(face is Face.CODE for _, face, _ in self.rows)


class Box(NamedTuple):
    """A rectangle in millimetres from the label's top left corner."""

    left: float
    top: float
    width: float
    height: float


def placed(block: Block, box: Box, *, centred: bool) -> tuple[Text, ...]:
    """Places for rows of letters, in the middle of a box from top to bottom."""
    y = box.top + (box.height - block.height_mm) / 2
    texts: list[Text] = []
    for row, face, em_mm in block.rows:
        size = extent(face, row)
        baseline = y + size.over * em_mm
        x = box.left + ((box.width - _width_em(face, row) * em_mm) / 2 if centred else 0.0)
        for word in row.split(" ") if face is Face.CODE else [row]:
            texts.append(Text(word, face, x + extent(face, word).before * em_mm, baseline, em_mm))
            x += (extent(face, word).width + WORD_GAP_EM) * em_mm
        y = baseline + (size.under + LINE_GAP_EM) * em_mm
    return tuple(texts)


@lru_cache(maxsize=8192)
def _width_em(face: Face, row: str) -> float:
    """Width of a row in ems; the groups of a code stand closer than a space."""
    if face is not Face.CODE:
        return extent(face, row).width
    words = row.split(" ")
    return sum(extent(face, word).width for word in words) + WORD_GAP_EM * (len(words) - 1)


def typeset(lines: Sequence[LabelLine], width_mm: float, height_mm: float) -> Block | None:
    """The lines at the largest letter size that fits a box, or None when not even the smallest does."""
    if width_mm <= EM_LEAST_MM or height_mm <= EM_LEAST_MM / 2:
        return None
    smallest = _set_at(lines, EM_LEAST_MM, width_mm)
    if smallest is None or smallest.height_mm > height_mm:
        return None
    low, high, found = EM_LEAST_MM, max(EM_LEAST_MM, height_mm / 2), smallest
    while high - low > 0.05:
        middle = (low + high) / 2
        tried = _set_at(lines, middle, width_mm)
        if tried is not None and tried.height_mm <= height_mm:
            low, found = middle, tried
        else:
            high = middle
    return found


def _set_at(lines: Sequence[LabelLine], em_mm: float, width_mm: float) -> Block | None:
    """The lines at one letter size (each by its weight), each wrapped or shrunk to the width."""
    rows: list[tuple[str, Face, float]] = []
    for line in lines:
        size_mm = max(EM_LEAST_MM, min(em_mm * line.weight, line.most_mm))
        split = _split(line, size_mm, width_mm)
        if split is None:
            return None
        shrunk_mm = min(size_mm, *(width_mm / _width_em(line.face, row) for row in split))
        rows += [(row, line.face, shrunk_mm) for row in split]
    height_mm = 0.0
    for at, (row, face, row_em_mm) in enumerate(rows):
        size = extent(face, row)
        last = at == len(rows) - 1
        height_mm += (size.over + size.under + (0.0 if last else LINE_GAP_EM)) * row_em_mm
    return Block(tuple(rows), max(_width_em(face, row) * em for row, face, em in rows), height_mm)


def _split(line: LabelLine, em_mm: float, width_mm: float) -> list[str] | None:
    """A line in one row if it need not shrink much, else in few; None when no row holds a word of it.

    A code stays in one row as long as anybody can read it there.
    """
    words = line.text.split(" ")
    code = line.face is Face.CODE
    whole_mm = width_mm / _width_em(line.face, line.text)  # letter size at which one row fills the width
    if whole_mm >= (EM_LEAST_MM if code else max(EM_LEAST_MM, ONE_ROW * em_mm)):
        return [line.text]
    for size_mm in (em_mm, EM_LEAST_MM):
        if whole_mm >= size_mm:
            return [line.text]
        if not (line.wraps or code) or len(words) == 1:
            continue
        rows = [words[0]]
        for word in words[1:]:
            longer = f"{rows[-1]} {word}"
            if _width_em(line.face, longer) * size_mm <= width_mm:
                rows[-1] = longer
            else:
                rows.append(word)
        if len(rows) <= ROWS_MOST and all(_width_em(line.face, row) * size_mm <= width_mm for row in rows):
            return rows
    return None
