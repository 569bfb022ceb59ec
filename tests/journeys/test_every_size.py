"""Every screen at every size, in German or English, and at the two tightest in one more language.

The two take turns with each size from day to day; the other languages come round one a day.

All languages at all sizes: `python -m tests.journeys.test_every_size`, which says what is wrong with each.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from kiosk.words import LANGUAGES
from tests.journeys.display import Display

SIZES = (
    (360, 640), (640, 360), (800, 480), (480, 800), (1024, 600), (600, 1024), (1280, 800), (800, 1280),
    (1920, 1080), (1080, 1920),
    (1920, 1080, 4.0),  # a panel of 22 inches whose density the settings know
)  # fmt: skip
TIGHTEST = ((360, 640), (800, 480))
WHOLE = ("de", "en")
WALKER = str(Path(__file__).with_name("walker.py"))


HALVES = (SIZES[::2], SIZES[1::2])  # walked beside each other


def walked_today(day: int) -> list[tuple[str, tuple[tuple[float, ...], ...]]]:
    """Which languages are walked at which sizes; the others come round one a day."""
    others = [language for language in LANGUAGES if language not in WHOLE]
    return [
        *((WHOLE[(day + at) % 2], half) for at, half in enumerate(HALVES)),
        (others[day % len(others)], TIGHTEST),
    ]


def test_every_language_comes_round_and_every_size_is_walked_every_day() -> None:
    assert {language for day in range(len(LANGUAGES)) for language, _ in walked_today(day)} == set(LANGUAGES)
    for day in range(2):
        walks = [sizes for language, sizes in walked_today(day) if language in WHOLE]
        assert sorted(size for sizes in walks for size in sizes) == sorted(SIZES)
    for whole in WHOLE:
        both = [walk for day in range(2) for walk in walked_today(day)]
        assert sorted(size for language, sizes in both for size in sizes if language == whole) == sorted(SIZES)


@pytest.mark.timeout(900)  # five hundred samples at six sizes
@pytest.mark.parametrize("which", range(3), ids=["half", "other_half", "one_a_day"])
def test_no_word_is_clipped_and_no_target_is_too_small_at_any_size_in_any_language(
    which: int, display: Display
) -> None:
    language, sizes = walked_today(date.today().toordinal())[which]
    environment = os.environ | {"DISPLAY": display.name, "SDL_AUDIODRIVER": "dummy", "PYTHONPATH": os.getcwd()}
    command = [sys.executable, WALKER, json.dumps(sizes), language]
    walk = subprocess.run(command, capture_output=True, text=True, env=environment, timeout=890, check=False)
    *found, last = walk.stdout.splitlines() or [""]
    assert last == "walked", walk.stderr[-3000:]
    assert found == [], "\n".join(found)


def main() -> int:
    """The whole matrix, or the languages given, one after the other: what is wrong, a line each."""
    screen = Display((1920, 1920))
    environment = os.environ | {"DISPLAY": screen.name, "SDL_AUDIODRIVER": "dummy", "PYTHONPATH": os.getcwd()}
    try:
        walk = [sys.executable, WALKER, json.dumps(SIZES), *sys.argv[1:]]
        return subprocess.run(walk, env=environment, check=False).returncode
    finally:
        screen.close()


if __name__ == "__main__":
    sys.exit(main())
