"""How much of a label's error correction is spent: what damage was drawn on it is said, blur and bend are not."""

import time
from dataclasses import replace

import cv2
import numpy as np
import pytest
import qrcode

from kiosk.bench.scene_frame import label
from kiosk.bench.scenes import Picture, Scene, draw, random_flat, random_scene
from kiosk.labels.symbol import modules_of
from kiosk.reader.codewords import spent
from kiosk.reader.decode import LiveReader, read
from kiosk.reader.symbols import Reading, Symbol
from kiosk.reader.wear import spent_of, worn

TEXT = "H123456789"
MODULE_PX, QUIET = 12, 4  # of a drawn label


def rubbed(scene: Scene, chance: np.random.Generator, share: float) -> Picture:
    """The scene with this share of the symbol's modules rubbed off down to the paper, a few at a time."""
    ink, cover = label(scene, np.random.default_rng(0))
    ink, gone = ink.copy(), np.zeros((21, 21), bool)
    edge = int(np.ceil((share * 441) ** 0.5))
    while gone.mean() < share:
        x, y = chance.integers(0, 22 - edge, 2)
        gone[y : y + edge, x : x + edge] = True
    for y, x in np.argwhere(gone) + QUIET:
        ink[y * MODULE_PX : (y + 1) * MODULE_PX, x * MODULE_PX : (x + 1) * MODULE_PX] = ink.max()
    return draw(scene, 1, (ink, cover))


def told(share: float, seeds: range) -> tuple[list[float], int]:
    """What is said of drawn labels with this share rubbed off, and how many of them were read."""
    said, reads = [], 0
    for seed in seeds:
        chance = np.random.default_rng([seed, 31])
        made = random_flat(chance) if seed % 2 else random_scene(chance)
        scene = replace(made, oil=0.0, scratches=0, glare=0.0, motion_px=min(made.motion_px, 1.0))
        picture = rubbed(scene, chance, share)
        for symbol in LiveReader(budget_ms=2000).next(picture).symbols:
            reads += 1
            value = spent_of(picture, symbol)
            said += [] if value is None else [value]
    return said, reads


def test_an_undamaged_label_has_spent_next_to_nothing_however_bent_and_blurred() -> None:
    said, reads = told(0.0, range(16))
    assert len(said) > reads / 2
    assert sorted(said)[-2] <= 0.15  # one in forty says two codewords of eight
    assert max(said) <= 0.25


def test_a_label_with_a_fifth_of_its_modules_gone_has_spent_half_or_more() -> None:
    said, _ = told(0.2, range(40, 70))
    assert len(said) >= 3  # few of them are read at all
    assert min(said) >= 0.5


def drawing(modules: np.ndarray, module_px: int = 6) -> np.ndarray:
    framed = np.pad(1 - np.asarray(modules, np.uint8), 4, constant_values=1) * 255
    return cv2.GaussianBlur(np.kron(framed, np.ones((module_px, module_px), np.uint8)), (0, 0), 1.0)


def test_every_wrong_codeword_counts_once() -> None:
    true = np.array(modules_of(TEXT)).astype(np.int8)
    seen = true > 0
    assert spent(seen, true) == 0
    seen[20, 20] ^= True  # both in the first codeword
    seen[19, 19] ^= True
    assert spent(seen, true) == 1 / 8
    seen[10, 20] ^= True
    assert spent(seen, true) == 2 / 8
    seen[0, 0] ^= True  # a finder's corner is no codeword
    assert spent(seen, true) == 2 / 8


@pytest.mark.parametrize("level", [qrcode.ERROR_CORRECT_L, qrcode.ERROR_CORRECT_Q])
@pytest.mark.parametrize("text", ["7", "HALTER 12", "Ø12 x 80", "https://example.org/a?b=" + "c" * 40])
def test_labels_of_other_printers_are_judged_too(text: str, level: int) -> None:
    made = qrcode.QRCode(error_correction=level, border=0)
    made.add_data(text.encode(), optimize=0)
    made.make()
    picture = drawing(np.array(made.modules))
    assert [symbol.spent for symbol in worn(picture, read(picture)).symbols] == [0.0]


def test_what_cannot_be_told_is_not_said() -> None:
    picture = drawing(np.array(modules_of(TEXT)))
    (symbol,) = read(picture).symbols
    assert symbol.spent is None
    x, y = symbol.corners[0]
    small = tuple((x + (a - x) / 4, y + (b - y) / 4) for a, b in symbol.corners)
    for other in (
        replace(symbol, format="DataMatrix"),
        replace(symbol, text="H987654321"),  # it says something else
        replace(symbol, text="x" * 5000),
        replace(symbol, corners=small),
        replace(symbol, corners=((0.0, 0.0),) * 4),
        replace(symbol, corners=tuple((a + 9000, b) for a, b in symbol.corners)),
        replace(symbol, corners=tuple((a + 40, b) for a, b in symbol.corners)),
    ):
        assert spent_of(picture, other) is None
    assert worn(picture, Reading((), (), 1.0)).symbols == ()


def test_it_costs_a_few_milliseconds() -> None:
    scene = replace(random_flat(np.random.default_rng(5)), motion_px=0.0, oil=0.0, glare=0.0)
    picture = rubbed(scene, np.random.default_rng(6), 0.05)
    symbols: tuple[Symbol, ...] = read(picture).symbols
    costs = []
    for _ in range(9):
        for symbol in symbols:
            began = time.thread_time()
            spent_of(picture, symbol)
            costs.append(time.thread_time() - began)
    assert min(costs) < 0.02  # 5 ms on a quiet machine
