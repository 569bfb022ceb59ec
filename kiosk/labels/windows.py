"""Print queues of Windows: pages are drawn dot by dot through its own print system, so that no PDF viewer is needed.

A PDF is rasterised at the printer's own dots and handed over as one document; after that the spooler is only asked.
It must never start a document twice.  Meanings of flags: Microsoft's documentation of JOB_INFO_1 and PRINTER_INFO_2;
the calls are pywin32's.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple, Protocol

from PIL import Image

from kiosk.labels import pages
from kiosk.labels.queue import (
    Job,
    JobState,
    Media,
    Queue,
    QueueFault,
    QueueGone,
    Trouble,
    WouldPrintTwice,
    fitting,
    listed,
)

# Printer flags, PRINTER_STATUS_*
_PRINTER_TROUBLES = (
    (0x00000080 | 0x00001000, Trouble.OFFLINE),  # OFFLINE, NOT_AVAILABLE
    (0x00000010 | 0x00000040, Trouble.OUT_OF_MEDIA),  # PAPER_OUT, PAPER_PROBLEM
    (0x00000008, Trouble.JAM),
    (0x00400000, Trouble.COVER_OPEN),  # DOOR_OPEN
    (0x00040000, Trouble.OUT_OF_INK),  # NO_TONER
    (0x00000001, Trouble.STOPPED),  # PAUSED
    (0x00000002 | 0x00100000, Trouble.OTHER),  # ERROR, USER_INTERVENTION
)
_WORKS_OFFLINE = 0x00000400  # PRINTER_ATTRIBUTE_WORK_OFFLINE
# Job flags, JOB_STATUS_*
_PAUSED, _ERROR, _DELETING, _SPOOLING, _PRINTING = 0x1, 0x2, 0x4, 0x8, 0x10
_OFFLINE, _PAPER_OUT, _PRINTED, _DELETED, _BLOCKED = 0x20, 0x40, 0x80, 0x100, 0x200
_INTERVENTION, _RESTART, _COMPLETE = 0x400, 0x800, 0x1000
_JOB_TROUBLES = (
    (_OFFLINE, Trouble.OFFLINE),
    (_PAPER_OUT, Trouble.OUT_OF_MEDIA),
    (_ERROR | _BLOCKED | _INTERVENTION, Trouble.OTHER),
)
_CONTROL_RESUME, _CONTROL_CANCEL, _CONTROL_RESTART = 2, 3, 4  # SetJob


class PrinterFacts(NamedTuple):
    """What Windows says of a queue."""

    name: str
    comment: str
    status: int
    attributes: int


class JobFacts(NamedTuple):
    """What Windows says of a job; `status_text` is the driver's own."""

    status: int
    status_text: str
    pages_printed: int


class Spooler(Protocol):
    """The calls of the print system that are used here."""

    def printers(self) -> list[PrinterFacts]: ...
    def default(self) -> str: ...
    def forms(self, queue: str) -> list[tuple[str, float, float]]: ...
    def dpi(self, queue: str) -> int: ...
    def print_pages(
        self, queue: str, title: str, form: str | None, copies: int, pages: Iterator[Image.Image]
    ) -> int: ...
    def job(self, queue: str, number: int) -> JobFacts | None: ...
    def control(self, queue: str, number: int, command: int) -> None: ...


class WindowsPrinting:
    """See `queue.Printing`."""

    def __init__(self, spooler: Spooler | None = None) -> None:
        self._spooler = spooler or Pywin32Spooler()

    def queues(self) -> tuple[Queue, ...]:
        default = self._spooler.default()
        queues = [_queue(facts, default) for facts in self._spooler.printers()]
        return tuple(sorted(queues, key=lambda queue: (not queue.default, queue.name)))

    def media(self, queue: str) -> tuple[Media, ...]:
        listed(self.queues(), queue)
        return tuple(Media(name, width_mm, height_mm) for name, width_mm, height_mm in self._spooler.forms(queue))

    def stock(self, queue: str, width_mm: float, height_mm: float) -> Media | None:
        return fitting(self.media(queue), width_mm, height_mm)

    def dpi(self, queue: str) -> int | None:
        listed(self.queues(), queue)
        return self._spooler.dpi(queue)

    def send(self, queue: str, pdf: Path, *, title: str, media: Media | None, copies: int = 1) -> Job:
        listed(self.queues(), queue)
        drawn = _pages(pdf, self._spooler.dpi(queue))
        form = media.name if media else None
        try:
            number = self._spooler.print_pages(queue, title, form, copies, drawn)
        except OSError as why:
            raise QueueFault(
                queue, f"Windows did not take the job ({why}); look at the printer before printing again"
            ) from why
        return self.job(Job(queue, number, title, JobState.WAITING))

    def job(self, job: Job) -> Job:
        facts = self._spooler.job(job.queue, job.number)
        if facts is None:
            # Windows forgets a job as soon as the printer took it, and also when somebody deleted it.
            fate = JobState.DONE if job.state is JobState.PRINTING else JobState.UNKNOWN
            return Job(job.queue, job.number, job.title, fate, pages_done=job.pages_done)
        troubles = tuple(trouble for flags, trouble in _JOB_TROUBLES if facts.status & flags)
        return Job(
            job.queue, job.number, job.title, _state(facts.status), troubles, facts.status_text, facts.pages_printed
        )

    def cancel(self, job: Job) -> Job:
        if self._spooler.job(job.queue, job.number) is None:
            return self.job(job)
        self._spooler.control(job.queue, job.number, _CONTROL_CANCEL)
        return Job(job.queue, job.number, job.title, JobState.CANCELLED)

    def retry(self, job: Job, *, looked: bool = False) -> Job:
        now = self.job(job)
        if now.state is JobState.HELD:
            self._spooler.control(job.queue, job.number, _CONTROL_RESUME)
        elif now.state is JobState.FAILED or (looked and now.state is JobState.STOPPED):
            self._spooler.control(job.queue, job.number, _CONTROL_RESTART)
        elif now.state in (JobState.UNKNOWN, JobState.CANCELLED, JobState.DONE) and looked:
            raise QueueFault(
                job.queue, f"Windows has not kept job {job.number}; print the label as a new job", "job_not_kept"
            )
        else:
            raise WouldPrintTwice(now)
        return self.job(now)


def _queue(facts: PrinterFacts, default: str) -> Queue:
    troubles = [trouble for flags, trouble in _PRINTER_TROUBLES if facts.status & flags]
    if facts.attributes & _WORKS_OFFLINE and Trouble.OFFLINE not in troubles:
        troubles.insert(0, Trouble.OFFLINE)
    return Queue(facts.name, facts.comment or facts.name, facts.name == default, tuple(troubles))


def _state(status: int) -> JobState:
    """What a job's flags add up to; ended before stopped, stopped before moving."""
    if status & (_DELETING | _DELETED):
        return JobState.CANCELLED
    if status & (_PRINTED | _COMPLETE):
        return JobState.DONE
    if status & _PAUSED:
        return JobState.HELD
    if status & (_ERROR | _OFFLINE | _PAPER_OUT | _BLOCKED | _INTERVENTION):
        return JobState.STOPPED
    if status & _PRINTING:
        return JobState.PRINTING
    return JobState.WAITING


def _pages(pdf: Path, dpi: int) -> Iterator[Image.Image]:
    """The pages of a PDF in the printer's dots, black and white."""
    for page in range(pages.count(pdf)):
        yield pages.picture(pdf, page, dpi).point(lambda level: 255 if level >= 128 else 0).convert("1")


class Pywin32Spooler:
    """The print system of Windows through pywin32 (`win32print`, `win32gui`) and Pillow's bitmap of Windows."""

    def __init__(self) -> None:
        import win32con
        import win32gui
        import win32print

        self._con: Any = win32con
        self._gui: Any = win32gui
        self._print: Any = win32print

    def printers(self) -> list[PrinterFacts]:
        flags = self._print.PRINTER_ENUM_LOCAL | self._print.PRINTER_ENUM_CONNECTIONS
        found = self._print.EnumPrinters(flags, None, 2)
        return [
            PrinterFacts(each["pPrinterName"], each["pComment"] or "", each["Status"], each["Attributes"])
            for each in found
        ]

    def default(self) -> str:
        try:
            return str(self._print.GetDefaultPrinter())
        except RuntimeError:  # pywin32's way to say that there is none
            return ""

    def forms(self, queue: str) -> list[tuple[str, float, float]]:
        with _Handle(self._print, queue) as handle:
            found = self._print.EnumForms(handle)
        return [(form["Name"], form["Size"]["cx"] / 1000, form["Size"]["cy"] / 1000) for form in found]

    def dpi(self, queue: str) -> int:
        context = self._gui.CreateDC("WINSPOOL", queue, None)
        try:
            return int(self._print.GetDeviceCaps(context, self._con.LOGPIXELSX))
        finally:
            self._gui.DeleteDC(context)

    def print_pages(self, queue: str, title: str, form: str | None, copies: int, pages: Iterator[Image.Image]) -> int:
        from PIL import ImageWin

        context = self._gui.CreateDC("WINSPOOL", queue, self._wishes(queue, form, copies))
        try:
            number = int(self._print.StartDoc(context, (title, None, None, 0)))
            offset = [
                self._print.GetDeviceCaps(context, cap)
                for cap in (self._con.PHYSICALOFFSETX, self._con.PHYSICALOFFSETY)
            ]
            try:
                for page in pages:
                    self._print.StartPage(context)
                    box = (-offset[0], -offset[1], page.width - offset[0], page.height - offset[1])
                    ImageWin.Dib(page.convert("L")).draw(context, box)
                    self._print.EndPage(context)
            except BaseException:
                self._print.AbortDoc(context)
                raise
            self._print.EndDoc(context)
            return number
        except (self._print.error, self._gui.error) as why:
            raise OSError(str(why)) from why
        finally:
            self._gui.DeleteDC(context)

    def job(self, queue: str, number: int) -> JobFacts | None:
        with _Handle(self._print, queue) as handle:
            try:
                found = self._print.GetJob(handle, number, 1)
            except self._print.error:
                return None
        return JobFacts(found["Status"], found["pStatus"] or "", found["PagesPrinted"])

    def control(self, queue: str, number: int, command: int) -> None:
        with _Handle(self._print, queue) as handle:
            try:
                self._print.SetJob(handle, number, 0, None, command)
            except self._print.error as why:
                raise QueueFault(queue, f"Windows refused: {why}") from why

    def _wishes(self, queue: str, form: str | None, copies: int) -> Any:
        """The queue's own settings with our stock and copies."""
        with _Handle(self._print, queue) as handle:
            wishes = self._print.GetPrinter(handle, 2)["pDevMode"]
        wishes.Copies = copies
        wishes.Fields |= self._con.DM_COPIES
        if form is not None:
            wishes.FormName = form
            wishes.Fields |= self._con.DM_FORMNAME
        return wishes


class _Handle:
    """An open printer; closed again whatever happens.  Raises QueueGone."""

    def __init__(self, win32print: Any, queue: str) -> None:
        self._print = win32print
        try:
            self._handle = win32print.OpenPrinter(queue)
        except win32print.error:
            raise QueueGone(queue, []) from None

    def __enter__(self) -> Any:
        return self._handle

    def __exit__(self, *_: object) -> None:
        self._print.ClosePrinter(self._handle)
