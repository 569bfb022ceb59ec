"""Many labels at once: laid out, proved one by one, and written only when all of them are good.

A batch reports how far it is and can be cancelled between labels.  It must never leave half a file behind, print a
label that failed its proof, or print one code twice; after a jam the rest is a batch of its own.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import islice
from pathlib import Path

from kiosk import filing
from kiosk.labels import draw
from kiosk.labels.content import LabelContent
from kiosk.labels.faults import Cancelled, WrongUse
from kiosk.labels.layout import Layout, lay_out
from kiosk.labels.proof import prove
from kiosk.labels.sizes import LabelSize, Sheet, Stock

Progress = Callable[[int, int], None]  # labels done, labels in all
_CHUNK = 32  # labels between two looks at cancel


def prepare(
    contents: Sequence[LabelContent],
    size: LabelSize,
    dpi: int,
    *,
    module_dots: int | None = None,
    colour: bool = False,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> list[Layout]:
    """Layouts of a batch, every one of them proved.

    Raises LabelError for the first label that cannot be laid out or read back, WrongUse when a code stands in the
    batch twice, Cancelled when `cancelled` returns true.
    """
    _each_once(contents)
    total = len(contents)
    ready: list[Layout] = []

    def good(content: LabelContent) -> Layout:
        layout = lay_out(content, size, dpi, module_dots=module_dots, colour=colour)
        prove(layout)
        return layout

    waiting = iter(contents)
    with ThreadPoolExecutor(max_workers=min(4, os.cpu_count() or 1), thread_name_prefix="proof") as pool:
        while chunk := list(islice(waiting, _CHUNK)):
            if cancelled and cancelled():
                raise Cancelled(len(ready), total)
            ready += pool.map(good, chunk)
            if progress:
                progress(len(ready), total)
    if size.stock is Stock.TAPE:  # one job has one stock: all as long as the longest
        longest_mm = max(layout.width_mm for layout in ready)
        return [replace(layout, width_mm=longest_mm) for layout in ready]
    return ready


def rest(contents: Sequence[LabelContent], first: int) -> Sequence[LabelContent]:
    """A batch from its label number `first` on, counted from 1: what a jam left unprinted.  Raises WrongUse."""
    if not 1 <= first <= len(contents):
        raise WrongUse(f"the batch has labels 1 to {len(contents)}; there is no label {first}")
    return contents[first - 1 :]


def write_pdf(layouts: Sequence[Layout], out: Path, sheet: Sheet | None = None) -> None:
    """A PDF of a batch, a page a label or on sheets; either all of it or nothing.  Raises OSError."""
    with filing.beside(out) as part:
        if sheet is None:
            draw.pdf(layouts, part)
        else:
            draw.pdf_sheets(layouts, sheet, part)


def write_pngs(layouts: Sequence[Layout], out: Path) -> tuple[Path, ...]:
    """A PNG a label: `out` itself for one, else `out` with the code in its name.  Raises OSError."""
    paths = []
    for layout in layouts:
        code = layout.content.code.text
        path = out if len(layouts) == 1 else out.with_name(f"{out.stem}-{code}{out.suffix}")
        paths.append(filing.write(path, draw.png(layout)))
    return tuple(paths)


def _each_once(contents: Sequence[LabelContent]) -> None:
    seen: dict[str, int] = {}
    for number, content in enumerate(contents, start=1):
        code = content.code
        if code.text in seen:
            raise WrongUse(
                f"code {code.grouped} stands in this batch twice, as label {seen[code.text]} and label {number}; "
                "one code belongs on one thing alone"
            )
        seen[code.text] = number
