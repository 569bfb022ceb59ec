"""The label fonts: how wide and high a text is in them, and which letters they have.

B612 and B612 Mono were drawn for cockpits and tell 8 from B and 0 from D.  Nothing here may place a text; it
measures.  Figures come from the font files themselves and are in ems (one em is the letter size).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from enum import Enum
from functools import cache, lru_cache
from pathlib import Path
from typing import NamedTuple

from PIL import ImageFont

from kiosk import where

_MEASURE_PX = 1000
# Letters that no accent can be taken from, and what shops without them write.
_SPELT = {"đ": "d", "Đ": "D", "ħ": "h", "⌀": "Ø", "\u2212": "-", "\u2011": "-"}


class Face(Enum):
    """A font file in assets/fonts, by name."""

    TEXT = "B612-Regular"
    STRONG = "B612-Bold"
    CODE = "B612Mono-Bold"

    @property
    def path(self) -> Path:
        return where.assets() / "fonts" / f"{self.value}.ttf"


class Extent(NamedTuple):
    """Ink of a text in ems: its whole width, height over and depth under the baseline.

    before: ink that reaches to the left of where the text starts (the tail of a j), part of the width.
    """

    width: float
    over: float
    under: float
    before: float = 0.0


class _Letter(NamedTuple):
    """One letter in ems: step to the next, height, depth, ink before its start and after its step."""

    step: float
    over: float
    under: float
    before: float
    after: float


def font(face: Face, em_px: float) -> ImageFont.FreeTypeFont:
    """The font for drawing with Pillow at a letter size in pixels; no kerning, as in the PDF."""
    return _sized(face, round(em_px, 2))


@lru_cache(maxsize=256)
def _sized(face: Face, em_px: float) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(face.path), em_px, layout_engine=ImageFont.Layout.BASIC)


@cache
def _letter(face: Face, letter: str) -> _Letter:
    measuring = _sized(face, _MEASURE_PX)
    left, top, right, bottom = (side / _MEASURE_PX for side in measuring.getbbox(letter, anchor="ls"))
    step = measuring.getlength(letter) / _MEASURE_PX
    return _Letter(step, -top, bottom, max(0.0, -left), max(0.0, right - step))


@lru_cache(maxsize=8192)
def extent(face: Face, text: str) -> Extent:
    """How much room a text takes; an empty text takes none."""
    if not text:
        return Extent(0.0, 0.0, 0.0)
    letters = [_letter(face, letter) for letter in text]
    before = letters[0].before
    return Extent(
        before + sum(letter.step for letter in letters) + letters[-1].after,
        max(letter.over for letter in letters),
        max(letter.under for letter in letters),
        before,
    )


def starts(face: Face, text: str) -> Iterator[tuple[str, float]]:
    """Each letter with where it starts, in ems from the text's start."""
    at = 0.0
    for letter in text:
        yield letter, at
        at += _letter(face, letter).step


@cache
def _blank(face: Face) -> bytes:
    return bytes(_sized(face, 64).getmask("\uffff"))


@cache
def has(face: Face, letter: str) -> bool:
    """Whether the font draws this letter, and not its box for letters it lacks."""
    return letter.isspace() or bytes(_sized(face, 64).getmask(letter)) != _blank(face)


def written(face: Face, text: str) -> tuple[str, str]:
    """`text` in letters the font has, and the first letter that cannot be written ('' when all can).

    White space is closed up.  An accent the font lacks is left off (č becomes c): the code is what counts.
    """
    plain = ""
    for letter in " ".join(unicodedata.normalize("NFC", text).split()):
        if has(face, letter):
            plain += letter
            continue
        spelt = _SPELT.get(letter) or unicodedata.normalize("NFKD", letter)
        base = "".join(part for part in spelt if not unicodedata.combining(part))
        if not base or not all(has(face, part) for part in base):
            return plain, letter
        plain += base
    return plain, ""
