"""Read back before ink: every label is damaged as a bad print would be, and must still be read.

The damage is a tired printer's: ink that bleeds, dots that fail, a dead element in the head, a pale ribbon,
and a label held a little askew.  A label that one of the two libraries cannot read is refused and says why.
The damage is drawn from the code itself, so that the same label always meets the same proof.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from kiosk.labels.draw import pixels
from kiosk.labels.faults import LabelError, ProofFailed
from kiosk.labels.layout import Layout
from kiosk.labels.symbol import QUIET, SPAN

_MODULE_PX = 5  # the camera's pixels a module; a shop's camera has 3 to 10
_BLEED = 0.25  # of a module, standard deviation of the blur
_SPECKLE = 0.012  # part of the dots turned over
_SPECK = 3  # specks a module's edge
_PRINTS_DEG = (4.0, 0.0, -7.0)  # bad prints tried, each held at another angle: one unlucky speck condemns no label
_PALE = 110  # grey of ink that is running out
_STEEL = 90  # grey of what the label sticks on

Damage = Callable[[NDArray[np.uint8], int, str, float], NDArray[np.uint8]]


class ProofImpossible(LabelError):
    """A reading library that should confirm a label cannot be loaded here; nothing is printed unconfirmed."""

    def __init__(self, library: str, why: str) -> None:
        super().__init__(
            f"labels cannot be checked before printing: {library} does not load ({why}); run kiosk/prepare",
            "proof_impossible", library=library,
        )  # fmt: skip
        self.library = library


def prove(layout: Layout) -> None:
    """Return when both libraries read the label under every damage.  Raises ProofFailed, ProofImpossible."""
    code = layout.content.code.text
    clean = _surroundings(layout)
    dots = layout.symbol.module_dots
    for damage, damaged in _DAMAGES.items():
        prints = [partial(_print, damaged, clean, dots, code, turn_deg) for turn_deg in _PRINTS_DEG]
        first = prints[0]()
        for library, read in (("zxing-cpp", _zxing), ("zbar", _zbar)):
            found = read(first)
            for another in prints[1:]:
                found = found or read(another())
            if found != [code]:
                raise ProofFailed(code, library, damage, ", ".join(found))


def _print(damaged: Damage, ink: NDArray[np.uint8], module_dots: int, code: str, turn_deg: float) -> NDArray[np.uint8]:
    return _turned(damaged(ink, module_dots, code, turn_deg), turn_deg)


def _well(ink: NDArray[np.uint8], module_dots: int, code: str, turn_deg: float) -> NDArray[np.uint8]:
    return _seen(ink, module_dots)


def _speckled(ink: NDArray[np.uint8], module_dots: int, code: str, turn_deg: float) -> NDArray[np.uint8]:
    """Ink that ran, with specks of missing and of spilt ink, each a part of a module wide."""
    chance = np.random.default_rng([*code.encode(), round(360 + turn_deg)])
    speck = max(1, module_dots // _SPECK)
    height, width = ink.shape
    spots = chance.random((-(-height // speck), -(-width // speck))) < _SPECKLE
    turned = np.kron(spots, np.ones((speck, speck), bool))[:height, :width]
    return _seen(np.where(turned, 255 - ink, ink).astype(np.uint8), module_dots, _BLEED)


def _pale(ink: NDArray[np.uint8], module_dots: int, code: str, turn_deg: float) -> NDArray[np.uint8]:
    """A ribbon nearly used up, and one dead element of the head: a white line down the middle."""
    pale = np.where(ink == 0, _PALE, 255).astype(np.uint8)
    pale[:, pale.shape[1] // 2] = 255
    return _seen(pale, module_dots, _BLEED)


_DAMAGES: dict[str, Damage] = {
    "printed well": _well,
    "blurred and speckled": _speckled,
    "pale with a white line": _pale,
}


def _surroundings(layout: Layout) -> NDArray[np.uint8]:
    """The print round the symbol: what stands beside it is part of what a camera sees."""
    symbol = layout.symbol
    margin = QUIET * symbol.module_dots
    side = SPAN * symbol.module_dots
    reach = side // 5
    top, left = symbol.top_dots - margin, symbol.left_dots - margin
    return pixels(layout)[max(0, top - reach) : top + side + reach, max(0, left - reach) : left + side + reach]


def _seen(ink: NDArray[np.uint8], module_dots: int, bleed: float = 0.0) -> NDArray[np.uint8]:
    """A print on grey steel in a camera's pixels, its ink run by a part of a module."""
    rim = 2 * module_dots
    framed = cv2.copyMakeBorder(ink, rim, rim, rim, rim, cv2.BORDER_CONSTANT, value=(_STEEL,))
    if bleed:
        framed = cv2.GaussianBlur(framed, (0, 0), bleed * module_dots)
    scale = _MODULE_PX / module_dots
    finer = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(framed, None, fx=scale, fy=scale, interpolation=finer), np.uint8)


def _turned(seen: NDArray[np.uint8], turn_deg: float) -> NDArray[np.uint8]:
    height, width = seen.shape
    out = width + height // 6 + 12, height + width // 6 + 12
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), turn_deg, 1.0)
    turn[:, 2] += ((out[0] - width) / 2, (out[1] - height) / 2)
    return np.asarray(cv2.warpAffine(seen, turn, out, flags=cv2.INTER_LINEAR, borderValue=(_STEEL,)), np.uint8)


def _zxing(seen: NDArray[np.uint8]) -> list[str]:
    return sorted({found.text for found in zxingcpp.read_barcodes(seen, formats=zxingcpp.BarcodeFormat.QRCode)})


def _zbar(seen: NDArray[np.uint8]) -> list[str]:
    try:
        from pyzbar import pyzbar  # it loads a system library, which may be missing
    except ImportError as why:
        raise ProofImpossible("zbar", str(why)) from None
    found = pyzbar.decode(seen, symbols=[pyzbar.ZBarSymbol.QRCODE])
    return sorted({each.data.decode("utf-8", "replace") for each in found})
