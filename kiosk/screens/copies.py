"""The day's copy of the ledger: asked for on the desk's thread, made on one of its own."""

from __future__ import annotations

import threading
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kiosk.screens.worker import Worker

if TYPE_CHECKING:  # the desk is loaded on its own thread
    from kiosk.desk import Desk

Due = tuple[Path, tuple[Path, ...], int]


def copies_due(desk: Desk) -> Due | None:
    """What `copies.backup` needs when the day's copy is due."""
    if not desk.copies.due():
        return None
    session = desk.session
    return session.book.path.parent, desk.copies.folders(), int(session.settings.backup.keep)


def copy_soon(worker: Worker, trouble: Callable[[str], Any], due: Due | None) -> None:
    """Make the copy where one is due; `trouble(words)` is called on Kivy's thread for each folder that takes none."""
    if due is None:
        return
    folder, targets, keep = due

    def copy() -> None:
        from kiosk.desk import copies

        for made in copies.backup(folder, targets, keep):
            if made.copy is None:
                worker.post(partial(trouble, f"{made.folder}: {made.why}"))

    threading.Thread(target=copy, name="copy", daemon=True).start()
