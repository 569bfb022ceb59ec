"""The day's copy of the book, on a thread of its own, and a quiet mark in the strip when copies no longer come.

Folders of copies may lie in the network and not answer: neither the desk nor the window ever waits for one.
"""

from __future__ import annotations

import logging
import threading
from functools import partial
from pathlib import Path

from kiosk import words
from kiosk.screens.clerk import Clerk
from kiosk.screens.press import Press
from kiosk.screens.questions import common, health
from kiosk.screens.worker import Worker
from kiosk.words import t

log = logging.getLogger("kiosk.window")


class Copying:
    """For one window."""

    def __init__(self, clerk: Clerk, worker: Worker) -> None:
        self._clerk, self._worker, self._press = clerk, worker, Press()

    def look(self) -> None:
        """Make the copy that is due; else look whether copies still come."""
        self._worker.ask(common.copies_due, self._due, patient=True)

    def _due(self, due: tuple[Path, tuple[Path, ...], int] | None) -> None:
        if due is None:
            self._look_for_copies()
        else:
            threading.Thread(target=self._copy, args=due, name="copy", daemon=True).start()

    def _copy(self, folder: Path, targets: tuple[Path, ...], keep: int) -> None:
        for made in health.copies_made(folder, targets, keep):
            if made.copy is None:
                log.warning("No copy of the book in %s: %s", made.folder, made.why)
                self._worker.post(partial(self._say, health.not_made(made)))
            else:
                log.info("A copy of the book with %d lines, verified: %s", made.copy.lines, made.copy.path)
        self._worker.post(self._look_for_copies)

    def _say(self, trouble: str) -> None:
        self._clerk.trouble = trouble

    def _look_for_copies(self) -> None:
        self._worker.ask(health.copy_folders(), self._look_into, patient=True)

    def _look_into(self, folders: health.CopyFolders) -> None:
        self._press.run(lambda *_: health.stopped(folders), self._stopped, lambda error: None)

    def _stopped(self, found: health.Finding | None) -> None:
        """The mark stays until copies come again."""
        mark = "" if found is None else t(f"strip.{found.part.value}_stopped")
        if mark and mark != self._clerk.mark:
            log.warning("Copies of the book no longer come: %s", words.say(found.what) if found else "")
        self._clerk.mark = mark
