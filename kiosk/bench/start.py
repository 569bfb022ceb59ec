"""How soon the kiosk is there: its window beside a bare Kivy window, its command line beside Python itself.

Peers: a Kivy window that shows one label, to its first picture; and `python -c pass`.  Each is a process of its own
on a screen in memory (Xvfb), taken in turns.  Of the windows the median and the least of several are told, in seconds
by the wall and of the processor; the other windows and programs of a busy machine lengthen the first, hardly the
second.  Goals: the first picture with the camera's in it within twice the bare window's (a ratio of 0.5), `--help` in
0.3 s, `find` in 0.6 s, every screen's first visit in 0.3 s, and under 260 MB before anything is solved, 330 when every
screen was visited, 5 more when all were once more.  Ratios are written so that larger is better for us.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

import cv2
import numpy as np

from kiosk.bench.ratio import Ratio

BENCH = "start"
SCREEN = (1920, 1080)
HELP_S, FIND_S, VISIT_S, MEMORY_MB = 0.3, 0.6, 0.3, 260.0
VISITED_MB, AGAIN_MB = 330.0, 5.0  # when every screen was visited, and what visiting them all again may add
FROZEN_S = 0.05  # so long nobody sees that a picture was late

T = TypeVar("T")


class Took(NamedTuple):
    """To a first picture: seconds by the wall from the start of the process, and of the processor, all threads."""

    wall_s: float
    processor_s: float


# Prints when its first picture is on the screen, in seconds of the system's monotonic clock and of the processor, and
# ends.
BARE = """
import json, time
from kivy.app import App
from kivy.clock import Clock
from kivy.core.window import Window
from kivy.uix.label import Label

class Bare(App):
    def build(self):
        Window.bind(on_flip=self.flipped)
        return Label(text="Scan a holder")

    def flipped(self, *_):
        print(json.dumps({"at": time.monotonic(), "processor": time.process_time()}), flush=True)
        Window.unbind(on_flip=self.flipped)
        Clock.schedule_once(lambda _: self.stop())

Bare().run()
"""

# The same of our window, opened as `screens.app.run` opens it, once the live picture has the camera's in it; then what
# else is asked of it.
OURS = """
import json, sys, time
from pathlib import Path
from kiosk.screens import app as opening
from kiosk.screens.options import Options

def resident_mb():
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    return 0.0

def told(**what):
    print(json.dumps(what), flush=True)

def watched(app):
    from kiosk.screens.pages import SCREENS, SOON
    from kivy.clock import Clock
    from kivy.core.window import Window

    def first(*_):
        if app.clerk.screen("scan").live.has_picture:
            told(at=time.monotonic(), processor=time.process_time())
            Window.unbind(on_flip=first)
            if visits == "at once":
                visit_at_once()
            elif visits == "none":
                Clock.schedule_interval(known, 0)
            elif visits == "all":
                Clock.schedule_interval(known, 0)
            else:
                Clock.schedule_interval(settled, 0.2)

    def known(_):
        if app.clerk.heat_known:
            if visits == "all":
                visit(list(app.clerk.unbuilt(SCREENS)))
            else:
                told(at=time.monotonic(), processor=time.process_time())
                app.stop()
            return False

    rounds = []

    def visit(names):
        if not names:
            rounds.append(resident_mb())
            if len(rounds) == 1:
                Clock.schedule_once(lambda _: visit([name for name in SCREENS if name != app.clerk.view.name]))
            else:
                told(resident=rounds[0], again=rounds[1], solver="scipy.optimize" in sys.modules)
                app.stop()
            return
        name, began = names[0], time.monotonic()
        def seen(*_):
            if app.clerk.wanted:  # it is being loaded
                return
            Window.unbind(on_flip=seen)
            if not rounds:
                told(screen=name, took=time.monotonic() - began)
            Clock.schedule_once(lambda _: visit(names[1:]))
        app.clerk.go(name)
        Window.bind(on_flip=seen)

    def visit_at_once():
        # a screen that only the rooms of the desk can fill, touched with the first picture; no picture waits for it
        began = last = time.monotonic()
        longest = 0.0
        def frame(_):
            nonlocal last, longest
            now = time.monotonic()
            last, longest = now, max(longest, now - last)
        def seen(*_):
            if app.clerk.view.name == "machine" and app.frame.view is app.clerk.view:
                Window.unbind(on_flip=seen)
                told(took=time.monotonic() - began, longest=longest)
                app.stop()
        Clock.schedule_interval(frame, 0)
        app.clerk.go("machine")
        Window.bind(on_flip=seen)

    quiet = [0]
    def settled(_):
        quiet[0] = 0 if app.clerk.unbuilt(SOON) else quiet[0] + 1
        if quiet[0] == 15:
            told(resident=resident_mb(), solver="scipy.optimize" in sys.modules)
            app.stop()

    Window.bind(on_flip=first)

data, camera, visits = sys.argv[1:4]
opening.run(Options(Path(data), True, camera, None, (800, 480)), watched)
"""


def run(quick: bool = False) -> Iterator[Ratio]:
    """First picture, first visits, memory, `--help` and `find`.  quick: fewer turns."""
    turns = 3 if quick else 9
    with tempfile.TemporaryDirectory(prefix="start-bench-") as folder, screen() as display:
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

        def opened(*command: str) -> tuple[Took, list[dict[str, Any]]]:
            began, said = _said([sys.executable, *command], environment)
            told = [json.loads(line) for line in said]
            return Took(told[0]["at"] - began, told[0]["processor"]), told[1:]

        def told_hot() -> tuple[Took, Took]:
            """To our first picture, and until the desk has said what is hot."""
            began, said = _said([sys.executable, str(our_script), str(data), str(picture), "none"], environment)
            first, known = (Took(told["at"] - began, told["processor"]) for told in map(json.loads, said))
            return first, known

        def window(visits: str) -> tuple[Took, list[dict[str, Any]]]:
            return opened(str(our_script), str(data), str(picture), visits)

        def bare() -> Took:
            return opened(str(bare_script))[0]

        window("none")  # fills the demo folder, and the system's memory of files
        bare()
        both, theirs = _in_turns(turns, told_hot, bare)
        for what, ours in (("first picture, the camera's in it", 0), ("what is hot is told", 1)):
            for name, least in (("median", statistics.median), ("least", min)):
                for clock in Took._fields:
                    mine = least(getattr(took[ours], clock) for took in both)
                    others = least(getattr(took, clock) for took in theirs)
                    case = f"{what}: {clock.removesuffix('_s')}, {name} of {turns}"
                    yield _ratio(case, "a bare Kivy window", mine, others, "s")
        *visits, all_built = window("all")[1]
        at_once = [window("at once")[1][0] for _ in range(turns)]
        for case, name, goal_s in (
            ("a screen touched with the first picture is there", "took", VISIT_S),
            ("longest wait of a picture meanwhile", "longest", FROZEN_S),
        ):
            yield _ratio(case, f"{goal_s} s", statistics.median(told[name] for told in at_once), goal_s, "s")
        slowest = max(visits, key=lambda told: float(told["took"]))
        case = f"slowest first visit of {len(visits)} screens: {slowest['screen']}"
        yield _ratio(case, "0.3 s", slowest["took"], VISIT_S, "s")
        (told,) = window("memory")[1]
        added_mb = max(0.1, all_built["again"] - all_built["resident"])
        for case, held_mb, most_mb in (
            ("left alone", told["resident"], MEMORY_MB),
            ("every screen visited", all_built["resident"], VISITED_MB),
            ("what visiting every screen again adds", added_mb, AGAIN_MB),
        ):
            yield _ratio(f"window, no solver, {case}", f"{most_mb:.0f} MB", held_mb, most_mb, "MB")
        for case, arguments, goal_s in (("--help", ["--help"], HELP_S), ("find 12", ["find", "12"], FIND_S)):
            told_data = ["--data", str(data)] if arguments[0] == "find" else []
            command = [sys.executable, "-m", "kiosk", *arguments, *told_data]
            runs = _in_turns(turns, partial(_took, command), partial(_took, [sys.executable, "-c", "pass"]))
            mine, others = (statistics.median(took) for took in runs)
            yield _ratio(case, f"{goal_s} s", mine, goal_s, "s")
            yield _ratio(case, "python -c pass", mine, others, "s")


def _ratio(case: str, peer: str, ours: float, theirs: float, unit: str) -> Ratio:
    return Ratio(BENCH, case, peer, ours, theirs, theirs / ours, unit)


def _in_turns(turns: int, ours: Callable[[], T], theirs: Callable[[], T]) -> tuple[list[T], list[T]]:
    """Both, so many times; taken in turns, so that a busy machine is busy for both."""
    taken = [(ours(), theirs()) for _ in range(turns)]
    return [mine for mine, _ in taken], [other for _, other in taken]


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
def screen() -> Iterator[str]:
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
