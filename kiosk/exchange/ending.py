"""The end of listening at a port: who says so ends the wait for bytes, and does not wait for its time to be over."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol


class Closes(Protocol):
    """A port.  One whose wait another thread can end has `cancel_read`, as pyserial has for what is plugged in."""

    def close(self) -> None: ...


class Ending:
    """Said once, by any thread; what listens asks whether it `came`, and pauses with `wait`."""

    def __init__(self) -> None:
        self._said, self._turn = threading.Event(), threading.Lock()
        self._port: Closes | None = None

    @property
    def came(self) -> bool:
        return self._said.is_set()

    def wait(self, seconds: float) -> None:
        """So long, or until it comes."""
        self._said.wait(seconds)

    def say(self) -> None:
        """A read that waits ends now, and one that is just about to wait does not begin to (on Windows it may yet)."""
        self._said.set()
        with self._turn:
            cancel = getattr(self._port, "cancel_read", None)  # a port over the network has none: its wait runs out
            if cancel is not None:
                cancel()

    @contextmanager
    def reading(self, port: Closes) -> Iterator[None]:
        """While this port is read; it is closed at the end."""
        with self._turn:
            self._port = port
        try:
            yield
        finally:
            with self._turn:  # what is closed cannot be told to end
                self._port = None
                port.close()
