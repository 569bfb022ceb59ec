"""Pictures, folders and videos from disk: what is read, what is refused and how that is said."""

from __future__ import annotations

import io
import json
import struct
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from kiosk.reader import files
from kiosk.reader.symbols import Reading, Symbol, inside, known, same_place


def test_pixels_come_as_stored_whatever_the_exif_note_says(tmp_path: Path) -> None:
    picture = Image.new("L", (40, 20), 200)
    note = Image.Exif()
    note[0x0112] = 6  # "turn me by a quarter"
    picture.save(tmp_path / "turned.jpg", exif=note)
    assert files.load(tmp_path / "turned.jpg").shape == (20, 40)
    assert files.load(tmp_path / "turned.jpg", colour=True).shape == (20, 40, 3)


@pytest.mark.parametrize("content", [b"", b"not a picture", b"\xff\xd8\xff\xe0 cut off"])
def test_a_broken_picture_is_refused_by_name(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "broken.jpg"
    path.write_bytes(content)
    with pytest.raises(files.PictureError) as refused:
        files.load(path)
    assert refused.value.path == path
    assert str(path) in str(refused.value)


def test_a_missing_picture_is_refused_by_name(tmp_path: Path) -> None:
    with pytest.raises(files.PictureError, match=r"nowhere\.png"):
        files.load(tmp_path / "nowhere.png")


def test_a_folder_gives_its_pictures_in_name_order_and_nothing_else(tmp_path: Path) -> None:
    for name in ("b.png", "a.JPG", "steps.csv", "c.jpeg"):
        (tmp_path / name).write_bytes(b"x")
    assert [path.name for path in files.pictures_in(tmp_path)] == ["a.JPG", "b.png", "c.jpeg"]


def test_a_folder_without_pictures_and_a_file_are_refused(tmp_path: Path) -> None:
    with pytest.raises(files.PictureError, match="no pictures"):
        files.pictures_in(tmp_path)
    (tmp_path / "a.png").write_bytes(b"x")
    with pytest.raises(files.PictureError, match="not a folder"):
        files.pictures_in(tmp_path / "a.png")


def test_a_video_gives_its_frames_in_order(tmp_path: Path) -> None:
    path = tmp_path / "shelf.avi"
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"MJPG"), 10, (64, 48))
    for level in (30, 120, 210):
        writer.write(np.full((48, 64, 3), level, np.uint8))
    writer.release()
    levels = [float(frame.mean()) for frame in files.frames(path)]
    assert len(levels) == 3
    assert np.abs(np.array(levels) - (30, 120, 210)).max() < 6


def test_a_video_that_is_none_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "no.mp4"
    path.write_bytes(b"not a video")
    with pytest.raises(files.PictureError, match="not a video"):
        list(files.frames(path))


def test_a_line_holds_what_other_programs_count_on() -> None:
    symbol = Symbol("Ø12 \"x\"", "QRCode", ((1.0, 2.0), (11.0, 2.0), (11.0, 12.0), (1.0, 12.004)), 0.12345)
    square = [[1.0, 2.0], [11.0, 2.0], [11.0, 12.0], [1.0, 12.0]]
    made = json.loads(files.line("a/b.png", Reading((symbol,), (), 12.3456)))
    assert made == {
        "file": "a/b.png",
        "codes": [{"text": "Ø12 \"x\"", "format": "QRCode", "corners": square, "spent": 0.123}],
        "ms": 12.35,
    }


def test_outlines_at_the_same_place_are_told_from_neighbours() -> None:
    here = ((0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0))
    shifted = tuple((x + 3, y + 2) for x, y in here)
    beside = tuple((x + 12, y) for x, y in here)
    assert inside((5, 5), here)
    assert not inside((11, 5), here)
    assert same_place(here, shifted)
    assert not same_place(here, beside)
    assert known(shifted, [Symbol("a", "QRCode", here)])


def header_of(width: int, height: int) -> bytes:
    """A picture that says it is this large, and has no pixel."""
    pixel = io.BytesIO()
    Image.new("L", (1, 1)).save(pixel, "PNG")
    found = bytearray(pixel.getvalue())
    found[16:24] = struct.pack(">II", width, height)
    found[29:33] = struct.pack(">I", zlib.crc32(bytes(found[12:29])))
    return bytes(found)


@pytest.mark.parametrize(
    ("width", "height", "says"),
    [
        (30_000, 30_000, "megapixels"),
        (9_000, 9_000, "66 megapixels"),
        (2**31 - 1, 2**31 - 1, "megapixels"),
        (100_000, 300, "along one side"),
    ],
)
def test_a_picture_is_measured_before_it_is_unpacked(
    tmp_path: Path, width: int, height: int, says: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "bomb.png"
    path.write_bytes(header_of(width, height))
    monkeypatch.setattr(cv2, "imdecode", lambda *_: pytest.fail("was unpacked"))
    with pytest.raises(files.PictureError, match=says) as refused:
        files.load(path)
    assert refused.value.path == path


def test_a_picture_of_a_whole_cabinet_may_be_as_large_as_cameras_make_them(tmp_path: Path) -> None:
    path = tmp_path / "drawers.jpg"
    cv2.imwrite(str(path), np.full((6936, 9248), 128, np.uint8))  # 64 megapixels
    assert files.load(path).shape == (6936, 9248)
