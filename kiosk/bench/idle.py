"""What the window costs while nobody is near: its processor time beside that of a bare Kivy window.

Peer: a Kivy window with one label whose words change once a second.  Each is a process of its own on a screen in
memory (Xvfb), where every picture is drawn by the processor, as on a tablet without a graphics driver.  No camera is
there: its cost is apart.  Goals: under 5 % of a core with nothing hot, under 10 % with twenty hot holders, whichever
screen is left open, at a panel of 800x480; larger panels are said too.  Ratios are written so that larger is better.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from kiosk.bench.ratio import Ratio
from kiosk.bench.start import screen

BENCH = "idle"
HOT = 20  # holders on the board
QUIET_PERCENT, HOT_PERCENT = 5.0, 10.0
SETTLED_S = 8.0  # after the start; by then the screens that are built ahead are there
SIZES = ((800, 480), (1280, 800))

# Both print the percentage of a core that they took, and the pictures a second that they drew.
MEASURE = """
import json, os, time

def measure(after_s, for_s, stop):
    from kivy.clock import Clock
    from kivy.core.window import Window
    began = []
    pictures = [0]
    Window.bind(on_flip=lambda *_: pictures.__setitem__(0, pictures[0] + 1))
    def spent():
        times = os.times()
        return times.user + times.system
    def begin(_):
        began[:] = [time.monotonic(), spent(), pictures[0]]
    def end(_):
        took = time.monotonic() - began[0]
        said = {"percent": 100 * (spent() - began[1]) / took, "pictures": (pictures[0] - began[2]) / took}
        print(json.dumps(said), flush=True)
        stop()
    Clock.schedule_once(begin, after_s)
    Clock.schedule_once(end, after_s + for_s)
"""

BARE = """
import sys
from kivy.config import Config
width, height, after_s, for_s = map(float, sys.argv[1:])
Config.set("graphics", "width", str(int(width)))
Config.set("graphics", "height", str(int(height)))
from kivy.app import App
from kivy.clock import Clock
from kivy.uix.label import Label

class Bare(App):
    def build(self):
        label = Label(text="0", font_size=40)
        Clock.schedule_interval(lambda _: setattr(label, "text", str(int(label.text) + 1)), 1)
        measure(after_s, for_s, self.stop)
        return label

Bare().run()
"""

OURS = """
import sys
from pathlib import Path
from kiosk import settings
from kiosk.screens.app import prepare_kivy
from kiosk.screens.opening import open_desk
from kiosk.screens.options import Options

data, screen = sys.argv[1:3]
width, height, after_s, for_s = map(float, sys.argv[3:])
options = Options(Path(data), True, None, None, (int(width), int(height)))
prepare_kivy(options.size)
from kiosk.screens.window import KioskApp
from kiosk.screens.worker import Worker
from kivy.clock import Clock

app = KioskApp(options, Worker(lambda: open_desk(options)), settings.load(options.data_dir / settings.NAME))
Clock.schedule_once(lambda _: app.clerk.go(screen), 2)
measure(after_s, for_s, app.stop)
app.open()
app.run()
app.close()
"""

# The demo shop with twenty holders heated just now, on a rack that takes them all.
HEATED = """
import sys
from pathlib import Path
from kiosk.rules.assembly import Clamping
from kiosk.rules.codes import CodeKind
from kiosk.rules.lines import CodeBound, PlaceAdded
from kiosk.rules.places import Kind, Place
from kiosk.screens.opening import open_desk
from kiosk.screens.options import Options

desk = open_desk(Options(Path(sys.argv[1]), True, None, None, None))
session = desk.session
rack = session.fresh_code(CodeKind.PLACE).text
session.write(PlaceAdded(Place(rack, "Rack 2", Kind.COOLING, way="free_air")), CodeBound(rack, rack, "place"))
station = session.cards.find_place("Shrink station")
shrinking = [card for card in desk.shop.holders(0, 1000) if card.holder.clamping is Clamping.SHRINK_FIT]
for card in shrinking[: int(sys.argv[2])]:
    for code in (card.code, station, card.code, rack):
        desk.scan(code)
held = len(desk.heat.board())
desk.close()
sys.exit(held != int(sys.argv[2]))
"""


def run(quick: bool = False) -> Iterator[Ratio]:
    """A core's share with nothing hot and with twenty hot holders, at each size.  quick: shorter, and one size."""
    for_s = 10.0 if quick else 30.0
    with tempfile.TemporaryDirectory(prefix="idle-bench-") as folder, screen() as display:
        environment = os.environ | {
            "DISPLAY": display,
            "PYTHONPATH": os.pathsep.join(sys.path),
            "SDL_AUDIODRIVER": "dummy",
            "KIVY_NO_ARGS": "1",
            "KIVY_NO_FILELOG": "1",
        }
        cool, hot = Path(folder) / "cool", Path(folder) / "hot"

        def share(script: str, *arguments: object) -> tuple[float, float]:
            """Percent of a core, and pictures a second."""
            measured = Path(folder) / "measured.py"
            measured.write_text(MEASURE + script, "utf-8")
            command = [sys.executable, str(measured), *map(str, arguments), str(SETTLED_S), str(for_s)]
            done = subprocess.run(command, env=environment, capture_output=True, text=True)
            if done.returncode or not done.stdout:
                raise RuntimeError(f"a window that was measured did not open:\n{done.stderr[-2000:]}")
            said = json.loads(done.stdout.splitlines()[-1])
            return float(said["percent"]), float(said["pictures"])

        subprocess.run([sys.executable, "-c", HEATED, str(hot), str(HOT)], env=environment, check=True)
        for width, height in SIZES[: 1 if quick else None]:
            bare, _ = share(BARE, width, height)
            for case, data, shown, goal in (
                ("nothing hot", cool, "scan", QUIET_PERCENT),
                (f"{HOT} hot, scan screen", hot, "scan", HOT_PERCENT),
                (f"{HOT} hot, hot board", hot, "hot", HOT_PERCENT),
            ):
                ours, pictures = share(OURS, data, shown, width, height)
                name = f"{case}, {width}x{height}"
                yield _ratio(name, "a bare window, a label a second", ours, bare, "% of a core")
                yield _ratio(name, f"{goal:.0f} %", ours, goal, "% of a core")
                yield _ratio(name, "a picture a second", pictures, 1.0, "pictures/s")


def _ratio(case: str, peer: str, ours: float, theirs: float, unit: str) -> Ratio:
    return Ratio(BENCH, case, peer, ours, theirs, theirs / max(ours, 0.01), unit)
