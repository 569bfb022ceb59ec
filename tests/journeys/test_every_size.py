"""Every screen at every size, in English and in the longest translation."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from kiosk.words import LANGUAGES
from tests.journeys.display import Display

SIZES = (
    (360, 640), (640, 360), (800, 480), (480, 800), (1024, 600), (600, 1024), (1280, 800), (1920, 1080),
    (1920, 1080, 4.0),  # a panel of 22 inches whose density the settings know
)  # fmt: skip


@pytest.mark.timeout(900)  # some two hundred samples at nine sizes in every language
def test_no_word_is_clipped_and_no_target_is_too_small_at_any_size_in_any_language(display: Display) -> None:
    environment = os.environ | {"DISPLAY": display.name, "SDL_AUDIODRIVER": "dummy", "PYTHONPATH": os.getcwd()}
    walks = [
        subprocess.Popen(
            [sys.executable, str(Path(__file__).with_name("walker.py")), json.dumps(SIZES), language],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment,
        )
        for language in LANGUAGES
    ]
    found: list[str] = []
    for walk in walks:
        try:
            said, complained = walk.communicate(timeout=900)
        finally:
            walk.kill()
        *findings, last = said.splitlines() or [""]
        assert last == "walked", complained[-3000:]
        found += findings
    assert found == [], "\n".join(found)
