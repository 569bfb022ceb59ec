"""What a print queue is to the kiosk, whichever system it belongs to: its media, its jobs, its troubles.

A job is sent once.  Nothing here ever sends one again by itself: a job whose fate is not known is shown to a person,
who has looked at the printer, and only their word prints again.  States and reasons follow IPP (RFC 8011).
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import Protocol

from kiosk.labels.faults import LabelError

_MEDIA_SLACK_MM = 0.6  # label stock is sold by rounded figures


class JobState(Enum):
    """Where a job is."""

    WAITING = "waiting"
    HELD = "held"
    PRINTING = "printing"
    STOPPED = "stopped"  # the printer stopped in the middle of it
    CANCELLED = "cancelled"
    FAILED = "failed"  # the system gave it up
    DONE = "done"
    UNKNOWN = "unknown"  # the queue no longer knows it: it may have been printed

    @property
    def over(self) -> bool:
        """Nothing more will come of it."""
        return self in (JobState.CANCELLED, JobState.FAILED, JobState.DONE, JobState.UNKNOWN)


class Trouble(Enum):
    """What keeps a queue from printing, in the order people look for it."""

    OFFLINE = "offline"
    OUT_OF_MEDIA = "out_of_media"
    JAM = "jam"
    COVER_OPEN = "cover_open"
    OUT_OF_INK = "out_of_ink"
    STOPPED = "stopped"  # somebody, or the system after an error, stopped the queue
    REFUSING = "refusing"  # takes no new jobs
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Queue:
    """A print queue.  `message` is what the printer itself says."""

    name: str
    description: str
    default: bool = False
    troubles: tuple[Trouble, ...] = ()
    message: str = ""


@dataclass(frozen=True, slots=True)
class Media:
    """Stock a queue can print on.  `name` is the system's own; `loaded` when the printer says so."""

    name: str
    width_mm: float
    height_mm: float
    loaded: bool = False


@dataclass(frozen=True, slots=True)
class Job:
    """One job as it was last seen.  pages_done: pages the printer counted, None where it does not count."""

    queue: str
    number: int
    title: str
    state: JobState
    troubles: tuple[Trouble, ...] = ()
    message: str = ""
    pages_done: int | None = None


class QueueFault(LabelError):
    """A queue or job that cannot do what was asked.  `queue` its name, `why` in words."""

    def __init__(self, queue: str, why: str, key: str = "queue_fault") -> None:
        super().__init__(f"printer {queue}: {why}" if queue else why, key, queue=queue, why=why)
        self.queue = queue
        self.why = why


class QueueGone(QueueFault):
    """A queue that is no longer there.  `known`: those that are."""

    def __init__(self, queue: str, known: Sequence[str]) -> None:
        others = ", ".join(known) or "none"
        super().__init__(queue, f"there is no such queue any more (there are: {others}); choose another", "queue_gone")
        self.known = tuple(known)


class WouldPrintTwice(QueueFault):
    """Asked to print again what is printed, printing, or of unknown fate.  `job` as it stands."""

    def __init__(self, job: Job) -> None:
        why = {
            JobState.DONE: f"job {job.number} is printed already; look at the printer before printing it again",
            JobState.UNKNOWN: f"nobody knows whether job {job.number} was printed; look at the printer first",
        }.get(job.state, f"job {job.number} is still on its way; cancel it before printing it again")
        super().__init__(job.queue, why, "would_print_twice")
        self.job = job


class FateUnknown(QueueFault):
    """The connection broke while a job was sent, so that it may or may not print.  `job` to ask for later."""

    def __init__(self, job: Job) -> None:
        super().__init__(
            job.queue,
            f"the connection broke while job {job.number} was sent; look at the printer before printing again",
            "fate_unknown",
        )
        self.job = job


class Printing(Protocol):
    """Print queues of one system."""

    def queues(self) -> tuple[Queue, ...]:
        """All queues, the default one first.  Raises QueueFault when the system does not answer."""

    def media(self, queue: str) -> tuple[Media, ...]:
        """Stock the queue knows.  Raises QueueGone."""

    def stock(self, queue: str, width_mm: float, height_mm: float) -> Media | None:
        """Stock of a measure: what `fitting` finds, or a measure of our own where the queue takes any."""

    def dpi(self, queue: str) -> int | None:
        """Dots per inch the queue prints with unless told otherwise; None where it does not say."""

    def send(self, queue: str, pdf: Path, *, title: str, media: Media | None, copies: int = 1) -> Job:
        """Send a PDF once, at true size.  Raises QueueGone, FateUnknown, QueueFault (nothing was printed)."""

    def job(self, job: Job) -> Job:
        """The job as it stands now; UNKNOWN when the queue has forgotten it.  Raises QueueFault."""

    def cancel(self, job: Job) -> Job:
        """Stop a job.  Raises QueueFault."""

    def retry(self, job: Job, *, looked: bool = False) -> Job:
        """Let a held or stopped job go on, or print a failed or cancelled one again because a person asked.

        looked: a person looked at the printer and says it did not come out, which alone reprints a job that
        is DONE or UNKNOWN.  Raises WouldPrintTwice, QueueFault.
        """


def system_printing() -> Printing:
    """Print queues of the system the kiosk runs on: CUPS, or the spooler of Windows."""
    if sys.platform == "win32":
        from kiosk.labels.windows import WindowsPrinting  # its libraries exist on Windows alone

        return WindowsPrinting()
    from kiosk.labels.cups import CupsPrinting

    return CupsPrinting()


def fitting(media: Sequence[Media], width_mm: float, height_mm: float) -> Media | None:
    """The stock of a measure: loaded before others, upright before turned; None when the queue knows none."""

    def rank(stock: Media) -> tuple[bool, bool]:
        return not stock.loaded, not _near(stock, width_mm, height_mm)

    fits = [stock for stock in media if _near(stock, width_mm, height_mm) or _near(stock, height_mm, width_mm)]
    return min(fits, key=rank, default=None)


def _near(stock: Media, width_mm: float, height_mm: float) -> bool:
    return abs(stock.width_mm - width_mm) <= _MEDIA_SLACK_MM and abs(stock.height_mm - height_mm) <= _MEDIA_SLACK_MM


def listed(queues: Sequence[Queue], name: str) -> Queue:
    """The queue of a name.  Raises QueueGone."""
    for queue in queues:
        if queue.name == name:
            return queue
    raise QueueGone(name, [queue.name for queue in queues])
