"""How many files a window holds open, fonts apart.

Kivy keeps a font file open for each size and weight it last drew, so that screens seen for the first time add some: 64
at most, whatever is shown.  Facts: proc(5).
"""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

MOST_FONTS = 64


def open_files(process: int) -> tuple[int, int]:
    """How many handles a process has open: of fonts, of all else.  Raises ProcessLookupError where there is none."""
    fonts = others = 0
    try:
        for handle in Path(f"/proc/{process}/fd").iterdir():
            with suppress(FileNotFoundError):  # closed meanwhile
                font = os.readlink(handle).endswith(".ttf")
                fonts, others = fonts + font, others + (not font)
    except FileNotFoundError:
        raise ProcessLookupError(process) from None
    return fonts, others
