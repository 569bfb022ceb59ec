"""The demo shop's printed labels are those of its files, drawn by today's code."""

from __future__ import annotations

import runpy
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from PIL import Image

from kiosk import where
from kiosk.exchange.shop import read_shop
from kiosk.rules.codes import CodeFault, parse
from kiosk.rules.lines import CodeBound, PlaceAdded

KEPT = where.demo_tags() / "labels"


@pytest.fixture(scope="module")
def fresh(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("labels")
    runpy.run_path(str(where.demo_tags() / "make_sheets.py"))["write"](out)
    return out


def pages(path: Path, scale: float) -> list[np.ndarray]:
    return [np.asarray(page.render(scale=scale).to_pil().convert("RGB")) for page in pypdfium2.PdfDocument(path)]


def test_the_kept_sheets_are_those_drawn_anew(fresh: Path) -> None:
    assert sorted(path.name for path in KEPT.iterdir()) == sorted(path.name for path in fresh.iterdir())
    for path in sorted(fresh.iterdir()):
        kept = KEPT / path.name
        if path.suffix == ".png":
            assert np.array_equal(np.asarray(Image.open(path)), np.asarray(Image.open(kept))), path.name
            continue
        for new, old in zip(pages(path, 0.7), pages(kept, 0.7), strict=True):
            assert np.array_equal(new, old), path.name
        texts = [
            [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(each)] for each in (path, kept)
        ]
        assert texts[0] == texts[1], path.name


def test_every_code_of_the_shop_is_on_the_sheets_and_is_read_there(fresh: Path) -> None:
    lines = read_shop(where.demo_tags())
    wanted = {line.text for line in lines if isinstance(line, CodeBound)}
    wanted |= {line.place.code for line in lines if isinstance(line, PlaceAdded)}
    for paper in ("A4", "Letter"):
        printed: set[str] = set()
        for path in fresh.glob(f"*-{paper}.pdf"):
            for page in pypdfium2.PdfDocument(path):
                printed |= set(page.get_textpage().get_text_range().split())
        found = {text for text in printed if len(text) == 10 and _ours(text)}
        assert wanted <= found
    seen: set[str] = set()
    for page in pages(fresh / "holders-A4.pdf", 3):
        seen |= {each.text for each in zxingcpp.read_barcodes(page, formats=zxingcpp.BarcodeFormat.QRCode)}
    assert {text for text in wanted if text.startswith("H")} <= seen


def test_sheets_stay_small(fresh: Path) -> None:
    assert all(path.stat().st_size < 1_000_000 for path in fresh.iterdir())


def _ours(text: str) -> bool:
    try:
        parse(text)
    except CodeFault:
        return False
    return True
