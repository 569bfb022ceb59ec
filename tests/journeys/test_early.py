"""What is touched and scanned before the desk is loaded: nothing is lost, and no picture waits for it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from kiosk.screens.opening import open_desk
from kiosk.screens.options import Options
from tests.journeys.display import Display

SMALL = ("kivy.uix.", "kivy.lang.")  # widgets of a layout, a millisecond each
MOST_PARTS = 2400  # widgets that all screens hold together, 50 to 70 kB each

# Opens the window as `screens.app.run` does.  With its first picture a screen is touched and labels are scanned; once
# they have been answered every screen is wanted, one after the other.  Tells what was in sight, what sounded, and which
# modules Kivy's thread had to load since the first picture.
EARLY = """
import json, sys, threading
from pathlib import Path
from kiosk.screens import app as opening
from kiosk.screens.options import Options

data, touched, codes = Path(sys.argv[1]), sys.argv[2], sys.argv[3:]
loaded, said, seen = [], {}, []

class Watch:
    def find_spec(self, name, path=None, target=None):
        if threading.current_thread() is threading.main_thread():
            loaded.append(name)
        return None

def watched(app):
    from kiosk.screens.pages import SCREENS
    from kivy.clock import Clock
    from kivy.core.window import Window
    from kivy.uix import widget

    clerk, show, sounds = app.clerk, app.frame.show, []
    app.sounds.play = lambda sound: sounds.append(sound.value)
    left = list(SCREENS)

    asked, ask = [], app.worker.ask

    def asking(question, then=None, failed=None, **how):
        asked.append(getattr(question, "keywords", {}).get("name") or question.__name__)
        ask(question, then, failed, **how)

    app.worker.ask = asking

    def shown(view):
        seen.append(view.name)
        show(view)

    def first(*_):
        Window.unbind(on_flip=first)
        sys.meta_path.insert(0, Watch())
        clerk.go(touched)
        for code in codes:
            clerk.scanned(code)
        said.update(known=clerk.heat_known, strip=app.frame.trouble, wanted=app.frame.wanted, view=app.frame.view.name)
        Clock.schedule_interval(answered, 0)
        app.frame.show = shown

    def answered(_):
        if "hot" in sounds and clerk.view.name == "heat" and not clerk.wanted:
            said.update(asked=asked, answered=list(seen), sounds=list(sounds))
            clerk.view.understood()  # an alarm holds the window until then
            Clock.schedule_interval(visit, 0)
            return False

    def visit(_):
        if clerk.wanted:
            return True
        if not left:
            said.update(visited=seen, loaded=loaded, parts=len(widget._widget_destructors))  # Kivy's own list of all
            app.stop()
            return False
        clerk.go(left.pop())

    Window.bind(on_flip=first)

opening.run(Options(data, True, None, None, (800, 480)), watched)
print(json.dumps(said))
"""


@pytest.fixture
def early(display: Display, tmp_path: Path) -> dict[str, Any]:
    """What the window told after `find` was touched and a heating was scanned, and the holder brought to a cabinet."""
    options = Options(tmp_path / "data", True, None, None, (800, 480))
    with open_desk(options) as desk:
        holder = desk.session.holder("T001").code
        station, slot = (desk.session.cards.find_place(name) for name in ("Shrink station", "Cabinet A · 1-05"))
    assert station and slot
    script = tmp_path / "early.py"
    script.write_text(EARLY, "utf-8")
    ended = subprocess.run(
        [sys.executable, str(script), str(options.data_dir), "find", holder, station, holder, slot],
        capture_output=True,
        text=True,
        timeout=120,
        env=os.environ | {"DISPLAY": display.name, "SDL_AUDIODRIVER": "dummy", "PYTHONPATH": os.pathsep.join(sys.path)},
        check=False,
    )
    assert ended.returncode == 0, ended.stderr[-2000:]
    told: dict[str, Any] = json.loads(ended.stdout.splitlines()[-1])
    return told


def test_what_is_touched_and_scanned_with_the_first_picture_is_done_in_order_and_no_picture_waits_for_it(
    early: dict[str, Any],
) -> None:
    assert not early["known"] and early["strip"] == "Looking up what is hot …"
    assert early["wanted"] == "find" and early["view"] == "scan"  # marked at once, while the screen before stays
    assert early["asked"][:2] == ["pulse", "heat"]  # an alarm finds its screen there, whatever comes before it
    assert early["answered"][0] == "find" and early["answered"][-1] == "heat"
    assert early["sounds"][-1] == "hot"
    assert len(set(early["visited"])) > 30
    assert [name for name in early["loaded"] if not name.startswith(SMALL)] == []
    assert 1000 < early["parts"] < MOST_PARTS
