"""Ways to make a picture easier to read: each turns grey pixels into grey pixels and says what it is good against.

A remedy never moves a pixel's place unless it says by how much, so that outlines stay true.  Which of them pay, and
in which order, comes from the figures of `python -m kiosk bench reader`, not from taste.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.uint8]


def local_contrast(grey: Grey) -> Grey:
    """Against dark corners, lamps and weak print: contrast evened out tile by tile."""
    rows, columns = (max(2, round(edge / 120)) for edge in grey.shape)
    return np.asarray(cv2.createCLAHE(4.0, (columns, rows)).apply(grey), np.uint8)


_SHADOWS = (np.log1p(np.arange(256) / 8) / np.log1p(255 / 8) * 255).astype(np.uint8)


def shadows_lifted(grey: Grey) -> Grey:
    """Against strong light beside the symbol: equal ratios of brightness become equal steps."""
    return np.asarray(cv2.LUT(grey, _SHADOWS), np.uint8)


def smoothed(grey: Grey) -> Grey:
    """Against sensor noise, screen pixels and rough etching."""
    return np.asarray(cv2.GaussianBlur(grey, (0, 0), 1.5), np.uint8)


def sharpened(grey: Grey) -> Grey:
    """Against defocus."""
    soft = cv2.GaussianBlur(grey, (0, 0), 2.0)
    return np.asarray(cv2.addWeighted(grey, 2.5, soft, -1.5, 0), np.uint8)


def inverted(grey: Grey) -> Grey:
    """Light marks on dark steel."""
    return np.asarray(255 - grey, np.uint8)


def melted(grey: Grey) -> Grey:
    """Against dotted marks, dark or light: dots run into their neighbours, as far as 6 to 10 pixels away."""
    return np.asarray(cv2.GaussianBlur(grey, (0, 0), 3.0), np.uint8)


def doubled(grey: Grey) -> Grey:
    """Against symbols of under three pixels a module."""
    return np.asarray(cv2.resize(grey, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC), np.uint8)


def halved(grey: Grey) -> Grey:
    """Against noise, screen patterns and symbols that fill the picture."""
    return np.asarray(cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), np.uint8)
