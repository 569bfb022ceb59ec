"""Print queues of CUPS (Linux, macOS), spoken to over IPP.

A job is made first and its document sent second, so that its number is known before any ink: whatever happens to
the connection, the job can be asked for.  It must never send a document twice.  Meanings of states and reasons: RFC
8011 sections 5.3.7 and 5.4.11; names of media: PWG 5101.1.
"""

from __future__ import annotations

import re
from pathlib import Path

from kiosk.labels.ipp import Answer, Attribute, Attributes, Operation, RequestFault, ServerSilent, ValueTag, ask, server
from kiosk.labels.queue import (
    FateUnknown,
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

_USER = Attribute("requesting-user-name", ValueTag.NAME, ["kiosk"])
_STATES = {
    3: JobState.WAITING,
    4: JobState.HELD,
    5: JobState.PRINTING,
    6: JobState.STOPPED,
    7: JobState.CANCELLED,
    8: JobState.FAILED,
    9: JobState.DONE,
}
_QUEUE_STOPPED = 5
_TROUBLES = (
    (r"offline|connecting-to-device|timed-out|shutdown", Trouble.OFFLINE),
    (r"media-empty|media-needed", Trouble.OUT_OF_MEDIA),
    (r"media-jam", Trouble.JAM),
    (r"cover-open|door-open|interlock-open|cassette-open", Trouble.COVER_OPEN),
    (r"marker-supply-empty|toner-empty|developer-empty", Trouble.OUT_OF_INK),
    (r"paused|stopped|stopping", Trouble.STOPPED),
)
_FINEST_DPI = 10_000
_HARMLESS = r"none$|cups-|.*-low|.*-report$"
_LIMITS = ("custom_min_", "custom_max_")  # smallest and largest measure of a printer that takes any
_MM = r"[0-9]{1,6}(?:\.[0-9]{1,6})?"
_MEDIA = re.compile(rf"(?P<name>.+)_(?P<width>{_MM})x(?P<height>{_MM})(?P<unit>mm|in)")


class ServerLost(QueueFault):
    """The print server does not answer."""


class CupsPrinting:
    """See `queue.Printing`.  `where`: the server, as CUPS_SERVER writes it."""

    def __init__(self, where: str | None = None) -> None:
        self._where = where or server()

    def queues(self) -> tuple[Queue, ...]:
        found = self._ask("", "/", Operation.GET_PRINTERS, _wanted(*_QUEUE_FIELDS))
        if found.not_found:
            return ()
        _check("", found)
        default = self._ask("", "/", Operation.GET_DEFAULT, _wanted("printer-name"))
        name = default.objects[0].text("printer-name") if default.ok and default.objects else ""
        queues = [_queue(printer, name) for printer in found.objects]
        return tuple(sorted(queues, key=lambda queue: (not queue.default, queue.name)))

    def media(self, queue: str) -> tuple[Media, ...]:
        printer = self._printer(queue, "media-supported", "media-ready")
        ready = set(printer.texts("media-ready"))
        names = dict.fromkeys((*printer.texts("media-ready"), *printer.texts("media-supported")))
        return tuple(stock for name in names if (stock := _stock(name, name in ready)))

    def stock(self, queue: str, width_mm: float, height_mm: float) -> Media | None:
        media = self.media(queue)
        found = fitting([each for each in media if not each.name.startswith(_LIMITS)], width_mm, height_mm)
        limits = [next((each for each in media if each.name.startswith(limit)), None) for limit in _LIMITS]
        low, high = limits
        if found or low is None or high is None:
            return found
        if low.width_mm <= width_mm <= high.width_mm and low.height_mm <= height_mm <= high.height_mm:
            measure = f"{width_mm:g}x{height_mm:g}mm"
            return Media(f"custom_{measure}_{measure}", width_mm, height_mm)
        return None

    def dpi(self, queue: str) -> int | None:
        said = self._printer(queue, "printer-resolution-default").number("printer-resolution-default")
        return said if said is not None and 0 < said <= _FINEST_DPI else None

    def send(self, queue: str, pdf: Path, *, title: str, media: Media | None, copies: int = 1) -> Job:
        content = pdf.read_bytes()
        self._printer(queue, "printer-name")
        wishes = [
            Attribute("copies", ValueTag.INTEGER, [copies]),
            Attribute("print-scaling", ValueTag.KEYWORD, ["none"]),  # true size
            *([Attribute("media", ValueTag.KEYWORD, [media.name])] if media else []),
        ]
        made = self._ask(
            queue, _path(queue), Operation.CREATE_JOB,
            [_printer_uri(queue), _USER, Attribute("job-name", ValueTag.NAME, [title])], wishes,
        )  # fmt: skip
        _check(queue, made)
        number = made.objects[0].number("job-id") if made.objects else None
        if number is None:
            raise QueueFault(queue, "it gave the job no number; nothing was printed")
        job = Job(queue, number, title, JobState.WAITING)
        about = [
            *_job(job),
            Attribute("document-format", ValueTag.MIME, ["application/pdf"]),
            Attribute("last-document", ValueTag.BOOLEAN, [True]),
        ]
        try:
            _check(queue, self._ask(queue, _path(queue), Operation.SEND_DOCUMENT, about, document=content))
            return self.job(job)
        except ServerLost as lost:
            raise FateUnknown(job) from lost

    def job(self, job: Job) -> Job:
        found = self._ask(job.queue, "/jobs/", Operation.GET_JOB_ATTRIBUTES, [*_job(job), *_wanted(*_JOB_FIELDS)])
        if found.not_found or (found.ok and not found.objects):
            return Job(job.queue, job.number, job.title, JobState.UNKNOWN)
        _check(job.queue, found)
        seen = found.objects[0]
        troubles: tuple[Trouble, ...] = ()
        message = seen.text("job-state-message")
        state = _STATES.get(seen.number("job-state") or 0, JobState.UNKNOWN)
        if not state.over:
            printer = listed(self.queues(), job.queue)
            troubles = printer.troubles
            message = printer.message or message
        pages = seen.number("job-impressions-completed")
        return Job(job.queue, job.number, job.title, state, troubles, message, pages)

    def cancel(self, job: Job) -> Job:
        answer = self._ask(job.queue, "/jobs/", Operation.CANCEL_JOB, _job(job))
        now = self.job(job)
        if not answer.ok and not now.state.over:
            _check(job.queue, answer)
        return now

    def retry(self, job: Job, *, looked: bool = False) -> Job:
        now = self.job(job)
        if now.state is JobState.HELD:
            _check(job.queue, self._ask(job.queue, "/jobs/", Operation.RELEASE_JOB, _job(job)))
        elif Trouble.STOPPED in now.troubles:
            self._start(job.queue)
        elif now.state in (JobState.WAITING, JobState.PRINTING, JobState.STOPPED):
            raise WouldPrintTwice(now)
        elif now.state in (JobState.FAILED, JobState.CANCELLED) or (looked and now.state is JobState.DONE):
            self._again(now)
        else:
            raise WouldPrintTwice(now)
        return self.job(job)

    def _start(self, queue: str) -> None:
        """Let a stopped queue print on."""
        answer = self._ask(queue, "/admin/", Operation.RESUME_PRINTER, [_printer_uri(queue), _USER])
        if answer.forbidden:
            raise QueueFault(
                queue,
                f"it is stopped and this account may not start it; let an administrator run: cupsenable {queue}",
                "queue_stopped",
            )
        _check(queue, answer)

    def _again(self, job: Job) -> None:
        """Print a job that is over once more, from the document the server kept."""
        answer = self._ask(job.queue, "/jobs/", Operation.RESTART_JOB, _job(job))
        if not answer.ok:
            raise QueueFault(
                job.queue, f"it has not kept job {job.number}; print the label as a new job", "job_not_kept"
            )

    def _printer(self, queue: str, *fields: str) -> Attributes:
        about = [_printer_uri(queue), *_wanted(*fields)]
        found = self._ask(queue, _path(queue), Operation.GET_PRINTER_ATTRIBUTES, about)
        if found.not_found:
            raise QueueGone(queue, [each.name for each in self.queues()])
        _check(queue, found)
        return found.objects[0] if found.objects else Attributes({})

    def _ask(
        self,
        queue: str,
        path: str,
        operation: Operation,
        attributes: list[Attribute],
        wishes: list[Attribute] | None = None,
        document: bytes = b"",
    ) -> Answer:
        try:
            return ask(self._where, path, operation, attributes, wishes or [], document)
        except RequestFault as fault:
            raise QueueFault(queue, f"it cannot be asked that ({fault}); nothing was sent") from fault
        except ServerSilent as silent:
            raise ServerLost(queue, f"{silent}; is the print service running?", "server_silent") from silent


_QUEUE_FIELDS = (
    "printer-name",
    "printer-info",
    "printer-state",
    "printer-state-reasons",
    "printer-state-message",
    "printer-is-accepting-jobs",
)
_JOB_FIELDS = ("job-state", "job-state-message", "job-impressions-completed")


def _path(queue: str) -> str:
    return f"/printers/{queue}"


def _printer_uri(queue: str) -> Attribute:
    return Attribute("printer-uri", ValueTag.URI, [f"ipp://localhost/printers/{queue}"])


def _job(job: Job) -> list[Attribute]:
    return [_printer_uri(job.queue), Attribute("job-id", ValueTag.INTEGER, [job.number]), _USER]


def _wanted(*fields: str) -> list[Attribute]:
    return [Attribute("requested-attributes", ValueTag.KEYWORD, list(fields))]


def _check(queue: str, answer: Answer) -> None:
    if not answer.ok:
        raise QueueFault(queue, answer.message or f"the print server refused (0x{answer.status:04x})")


def _queue(printer: Attributes, default: str) -> Queue:
    name = printer.text("printer-name")
    reasons = printer.texts("printer-state-reasons")
    troubles = [trouble for pattern, trouble in _TROUBLES if any(re.match(pattern, reason) for reason in reasons)]
    if printer.number("printer-state") == _QUEUE_STOPPED and Trouble.STOPPED not in troubles:
        troubles.append(Trouble.STOPPED)
    if printer.get("printer-is-accepting-jobs", (True,))[0] is False:
        troubles.append(Trouble.REFUSING)
    known = [*(pattern for pattern, _ in _TROUBLES), _HARMLESS]
    if any(not any(re.match(pattern, reason) for pattern in known) for reason in reasons):
        troubles.append(Trouble.OTHER)
    return Queue(
        name,
        printer.text("printer-info") or name,
        name == default,
        tuple(troubles),
        printer.text("printer-state-message"),
    )


def _stock(name: str, loaded: bool) -> Media | None:
    """`iso_a4_210x297mm`, `na_letter_8.5x11in`; None for a name without a measure."""
    match = _MEDIA.fullmatch(name)
    if not match:
        return None
    scale = 25.4 if match["unit"] == "in" else 1.0
    return Media(name, float(match["width"]) * scale, float(match["height"]) * scale, loaded)
