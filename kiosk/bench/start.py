"""How soon the kiosk is there: its window beside a bare Kivy window, its command line beside Python itself.

Peers: a Kivy window that shows one label, to its first picture; and `python -c pass`.  Each is a process of its own
on a screen in memory (Xvfb), taken in turns, and the median of several counts.  Goals: the first picture with the
camera's in it within twice the bare window's (a ratio of 0.5), `--help` in 0.3 s, `find` in 0.6 s, every screen's
first visit in 0.3 s, and under 260 MB before anything is solved.  Ratios are written so that larger is better for us.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from kiosk.bench.ratio import Ratio

BENCH = "start"
SIZE = (800, 480)
SCREEN = (1920, 1080)
HELP_S, FIND_S, VISIT_S, MEMORY_MB = 0.3, 0.6, 0.3, 260.0

# Prints when its first picture is on the screen, in seconds of the system's monotonic clock, and ends.
BARE = """
import time
from kivy.app import App
from kivy.clock import Clock
from kivy.core.window import Window
from kivy.uix.label import Label

class Bare(App):
    def build(self):
        Window.bind(on_flip=self.flipped)
        return Label(text="Scan a holder")

    def flipped(self, *_):
        print(time.monotonic(), flush=True)
        Window.unbind(on_flip=self.flipped)
        Clock.schedule_once(lambda _: self.stop())

Bare().run()
"""

# The same of our window, once the live picture has the camera's in it; then what else is asked of it.
OURS = """
import json, sys, time
from pathlib import Path
from kiosk.screens.app import open_desk, prepare_kivy
from kiosk.screens.options import Options

def resident_mb():
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    return 0.0

data, camera, visits = sys.argv[1:4]
options = Options(Path(data), True, camera, None, (800, 480))
prepare_kivy(options.size)
from kiosk.screens.pages import SCREENS, SOON
from kiosk.screens.window import KioskApp
from kivy.clock import Clock
from kivy.core.window import Window

app = KioskApp(options, lambda: open_desk(options))

def first(*_):
    if app.clerk.knows("scan") and app.clerk.screen("scan").live.has_picture:
        print(json.dumps({"picture": time.monotonic()}), flush=True)
        Window.unbind(on_flip=first)
        if visits == "none":
            Clock.schedule_once(lambda _: app.stop())
        elif visits == "all":
            Clock.schedule_once(lambda _: visit(list(app.clerk.unbuilt(SCREENS))))
        else:
            Clock.schedule_interval(settled, 0.2)

def visit(names):
    if not names:
        app.stop()
        return
    name, began = names[0], time.monotonic()
    def seen(*_):
        Window.unbind(on_flip=seen)
        print(json.dumps({"screen": name, "took": time.monotonic() - began}), flush=True)
        Clock.schedule_once(lambda _: visit(names[1:]))
    app.clerk.go(name)
    Window.bind(on_flip=seen)

quiet = [0]
def settled(_):
    quiet[0] = 0 if app.clerk.unbuilt(SOON) else quiet[0] + 1
    if quiet[0] == 15:
        print(json.dumps({"resident": resident_mb(), "solver": "scipy.optimize" in sys.modules}), flush=True)
        app.stop()

Window.bind(on_flip=first)
app.open()
app.run()
app.close()
"""


def run(quick: bool = False) -> Iterator[Ratio]:
    """First picture, first visits, memory, `--help` and `find`.  quick: fewer turns."""
    turns = 3 if quick else 9
    with tempfile.TemporaryDirectory(prefix="start-bench-") as folder, _screen() as display:
        picture = Path(folder) / "camera.png"
        cv2.imwrite(str(picture), np.full((480, 640, 3), 110, np.uint8))
        data = Path(folder) / "data"
        bare_script, our_script = Path(folder) / "bare.py", Path(folder) / "ours.py"
        bare_script.write_text(BARE, "utf-8")
        our_script.write_text(OURS, "utf-8")
        environment = os.environ | {
            "DISPLAY": display,
            "PYTHONPATH": os.pathsep.join(sys.path),
            "SDL_AUDIODRIVER": "dummy",
            "KIVY_NO_ARGS": "1",
            "KIVY_NO_FILELOG": "1",
        }

        def window(visits: str) -> tuple[float, list[dict[str, Any]]]:
            began, said = _said([sys.executable, str(our_script), str(data), str(picture), visits], environment)
            told = [json.loads(line) for line in said]
            return told[0]["picture"] - began, told[1:]

        def bare() -> float:
            began, said = _said([sys.executable, str(bare_script)], environment)
            return float(said[0]) - began

        window("none")  # fills the demo folder, and the system's memory of files
        bare()
        ours, theirs = _in_turns(turns, lambda: window("none")[0], bare)
        yield _ratio("first picture, the camera's in it", "a bare Kivy window", ours, theirs, "s")
        visits = [told["took"] for told in window("all")[1]]
        yield _ratio(f"slowest first visit of {len(visits)} screens", "0.3 s", max(visits), VISIT_S, "s")
        (told,) = window("memory")[1]
        yield _ratio("window left alone, no solver", "260 MB", told["resident"], MEMORY_MB, "MB")
        for case, arguments, goal_s in (("--help", ["--help"], HELP_S), ("find 12", ["find", "12"], FIND_S)):
            told_data = ["--data", str(data)] if arguments[0] == "find" else []
            command = [sys.executable, "-m", "kiosk", *arguments, *told_data]
            ours, theirs = _in_turns(turns, lambda c=command: _took(c), lambda: _took([sys.executable, "-c", "pass"]))
            yield _ratio(case, f"{goal_s} s", ours, goal_s, "s")
            yield _ratio(case, "python -c pass", ours, theirs, "s")


def _ratio(case: str, peer: str, ours: float, theirs: float, unit: str) -> Ratio:
    return Ratio(BENCH, case, peer, ours, theirs, theirs / ours, unit)


def _in_turns(turns: int, ours: Any, theirs: Any) -> tuple[float, float]:
    """The median of each; taken in turns, so that a busy machine is busy for both."""
    mine, others = [], []
    for _ in range(turns):
        mine.append(ours())
        others.append(theirs())
    return statistics.median(mine), statistics.median(others)


def _said(command: Sequence[str], environment: dict[str, str]) -> tuple[float, list[str]]:
    """When a process was started, and the lines it wrote."""
    began = time.monotonic()
    done = subprocess.run(command, env=environment, capture_output=True, text=True)
    lines = done.stdout.splitlines()
    if done.returncode or not lines:
        raise RuntimeError(f"a window that was measured did not open:\n{done.stderr[-2000:]}")
    return began, lines


def _took(command: Sequence[str]) -> float:
    began = time.monotonic()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.monotonic() - began


@contextmanager
def _screen() -> Iterator[str]:
    """A screen in memory: the name of its display."""
    read, write = os.pipe()
    size = f"{SCREEN[0]}x{SCREEN[1]}x24"
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write), "-screen", "0", size, "-nolisten", "tcp"],
        pass_fds=(write,),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    try:
        with os.fdopen(read) as told:
            yield f":{told.readline().strip()}"
    finally:
        server.terminate()
        server.wait()
