"""Of labels that come into view: how damaged they are, told once for each time they do.

One frame more blurred than the label is worn says too much of its damage, so a few frames are looked at and the best
counts.  That costs milliseconds: it is done for one label a frame, after what was read is told, and once a label.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kiosk.reader.symbols import Reading, Symbol

LOOKS = 3
"""Frames that say something of a label, after which its damage is told."""
TRIES = 8
"""Frames that are looked at for it; of a label too small or too bent none says anything."""
GONE_S = 2.0
"""Not read for so long, a label has left the view."""


@dataclass(frozen=True, slots=True)
class Damage:
    """A label came into view and was looked at.  spent: share of its error correction that its damage takes, 0 to 1."""

    text: str
    spent: float


@dataclass(slots=True)
class _Label:
    """One in view.  least: the best that was said of it so far; None: nothing was."""

    seen_s: float
    tries: int = 0
    looks: int = 0
    least: float | None = None
    told: bool = False

    @property
    def enough(self) -> bool:
        return self.looks >= LOOKS or self.tries >= TRIES or self.least == 0


class Looks:
    """Looks at labels in a stream.  Pure: time comes with the frames."""

    def __init__(self) -> None:
        self._labels: dict[str, _Label] = {}

    def feed(self, reading: Reading, image: NDArray[np.uint8], at_s: float) -> tuple[Damage, ...]:
        """One frame that was read: what is known by it.  at_s grows from call to call."""
        for symbol in reading.symbols:
            self._labels.setdefault(symbol.text, _Label(at_s)).seen_s = at_s
        waiting = [symbol for symbol in reading.symbols if not self._labels[symbol.text].enough]
        if waiting:
            self._look(min(waiting, key=lambda symbol: self._labels[symbol.text].tries), image)
        left = {text for text, label in self._labels.items() if at_s - label.seen_s >= GONE_S}
        found = []
        for text, label in self._labels.items():
            if label.least is not None and not label.told and (label.enough or text in left):
                label.told = True
                found.append(Damage(text, label.least))
        for text in left:
            del self._labels[text]
        return tuple(found)

    def _look(self, symbol: Symbol, image: NDArray[np.uint8]) -> None:
        from kiosk.reader.wear import spent_of  # on the reader's thread, once a label was read

        label = self._labels[symbol.text]
        label.tries += 1
        spent = spent_of(image, symbol)
        if spent is not None:
            label.looks += 1
            label.least = spent if label.least is None else min(label.least, spent)
