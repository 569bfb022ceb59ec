"""Pictures and videos from disk, as pixels for the reader, and readings back as lines for other programs.

Nothing here turns a picture by its EXIF note: corners are reported in pixels of the file as stored.  A file
that cannot be read is said by name, never skipped.  Which formats open is OpenCV's business.
"""

from __future__ import annotations

import io
import json
import warnings
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from kiosk import filing
from kiosk.reader.symbols import Reading

MOST_BYTES = 256_000_000
MOST_PIXELS = 66_000_000  # drawers are taken with 12 to 64 megapixels
MOST_SCANS = 40  # of a JPEG: a progressive one has ten or so, and a small one in its header as many again
MOST_SIDE_PX = 16_384  # OpenCV's way of warping ends at 32 767, and pictures are drawn larger to be read
FORMATS = ("PNG", "JPEG", "BMP", "TIFF", "WEBP", "PPM")
_SCAN = b"\xff\xda"  # begins one, and cannot stand within one
_NO_FILE = Path("the picture")
PICTURES = frozenset({".png", ".jpg", ".jpeg", ".bmp", ".tif", ".tiff", ".webp", ".pgm", ".ppm"})


class PictureError(Exception):
    """A picture or video that cannot be used.  `path` is the file or folder, `why` the reason in plain words."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(f"{path}: {why}")
        self.path = path
        self.why = why


def load(path: str | Path, colour: bool = False) -> NDArray[np.uint8]:
    """The stored pixels of a picture: (H, W) grey, or (H, W, 3) blue-green-red with `colour`.  Raises PictureError."""
    path = Path(path)
    try:
        data = filing.take(path, MOST_BYTES)
    except filing.FileUnusable as fault:
        raise PictureError(path, fault.why) from fault
    except OSError as trouble:
        raise PictureError(path, trouble.strerror or "cannot be opened") from trouble
    if not data:
        raise PictureError(path, "the file is empty")
    return _unpacked(path, data, colour, FORMATS, MOST_PIXELS)


def photograph(data: bytes, most_pixels: int) -> NDArray[np.uint8]:
    """The pixels, (H, W) grey, of a JPEG that came from outside, measured before any is unpacked.

    Raises PictureError, also for a picture that is drawn over again more often than any camera's.
    """
    if data.count(_SCAN) > MOST_SCANS:
        raise PictureError(_NO_FILE, "is drawn in more steps than a camera draws one")
    return _unpacked(_NO_FILE, data, False, ("JPEG",), most_pixels)


def _unpacked(
    path: Path, data: bytes, colour: bool, formats: tuple[str, ...], most_pixels: int
) -> NDArray[np.uint8]:
    _measured(path, data, formats, most_pixels)
    mode = (cv2.IMREAD_COLOR if colour else cv2.IMREAD_GRAYSCALE) | cv2.IMREAD_IGNORE_ORIENTATION
    try:
        image = cv2.imdecode(np.frombuffer(data, np.uint8), mode)
    except cv2.error as trouble:
        raise PictureError(path, "the picture is damaged") from trouble
    if image is None:
        raise PictureError(path, "not a picture this program can open")
    return np.asarray(image, np.uint8)


def _measured(path: Path, data: bytes, formats: tuple[str, ...], most_pixels: int) -> None:
    """Refuses a picture by what its header says, before a pixel of it is unpacked.  Raises PictureError."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the limits here are our own
            with Image.open(io.BytesIO(data), formats=formats) as header:
                width, height = header.size
    except Image.DecompressionBombError:
        raise PictureError(path, f"has more than {most_pixels / 1e6:.0f} megapixels") from None
    except Exception as trouble:  # the header's reader has an error of its own for every way to be damaged
        raise PictureError(path, "not a picture this program can open") from trouble
    if width * height > most_pixels:
        size = f"{width} x {height} pixels"
        raise PictureError(path, f"has {size}, {most_pixels / 1e6:.0f} megapixels are the most")
    if max(width, height) > MOST_SIDE_PX:
        raise PictureError(path, f"has {width} x {height} pixels, {MOST_SIDE_PX} are the most along one side")


def pictures_in(folder: str | Path) -> list[Path]:
    """The pictures of a folder in name order.  Raises PictureError where there are none."""
    folder = Path(folder)
    if not folder.is_dir():
        raise PictureError(folder, "not a folder")
    found = sorted(path for path in folder.iterdir() if path.suffix.lower() in PICTURES)
    if not found:
        raise PictureError(folder, "no pictures in this folder")
    return found


def frames(path: str | Path) -> Iterator[NDArray[np.uint8]]:
    """The frames of a video in order, (H, W, 3) blue-green-red.  Raises PictureError where there is none."""
    path = Path(path)
    if not path.is_file():
        raise PictureError(path, "no such file")
    video = cv2.VideoCapture(str(path))
    try:
        ok, frame = video.read()
        if not ok:
            raise PictureError(path, "not a video this program can open")
        while ok:
            yield np.asarray(frame, np.uint8)
            ok, frame = video.read()
    finally:
        video.release()


def line(path: str | Path, reading: Reading) -> str:
    """One JSON object for a picture: file, codes with text, format, four corners and spent, milliseconds."""
    codes = [
        {
            "text": symbol.text,
            "format": symbol.format,
            "corners": [[round(x, 2), round(y, 2)] for x, y in symbol.corners],
            "spent": None if symbol.spent is None else round(symbol.spent, 3),
        }
        for symbol in reading.symbols
    ]
    return json.dumps({"file": str(path), "codes": codes, "ms": round(reading.ms, 2)}, ensure_ascii=False)
