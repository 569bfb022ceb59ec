"""The symbol on every label: QR version 1, level H, ten alphanumeric characters, in whole printer dots.

It must never be larger than version 1, weaker than level H, or lack its quiet zone: that is what a small oily label
survives on.  Facts from ISO/IEC 18004; what a printer can hold from what thermal printers do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import qrcode
from qrcode.constants import ERROR_CORRECT_H
from qrcode.util import MODE_ALPHA_NUM, QRData

from kiosk.labels.faults import DpiUnknown

INCH_MM = 25.4
MODULES = 21  # a side of version 1
QUIET = 4  # modules of white around it
SPAN = MODULES + 2 * QUIET
MODULE_LEAST_MM = 0.24  # two dots at 203 dpi, three at 300: below it ink spread closes the gaps
DOTS_LEAST = 2  # one dot a module leaves nothing for spread
DPI_LEAST, DPI_MOST = 150, 2400


@dataclass(frozen=True, slots=True)
class Symbol:
    """The symbol without its quiet zone, in whole dots from the label's top left corner."""

    left_dots: int
    top_dots: int
    module_dots: int
    modules: tuple[tuple[bool, ...], ...]  # rows of dark modules


@lru_cache(maxsize=4096)
def modules_of(text: str) -> tuple[tuple[bool, ...], ...]:
    """Rows of dark modules of the version 1 level H symbol for ten alphanumeric characters."""
    symbol = qrcode.QRCode(version=1, error_correction=ERROR_CORRECT_H, border=0)
    symbol.add_data(QRData(text.encode("ascii"), mode=MODE_ALPHA_NUM), optimize=0)
    symbol.make(fit=False)
    return tuple(tuple(bool(dark) for dark in row) for row in symbol.modules)


def least_module_dots(dpi: int) -> int:
    """Fewest dots a module may have at this resolution.  Raises DpiUnknown."""
    if not DPI_LEAST <= dpi <= DPI_MOST:
        raise DpiUnknown(dpi, DPI_LEAST, DPI_MOST)
    return max(DOTS_LEAST, math.ceil(MODULE_LEAST_MM * dpi / INCH_MM))
