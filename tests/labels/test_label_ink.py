"""Ink where the layout says: pictures in the printer's dots, PDFs at true size with text that can be searched."""

from __future__ import annotations

import io
from collections.abc import Callable
from itertools import islice
from pathlib import Path

import numpy as np
import pypdfium2
import pypdfium2.raw as pdfium
import pytest
import zxingcpp
from PIL import Image

from kiosk.labels import draw
from kiosk.labels.content import LabelContent, hot_tag
from kiosk.labels.layout import Layout, lay_out
from kiosk.labels.sizes import PAPERS, parse_size, sheet
from kiosk.labels.symbol import INCH_MM
from kiosk.rules.codes import CodeKind, make

FINE_DPI = 600  # a pixel is 0.042 mm

Labels = Callable[..., LabelContent]


def rasterised(pdf: Path | bytes, page: int = 0, dpi: int = FINE_DPI) -> np.ndarray:
    document = pypdfium2.PdfDocument(pdf)
    return np.asarray(document[page].render(scale=dpi / 72, grayscale=True).to_pil().convert("L"))


def dark_box_mm(grey: np.ndarray, left: float, top: float, right: float, bottom: float) -> tuple[float, ...]:
    """Box round the dark pixels in a window, all in millimetres."""
    mm = INCH_MM / FINE_DPI
    window = grey[round(top / mm) : round(bottom / mm), round(left / mm) : round(right / mm)] < 128
    rows, columns = np.nonzero(window)
    x, y = round(left / mm), round(top / mm)
    return tuple(at * mm for at in (x + columns.min(), y + rows.min(), x + columns.max() + 1, y + rows.max() + 1))


def symbol_box_mm(layout: Layout, left_mm: float = 0, top_mm: float = 0) -> tuple[float, ...]:
    dot = INCH_MM / layout.dpi
    left, top = left_mm + layout.symbol.left_dots * dot, top_mm + layout.symbol.top_dots * dot
    return left, top, left + layout.symbol_mm, top + layout.symbol_mm


@pytest.mark.parametrize("size", ["tape 9 mm", "12x12", "25x25", "60x30", "100x50", "40x20"])
@pytest.mark.parametrize("dpi", [203, 300, 600])
def test_a_pdf_is_true_to_size_within_a_tenth_of_a_millimetre(
    label: Labels, tmp_path: Path, size: str, dpi: int
) -> None:
    layout = lay_out(label(), parse_size(size), dpi)
    out = tmp_path / "label.pdf"
    draw.pdf([layout], out)
    width_pt, height_pt = pypdfium2.PdfDocument(out)[0].get_size()
    assert width_pt * INCH_MM / 72 == pytest.approx(layout.width_mm, abs=0.01)
    assert height_pt * INCH_MM / 72 == pytest.approx(layout.height_mm, abs=0.01)
    wanted = symbol_box_mm(layout)
    module = layout.module_mm
    found = dark_box_mm(
        rasterised(out), *(side + rim for side, rim in zip(wanted, (-module, -module, module, module), strict=True))
    )
    assert found == pytest.approx(wanted, abs=0.1)


def test_a_pdf_at_the_printers_dots_is_the_picture_dot_for_dot(label: Labels, tmp_path: Path) -> None:
    for dpi in (203, 300):
        layout = lay_out(label(), parse_size("50x25"), dpi)
        draw.pdf([layout], tmp_path / "label.pdf")
        symbol = layout.symbol
        side = 21 * symbol.module_dots
        # A page is a fraction of a dot larger than its picture, and PDF counts from the foot.
        seen = rasterised(tmp_path / "label.pdf", dpi=dpi)
        drawn = draw.pixels(layout)
        box = np.s_[symbol.top_dots : symbol.top_dots + side, symbol.left_dots : symbol.left_dots + side]
        assert np.mean((seen[box] < 128) != (drawn[box] < 128)) < 0.02


def test_text_in_a_pdf_is_searchable_and_its_fonts_are_embedded(label: Labels, tmp_path: Path) -> None:
    layout = lay_out(label(), parse_size("25x25"))
    draw.pdf([layout], tmp_path / "label.pdf")
    page = pypdfium2.PdfDocument(tmp_path / "label.pdf")[0]
    text = page.get_textpage()
    for wanted in (layout.content.code.text, "Shrink 12 x 90", "HSK-A 63"):
        assert text.search(wanted).get_next() is not None, wanted
    letters = [each for each in page.get_objects() if each.type == pdfium.FPDF_PAGEOBJ_TEXT]
    assert len(letters) >= 6
    for each in letters:
        assert pdfium.FPDFFont_GetIsEmbedded(pdfium.FPDFTextObj_GetFont(each.raw)) == 1


def test_a_picture_has_a_pixel_a_dot_and_carries_its_resolution(label: Labels) -> None:
    for dpi in (203, 300, 600):
        layout = lay_out(label(), parse_size("25x25"), dpi)
        image = Image.open(io.BytesIO(draw.png(layout)))
        assert image.mode == "1"
        assert image.size == (round(25 * dpi / INCH_MM),) * 2
        assert image.info["dpi"] == pytest.approx((dpi, dpi), abs=0.02)
        assert np.array_equal(np.asarray(image.convert("L")), draw.pixels(layout))


@pytest.mark.parametrize("paper", PAPERS, ids=lambda paper: paper.name)
def test_labels_on_a_sheet_stand_where_the_sheet_says(label: Labels, tmp_path: Path, paper: object) -> None:
    size = parse_size("25x25")
    on = sheet(paper.name, size, start=40)  # type: ignore[attr-defined]
    layouts = [lay_out(label(number), size) for number in range(on.places)]
    assert draw.pdf_sheets(layouts, on, tmp_path / "sheet.pdf") == on.places
    pages = [
        rasterised(tmp_path / "sheet.pdf", page) for page in range(len(pypdfium2.PdfDocument(tmp_path / "sheet.pdf")))
    ]
    assert len(pages) == on.pages(len(layouts)) == 2
    spots = list(islice(on.spots(), len(layouts)))
    for spot, layout in list(zip(spots, layouts, strict=True))[:: len(layouts) // 6]:
        wanted = symbol_box_mm(layout, spot.left_mm, spot.top_mm)
        assert dark_box_mm(pages[spot.page], *wanted) == pytest.approx(wanted, abs=0.1)
    read = {
        found.text for page in pages for found in zxingcpp.read_barcodes(page, formats=zxingcpp.BarcodeFormat.QRCode)
    }
    assert read == {layout.content.code.text for layout in layouts}


def test_plain_paper_has_a_ruler_line_of_a_hundred_millimetres(label: Labels, tmp_path: Path) -> None:
    on = sheet("A4", parse_size("25x25"))
    draw.pdf_sheets([lay_out(label(), on.label)], on, tmp_path / "sheet.pdf")
    grey = rasterised(tmp_path / "sheet.pdf")
    left, _, right, _ = dark_box_mm(grey, 40, 285, 155.4, 295)
    assert right - left == pytest.approx(100, abs=0.2)


def test_a_sheet_prints_its_hot_sign_in_yellow_and_a_label_printer_in_black_alone(tmp_path: Path) -> None:
    tag = hot_tag(make(CodeKind.HOLDER, 5), "Shrink 12", "14:05", "14:41")
    for colour in (True, False):
        layout = lay_out(tag, parse_size("100x50"), colour=colour)
        draw.pdf([layout], tmp_path / "tag.pdf")
        seen = np.asarray(
            pypdfium2.PdfDocument(tmp_path / "tag.pdf")[0].render(scale=2).to_pil().convert("RGB")
        ).astype(int)
        yellow = np.count_nonzero((seen[..., 0] > 200) & (seen[..., 2] < 80))
        assert bool(yellow > 500) is colour
        assert set(np.unique(draw.pixels(layout))) == {0, 255}


def test_the_same_labels_give_the_same_bytes(label: Labels) -> None:
    layouts = [lay_out(label(number), parse_size("25x25")) for number in range(3)]
    first, second = io.BytesIO(), io.BytesIO()
    draw.pdf(layouts, first)
    draw.pdf(layouts, second)
    assert first.getvalue() == second.getvalue()
    assert [draw.png(layout) for layout in layouts] == [draw.png(layout) for layout in layouts]
