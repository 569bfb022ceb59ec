"""Print queues of a real cupsd, started here in a folder of its own: what comes out is rasterised and read.

Needs root for the PDF queue (its backend writes as the user who prints) and Debian's cups, cups-filters and
printer-driver-cups-pdf, which kiosk/prepare installs.
"""

from __future__ import annotations

import os
import shutil
import socket
import stat
import subprocess
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
import zxingcpp

from kiosk.labels.command import Request, make
from kiosk.labels.content import LabelContent
from kiosk.labels.cups import CupsPrinting
from kiosk.labels.queue import (
    FateUnknown,
    Job,
    JobState,
    Queue,
    QueueFault,
    QueueGone,
    Trouble,
    WouldPrintTwice,
    listed,
)
from kiosk.screens.questions import labels as asks
from kiosk.words import LANGUAGES, catalogue

Labels = Callable[..., LabelContent]

_SERVER_BIN = Path("/usr/lib/cups")
_BACKEND = _SERVER_BIN / "backend" / "cups-pdf"
_PPD = Path("/usr/share/ppd/cups-pdf/CUPS-PDF_opt.ppd")

_CONFIGURATION = """
Listen {folder}/cups.sock
LogLevel debug
DefaultAuthType None
WebInterface No
Browsing Off
PreserveJobFiles Yes
ErrorPolicy retry-job
JobRetryInterval 1
<Location />
  Order allow,deny
  Allow all
</Location>
<Policy default>
  <Limit All>
    Order allow,deny
    Allow all
  </Limit>
</Policy>
"""
_FILES = """
ServerRoot {folder}/root
ServerBin {folder}/bin
RequestRoot {folder}/spool
TempDir {folder}/spool/tmp
CacheDir {folder}/cache
StateDir {folder}/state
AccessLog {folder}/log/access
ErrorLog {folder}/log/error
PageLog {folder}/log/page
"""
# A printer without labels: it says so, and waits until the file `loaded` appears beside it.
_EMPTY = """#!/bin/sh
[ $# -eq 0 ] && exit 0
echo "STATE: +media-empty-error" >&2
echo "ERROR: Put in labels" >&2
while [ ! -e {folder}/loaded ]; do sleep 0.1; done
echo "STATE: -media-empty-error" >&2
cat > {folder}/printed
"""
# A printer nobody switched on: the system tries again later.
_OFF = """#!/bin/sh
[ $# -eq 0 ] && exit 0
echo "STATE: +offline-report" >&2
while [ ! -e {folder}/switched-on ]; do sleep 0.1; done
echo "STATE: -offline-report" >&2
cat > {folder}/printed
"""
# A printer that breaks.
_BROKEN = """#!/bin/sh
[ $# -eq 0 ] && exit 0
[ -e {folder}/mended ] && exec cat > {folder}/printed
exit 4
"""


class Cups:
    """A print server with a PDF queue and three printers that have troubles."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.socket = folder / "cups.sock"
        self.printing = CupsPrinting(str(self.socket))

    def run(self, *command: str) -> None:
        environment = os.environ | {"CUPS_SERVER": str(self.socket), "LC_ALL": "C"}
        subprocess.run(command, env=environment, check=True, capture_output=True)

    def wait(self, job: Job, *states: JobState) -> Job:
        """The job once it is in one of these states."""
        until = time.monotonic() + 30
        now = self.printing.job(job)
        while now.state not in states:
            assert time.monotonic() < until, now
            time.sleep(0.1)
            now = self.printing.job(job)
        return now

    def wait_trouble(self, queue: str, trouble: Trouble) -> Queue:
        until = time.monotonic() + 30
        while trouble not in (found := listed(self.printing.queues(), queue)).troubles:
            assert time.monotonic() < until, found
            time.sleep(0.1)
        return found


@pytest.fixture(scope="module")
def cups() -> Iterator[Cups]:
    if os.geteuid() != 0 or not shutil.which("cupsd") or not _BACKEND.exists() or not _PPD.exists():
        pytest.skip("needs root, cups and printer-driver-cups-pdf (kiosk/prepare installs both)")
    folder = Path("/tmp") / f"cups-{uuid.uuid4().hex[:8]}"  # a socket's path must be short
    for name in ("root/ppd", "root/ssl", "spool/tmp", "cache", "state", "log", "bin/backend"):
        (folder / name).mkdir(parents=True)
    for name in ("filter", "daemon", "notifier", "cgi-bin", "monitor", "driver"):
        if (_SERVER_BIN / name).exists():
            (folder / "bin" / name).symlink_to(_SERVER_BIN / name)
    shutil.copy2(_BACKEND, folder / "bin/backend/cups-pdf")
    for name, script in (("empty", _EMPTY), ("off", _OFF), ("broken", _BROKEN)):
        path = folder / "bin/backend" / name
        path.write_text(script.format(folder=folder))
        path.chmod(stat.S_IRWXU)
    (folder / "cupsd.conf").write_text(_CONFIGURATION.format(folder=folder))
    (folder / "cups-files.conf").write_text(_FILES.format(folder=folder))
    server = subprocess.Popen(
        ["cupsd", "-f", "-c", str(folder / "cupsd.conf"), "-s", str(folder / "cups-files.conf")],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    cups = Cups(folder)
    try:
        until = time.monotonic() + 20
        while not cups.socket.exists():
            assert server.poll() is None, (folder / "log/error").read_text()
            assert time.monotonic() < until
            time.sleep(0.1)
        for name, device in (("labels", "cups-pdf:/"), ("empty", "empty:/"), ("off", "off:/"), ("broken", "broken:/")):
            error_policy = "stop-printer" if name == "broken" else "retry-job"
            cups.run(
                "lpadmin", "-p", name, "-E", "-v", device, "-P", str(_PPD), "-D", f"The {name} printer",
                "-o", f"printer-error-policy={error_policy}",
            )  # fmt: skip
        cups.run("lpadmin", "-d", "labels")
        yield cups
    finally:
        server.terminate()
        server.wait(10)
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def paper() -> Iterator[Callable[[str], Path]]:
    """What the PDF queue printed for a job title; taken away afterwards."""
    tray = Path.home() / "PDF"
    before = set(tray.glob("*.pdf")) if tray.exists() else set()

    def printed(title: str) -> Path:
        (found,) = [path for path in tray.glob("*.pdf") if path not in before and title.replace(" ", "_") in path.name]
        return found

    yield printed
    for path in set(tray.glob("*.pdf")) - before if tray.exists() else ():
        path.unlink()
    if tray.exists() and not any(tray.iterdir()) and not before:
        tray.rmdir()


@pytest.fixture
def pdf(label: Labels, tmp_path: Path) -> Path:
    out = tmp_path / "label.pdf"
    make(Request([label()], "50x25", out=out))
    return out


def test_queues_are_listed_with_the_default_first(cups: Cups) -> None:
    queues = cups.printing.queues()
    assert [queue.name for queue in queues] == ["labels", "broken", "empty", "off"]
    assert queues[0].default
    assert queues[0].description == "The labels printer"
    assert not queues[0].troubles


def test_stock_is_found_by_its_measure(cups: Cups) -> None:
    a4 = cups.printing.stock("labels", 210, 297)
    assert a4 is not None
    assert "a4" in a4.name.lower()
    own = cups.printing.stock("labels", 50, 25)
    assert own is not None
    assert (own.width_mm, own.height_mm) == (50, 25)
    assert cups.printing.stock("labels", 1e6, 1e6) is None


def test_a_queue_says_its_dots_per_inch(cups: Cups) -> None:
    dpi = cups.printing.dpi("labels")
    assert dpi is not None
    assert 150 <= dpi <= 2400


def test_labels_printed_through_cups_come_out_at_true_size_and_are_read(
    cups: Cups, label: Labels, paper: Callable[[str], Path]
) -> None:
    contents = [label(number) for number in range(3)]
    made = make(Request(contents, "50x25", queue="labels"), printing=cups.printing)
    assert made.job is not None
    done = cups.wait(made.job, JobState.DONE)
    assert done.number == made.job.number
    document = pypdfium2.PdfDocument(paper("3 labels"))
    assert len(document) == 3
    for page, content in zip(document, contents, strict=True):
        assert [side * 25.4 / 72 for side in page.get_size()] == pytest.approx([50, 25], abs=0.6)
        grey = np.asarray(page.render(scale=600 / 72, grayscale=True).to_pil().convert("L"))
        (read,) = zxingcpp.read_barcodes(grey, formats=zxingcpp.BarcodeFormat.QRCode)
        assert read.text == content.code.text
        edge_mm = (read.position.top_right.x - read.position.top_left.x) * 25.4 / 600
        assert edge_mm == pytest.approx(16.0, abs=0.25)  # 21 modules of 9 dots at 300 dpi
        assert "Shrink 12 x 90" in page.get_textpage().get_text_range()


def test_a_held_job_waits_and_goes_on_when_retried(cups: Cups, pdf: Path, paper: Callable[[str], Path]) -> None:
    cups.run("lpadmin", "-p", "labels", "-o", "job-hold-until-default=indefinite")
    try:
        job = cups.printing.send("labels", pdf, title="held", media=None)
    finally:
        cups.run("lpadmin", "-p", "labels", "-o", "job-hold-until-default=no-hold")
    assert cups.wait(job, JobState.HELD).state is JobState.HELD
    cups.printing.retry(job)
    assert cups.wait(job, JobState.DONE).state is JobState.DONE
    assert paper("held").exists()


def test_a_printer_out_of_labels_says_so_and_prints_once_when_they_are_in(cups: Cups, pdf: Path) -> None:
    job = cups.printing.send("empty", pdf, title="empty", media=None)
    assert cups.wait_trouble("empty", Trouble.OUT_OF_MEDIA).message == "Put in labels"
    now = cups.printing.job(job)
    assert now.state is JobState.PRINTING
    assert Trouble.OUT_OF_MEDIA in now.troubles
    with pytest.raises(WouldPrintTwice, match="on its way"):
        cups.printing.retry(job)
    (cups.folder / "loaded").touch()
    assert cups.wait(job, JobState.DONE).state is JobState.DONE
    assert not listed(cups.printing.queues(), "empty").troubles
    assert (cups.folder / "printed").stat().st_size > 500


def test_a_printer_that_is_off_says_so_and_its_job_can_be_cancelled(cups: Cups, pdf: Path) -> None:
    job = cups.printing.send("off", pdf, title="off", media=None)
    cups.wait_trouble("off", Trouble.OFFLINE)
    assert cups.printing.cancel(job).state in (JobState.CANCELLED, JobState.PRINTING)
    assert cups.wait(job, JobState.CANCELLED).state is JobState.CANCELLED
    assert cups.printing.cancel(job).state is JobState.CANCELLED  # twice does no harm
    (cups.folder / "switched-on").touch()


def test_a_broken_printer_stops_its_queue_and_prints_on_after_retry(cups: Cups, pdf: Path) -> None:
    (cups.folder / "printed").unlink(missing_ok=True)
    job = cups.printing.send("broken", pdf, title="broken", media=None)
    cups.wait_trouble("broken", Trouble.STOPPED)
    waiting = cups.printing.job(job)
    assert not waiting.state.over
    assert Trouble.STOPPED in waiting.troubles
    assert not (cups.folder / "printed").exists()
    (cups.folder / "mended").touch()
    cups.printing.retry(job)
    assert cups.wait(job, JobState.DONE).state is JobState.DONE
    assert (cups.folder / "printed").stat().st_size > 500


def test_a_queue_that_takes_no_jobs_is_known_before_printing(cups: Cups, pdf: Path) -> None:
    cups.run("cupsreject", "off")
    try:
        assert Trouble.REFUSING in listed(cups.printing.queues(), "off").troubles
        with pytest.raises(QueueFault, match="off"):
            cups.printing.send("off", pdf, title="refused", media=None)
    finally:
        cups.run("cupsaccept", "off")


def test_a_printed_job_is_never_printed_again_unless_a_person_looked(
    cups: Cups, pdf: Path, paper: Callable[[str], Path]
) -> None:
    job = cups.printing.send("labels", pdf, title="once", media=None)
    cups.wait(job, JobState.DONE)
    first = paper("once").read_bytes()
    with pytest.raises(WouldPrintTwice, match="printed already"):
        cups.printing.retry(job)
    paper("once").unlink()
    cups.printing.retry(job, looked=True)
    cups.wait(job, JobState.DONE)
    assert len(paper("once").read_bytes()) == pytest.approx(len(first), rel=0.1)


def test_a_job_the_server_forgot_is_of_unknown_fate(cups: Cups) -> None:
    forgotten = cups.printing.job(Job("labels", 9_999, "old", JobState.PRINTING))
    assert forgotten.state is JobState.UNKNOWN
    with pytest.raises(WouldPrintTwice, match="look at the printer"):
        cups.printing.retry(forgotten)


def test_a_queue_that_vanished_is_named_with_those_that_are_there(cups: Cups, pdf: Path) -> None:
    with pytest.raises(QueueGone) as gone:
        cups.printing.send("laser", pdf, title="x", media=None)
    assert gone.value.known == ("labels", "broken", "empty", "off")


def test_a_server_that_is_not_there_is_said_so(tmp_path: Path, pdf: Path) -> None:
    nowhere = CupsPrinting(str(tmp_path / "no.sock"))
    with pytest.raises(QueueFault, match="does not answer"):
        nowhere.queues()
    with pytest.raises(QueueFault, match="does not answer"):
        nowhere.send("labels", pdf, title="x", media=None)


class Dying(threading.Thread):
    """A print server that stands before a real one and breaks the connection at one request, without an answer."""

    def __init__(self, real: Path, mine: Path, at_operation: int) -> None:
        super().__init__(daemon=True)
        self._real = str(real)
        self._at = at_operation
        self.requests: list[int] = []
        self._listening = socket.socket(socket.AF_UNIX)
        self._listening.bind(str(mine))
        self._listening.listen()

    def run(self) -> None:
        while True:
            connection, _ = self._listening.accept()
            with connection:
                request = self._whole(connection)
                body = request.partition(b"\r\n\r\n")[2]
                operation = int.from_bytes(body[2:4], "big")
                self.requests.append(operation)
                if operation == self._at:
                    continue
                with socket.socket(socket.AF_UNIX) as real:
                    real.connect(self._real)
                    real.sendall(request)
                    real.settimeout(1.0)
                    connection.sendall(self._whole(real))

    @staticmethod
    def _whole(connection: socket.socket) -> bytes:
        """A request or an answer with the body its head announces."""
        got = b""
        while b"\r\n\r\n" not in got:
            got += connection.recv(65536)
        if got.startswith(b"HTTP/1.1 100"):
            got = got.partition(b"\r\n\r\n")[2]
            while b"\r\n\r\n" not in got:
                got += connection.recv(65536)
        head, _, body = got.partition(b"\r\n\r\n")
        announced = [line for line in head.split(b"\r\n") if line.lower().startswith(b"content-length")]
        length = int(announced[0].split(b":")[1]) if announced else 0
        while len(body) < length:
            body += connection.recv(65536)
        return head + b"\r\n\r\n" + body


@pytest.mark.parametrize(("operation", "error"), [(0x0005, QueueFault), (0x0006, FateUnknown)])
def test_a_connection_that_breaks_while_printing_sends_nothing_twice(
    cups: Cups, pdf: Path, operation: int, error: type[QueueFault]
) -> None:
    between = cups.folder / f"dying-{operation}.sock"
    dying = Dying(cups.socket, between, operation)
    dying.start()
    with pytest.raises(error) as broken:
        CupsPrinting(str(between)).send("labels", pdf, title="lost", media=None)
    assert dying.requests.count(operation) == 1
    if isinstance(broken.value, FateUnknown):
        assert broken.value.job.number > 0
        assert cups.printing.job(broken.value.job).state is not JobState.DONE
        cups.printing.cancel(broken.value.job)


def test_a_stopped_printer_is_told_of_with_the_job_and_prints_it_once_when_it_goes_on(
    cups: Cups, label: Labels, paper: Callable[[str], Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CUPS_SERVER", str(cups.socket))
    cups.run("cupsdisable", "labels")
    try:
        made = asks.make(Request([label(7)], "50x25", queue="labels"), lambda *_: None, lambda: False)
        assert made.job is not None and not made.job.state.over
        assert Trouble.STOPPED in made.job.troubles
    finally:
        cups.run("cupsenable", "labels")
    assert cups.wait(made.job, JobState.DONE).state is JobState.DONE
    assert paper(made.job.title).exists()


def test_a_printer_that_is_gone_loses_nothing_and_is_said_in_the_windows_language(
    cups: Cups, label: Labels, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CUPS_SERVER", str(cups.socket))
    with pytest.raises(QueueGone) as gone:
        asks.make(Request([label(8)], "50x25", queue="laser"), lambda *_: None, lambda: False)
    for language in LANGUAGES:
        assert "laser" in catalogue(language).say(gone.value.say.key, **dict(gone.value.say.values))
