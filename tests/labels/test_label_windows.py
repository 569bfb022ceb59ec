"""The queues of Windows, with a print system that is only written down: flags become states, pages become dots."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
import zxingcpp
from PIL import Image

from kiosk.labels import windows
from kiosk.labels.command import Request, make
from kiosk.labels.content import LabelContent
from kiosk.labels.queue import Job, JobState, Media, QueueFault, QueueGone, Trouble, WouldPrintTwice
from kiosk.labels.windows import JobFacts, PrinterFacts, WindowsPrinting

Labels = Callable[..., LabelContent]


class Spooler:
    """Windows' print system as far as the kiosk sees it."""

    def __init__(self) -> None:
        self.facts = [PrinterFacts("Labels", "At the bench", 0, 0), PrinterFacts("Office", "", 0, 0)]
        self.jobs: dict[int, JobFacts] = {}
        self.pages: list[Image.Image] = []
        self.controls: list[tuple[int, int]] = []
        self.asked: list[tuple[str, str | None, int]] = []
        self.broken = False

    def printers(self) -> list[PrinterFacts]:
        return self.facts

    def default(self) -> str:
        return "Labels"

    def forms(self, queue: str) -> list[tuple[str, float, float]]:
        return [("A4", 210.0, 297.0), ("Label 50 x 25", 50.0, 25.0)]

    def dpi(self, queue: str) -> int:
        return 300

    def print_pages(self, queue: str, title: str, form: str | None, copies: int, pages: Iterator[Image.Image]) -> int:
        if self.broken:
            raise OSError("the spooler is not running")
        self.asked.append((title, form, copies))
        self.pages += list(pages)
        self.jobs[7] = JobFacts(windows._SPOOLING, "", 0)
        return 7

    def job(self, queue: str, number: int) -> JobFacts | None:
        return self.jobs.get(number)

    def control(self, queue: str, number: int, command: int) -> None:
        self.controls.append((number, command))


@pytest.fixture
def spooler() -> Spooler:
    return Spooler()


@pytest.fixture
def job(spooler: Spooler, label: Labels) -> Job:
    made = make(Request([label()], "50x25", queue="Labels"), printing=WindowsPrinting(spooler))
    assert made.job is not None
    return made.job


def test_pages_reach_the_printer_in_its_own_dots(spooler: Spooler, job: Job, label: Labels) -> None:
    assert job.state is JobState.WAITING
    assert spooler.asked == [(label().code.grouped, "Label 50 x 25", 1)]
    (page,) = spooler.pages
    assert page.mode == "1"
    assert page.size == pytest.approx((591, 296), abs=1)
    (read,) = zxingcpp.read_barcodes(np.asarray(page.convert("L")), formats=zxingcpp.BarcodeFormat.QRCode)
    assert read.text == label().code.text


@pytest.mark.parametrize(
    ("flags", "state", "troubles"),
    [
        (0x0, JobState.WAITING, ()),
        (0x8, JobState.WAITING, ()),
        (0x10, JobState.PRINTING, ()),
        (0x1, JobState.HELD, ()),
        (0x20, JobState.STOPPED, (Trouble.OFFLINE,)),
        (0x40 | 0x10, JobState.STOPPED, (Trouble.OUT_OF_MEDIA,)),
        (0x2, JobState.STOPPED, (Trouble.OTHER,)),
        (0x80, JobState.DONE, ()),
        (0x1000, JobState.DONE, ()),
        (0x4, JobState.CANCELLED, ()),
        (0x100 | 0x80, JobState.CANCELLED, ()),
    ],
)
def test_the_flags_of_a_job_become_its_state(
    spooler: Spooler, job: Job, flags: int, state: JobState, troubles: tuple[Trouble, ...]
) -> None:
    spooler.jobs[7] = JobFacts(flags, "driver says", 2)
    now = WindowsPrinting(spooler).job(job)
    assert (now.state, now.troubles, now.message, now.pages_done) == (state, troubles, "driver says", 2)


@pytest.mark.parametrize(
    ("status", "attributes", "trouble"),
    [
        (0x80, 0, Trouble.OFFLINE),
        (0, 0x400, Trouble.OFFLINE),
        (0x10, 0, Trouble.OUT_OF_MEDIA),
        (0x8, 0, Trouble.JAM),
        (0x400000, 0, Trouble.COVER_OPEN),
        (0x1, 0, Trouble.STOPPED),
    ],
)
def test_the_flags_of_a_queue_become_its_troubles(
    spooler: Spooler, status: int, attributes: int, trouble: Trouble
) -> None:
    spooler.facts = [PrinterFacts("Labels", "", status, attributes)]
    (queue,) = WindowsPrinting(spooler).queues()
    assert queue.troubles == (trouble,)


def test_a_job_windows_forgot_is_done_only_when_it_was_seen_printing(spooler: Spooler, job: Job) -> None:
    printing = WindowsPrinting(spooler)
    spooler.jobs[7] = JobFacts(windows._PRINTING, "", 0)
    seen = printing.job(job)
    del spooler.jobs[7]
    assert printing.job(seen).state is JobState.DONE
    assert printing.job(job).state is JobState.UNKNOWN
    for known in (seen, job):
        with pytest.raises(WouldPrintTwice):
            printing.retry(known)
    with pytest.raises(QueueFault, match="new job"):
        printing.retry(job, looked=True)


def test_a_held_job_is_resumed_and_a_moving_one_left_alone(spooler: Spooler, job: Job) -> None:
    printing = WindowsPrinting(spooler)
    spooler.jobs[7] = JobFacts(windows._PAUSED, "", 0)
    printing.retry(job)
    assert spooler.controls == [(7, 2)]
    for flags in (windows._PRINTING, windows._SPOOLING, windows._ERROR):
        spooler.jobs[7] = JobFacts(flags, "", 0)
        with pytest.raises(WouldPrintTwice):
            printing.retry(job)
    assert spooler.controls == [(7, 2)]
    printing.retry(job, looked=True)  # stopped in the middle, and a person looked
    assert spooler.controls[-1] == (7, 4)
    printing.cancel(job)
    assert spooler.controls[-1] == (7, 3)


def test_a_queue_that_vanished_or_a_spooler_that_stopped_is_said_so(spooler: Spooler, label: Labels) -> None:
    printing = WindowsPrinting(spooler)
    with pytest.raises(QueueGone, match="Labels, Office"):
        printing.media("Laser")
    assert printing.stock("Labels", 50, 25) == Media("Label 50 x 25", 50.0, 25.0)
    spooler.broken = True
    with pytest.raises(QueueFault, match="look at the printer"):
        make(Request([label()], "50x25", queue="Labels"), printing=printing)
    assert not spooler.jobs


def test_dots_of_a_pdf_are_those_of_the_label_at_any_printer(label: Labels, tmp_path: Path) -> None:
    out = tmp_path / "label.pdf"
    make(Request([label()], "50x25", dpi=203, out=out))
    for dpi in (203, 300, 600):
        (page,) = list(windows._pages(out, dpi))
        assert set(np.unique(np.asarray(page.convert("L")))) == {0, 255}
        (read,) = zxingcpp.read_barcodes(np.asarray(page.convert("L")), formats=zxingcpp.BarcodeFormat.QRCode)
        assert read.text == label().code.text
