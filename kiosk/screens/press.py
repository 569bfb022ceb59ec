"""A thread of its own for what takes seconds and needs no desk: proving and printing labels, a change plan.

One job at a time; its progress and its end are handed over on Kivy's thread, and a touch can cancel it.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import Any, TypeVar

from kivy.clock import Clock

A = TypeVar("A")
Progress = Callable[[int, int], None]
Cancelled = Callable[[], bool]

log = logging.getLogger("kiosk.press")


class Press:
    """Runs one job after another; a new one waits until the one before has ended."""

    def __init__(self) -> None:
        self._turn = threading.Lock()
        self._cancel = threading.Event()

    def run(
        self,
        job: Callable[[Progress, Cancelled], A],
        done: Callable[[A], Any],
        failed: Callable[[Exception], Any],
        progress: Progress | None = None,
    ) -> None:
        """Starts a job; `done(answer)` or `failed(error)`, and `progress(n, total)`, come on Kivy's thread."""
        self._cancel = cancel = threading.Event()

        def tell(count: int, total: int) -> None:
            if progress is not None:
                Clock.schedule_once(lambda _: progress(count, total))

        def work() -> None:
            with self._turn:
                try:
                    answer = job(tell, cancel.is_set)
                except Exception as error:
                    log.warning("a job was not done: %s", error)
                    fault = error
                    Clock.schedule_once(lambda _: failed(fault))
                else:
                    Clock.schedule_once(lambda _: done(answer))

        threading.Thread(target=work, name="press", daemon=True).start()

    def cancel(self) -> None:
        """Asks the job that runs to stop at its next step."""
        self._cancel.set()
