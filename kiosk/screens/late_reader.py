"""The live reader, loaded when the first picture is there and the desk has said what is hot."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kiosk.reader.symbols import Reading

if TYPE_CHECKING:
    from kiosk.reader.decode import LiveReader

FIRST_PICTURE_S = 0.3  # what reads is loaded after the first picture, or so long after the first frame without one


class LateReader:
    """Reads frames; what it takes is loaded on the reader's own thread, after the first frame was `drawn`."""

    def __init__(self, budget_ms: float, drawn: threading.Event, desk_spoke: threading.Event | None) -> None:
        self._budget_ms = budget_ms
        self._drawn = drawn
        self._desk_spoke = desk_spoke
        self._reader: LiveReader | None = None

    def next(self, frame: NDArray[np.uint8], keen: bool = False) -> Reading:
        if self._reader is None:
            self._drawn.wait(FIRST_PICTURE_S)
            if self._desk_spoke is not None:
                self._desk_spoke.wait()
            from kiosk.reader.decode import LiveReader

            self._reader = LiveReader(self._budget_ms)
        return self._reader.next(frame, keen)
