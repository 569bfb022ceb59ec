"""Folders on sticks and in the network, which may not answer: looked into on a thread of their own, and with patience.

A share whose server is gone can hold up whoever touches it for minutes or for ever, so neither the desk nor the window
does.  One that is still awaited is not asked again: however often somebody looks, one thread waits for it.
"""

from __future__ import annotations

import errno
import threading
from collections.abc import Callable
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import TypeVar

A = TypeVar("A")

PATIENCE_S = 5.0
_AWAITED: dict[Path, threading.Thread] = {}


def ask(folder: Path, question: Callable[[Path], A]) -> A:
    """What the question finds out about the folder.  Raises OSError where it does not answer, and what it raises."""
    before = _AWAITED.get(folder)
    if before is not None:
        before.join(PATIENCE_S)
        if before.is_alive():
            raise _silent(folder)
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
        raise _silent(folder) from None
    _AWAITED.pop(folder, None)
    if isinstance(answer, Exception):
        raise answer
    return answer


def _silent(folder: Path) -> OSError:
    return OSError(errno.ENODEV, "it does not answer; see whether its disk or share is there", str(folder))
