"""What printed reports share: paper, letters, tables, lines to sign on and a plot; in our own fonts, A4 unless asked.

Draws what it is given and decides nothing.  The same report gives the same file, byte for byte, so that two
prints can be compared.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from reportlab.graphics.shapes import Circle, Drawing, Line, PolyLine, String
from reportlab.lib.colors import Color, black
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import KeepTogether, LongTable, Paragraph, SimpleDocTemplate, Spacer, TableStyle

from kiosk import filing, where
from kiosk.rules.say import Say

Words = Callable[[Say], str]

REGULAR, BOLD, MONO = "B612", "B612-Bold", "B612Mono"
MARGIN = 18 * mm
WIDTH = A4[0] - 2 * MARGIN  # Letter is wider: it gets wider margins, and the same columns
PAPERS = {"A4": A4, "Letter": LETTER}
QUIET = Color(0.35, 0.35, 0.35)
LINE = Color(0.6, 0.6, 0.6)


@cache
def _fonts() -> None:
    folder = where.assets() / "fonts"
    for name, file in ((REGULAR, "B612-Regular.ttf"), (BOLD, "B612-Bold.ttf"), (MONO, "B612Mono-Regular.ttf")):
        pdfmetrics.registerFont(TTFont(name, str(folder / file)))


def _style(name: str, font: str, size: float, **more: Any) -> ParagraphStyle:
    return ParagraphStyle(name, fontName=font, fontSize=size, leading=size * 1.3, **more)


TITLE = _style("title", BOLD, 16, spaceAfter=4)
HEADING = _style("heading", BOLD, 11, spaceBefore=8, spaceAfter=3)
BODY = _style("body", REGULAR, 9)
SMALL = _style("small", REGULAR, 7.5, textColor=QUIET)
CODE = _style("code", MONO, 7.5)


def text(words: str, style: ParagraphStyle = BODY) -> Paragraph:
    _fonts()
    return Paragraph(escape(words), style)


def gap(height_mm: float) -> Spacer:
    return Spacer(0, height_mm * mm)


def table(header: Sequence[str], rows: Sequence[Sequence[str]], shares: Sequence[float]) -> LongTable:
    """A table over the whole width; `shares` of it go to the columns.  The header is repeated on each page."""
    whole = sum(shares)
    cells = [[text(word, _HEAD) for word in header], *([text(cell) for cell in row] for row in rows)]
    made = LongTable(cells, colWidths=[WIDTH * share / whole for share in shares], repeatRows=1, hAlign="LEFT")
    made.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LINEBELOW", (0, 0), (-1, 0), 0.8, black),
                ("LINEBELOW", (0, 1), (-1, -1), 0.3, LINE),
                ("LEFTPADDING", (0, 0), (-1, -1), 2),
                ("RIGHTPADDING", (0, 0), (-1, -1), 4),
                ("TOPPADDING", (0, 0), (-1, -1), 2),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
            ]
        )
    )
    return made


_HEAD = _style("head", BOLD, 8)


def pairs(rows: Sequence[tuple[str, str]]) -> LongTable:
    """Names on the left, values on the right."""
    cells = [[text(name, SMALL), text(value)] for name, value in rows]
    made = LongTable(cells, colWidths=[WIDTH * 0.3, WIDTH * 0.7])
    tight = [(side, (0, 0), (-1, -1), 1) for side in ("TOPPADDING", "BOTTOMPADDING")]
    made.setStyle(TableStyle([*tight, ("VALIGN", (0, 0), (-1, -1), "TOP")]))
    return made


def signatures(names: Sequence[str], proof: str, code: str) -> KeepTogether:
    """A line to sign on for each, with what proves the print below; never split over two pages."""
    width = WIDTH / max(2, len(names))
    _fonts()
    drawing = Drawing(WIDTH, 22 * mm)
    for at, name in enumerate(names):
        left = at * width
        drawing.add(Line(left, 8 * mm, left + width - 8 * mm, 8 * mm, strokeWidth=0.6))
        drawing.add(String(left, 4 * mm, name, fontName=REGULAR, fontSize=7.5, fillColor=QUIET))
    return KeepTogether([gap(8), drawing, text(proof, SMALL), text(code, CODE)])


def plot(title: str, values: Sequence[float], low: float, high: float, unit: str, labels: Sequence[str]) -> Drawing:
    """Values in order as points on a line, from `low` to `high`; first and last label under it."""
    _fonts()
    width, height, left, bottom = WIDTH / 2 - 4 * mm, 42 * mm, 12 * mm, 9 * mm
    drawing = Drawing(width, height)
    top, right = height - 8 * mm, width - 4 * mm
    drawing.add(String(0, height - 4 * mm, title, fontName=BOLD, fontSize=8))
    span = high - low or 1.0
    for share in (0.0, 0.5, 1.0):
        y = bottom + share * (top - bottom)
        drawing.add(Line(left, y, right, y, strokeColor=LINE, strokeWidth=0.4))
        said = f"{low + share * span:.0f}{unit}"
        drawing.add(String(left - 2 * mm, y - 2, said, fontName=REGULAR, fontSize=6.5, textAnchor="end"))
    step = (right - left) / max(1, len(values) - 1)
    points = [
        (left + at * step, bottom + (min(high, max(low, value)) - low) / span * (top - bottom))
        for at, value in enumerate(values)
    ]
    if len(points) > 1:
        drawing.add(PolyLine([part for point in points for part in point], strokeWidth=1.2))
    for x, y in points:
        drawing.add(Circle(x, y, 1.8, fillColor=black))
    if labels:
        drawing.add(String(left, 2 * mm, labels[0], fontName=REGULAR, fontSize=6.5))
        if len(labels) > 1:
            drawing.add(String(right, 2 * mm, labels[-1], fontName=REGULAR, fontSize=6.5, textAnchor="end"))
    return drawing


def drawn(title: str, foot: str, flow: Sequence[Any], paper: str = "A4") -> bytes:
    """The pages as a PDF.  foot: on every page, before its number.  paper: of `PAPERS`."""
    _fonts()
    size = PAPERS[paper]
    side = (size[0] - WIDTH) / 2

    def footer(canvas: Any, document: Any) -> None:
        canvas.setFont(MONO, 6.5)
        canvas.setFillColor(QUIET)
        canvas.drawString(side, 10 * mm, foot)
        canvas.drawRightString(size[0] - side, 10 * mm, str(document.page))

    made = io.BytesIO()
    document = SimpleDocTemplate(
        made, pagesize=size, leftMargin=side, rightMargin=side, topMargin=MARGIN, bottomMargin=MARGIN,
        title=title, author="", invariant=1,
    )  # fmt: skip
    document.build(list(flow), onFirstPage=footer, onLaterPages=footer)
    return made.getvalue()


def keep(path: Path, content: bytes) -> None:
    """Writes a file, whole or not at all, and its folder where that is missing.  Raises OSError."""
    path.parent.mkdir(parents=True, exist_ok=True)
    filing.write(path, content)


def moment(utc_s: float) -> str:
    """Wall time as people at this place read it, with how far it is from UTC: `2026-03-02 15:05 +01:00`."""
    said = datetime.fromtimestamp(utc_s).astimezone().isoformat(" ", "minutes")
    return f"{said[:16]} {said[16:]}"
