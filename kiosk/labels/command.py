"""From a request for labels to paper: the one way that command line and screens share.

A request names labels, a size and where they go; everything in it is checked, and every label proved, before the first
byte is written or sent.  It must never decide which labels: that is asked of it.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from kiosk.labels import batch
from kiosk.labels.content import LabelContent
from kiosk.labels.faults import WrongUse
from kiosk.labels.layout import Layout, lay_out
from kiosk.labels.queue import Job, Media, Printing, listed, system_printing
from kiosk.labels.sizes import LabelSize, Sheet, parse_size, sheet
from kiosk.labels.wrap import Advice, CameraView, advise


@dataclass(frozen=True, slots=True)
class SheetWish:
    """`A4` or `Letter`; None: as many as fit.  `start`: first free label of a half-used sheet, from 1."""

    paper: str
    start: int = 1
    rows: int | None = None
    columns: int | None = None
    left_mm: float | None = None
    top_mm: float | None = None
    gap_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Request:
    """Labels to make.  Exactly one of `out` (`.pdf`, `.png`) and `queue`.

    size: as people write it.  first: label of the batch to begin with, from 1.  wrap_mm: diameter it goes round,
    seen by `view`.  module_dots: no more than these a module.  media: the queue's own name for the stock.
    """

    contents: Sequence[LabelContent]
    size: str = "25x25"
    dpi: int = 300
    out: Path | None = None
    queue: str | None = None
    media: str | None = None
    copies: int = 1
    sheet: SheetWish | None = None
    first: int = 1
    wrap_mm: float | None = None
    view: CameraView = field(default_factory=CameraView)
    module_dots: int | None = None


@dataclass(frozen=True, slots=True)
class Made:
    """What came of a request.

    files written; the job sent, and the stock it was sent for (None: the queue's own setting); queue_dpi: what the
    queue prints with, where that is not what the labels were laid out for, so that modules are no whole dots;
    `advice` for round steel, of the label that fares worst; `left_out`: texts that the size has no room for.
    """

    labels: int
    files: tuple[Path, ...] = ()
    job: Job | None = None
    media: Media | None = None
    queue_dpi: int | None = None
    advice: Advice | None = None
    left_out: tuple[str, ...] = ()


def make(
    request: Request,
    *,
    printing: Printing | None = None,
    progress: batch.Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Made:
    """Make the labels asked for, all or none.  Raises LabelError, OSError."""
    if (request.out is None) == (request.queue is None):
        raise WrongUse("say where the labels go: a file that ends in .pdf or .png, or a print queue")
    if not request.contents:
        raise WrongUse("there are no labels to print")
    size = parse_size(request.size)
    on_sheet = _sheet(request, size)
    contents = batch.rest(request.contents, request.first)
    if request.out is not None and request.out.suffix.lower() not in (".pdf", ".png"):
        raise WrongUse(f"{request.out} ends neither in .pdf nor in .png")
    if request.out is not None and request.out.suffix.lower() == ".png" and on_sheet:
        raise WrongUse("a sheet is a PDF; give a file that ends in .pdf")
    if request.out is not None and not request.out.parent.is_dir():
        raise WrongUse(f"there is no folder {request.out.parent} to write {request.out.name} into")
    spooler = printing
    if request.queue is not None:
        spooler = printing or system_printing()
        listed(spooler.queues(), request.queue)
    layouts = batch.prepare(
        contents,
        size,
        request.dpi,
        module_dots=request.module_dots,
        colour=on_sheet is not None,
        progress=progress,
        cancelled=cancelled,
    )
    left_out = dict.fromkeys(text for layout in layouts for text in layout.left_out)
    made = Made(len(layouts), advice=_advice(request, layouts), left_out=tuple(left_out))
    if request.out is not None:
        return replace(made, files=_write(request.out, layouts, on_sheet))
    assert request.queue is not None and spooler is not None  # one of both, as checked above
    dpi = spooler.dpi(request.queue)
    media = _stock(request, request.queue, spooler, layouts[0], on_sheet)
    job = _print(request, request.queue, spooler, media, layouts, on_sheet)
    return replace(made, job=job, media=media, queue_dpi=None if dpi == request.dpi else dpi)


def _sheet(request: Request, size: LabelSize) -> Sheet | None:
    wish = request.sheet
    if wish is None:
        return None
    return sheet(
        wish.paper,
        size,
        rows=wish.rows,
        columns=wish.columns,
        left_mm=wish.left_mm,
        top_mm=wish.top_mm,
        gap_mm=wish.gap_mm,
        start=wish.start,
    )


def _advice(request: Request, layouts: Sequence[Layout]) -> Advice | None:
    """Advice for the label with the largest symbol; labels of one size differ little."""
    if request.wrap_mm is None:
        return None
    worst = max(layouts, key=lambda layout: layout.symbol_mm)

    def relaid(size: LabelSize, module_dots: int | None) -> Layout:
        return lay_out(worst.content, size, request.dpi, module_dots=module_dots)

    return advise(worst, request.wrap_mm, request.view, relaid)


def _write(out: Path, layouts: Sequence[Layout], on_sheet: Sheet | None) -> tuple[Path, ...]:
    if out.suffix.lower() == ".png":
        return batch.write_pngs(layouts, out)
    batch.write_pdf(layouts, out, on_sheet)
    return (out,)


def _print(
    request: Request,
    queue: str,
    spooler: Printing,
    media: Media | None,
    layouts: Sequence[Layout],
    on_sheet: Sheet | None,
) -> Job:
    with tempfile.TemporaryDirectory(prefix="labels-") as folder:
        pdf = Path(folder) / "labels.pdf"
        batch.write_pdf(layouts, pdf, on_sheet)
        title = layouts[0].content.code.grouped if len(layouts) == 1 else f"{len(layouts)} labels"
        return spooler.send(queue, pdf, title=title, media=media, copies=request.copies)


def _stock(request: Request, queue: str, spooler: Printing, layout: Layout, on_sheet: Sheet | None) -> Media | None:
    """The stock asked for by name, else what fits; None leaves it to the queue's own setting."""
    if request.media is not None:
        media = spooler.media(queue)
        for each in media:
            if each.name == request.media:
                return each
        known = ", ".join(each.name for each in media) or "none"
        raise WrongUse(f"printer {queue} knows no media {request.media!r}; it knows {known}")
    if on_sheet is not None:
        return spooler.stock(queue, on_sheet.paper.width_mm, on_sheet.paper.height_mm)
    return spooler.stock(queue, layout.width_mm, layout.height_mm)
