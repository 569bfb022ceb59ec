"""Folders on sticks and in the network, which may not answer: looked into on a thread of their own, and with patience.

A share whose server is gone can hold up whoever touches it for minutes or for ever, so neither the desk nor the window
does.  One that is still awaited is not asked again: however often somebody looks, one thread waits for it.
"""

from __future__ import annotations

import errno
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import TypeVar

from kiosk import filing

A = TypeVar("A")

PATIENCE_S = 5.0
TRIES = 2  # of a share at which something is under way: what is written there may hold up who looks
PIECE = 1 << 20  # bytes that a share has `PATIENCE_S` for
_AWAITED: dict[Path, threading.Thread] = {}


class Silent(OSError):
    """A folder that does not answer: whatever else was asked of it goes on waiting, and nobody with it."""

    def __init__(self, folder: Path) -> None:
        super().__init__(errno.ENODEV, "it does not answer; see whether its disk or share is there", str(folder))


def ask(folder: Path, question: Callable[[Path], A]) -> A:
    """What the question finds out about the folder.  Raises Silent, and what it raises."""
    before = _AWAITED.get(folder)
    if before is not None:
        before.join(PATIENCE_S)
        if before.is_alive():
            raise Silent(folder)
    answers: SimpleQueue[A | Exception] = SimpleQueue()

    def look() -> None:
        try:
            answers.put(question(folder))
        except Exception as error:
            answers.put(error)

    _AWAITED[folder] = looking = threading.Thread(target=look, name="far folder", daemon=True)
    looking.start()
    try:
        answer = answers.get(timeout=PATIENCE_S)
    except Empty:
        raise Silent(folder) from None
    _AWAITED.pop(folder, None)
    if isinstance(answer, Exception):
        raise answer
    return answer


def work(path: Path, job: Callable[[], A]) -> A:
    """What a job finds out that takes its time with that folder or file: as long as it can be opened meanwhile.

    Else the job is left to itself, and ends once the share answers again or never: it must change nothing elsewhere.
    Raises Silent, and what the job raises.
    """
    answers: SimpleQueue[A | BaseException] = SimpleQueue()

    def run() -> None:
        try:
            answers.put(job())
        except BaseException as error:
            answers.put(error)

    threading.Thread(target=run, name="far work", daemon=True).start()
    silent = 0
    while True:
        try:
            answer = answers.get(timeout=PATIENCE_S)
            break
        except Empty:
            pass
        try:
            ask(path, _touch)
            silent = 0
        except Silent:
            silent += 1
            if silent == TRIES:
                raise
    if isinstance(answer, BaseException):
        raise answer
    return answer


def _touch(path: Path) -> None:
    """Goes as far as the disk or the server does; what is only looked at may be answered out of memory."""
    try:
        next(path.iterdir(), None)
    except NotADirectoryError:
        path.open("rb").close()


def fetch(path: Path, to: Path, progress: Callable[[int, int], object]) -> None:
    """Copies a file from there, whole or not at all.  progress: told how many pieces of how many are here.

    Raises Silent, OSError.
    """
    filing.write_pieces(to, _pieces(path, progress), 0o600)


def _pieces(path: Path, progress: Callable[[int, int], object]) -> Iterator[bytes]:
    """A file's bytes.  Raises OSError where it is another one at the end."""
    folder, read = path.parent, 0
    before = ask(folder, lambda _: path.stat())
    file = ask(folder, lambda _: path.open("rb", buffering=0))
    try:
        while piece := ask(folder, lambda _: file.read(PIECE)):
            yield piece
            read += len(piece)
            pieces = -(-read // PIECE)
            progress(pieces, max(pieces, -(-before.st_size // PIECE)))
        now = ask(folder, lambda _: path.stat())
        if (now.st_size, now.st_mtime_ns, read) != (before.st_size, before.st_mtime_ns, before.st_size):
            raise OSError(errno.EIO, "it changed while it was read", str(path))
    finally:
        if folder not in _AWAITED:  # else whoever reads has it yet
            file.close()
