"""Turns telephones on and off as the settings say, and lets the window show what one of them met.

What serves them is loaded on the desk's thread, and only where they are on; the clerk offers it to the screens.
"""

from __future__ import annotations

import threading
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kiosk.screens.clerk import Clerk
from kiosk.screens.worker import Worker
from kiosk.settings import PhoneSettings

if TYPE_CHECKING:  # loaded where telephones are on
    from kiosk.desk import Desk
    from kiosk.handheld.asks import Alarm
    from kiosk.handheld.phones import Phones


class Telephones:
    """For one window.  `always`: on whatever the settings say, as the command line asked for it."""

    def __init__(self, clerk: Clerk, worker: Worker, data_dir: Path, always: bool = False) -> None:
        self._clerk, self._worker, self._data_dir, self._always = clerk, worker, data_dir, always
        self._phones: Phones | None = None
        self._wanted: PhoneSettings | None = None  # what it was turned on with; None: off
        self._closed = False

    def settle(self, settings: PhoneSettings) -> None:
        """On or off, as the settings are now."""
        wanted = settings if settings.on or self._always else None
        if wanted == self._wanted or self._closed:
            return
        self._wanted = wanted
        self._off()
        if wanted is not None:
            self._worker.ask(partial(self._open, settings=wanted), partial(self._opened, wanted))

    def beat(self) -> None:
        """Once a second."""
        if self._phones is not None:
            self._phones.beat()

    def close(self) -> None:
        """The window closes: the pages are told first."""
        self._closed = True
        if self._phones is not None:
            self._phones.stop()

    def _open(self, _: Desk, settings: PhoneSettings) -> Phones:
        from kiosk.handheld.link import Serves
        from kiosk.handheld.phones import Phones

        return Phones(self._worker, self._raised, Serves(self._data_dir, int(settings.port), settings.address))

    def _opened(self, settings: PhoneSettings, phones: Phones) -> None:
        if self._wanted is not settings or self._closed:
            return  # the settings changed meanwhile
        self._phones = self._clerk.phones = phones
        phones.start()

    def _off(self) -> None:
        phones, self._phones, self._clerk.phones = self._phones, None, None
        if phones is not None:
            threading.Thread(target=phones.stop, name="phones-off", daemon=True).start()
            self._worker.ask(phones.end_all)

    def _raised(self, alarm: Alarm) -> None:
        """On the desk's thread: a telephone met something hot."""
        self._worker.post(partial(self._show, alarm))

    def _show(self, alarm: Any) -> None:
        self._clerk.alarmed_elsewhere(alarm.scanned, alarm.words)
