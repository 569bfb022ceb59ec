"""What whole dots are worth on paper, and what a batch costs with its proof.

The same codes on the same area, once as the kiosk prints them and once as the symbol library's own picture stretched
to fill that area, seen by the same camera; and a batch to PDF against the PDF library's own symbol without text or
proof.  Nothing is printed.  Processor seconds, one thread.
"""

from __future__ import annotations

import io
import time
from collections.abc import Callable, Iterator

import cv2
import numpy as np
import qrcode
import zxingcpp
from numpy.typing import NDArray
from PIL import Image
from qrcode.constants import ERROR_CORRECT_H
from reportlab.graphics import renderPDF
from reportlab.graphics.barcode.qr import QrCodeWidget
from reportlab.graphics.shapes import Drawing
from reportlab.pdfgen.canvas import Canvas

from kiosk.bench.ratio import Ratio
from kiosk.labels import draw
from kiosk.labels.content import LabelContent, Tag
from kiosk.labels.layout import lay_out
from kiosk.labels.proof import prove
from kiosk.labels.sizes import parse_size
from kiosk.labels.symbol import INCH_MM, QUIET, SPAN
from kiosk.rules.codes import NUMBERS, CodeKind, make

BENCH = "labels"
Picture = NDArray[np.uint8]
_CAMERA_PX = 2.6  # a module of ours, about the least a decoder reads
_BLUR_PX = 0.7
_NOISE = 12.0


def run(quick: bool = False) -> Iterator[Ratio]:
    """Rows for `bench labels`; about a minute, quick: some seconds."""
    contents = _contents(40 if quick else 400)
    for size, dpi in (("tape 9 mm", 203), ("12x12", 203), ("tape 9 mm", 300), ("25x25", 300)):
        yield _read_rate(contents, size, dpi)
    yield _batch(contents)


def _contents(count: int) -> list[LabelContent]:
    chance = np.random.default_rng(5)
    codes = [make(CodeKind.HOLDER, int(number)) for number in chance.integers(0, NUMBERS, count)]
    return [LabelContent(Tag.HOLDER, code, "Shrink 12 x 90", ("HSK63 · Ø12",)) for code in codes]


def _read_rate(contents: list[LabelContent], size: str, dpi: int) -> Ratio:
    """Labels read at the edge of what a camera resolves: our dots against a stretched picture's."""
    chance = np.random.default_rng(7)
    ours = theirs = 0
    for content in contents:
        printed = _ours(content, size, dpi)
        scale = _CAMERA_PX / (printed.shape[0] / SPAN)  # same camera, same distance for both
        turn_deg, shift = chance.uniform(-15, 15), chance.uniform(0, 1, 2)
        for picture in (printed, _stretched(content, size, dpi)):
            seen = _seen(picture, scale, turn_deg, shift, chance)
            read = zxingcpp.read_barcodes(seen, formats=zxingcpp.BarcodeFormat.QRCode)
            good = [each.text for each in read] == [content.code.text]
            if picture is printed:
                ours += good
            else:
                theirs += good
    total = len(contents)
    ratio = ours / theirs if theirs else float("inf")
    case = f"{size} at {dpi} dpi, {_CAMERA_PX} pixels a module of ours"
    return Ratio(BENCH, case, "qrcode picture stretched to fit", ours / total, theirs / total, ratio, "share read")


def _ours(content: LabelContent, size: str, dpi: int) -> Picture:
    """Our symbol with its quiet zone."""
    layout = lay_out(content, parse_size(size), dpi)
    symbol = layout.symbol
    rim, side = QUIET * symbol.module_dots, SPAN * symbol.module_dots
    top, left = symbol.top_dots - rim, symbol.left_dots - rim
    return draw.pixels(layout)[top : top + side, left : left + side]


def _stretched(content: LabelContent, size: str, dpi: int) -> Picture:
    """The library's picture scaled to the area a label has for its symbol, as a driver would, to nearest dots."""
    layout = lay_out(content, parse_size(size), dpi)
    room_mm = layout.height_mm - 2 * layout.size.margin_mm
    wish_mm = min(room_mm, SPAN * layout.module_mm * 1.08)  # people fill the room; a twelfth more of ours at most
    side = round(wish_mm * dpi / INCH_MM)
    symbol = qrcode.QRCode(version=1, error_correction=ERROR_CORRECT_H, box_size=10, border=QUIET)
    symbol.add_data(content.code.text)
    picture = symbol.make_image().get_image().convert("L")
    return np.asarray(picture.resize((side, side), Image.Resampling.NEAREST), np.uint8)


def _seen(
    picture: Picture, scale: float, turn_deg: float, shift: NDArray[np.float64], chance: np.random.Generator
) -> Picture:
    """A camera's picture: turned, resolved only so far, blurred, noisy."""
    fine = 4
    side = int(picture.shape[0] * scale * 1.5) * fine
    centre = picture.shape[0] / 2
    turn = cv2.getRotationMatrix2D((centre, centre), turn_deg, scale * fine)
    turn[:, 2] += side / 2 - centre + shift * fine
    big = cv2.warpAffine(picture, turn, (side, side), flags=cv2.INTER_LINEAR, borderValue=(200,))
    seen = cv2.resize(big, None, fx=1 / fine, fy=1 / fine, interpolation=cv2.INTER_AREA)
    grey = np.asarray(cv2.GaussianBlur(seen, (0, 0), _BLUR_PX), np.float64)
    noisy = grey * 0.7 + 30 + chance.normal(0, _NOISE, grey.shape)
    return np.asarray(np.clip(noisy, 0, 255), np.uint8)


def _batch(contents: list[LabelContent]) -> Ratio:
    """Milliseconds a label to PDF: ours with text and proof against a bare symbol."""
    size = parse_size("25x25")

    def ours() -> None:
        layouts = [lay_out(content, size, 300) for content in contents]
        for layout in layouts:
            prove(layout)
        draw.pdf(layouts, io.BytesIO())

    def theirs() -> None:
        canvas = Canvas(io.BytesIO(), pagesize=(71, 71))
        for content in contents:
            drawing = Drawing(71, 71)
            drawing.add(QrCodeWidget(content.code.text, barLevel="H", barWidth=71, barHeight=71))
            renderPDF.draw(drawing, canvas, 0, 0)
            canvas.showPage()
        canvas.save()

    ours_ms, theirs_ms = (_each_ms(work, len(contents)) for work in (ours, theirs))
    peer = "reportlab QrCodeWidget, no text, no proof"
    return Ratio(BENCH, f"{len(contents)} labels to PDF", peer, ours_ms, theirs_ms, theirs_ms / ours_ms, "ms a label")


def _each_ms(work: Callable[[], None], count: int) -> float:
    start = time.process_time()
    work()
    return (time.process_time() - start) * 1e3 / count
