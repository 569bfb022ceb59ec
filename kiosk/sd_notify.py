"""What the kiosk says to the service manager that started it: ready, alive, stopping.

Its words are datagrams to the socket that `NOTIFY_SOCKET` names (sd_notify(3)); how often "alive" is expected stands in
`WATCHDOG_USEC` (sd_watchdog_enabled(3)).  A manager that does not listen never stops the kiosk or makes it wait.
"""

from __future__ import annotations

import os
import socket
from collections.abc import MutableMapping
from contextlib import suppress

_NAMES = ("NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID")
_PULSES = 3  # within one period of the watchdog: one that comes late is not the end


class ServiceManager:
    """The one who started this program, or nobody: then nothing is said.

    `pulse_s`: how often it wants to hear "alive"; None: never.
    """

    def __init__(self, address: str = "", pulse_s: float | None = None) -> None:
        """`address`: the socket's path; one that begins with @ stands in no folder (unix(7), abstract)."""
        self.pulse_s = pulse_s
        self._given: dict[str, str] = {}
        self._address = f"\0{address[1:]}" if address.startswith("@") else address

    @classmethod
    def of(cls, environment: MutableMapping[str, str]) -> ServiceManager:
        """As this environment tells, out of which it is taken: what the kiosk starts is no part of the service."""
        given = {name: environment.pop(name) for name in _NAMES if name in environment}
        address = given.get("NOTIFY_SOCKET", "")
        period_us = given.get("WATCHDOG_USEC", "")
        meant = given.get("WATCHDOG_PID", "") or str(os.getpid())
        if not address.startswith(("/", "@")):
            return cls()
        watched = period_us.isdecimal() and int(period_us) > 0 and meant == str(os.getpid())
        manager = cls(address, int(period_us) / 1e6 / _PULSES if watched else None)
        manager._given = given
        return manager

    def hand_on(self, environment: MutableMapping[str, str]) -> None:
        """Puts back what `of` took, for the program that takes this one's place in the same process."""
        environment.update(self._given)

    def ready(self) -> None:
        self._tell("READY=1")

    def alive(self) -> None:
        self._tell("WATCHDOG=1")

    def stopping(self) -> None:
        self._tell("STOPPING=1")

    def _tell(self, word: str) -> None:
        if not self._address:
            return
        with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as wire:
            wire.setblocking(False)
            wire.sendto(word.encode(), self._address)
