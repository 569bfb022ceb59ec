"""Pictures of every screen in its states, at any size, to be looked at.

    .venv/bin/python -m tests.journeys.pictures hot build --size 800x480 --size 360x640 --language de

Draws the samples that the walker lays out, in a real window on a screen of its own, and leaves one PNG a screen and
size in `.pictures/`, all its states side by side.  No screen named: all of them.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

SIZES = (
    *("360x640", "640x360", "480x800", "600x1024", "800x480", "1024x600", "1280x800", "800x1280"),
    *("1920x1080", "1080x1920"),
)
SHEET_PX = 2000
GAP_PX = 6


def main() -> int:
    """The command: a screen in memory, and a process that draws on it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("screens", nargs="*")
    parser.add_argument("--size", action="append", metavar="WxH[@PX_PER_MM]")
    parser.add_argument("--language", default="en")
    parser.add_argument("--state", action="append", help="only these states of the screens")
    parser.add_argument("--out", type=Path, default=Path(__file__).resolve().parents[2] / ".pictures")
    given = parser.parse_args()
    from tests.journeys.display import Display

    display = Display((1920, 1920))  # a high window as well as a wide one
    try:
        wanted = {
            "screens": given.screens, "sizes": given.size or SIZES, "language": given.language,
            "states": given.state or [], "out": str(given.out),
        }  # fmt: skip
        environment = os.environ | {"DISPLAY": display.name, "SDL_AUDIODRIVER": "dummy"}
        code = "from tests.journeys.pictures import draw; draw()"
        return subprocess.run([sys.executable, "-c", code, json.dumps(wanted)], env=environment, check=False).returncode
    finally:
        display.close()


def draw() -> None:
    """What the process on the screen does."""
    wanted = json.loads(sys.argv[1])
    from PIL import Image

    from tests.journeys import walker

    out = Path(wanted["out"])
    out.mkdir(exist_ok=True)
    screen = _Screen()
    for size in wanted["sizes"]:
        shape, _, density = size.partition("@")
        width, height = (int(part) for part in shape.split("x"))
        stage = walker.Stage(wanted["language"], (width, height, *([float(density)] if density else [])))
        screen.shot(width, height, 40)
        shots: dict[str, list[Any]] = {}
        for name, state, fill in walker.SAMPLES:
            if (wanted["screens"] and name not in wanted["screens"]) or (
                wanted["states"] and state not in wanted["states"]
            ):
                continue
            stage.set(name, fill)
            shots.setdefault(name, []).append(screen.shot(width, height))
        for name, pictures in shots.items():
            across = max(1, min(len(pictures), SHEET_PX // (width + GAP_PX)))
            down = -(-len(pictures) // across)
            sheet = Image.new("RGB", (across * (width + GAP_PX), down * (height + GAP_PX)), (255, 0, 255))
            for at, picture in enumerate(pictures):
                sheet.paste(picture, ((at % across) * (width + GAP_PX), (at // across) * (height + GAP_PX)))
            path = out / f"{name}-{size}-{wanted['language']}.png"
            sheet.save(path)
            walker.REPLIES.write(f"{path}: {len(pictures)} states\n")


class _Screen:
    """What the window shows, as X has it."""

    def __init__(self) -> None:
        from Xlib.display import Display as Connection

        self._root = Connection().screen().root

    def shot(self, width: int, height: int, turns: int = 2) -> Any:
        """A picture of the window, drawn so many times: one that was made larger is there once X has said so."""
        from kivy.base import EventLoop
        from PIL import Image
        from Xlib import X

        for _ in range(turns):
            EventLoop.idle()
            time.sleep(0.01)
        shot = self._root.get_image(0, 0, width, height, X.ZPixmap, 0xFFFFFFFF)
        return Image.frombytes("RGB", (width, height), shot.data, "raw", "BGRX")


if __name__ == "__main__":
    sys.exit(main())
