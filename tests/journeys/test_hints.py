"""A label that is seen but not read: the picture says what helps, and is quiet once it is read."""

from __future__ import annotations

from pathlib import Path

import cv2
import pytest

from kiosk.bench.hint_scenes import Trouble, troubled
from kiosk.bench.scenes import draw
from kiosk.reader.decode import read
from tests.journeys.window import Window

SEEDS = {Trouble.FAR: 305, Trouble.DEFOCUS: 304}  # too far and too blurred for any reader: 0.73 pixels a module


def troubled_label(trouble: Trouble, folder: Path) -> Path:
    path, seed = folder / f"{trouble.name.lower()}.png", SEEDS[trouble]
    picture = draw(troubled(trouble, seed, 1)[0], seed)
    assert read(picture, budget_ms=None).symbols == (), "the reader has come to read this one, so it needs no help"
    cv2.imwrite(str(path), picture)
    return path


@pytest.mark.parametrize(
    ("trouble", "words", "next_key", "name"),
    [
        (Trouble.FAR, "Closer", "T006", "End mill 10 R0.2"),
        (Trouble.DEFOCUS, "Blurred: nearer or farther", "T002", "End mill 6 R0.5"),
    ],
    ids=["far", "blurred"],
)
def test_a_label_that_cannot_be_read_is_helped_and_the_help_goes_when_one_is_read(
    same_kiosk: Window, tmp_path: Path, trouble: Trouble, words: str, next_key: str, name: str
) -> None:
    same_kiosk.hold_up_picture(troubled_label(trouble, tmp_path))
    same_kiosk.sees(words)
    same_kiosk.picture(f"scan-hint-{trouble.name.lower()}")
    same_kiosk.hold_up(same_kiosk.holder(next_key))
    same_kiosk.sees("Where to?", name)
    assert not any(words in text[0] for text in same_kiosk.screen()["texts"])
