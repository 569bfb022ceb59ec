"""Ink: layouts as a picture in the printer's own dots, or as a PDF at true size.

A picture has one pixel a dot and only black and white, so that no driver has a reason to smooth it; a PDF has the
symbol as vectors, its fonts embedded and its text searchable.  Nothing here may move what the layout placed.  The
same layouts give the same bytes, whenever and wherever they are drawn.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from reportlab.lib.colors import HexColor
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from kiosk.labels import sign
from kiosk.labels.layout import Layout
from kiosk.labels.letters import Face, font, starts
from kiosk.labels.sizes import EDGE_MM, Sheet, Spot
from kiosk.labels.symbol import INCH_MM
from kiosk.labels.typeset import Text

_POINT_MM = INCH_MM / 72
_INK_LEVEL = 128  # grey at which a dot gets ink
_RULER_MM = 100
_HAIRLINE_MM = 0.1


def pixels(layout: Layout) -> NDArray[np.uint8]:
    """The label in the printer's dots, (height, width), 0 ink and 255 paper."""
    image = Image.new("L", (layout.width_dots, layout.height_dots), 255)
    pen = ImageDraw.Draw(image)
    dots_per_mm = layout.dpi / INCH_MM
    for shape in layout.shapes:
        _draw_shape(pen, shape, dots_per_mm)
    for text in layout.texts:
        letters = font(text.face, text.em_mm * dots_per_mm)
        # Letter by letter: a row set at once grows by a part of a dot a letter, out of the room it was given.
        for letter, start in starts(text.face, text.text):
            at = ((text.left_mm + start * text.em_mm) * dots_per_mm, text.baseline_mm * dots_per_mm)
            pen.text(at, letter, fill=0, font=letters, anchor="ls")
    dots = np.where(np.asarray(image) < _INK_LEVEL, 0, 255).astype(np.uint8)
    symbol = layout.symbol
    dark = np.kron(np.array(symbol.modules), np.ones((symbol.module_dots, symbol.module_dots), bool))
    side = dark.shape[0]
    dots[symbol.top_dots : symbol.top_dots + side, symbol.left_dots : symbol.left_dots + side][dark] = 0
    return dots


def picture(layout: Layout) -> Image.Image:
    """The label as a picture of black and white dots."""
    return Image.fromarray(pixels(layout)).convert("1", dither=Image.Dither.NONE)


def png(layout: Layout) -> bytes:
    """The label as a PNG file that carries its resolution."""
    buffer = io.BytesIO()
    picture(layout).save(buffer, "PNG", dpi=(layout.dpi, layout.dpi), optimize=True)
    return buffer.getvalue()


def pdf(layouts: Iterable[Layout], out: Path | io.BytesIO, *, title: str = "Labels") -> int:
    """One page a label, as large as the label.  Returns the number of labels; raises OSError."""
    canvas = _canvas(out, title)
    count = 0
    for layout in layouts:
        canvas.setPageSize((layout.width_mm / _POINT_MM, layout.height_mm / _POINT_MM))
        _draw_label(canvas, layout, Spot(count, 0, 0), layout.height_mm)
        canvas.showPage()
        count += 1
    canvas.save()
    return count


def pdf_sheets(layouts: Iterable[Layout], sheet: Sheet, out: Path | io.BytesIO, *, title: str = "Labels") -> int:
    """Labels on sheets, from the sheet's start position.  Returns the number of labels; raises OSError."""
    canvas = _canvas(out, title)
    canvas.setPageSize((sheet.paper.width_mm / _POINT_MM, sheet.paper.height_mm / _POINT_MM))
    page = 0
    count = 0
    for spot, layout in zip(sheet.spots(), layouts, strict=False):
        if spot.page != page:
            _end_sheet(canvas, sheet)
            page = spot.page
        _draw_label(canvas, layout, spot, sheet.paper.height_mm)
        if sheet.cut_marks:
            _cut_marks(canvas, layout, spot, sheet)
        count += 1
    _end_sheet(canvas, sheet)
    canvas.save()
    return count


@cache
def _register(face: Face) -> str:
    """Name under which the PDF writer knows a font."""
    pdfmetrics.registerFont(TTFont(face.value, str(face.path)))
    return face.value


def _canvas(out: Path | io.BytesIO, title: str) -> Canvas:
    target = str(out) if isinstance(out, Path) else out
    canvas = Canvas(target, pageCompression=1, invariant=1, initialFontName=_register(Face.TEXT))
    canvas.setTitle(title)
    canvas.setCreator("Holder Kiosk")
    return canvas


def _draw_label(canvas: Canvas, layout: Layout, spot: Spot, page_height_mm: float) -> None:
    """A label with its top left corner at a spot; PDF counts upwards from the page's foot, in points."""
    canvas.saveState()
    canvas.translate(spot.left_mm / _POINT_MM, (page_height_mm - spot.top_mm) / _POINT_MM)
    canvas.scale(1 / _POINT_MM, 1 / _POINT_MM)  # millimetres from here on
    for shape in layout.shapes:
        _trace_shape(canvas, shape)
    _trace_symbol(canvas, layout)
    for text in layout.texts:
        canvas.setFillGray(0)
        _write(canvas, text)
    canvas.restoreState()


def _trace_symbol(canvas: Canvas, layout: Layout) -> None:
    """The dark modules as one filled path, and the code as text over it for searching."""
    symbol = layout.symbol
    dot_mm = INCH_MM / layout.dpi
    module_mm = symbol.module_dots * dot_mm
    left, top = symbol.left_dots * dot_mm, symbol.top_dots * dot_mm
    path = canvas.beginPath()
    for row, dark in enumerate(symbol.modules):
        for start, end in _runs(dark):
            path.rect(left + start * module_mm, -top - (row + 1) * module_mm, (end - start) * module_mm, module_mm)
    canvas.setFillGray(0)
    canvas.drawPath(path, stroke=0, fill=1)
    canvas.saveState()  # the render mode outlives the text
    invisible = canvas.beginText(left, -top - layout.symbol_mm / 2)
    invisible.setTextRenderMode(3)
    invisible.setFont(_register(Face.CODE), layout.symbol_mm / 8)
    invisible.textOut(layout.content.code.text)
    canvas.drawText(invisible)
    canvas.restoreState()


def _runs(dark: tuple[bool, ...]) -> Iterator[tuple[int, int]]:
    """Runs of dark modules in a row, as start and end."""
    start = None
    for at, module in enumerate((*dark, False)):
        if module and start is None:
            start = at
        elif not module and start is not None:
            yield start, at
            start = None


def _write(canvas: Canvas, text: Text) -> None:
    canvas.setFont(_register(text.face), text.em_mm)
    canvas.drawString(text.left_mm, -text.baseline_mm, text.text)


def _trace_shape(canvas: Canvas, shape: sign.Shape) -> None:
    path = canvas.beginPath()
    path.moveTo(shape.points[0].x, -shape.points[0].y)
    for point in shape.points[1:]:
        path.lineTo(point.x, -point.y)
    if isinstance(shape, sign.Area):
        path.close()
        canvas.setFillColor(HexColor(shape.colour))
        canvas.drawPath(path, stroke=0, fill=1)
        return
    canvas.setLineWidth(shape.width)
    canvas.setLineCap(1)
    canvas.setLineJoin(1)
    canvas.setStrokeColor(HexColor(shape.colour))
    canvas.drawPath(path, stroke=1, fill=0)


def _draw_shape(pen: ImageDraw.ImageDraw, shape: sign.Shape, dots_per_mm: float) -> None:
    points = [(point.x * dots_per_mm, point.y * dots_per_mm) for point in shape.points]
    # A printer that only knows black has no yellow: what is not black stays paper.
    fill = 0 if shape.colour == sign.BLACK else 255
    if isinstance(shape, sign.Area):
        pen.polygon(points, fill=fill)
        return
    width = shape.width * dots_per_mm
    pen.line(points, fill=fill, width=max(1, round(width)))
    for x, y in points:
        pen.ellipse((x - width / 2, y - width / 2, x + width / 2, y + width / 2), fill=fill)


def _cut_marks(canvas: Canvas, layout: Layout, spot: Spot, sheet: Sheet) -> None:
    """Short lines outside a label's corners, where the gap between labels is."""
    reach = max(sheet.gap_x_mm, sheet.gap_y_mm) / 2
    canvas.saveState()
    canvas.scale(1 / _POINT_MM, 1 / _POINT_MM)
    canvas.setLineWidth(_HAIRLINE_MM)
    canvas.setStrokeGray(0.5)
    for x, outward_x in ((spot.left_mm, -1), (spot.left_mm + layout.width_mm, 1)):
        for y_down, outward_y in ((spot.top_mm, 1), (spot.top_mm + layout.height_mm, -1)):
            y = sheet.paper.height_mm - y_down
            canvas.line(x + outward_x * reach * 0.2, y, x + outward_x * reach, y)
            canvas.line(x, y + outward_y * reach * 0.2, x, y + outward_y * reach)
    canvas.restoreState()


def _end_sheet(canvas: Canvas, sheet: Sheet) -> None:
    """A ruler line at the foot of plain paper, to see with a rule that nothing was scaled."""
    if sheet.cut_marks:
        left, y = (sheet.paper.width_mm - _RULER_MM) / 2, EDGE_MM * 0.55
        canvas.saveState()
        canvas.scale(1 / _POINT_MM, 1 / _POINT_MM)
        canvas.setLineWidth(_HAIRLINE_MM)
        canvas.setStrokeGray(0)
        canvas.line(left, y, left + _RULER_MM, y)
        for tick in range(0, _RULER_MM + 1, 10):
            canvas.line(left + tick, y, left + tick, y + (2 if tick % 50 else 3))
        canvas.setFillGray(0)
        _write(canvas, Text(f"{_RULER_MM} mm", Face.TEXT, left + _RULER_MM + 2, -y, 3))
        canvas.restoreState()
    canvas.showPage()
