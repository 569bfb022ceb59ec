"""Leaves the window open before a camera for an hour, and says how its memory grows.

    .venv/bin/python -m tests.journeys.soak --minutes 60

Prints the megabytes at the end of every minute and, last, the growth from the first to the last; the code is 1 where
that is more than a tenth.  The camera shows a folder of labels, over and over, so that every frame is looked at.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from kiosk.rules.codes import Kind, make
from tests.journeys.display import Display
from tests.journeys.window import draw_label

MOST_GROWTH = 1.10


def resident_mb(process: int) -> float:
    """What a process holds, megabytes."""
    for line in Path(f"/proc/{process}/status").read_text("utf-8").splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024.0
    raise ProcessLookupError(process)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=int, default=60)
    minutes = parser.parse_args().minutes
    display = Display()
    with tempfile.TemporaryDirectory(prefix="soak-") as folder:
        labels = Path(folder) / "labels"
        labels.mkdir()
        for number in range(5):
            draw_label(make(Kind.HOLDER, number + 1).text, labels / f"{number}.png")
        window = subprocess.Popen(
            [
                *(sys.executable, "-m", "kiosk", "open", "--demo", "--data", f"{folder}/data"),
                *("--camera", str(labels), "--size", "800x480"),
            ],
            env=os.environ | {"DISPLAY": display.name, "SDL_AUDIODRIVER": "dummy"},
        )
        held: list[float] = []
        try:
            for minute in range(1, minutes + 1):
                time.sleep(60.0)
                held.append(resident_mb(window.pid))
                print(f"{minute:4} min {held[-1]:7.1f} MB", flush=True)
        finally:
            window.terminate()
            window.wait()
            display.close()
    print(f"after {minutes} min {held[-1] / held[0]:.3f} of the first minute's")
    return int(held[-1] > held[0] * MOST_GROWTH)


if __name__ == "__main__":
    sys.exit(main())
