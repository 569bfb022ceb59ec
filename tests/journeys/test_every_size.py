"""Every screen at every size, in English and in the longest translation."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

from tests.journeys.display import Display

SIZES = ((360, 640), (640, 360), (800, 480), (480, 800), (1024, 600), (1280, 800), (1920, 1080))


def test_no_word_is_clipped_and_no_target_is_too_small_at_any_size_in_any_language(display: Display) -> None:
    walked = subprocess.run(
        [sys.executable, str(Path(__file__).with_name("walker.py")), json.dumps(SIZES)],
        capture_output=True,
        text=True,
        timeout=240,
        env=os.environ | {"DISPLAY": display.name, "SDL_AUDIODRIVER": "dummy", "PYTHONPATH": os.getcwd()},
        check=False,
    )
    *findings, last = walked.stdout.splitlines() or [""]
    assert last == "walked", walked.stderr[-3000:]
    assert findings == [], "\n".join(findings)
