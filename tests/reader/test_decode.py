"""What the reader reads, where it says it is, and what it never reads."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
import qrcode
import zxingcpp
from numpy.typing import NDArray

from kiosk.bench import scenes
from kiosk.reader.decode import LiveReader, read
from kiosk.reader.files import load
from kiosk.reader.symbols import inside

PHOTOS = Path(__file__).parents[3] / "shared" / "reference" / "photos"
TEXT = "H00000000H"
Grey = NDArray[np.uint8]


def symbol(text: str = TEXT, module_px: int = 6, quiet: int = 4, level: int = qrcode.ERROR_CORRECT_H) -> Grey:
    """A drawn QR symbol, black on white."""
    code = qrcode.QRCode(error_correction=level, border=quiet)
    code.add_data(text)
    code.make()
    drawn = np.where(np.array(code.get_matrix()), 0, 255).astype(np.uint8)
    return np.kron(drawn, np.ones((module_px, module_px), np.uint8))


def on(ground: Grey, patch: Grey, left: int, top: int) -> Grey:
    picture = ground.copy()
    picture[top : top + patch.shape[0], left : left + patch.shape[1]] = patch
    return picture


def grey_field(height: int = 480, width: int = 640, level: int = 180) -> Grey:
    return np.full((height, width), level, np.uint8)


def mark(text: str, kind: zxingcpp.BarcodeFormat, scale: int = 6) -> Grey:
    """A mark of another kind, as zxing-cpp draws it, with a quiet zone."""
    drawn = zxingcpp.create_barcode(text, kind).to_image(scale=scale, add_quiet_zones=True)
    return np.asarray(drawn, np.uint8)


def texts(image: Grey, budget_ms: float | None = None) -> list[str]:
    return [found.text for found in read(image, budget_ms).symbols]


def test_a_plain_label_is_read_with_its_corners_in_order() -> None:
    reading = read(on(grey_field(), symbol(), 200, 100), None)
    (found,) = reading.symbols
    assert (found.text, found.format) == (TEXT, "QRCode")
    expected = [(224, 124), (350, 124), (350, 250), (224, 250)]
    assert np.abs(np.array(found.corners) - expected).max() < 4
    assert reading.unread == ()


def test_a_turned_label_keeps_its_own_top_left() -> None:
    turned = cv2.rotate(on(grey_field(), symbol(), 200, 100), cv2.ROTATE_180)
    (found,) = read(turned, None).symbols
    assert np.abs(np.array(found.corners[0]) - (640 - 224, 480 - 124)).max() < 4


def test_colour_and_grey_pictures_read_the_same() -> None:
    grey = on(grey_field(), symbol(), 50, 60)
    assert texts(cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR)) == texts(grey) == [TEXT]


def test_a_mirrored_picture_is_read() -> None:
    assert texts(cv2.flip(on(grey_field(), symbol(), 200, 100), 1)) == [TEXT]


def test_labels_on_round_steel_are_read_where_the_plain_library_fails() -> None:
    ours = theirs = 0
    for number in range(12):
        held = scenes.live(number, 1)
        frame = cv2.cvtColor(held.frames[0], cv2.COLOR_BGR2GRAY)
        ours += held.scene.text in texts(frame)
        theirs += any(found.text == held.scene.text for found in zxingcpp.read_barcodes(frame))
    assert ours >= 11
    assert theirs < ours


def test_a_symbol_bent_around_a_thin_bar_is_read() -> None:
    flat = symbol(module_px=12)
    edge = len(flat)
    angle = np.linspace(-1.05, 1.05, 420)  # radians seen of a bar as thick as the label allows
    columns = (angle / 2.1 + 0.5) * (edge - 1)
    bent_to = (np.sin(angle) / np.sin(1.05) + 1) / 2 * 419
    source_x = np.interp(np.arange(420), bent_to, columns).astype(np.float32)
    at_x, at_y = np.meshgrid(source_x, np.linspace(0, edge - 1, 420).astype(np.float32))
    bow = (30 * np.cos((np.arange(420) - 210) / 210 * 1.05)).astype(np.float32)  # seen slightly from above
    bent = cv2.remap(flat, at_x, at_y + bow[None, :], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    picture = cv2.GaussianBlur(on(grey_field(600, 800), bent, 150, 90), (0, 0), 1.2)
    assert texts(picture) == [TEXT]


def test_a_label_without_quiet_zone_on_black_is_read() -> None:
    assert texts(on(grey_field(level=0), symbol(quiet=0), 240, 150)) == [TEXT]


def test_a_label_with_one_finder_under_glare_is_read() -> None:
    picture = on(grey_field(), symbol(module_px=8), 200, 100)
    cv2.circle(picture, (200 + 8 * 7, 100 + 8 * 7), 34, 255, -1)
    assert texts(picture) == [TEXT]


def test_a_light_symbol_on_dark_is_read() -> None:
    assert texts(on(grey_field(level=40), 255 - symbol(), 200, 100)) == [TEXT]


def test_a_dark_label_beside_a_lamp_is_read() -> None:
    picture = on(grey_field(level=24), (symbol(module_px=5) // 16 + 6).astype(np.uint8), 200, 100)
    picture[80:360, 420:470] = 255
    noise = np.random.default_rng(4).normal(0, 1.0, picture.shape)
    assert texts(np.clip(picture + noise, 0, 255).astype(np.uint8)) == [TEXT]


def test_a_label_shaken_along_one_direction_is_read() -> None:
    picture = on(grey_field(), symbol(module_px=6), 200, 100)
    assert texts(cv2.blur(picture, (8, 1))) == [TEXT]


@pytest.mark.parametrize(
    ("kind", "name", "text"),
    [
        (zxingcpp.BarcodeFormat.DataMatrix, "DataMatrix", "SK40-ER32-0815"),
        (zxingcpp.BarcodeFormat.Code128, "Code128", "HOLDER-4711"),
        (zxingcpp.BarcodeFormat.Code39, "Code39", "HSK63-16"),
    ],
)
def test_marks_that_are_there_already_are_read(kind: zxingcpp.BarcodeFormat, name: str, text: str) -> None:
    patch = mark(text, kind, 3)
    picture = on(grey_field(600, 1000, 255), patch, 60, 80)
    (found,) = read(picture, None).symbols
    assert (found.text, found.format) == (text, name)
    assert inside((60 + patch.shape[1] / 2, 80 + patch.shape[0] / 2), found.corners)


def dotted(matrix: Grey, pitch: int, radius: float) -> Grey:
    """A peened or etched mark: a round dot for each black module (`matrix` has one pixel a module)."""
    picture = np.full((matrix.shape[0] * pitch, matrix.shape[1] * pitch), 215, np.uint8)
    for row, column in np.argwhere(matrix < 128):
        middle = (int(column * pitch + pitch // 2), int(row * pitch + pitch // 2))
        cv2.circle(picture, middle, max(round(pitch * radius), 1), 40, -1, cv2.LINE_AA)
    return picture


@pytest.mark.parametrize("inverse", [False, True])
@pytest.mark.parametrize(("pitch", "radius"), [(6, 0.3), (10, 0.3), (10, 0.42), (16, 0.3)])
def test_a_dotted_data_matrix_is_read_dark_and_light(pitch: int, radius: float, inverse: bool) -> None:
    small = mark("ER32-0815", zxingcpp.BarcodeFormat.DataMatrix, 1)
    small = cv2.copyMakeBorder(small, 3, 3, 3, 3, cv2.BORDER_CONSTANT, value=255)
    picture = on(grey_field(level=215), dotted(small, pitch, radius), 120, 30)
    noise = np.random.default_rng(3).normal(0, 5, picture.shape)
    picture = np.clip(picture + noise, 0, 255).astype(np.uint8)
    assert texts(255 - picture if inverse else picture) == ["ER32-0815"]


def test_a_live_stream_comes_to_a_data_matrix_within_ten_frames() -> None:
    frame = on(grey_field(720, 1280, 200), mark("SK40-0815", zxingcpp.BarcodeFormat.DataMatrix), 500, 250)
    reader = LiveReader(2000)
    seen = [found.text for _ in range(10) for found in reader.next(frame).symbols]
    assert "SK40-0815" in seen


def test_a_live_stream_reads_labels_on_round_steel_within_three_frames() -> None:
    read_in_time = 0
    for number in range(20, 30):
        held = scenes.live(number, 3)
        reader = LiveReader(2000)
        read_in_time += any(
            held.scene.text in [found.text for found in reader.next(frame).symbols] for frame in held.frames
        )
    assert read_in_time >= 9


@pytest.mark.parametrize("number", [197, 608, 757])  # a scratch, a lamp spot beside and on one finder
def test_a_live_label_of_which_one_finder_is_spoilt_is_read_within_three_frames(number: int) -> None:
    held = scenes.live(number, 3)
    bare = [found.text for frame in held.frames for found in zxingcpp.read_barcodes(frame)]
    reader = LiveReader(2000)
    read_texts = {found.text for frame in held.frames for found in reader.next(frame).symbols}
    assert bare == []
    assert read_texts == {held.scene.text}


def test_a_lone_finder_is_told_as_something_unread_where_it_is() -> None:
    patch = symbol()
    patch[: 9 * 6, 14 * 6 :] = patch[14 * 6 :] = patch[9 * 6 : 14 * 6, 9 * 6 :] = 255  # only the top left corner stays
    seen = LiveReader(2000).next(on(grey_field(720, 1280), patch, 500, 200))
    assert seen.symbols == ()
    (unread,) = seen.unread
    assert inside((500 + 7.5 * 6, 200 + 7.5 * 6), unread.corners)
    assert unread.module_px == pytest.approx(6, rel=0.1)


def test_small_kin_of_qr_gives_no_text() -> None:
    kin = on(grey_field(), mark("256512", zxingcpp.BarcodeFormat.MicroQRCode), 200, 100)
    assert [found.text for found in zxingcpp.read_barcodes(kin, formats=zxingcpp.BarcodeFormat.QRCode)] == ["256512"]
    assert texts(kin) == []


def codeless() -> list[tuple[str, Grey]]:
    rng = np.random.default_rng(11)
    board = np.kron(np.indices((30, 40)).sum(0) % 2, np.ones((16, 16))) * 255
    lines = np.repeat(rng.integers(0, 2, 320), 2)[None, :] * 255 * np.ones((480, 1))
    blocks = np.kron(rng.integers(0, 2, (60, 80)), np.ones((8, 8))) * 255
    writing = grey_field(level=250)
    for row in range(12):
        line = "".join(rng.choice(list("ABCDEFGH 0123456789"), 28))
        cv2.putText(writing, line, (8, 36 * row + 40), cv2.FONT_HERSHEY_SIMPLEX, 1, 10, 2)
    rings = grey_field(level=255)
    for x in range(40, 620, 60):
        for y in range(40, 460, 60):  # looks like finders, means nothing
            for half, shade in ((21, 0), (15, 255), (9, 0)):
                cv2.rectangle(rings, (x - half, y - half), (x + half, y + half), shade, -1)
    grain = cv2.GaussianBlur(rng.normal(128, 60, (480, 640)), (0, 0), 2.5)
    return [
        ("noise", rng.integers(0, 256, (480, 640)).astype(np.uint8)),
        ("grain", np.clip((grain - grain.mean()) * 8 + 128, 0, 255).astype(np.uint8)),
        ("checkerboard", board.astype(np.uint8)),
        ("lines", lines.astype(np.uint8)),
        ("random modules", blocks.astype(np.uint8)),
        ("writing", writing),
        ("finders only", rings),
        *((f"steel {number}", cv2.cvtColor(scenes.draw_empty(number), cv2.COLOR_BGR2GRAY)) for number in range(5)),
    ]


CODELESS = codeless()


@pytest.mark.parametrize(("name", "picture"), CODELESS, ids=[name for name, _ in CODELESS])
def test_no_text_comes_out_of_a_picture_without_codes(name: str, picture: Grey) -> None:
    assert texts(picture, 1500) == []
    reader = LiveReader(500)
    assert [found for _ in range(8) for found in reader.next(picture).symbols] == []


def test_a_symbol_damaged_past_repair_is_located_but_not_read() -> None:
    patch = symbol("A" * 60, module_px=6, level=qrcode.ERROR_CORRECT_L)
    rng = np.random.default_rng(2)
    inner = patch[90:, 90:][:100, :100]
    inner[:] = np.kron(rng.integers(0, 2, (25, 25)), np.ones((4, 4))) * 255
    reading = read(on(grey_field(), patch, 150, 60), 1500)
    assert reading.symbols == ()
    assert any(inside((150 + patch.shape[1] / 2, 60 + patch.shape[0] / 2), seen.corners) for seen in reading.unread)
    assert all(seen.module_px > 0 for seen in reading.unread)


def test_a_spent_budget_still_gives_what_the_base_pass_sees() -> None:
    assert texts(on(grey_field(), symbol(), 200, 100), 0) == [TEXT]


@pytest.mark.parametrize("shape", [(1, 1), (3, 700), (0, 0), (15, 15)])
def test_pictures_too_small_for_any_code_read_nothing(shape: tuple[int, int]) -> None:
    assert read(np.zeros(shape, np.uint8), None).symbols == ()


def test_every_label_of_a_drawer_photograph_is_read_in_its_place() -> None:
    rng = np.random.default_rng(5)
    codes = [scenes.random_code(rng) for _ in range(60)]
    drawer = scenes.drawer_photo(codes, 77)
    found = {symbol.text: symbol for symbol in read(drawer.picture, None).symbols}
    assert set(codes) == set(found)
    for text, corners in drawer.labels:
        middle = corners.mean(0)
        assert inside((float(middle[0]), float(middle[1])), found[text].corners)


@pytest.mark.skipif(not PHOTOS.is_dir(), reason="the reference photographs are not on this machine")
@pytest.mark.parametrize(("category", "least"), [("curved", 0.85), ("perspective", 0.85), ("pathological", 0.9)])
def test_reference_photographs_are_read(category: str, least: float) -> None:
    truth = {
        name: outlines
        for name, outlines in json.loads((PHOTOS / "truth.json").read_text()).items()
        if name.startswith(category + "/")
    }
    hits = 0
    for name, outlines in truth.items():
        symbols = read(load(PHOTOS / name), 1500).symbols
        hits += sum(
            any(cv2.pointPolygonTest(np.array(outline, np.float32), found.centre, False) >= 0 for found in symbols)
            for outline in outlines
        )
    assert hits / sum(len(outlines) for outlines in truth.values()) >= least
