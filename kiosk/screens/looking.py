"""What the kiosk's eye needs of the screens that show what it sees; no camera is known here."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

from kiosk.reader.stream import Aim
from kiosk.reader.symbols import Reading


class Looking(Protocol):
    """The screen that shows what the camera sees.  `hint`: what to do about a label nobody could read, in words."""

    live: Any
    absent: Any
    lost: Any  # there is no picture, and looking for one again may help
    hint: Any
    parent: Any  # None: it is not in sight

    def aimed(self, aim: Aim) -> None:
        """A symbol is there."""


class Finder(Protocol):
    """A screen on which a photograph is aimed.  `live.show(frame)`; `absent`: why there is no picture, in words."""

    live: Any
    absent: Any


@dataclass(frozen=True, slots=True)
class Photograph:
    """A photograph that was read.  size: width and height, px, of the picture that `reading`'s corners are in."""

    reading: Reading
    size: tuple[int, int]
