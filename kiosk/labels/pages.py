"""Pages of a PDF as grey pictures: for a printer that takes dots, and to be looked at before anything is printed.

One page at a time and never two at once, because PDFium must not be entered by two threads.  Facts: 72 points an
inch (PDF), pypdfium2's documentation on threads.
"""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import pypdfium2
from PIL import Image

POINTS_PER_INCH = 72.0

_one_at_a_time = threading.Lock()


def count(pdf: Path | bytes) -> int:
    """How many pages it has."""
    with _one_at_a_time:
        document: Any = pypdfium2.PdfDocument(pdf)
        try:
            return len(document)
        finally:
            document.close()


def picture(pdf: Path | bytes, page: int, dpi: float) -> Image.Image:
    """Page number `page`, counted from 0, as an 8-bit grey picture of that many dots an inch."""
    with _one_at_a_time:
        document: Any = pypdfium2.PdfDocument(pdf)
        try:
            grey: Image.Image = document[page].render(scale=dpi / POINTS_PER_INCH, grayscale=True).to_pil()
            return grey.convert("L")  # a copy: what was rendered belongs to the document
        finally:
            document.close()
