"""Leaves the window open before a camera for an hour, and says how its memory grows.

    .venv/bin/python -m tests.journeys.soak --minutes 60

What lies before the camera changes every two seconds, over and over: holders and benches of the demo shop, so that
holders are moved and lines are written; a label of another shop, which is refused; one too blurred to read, which
gets a hint; and nothing.  Prints at the end of every minute the megabytes, the open files, the share of a core the
minute took and the lines and, last, the growth from the first minute to the last.  The code is 1 where memory grew by
more than a tenth or files by more than a few, and where the window was not at work: it ended, or its book did not grow
in a minute.  Fonts are counted apart: every screen seen for the first time adds a few (`handles.py`).
"""

from __future__ import annotations

import argparse
import csv
import os
import sqlite3
import subprocess
import sys
import tempfile
import time
import tomllib
from contextlib import closing
from pathlib import Path

import cv2
import numpy as np

from kiosk import where
from kiosk.ledger.book import NAME
from kiosk.rules.codes import CodeKind, make
from tests.journeys.display import Display
from tests.journeys.handles import MOST_FONTS, open_files
from tests.journeys.window import draw_label

MOST_GROWTH = 1.10
MOST_FILES = 8  # more than in the first minute: a copy that is being made, a thread's pipe
PICTURE_S = 2.0  # how long the camera sees each picture of a folder
HOLDERS = 4


def resident_mb(process: int) -> float:
    """What a process holds, megabytes.  Raises ProcessLookupError where there is none."""
    try:
        lines = Path(f"/proc/{process}/status").read_text("utf-8").splitlines()
    except FileNotFoundError:
        raise ProcessLookupError(process) from None
    for line in lines:
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024.0
    raise ProcessLookupError(process)  # it has ended, and nobody has asked for its code


def worked_s(process: int) -> float:
    """Processor time a process took so far, seconds.  Raises ProcessLookupError where there is none."""
    try:
        fields = Path(f"/proc/{process}/stat").read_text("utf-8").rpartition(")")[2].split()
    except FileNotFoundError:
        raise ProcessLookupError(process) from None
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")  # utime and stime, proc(5)


def lines_in(data: Path) -> int:
    """How many lines the book of a data folder has; read beside the window that writes it."""
    with closing(sqlite3.connect(f"{(data / NAME).resolve().as_uri()}?mode=ro", uri=True)) as book:
        return int(book.execute("select count(*) from line").fetchone()[0])


def draw_round(folder: Path) -> list[Path]:
    """The pictures of one round, in the order in which they are shown."""
    places = tomllib.loads((where.demo_tags() / "shop.toml").read_text("utf-8"))["place"]
    benches = [place["code"] for place in places if place["kind"] == "bench"]
    with (where.demo_tags() / "holders.csv").open(encoding="utf-8", newline="") as table:
        holders = [row["code"] for row in csv.DictReader(table) if row["place"].startswith("Cabinet")][:HOLDERS]
    blank, blurred = folder / "nothing.png", folder / "blurred.png"
    cv2.imwrite(str(blank), np.full((480, 640, 3), 110, np.uint8))
    draw_label(holders[0], blurred)
    cv2.imwrite(str(blurred), cv2.GaussianBlur(cv2.imread(str(blurred)), (0, 0), 7.0))

    def label(code: str) -> Path:
        path = folder / f"{code}.png"
        if not path.exists():
            draw_label(code, path)
        return path

    pairs = [path for bench in benches for holder in holders for path in (label(holder), label(bench))]
    return [*pairs, label(make(CodeKind.HOLDER, 1).text), blank, blurred, blurred, blank]


def lay_out(pictures: list[Path], folder: Path, seconds: float) -> None:
    """Fill a folder with the round, again and again, in name order; a folder is shown once and then ends."""
    for number in range(int(seconds / PICTURE_S) + 1):
        (folder / f"{number:06}.png").symlink_to(pictures[number % len(pictures)])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=int, default=60)
    minutes = parser.parse_args().minutes
    if minutes < 2:
        parser.error("growth takes two minutes at least")
    display = Display()
    with tempfile.TemporaryDirectory(prefix="soak-") as scratch:
        drawn, shown, data = (Path(scratch) / name for name in ("drawn", "shown", "data"))
        drawn.mkdir()
        shown.mkdir()
        lay_out(draw_round(drawn), shown, 60.0 * (minutes + 2))
        window = subprocess.Popen(
            [
                *(sys.executable, "-m", "kiosk", "open", "--demo", "--data", str(data)),
                *("--camera", str(shown), "--size", "800x480"),
            ],
            env=os.environ | {"DISPLAY": display.name, "SDL_AUDIODRIVER": "dummy"},
        )
        held: list[float] = []
        files: list[int] = []
        fonts: list[int] = []
        written: list[int] = []
        worked = 0.0
        try:
            for minute in range(1, minutes + 1):
                time.sleep(60.0)
                held.append(resident_mb(window.pid))
                for kind, count in zip((fonts, files), open_files(window.pid), strict=True):
                    kind.append(count)
                written.append(lines_in(data))
                share, worked = (worked_s(window.pid) - worked) / 60.0, worked_s(window.pid)
                opened = f"{files[-1]:4} files {fonts[-1]:3} fonts"
                told = f"{held[-1]:7.1f} MB {opened} {share:5.1%} of a core {written[-1]:7} lines"
                print(f"{minute:4} min {told}", flush=True)
        except ProcessLookupError:
            print(f"the window ended in minute {len(held) + 1}", flush=True)
            return 1
        finally:
            window.terminate()
            window.wait()
            display.close()
    idle = [number + 2 for number, more in enumerate(np.diff(written)) if more == 0]
    print(f"after {minutes} min {held[-1] / held[0]:.3f} of the first minute's, {max(held) / held[0]:.3f} at most,")
    for kind, counts in (("files", files), ("fonts", fonts)):
        print(f"{kind} {counts[0]} in the first, {counts[-1]} in the last, {max(counts)} at most")
    if idle:
        print(f"nothing was written in minute {', '.join(map(str, idle))}: it was not at work")
    grown = max(held) > held[0] * MOST_GROWTH or max(files) > files[0] + MOST_FILES or max(fonts) > MOST_FONTS
    return int(bool(idle) or grown)


if __name__ == "__main__":
    sys.exit(main())
