"""The kiosk's window as a person in front of it: touches it, holds labels up to it, reads what it says."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import qrcode

from tests.journeys.display import PICTURES, Display

PATIENCE_S = 30.0
LOOKS_S = 0.02  # between two looks at the window
STILL_S = 0.1  # what stays in its place so long is not moved by an answer of the desk that is just coming
CORNER_PX = 3.0  # a finger that just meets a corner


def draw_label(code: str, path: Path) -> None:
    """A camera's picture, 640x480, of a label lying straight in the middle."""
    symbol = qrcode.QRCode(version=1, error_correction=qrcode.constants.ERROR_CORRECT_H, box_size=6, border=4)
    symbol.add_data(code.encode(), optimize=0)
    symbol.make(fit=False)
    label = np.where(np.array(symbol.get_matrix()), 20, 235).astype(np.uint8)
    label = np.kron(label, np.ones((6, 6), np.uint8))
    frame = np.full((480, 640), 110, np.uint8)
    top, left = (480 - label.shape[0]) // 2, (640 - label.shape[1]) // 2
    frame[top : top + label.shape[0], left : left + label.shape[1]] = label
    cv2.imwrite(str(path), cv2.cvtColor(frame, cv2.COLOR_GRAY2BGR))


class Window:
    """One window on a display, with the demo shop behind it.  `size`: width and height, px.  python: what runs it."""

    def __init__(
        self, display: Display, size: tuple[int, int], data: Path, python: Path | str = sys.executable, **options: Any
    ) -> None:
        self.display = display
        self.size = size
        self.at_corners = False  # touches fall on the corners of what is touched, one after the other, as thumbs do
        self._corner = 0
        self._folder = tempfile.TemporaryDirectory(prefix="held-")  # gone with this hand at the latest
        self._scratch = Path(self._folder.name)
        self._held = 0
        given = {"data": str(data), "size": size, **options}
        environment = os.environ | {"DISPLAY": display.name, "SDL_AUDIODRIVER": "dummy", "PYTHONPATH": os.getcwd()}
        self._log = tempfile.TemporaryFile("w+")  # noqa: SIM115 - open as long as the window
        self._process = subprocess.Popen(
            [str(python), str(Path(__file__).with_name("driver.py")), json.dumps(given)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._log,
            text=True,
            env=environment,
        )
        self._until(lambda: bool(self.screen()["texts"]), "the window to open")
        self._until(self._feels, "the window to take touches")
        self._until(self._knows_heat, "the desk to say what is hot")
        if "camera" not in options:
            self._ask(do="look")

    def _knows_heat(self) -> bool:
        """Until then scans wait in order, and a pretended clock would be moved past them."""
        said = " ".join(str(text[0]) for text in self.screen()["texts"])
        return not any(waiting in said for waiting in ("Looking up what is hot", "Sieht nach, was heiß ist"))

    def _feels(self) -> bool:
        """A window that is drawn takes no touches yet: touch the strip, which does nothing, until one arrives."""
        self.display.touch(self.size[0] / 2, 4)
        time.sleep(0.1)
        return bool(self.screen()["felt"])

    def close(self) -> None:
        if self._process.poll() is None:
            assert self._process.stdin is not None
            self._process.stdin.write(json.dumps({"do": "stop"}) + "\n")
            self._process.stdin.flush()
            try:
                self._process.wait(60)
            except subprocess.TimeoutExpired:
                self._process.kill()
                raise AssertionError("the window did not close within 60 s") from None

    def kill(self) -> None:
        """As a power cut ends it: at once, and it is told nothing."""
        self._process.kill()
        self._process.wait()

    def went_on(self) -> None:
        """End what took the place of the window in its process, and of which nothing is known here."""
        self._process.terminate()
        self._process.wait(60)

    def ended(self, patience_s: float) -> int:
        """The exit code of a window that closes by itself."""
        return self._process.wait(patience_s)

    # What a person does ---------------------------------------------------------------------------------------

    def touch(self, words: str, bounces: bool = False) -> None:
        """Touch what says these words, and only these if there is such a thing; waits until it stays in its place.

        bounces: the finger comes down twice.
        """
        says = f"something to touch that says {words!r}"
        found = self._still("touches", lambda said: words.casefold() in said.casefold(), says)
        # an icon without a word goes by the icon's name, which may be the same word in small letters
        _, x, y, width, height = min(found, key=lambda touch: (len(touch[0]), touch[0] != words))
        self.display.touch(*self._point(x, y, width, height), bounces)

    def touch_above(self, words: str, mm: float) -> None:
        """Touch the picture so far above what says these words, at its middle."""
        self.sees(words)
        found = [touch for touch in self.screen()["touches"] if words.casefold() in touch[0].casefold()]
        _, x, y, width, _ = min(found, key=lambda touch: len(touch[0]))
        self.display.touch(x + width / 2, y - mm * 5.2)

    def touch_corner(self, words: str) -> None:
        """Touch what says these words at its lower right corner, where a thumb comes from below."""
        self.sees(words)
        found = [touch for touch in self.screen()["touches"] if words.casefold() in touch[0].casefold()]
        _, x, y, width, height = min(found, key=lambda touch: len(touch[0]))
        self.display.touch(x + width - 3, y + height - 3)

    def touch_at(self, words: str) -> None:
        """Touch where these words stand, whatever is below them."""
        found = self._still("texts", lambda said: words.casefold() in said.casefold(), f"the words {words!r}")
        _, x, y, width, height = min(found, key=lambda text: len(text[0]))
        self.display.touch(x + width / 2, y + height / 2)

    def touch_key(self, symbol: str) -> None:
        """Touch the key of a pad that says exactly this."""
        found = self._still("touches", lambda said: said == symbol, f"a key that says exactly {symbol!r}")
        _, x, y, width, height = found[0]
        self.display.touch(*self._point(x, y, width, height))

    def _still(self, kind: str, says: Callable[[str], bool], what: str) -> list[Any]:
        """What on the screen says so, once it has stayed in its place.  kind: "touches" or "texts"."""
        found: list[Any] = []
        since_s = 0.0

        def there() -> bool:
            nonlocal since_s
            now = [each for each in self.screen()[kind] if says(each[0])]
            if not now or now != found:
                found[:], since_s = now, time.monotonic()
                return False
            return time.monotonic() - since_s >= STILL_S

        self._until(there, what)
        return found

    def _point(self, x: float, y: float, width: float, height: float) -> tuple[float, float]:
        """Where on a key the finger comes down: its middle, or the next of its corners."""
        if not self.at_corners:
            return x + width / 2, y + height / 2
        self._corner = (self._corner + 1) % 4
        right, lower = self._corner % 2, self._corner // 2
        return (x + width - CORNER_PX if right else x + CORNER_PX), (y + height - CORNER_PX if lower else y + CORNER_PX)

    def hold_up(self, *codes: str) -> None:
        """Hold a label before the camera, clean and straight; several: one after the other."""
        for code in codes:
            self.hold_up_picture(self._drawn(code))

    def hold_up_picture(self, path: Path) -> None:
        self._ask(do="hold", path=str(path))

    def read(self, code: str) -> None:
        """The reader hands a code over, without a picture and without keys: for many in a row."""
        self._ask(do="read", text=code)

    def open_screen(self, name: str) -> None:
        """Have a screen in sight, whatever touches lead to it."""
        self._ask(do="go", name=name)

    def opens(self, name: str) -> str:
        """Have a screen in sight; where it leads on at once, the one that it leads to."""
        self.open_screen(name)
        end_s = time.monotonic() + 2.0
        while (view := str(self.screen()["view"])) != name and time.monotonic() < end_s:
            time.sleep(LOOKS_S)
        return view

    def understood(self) -> None:
        """The alarm's own button, without a finger."""
        self._ask(do="understood")

    def put_away(self) -> None:
        """Nothing is before the camera any more."""
        path = self._scratch / "nothing.png"
        cv2.imwrite(str(path), np.full((480, 640, 3), 96, np.uint8))
        self.hold_up_picture(path)

    def scan(self, code: str) -> None:
        """A keyboard-style scanner reads a code."""
        self.display.type(code)

    def shows_badge(self, key: str) -> None:
        """A supervisor's badge is shown where one is asked for before the first PIN is chosen."""
        asked = "Scan a supervisor's badge"
        self.sees(asked)
        self.scan(self.badge(key))
        self.sees_not(asked)

    def wait(self, seconds: float) -> None:
        """Time goes by."""
        self._ask(do="forward", s=seconds)

    def passes(self, seconds: float) -> str:
        """Time goes by without a hand, and the window has heard of it; the screen that is in sight then."""
        return str(self._ask(do="pass", s=seconds)["view"])

    def lose_camera(self, lost: bool) -> None:
        """The camera is unplugged, or plugged in again."""
        self._ask(do="lose", lost=lost)

    def block(self, seconds: float) -> None:
        """The window's loop stands still for so long; all other threads run."""
        self._ask(do="block", s=seconds)

    def looks_for_copies(self) -> None:
        """The ten minutes are over after which the window makes the copy that is due, and looks whether copies come."""
        self._ask(do="copies")

    def hang_desk(self, hung: bool) -> None:
        """The desk answers nothing any more, or again."""
        self._ask(do="hang", hung=hung)

    # What a person sees ---------------------------------------------------------------------------------------

    def screen(self) -> Any:
        return self._ask(do="screen")

    def sees(self, *words: str, patience_s: float = PATIENCE_S) -> None:
        """Wait until every one of these is said on the screen."""
        said: list[str] = []

        def there() -> bool:
            said[:] = [text[0] for text in self.screen()["texts"]]
            everything = "\n".join(said).casefold()
            return all(word.casefold() in everything for word in words)

        try:
            self._until(there, "", patience_s)
        except AssertionError as gone:
            raise AssertionError(f"the screen never said {words}; it says {said}") from gone

    def waits_for(self, there: Callable[[], bool], what: str, patience_s: float = PATIENCE_S) -> None:
        """Wait until something has come true outside the window."""
        self._until(there, what, patience_s)

    def sees_not(self, word: str) -> None:
        """Wait until this is said nowhere."""
        self._until(lambda: all(word not in text[0] for text in self.screen()["texts"]), f"{word!r} to go")

    def is_off(self, view: str) -> None:
        """Wait until this screen is shown no more."""
        self._until(lambda: self.screen()["view"] != view, f"another screen than {view!r}")

    def is_on(self, view: str) -> None:
        """Wait until this screen is shown."""
        self._until(lambda: self.screen()["view"] == view, f"the screen {view!r}")

    def picture(self, name: str) -> None:
        """Leave a picture of the window in `.pictures/`."""
        time.sleep(0.1)
        width, height = self.size
        path = PICTURES / f"{name}-{width}x{height}.png"
        self._until(lambda: len(self.display.picture(self.size, path).getcolors(1 << 24)) > 1, "a picture")

    # What the book says ---------------------------------------------------------------------------------------

    def place(self, name: str) -> str:
        """Code of a place by its name."""
        return str(self._ask(do="desk", what="place", name=name))

    def holder(self, key: str) -> str:
        """Code of a holder by its key."""
        return str(self._ask(do="desk", what="holder", key=key))

    def badge(self, key: str) -> str:
        """Code on a person's badge by their key."""
        return str(self._ask(do="desk", what="badge", key=key))

    def name(self, key: str) -> str:
        """What a holder is called, with its cutter."""
        return str(self._ask(do="desk", what="name", key=key))

    def where(self, key: str) -> str | None:
        """Name of the place the book has a holder at."""
        place: str | None = self._ask(do="desk", what="where", key=key)
        return place

    def hot(self) -> list[str]:
        """Keys of the holders under a hold."""
        return list(self._ask(do="desk", what="hot"))

    def shift(self, since_utc_s: float, until_utc_s: float) -> dict[str, int]:
        """The figures of a stretch of wall time."""
        return dict(self._ask(do="desk", what="shift", since=since_utc_s, until=until_utc_s))

    def history(self, key: str) -> list[str]:
        """Kinds of the lines about a subject, newest first."""
        return list(self._ask(do="desk", what="history", key=key))

    def played(self) -> tuple[dict[str, float], dict[str, list[str]], list[str]]:
        """Of a shift that is shown: the pretended seconds when a step began, what came of each, and all texts seen."""
        told = self._ask(do="played")
        return told["began"], told["told"], list(told["said"])

    def replace_label(self, key: str) -> str:
        """A holder's label was replaced some time ago; the code of the one before."""
        return str(self._ask(do="desk", what="replace_label", key=key))

    def elsewhere(self, *codes: str) -> None:
        """Another hand scans these meanwhile; the window hears of it as of all that it did not do itself."""
        self._ask(do="desk", what="scans", codes=codes)

    def built_elsewhere(self, key: str, cutter: str) -> None:
        """Another hand builds a cutter into a holder meanwhile."""
        self._ask(do="desk", what="builds", key=key, cutter=cutter)

    def check(self) -> list[str]:
        """What the ledger's own check finds."""
        return list(self._ask(do="desk", what="check"))

    # --------------------------------------------------------------------------------------------------------

    def _drawn(self, code: str) -> Path:
        self._held += 1
        path = self._scratch / f"{self._held:03}.png"
        draw_label(code, path)
        return path

    def _ask(self, **asked: Any) -> Any:
        assert self._process.stdin is not None and self._process.stdout is not None
        try:
            self._process.stdin.write(json.dumps(asked) + "\n")
            self._process.stdin.flush()
        except BrokenPipeError:
            raise AssertionError(f"the window is gone:\n{self._said()}") from None
        answer = self._process.stdout.readline()
        if not answer:
            raise AssertionError(f"the window is gone:\n{self._said()}")
        told = json.loads(answer)
        if isinstance(told, dict) and told.keys() == {"error"}:
            raise AssertionError(f"the desk could not answer {asked}: {told['error']}")
        return told

    def _said(self) -> str:
        self._log.seek(0)
        return self._log.read()[-4000:]

    def _until(self, there: Any, what: str, patience_s: float = PATIENCE_S) -> None:
        end = time.monotonic() + patience_s
        while not there():
            if time.monotonic() > end:
                raise AssertionError(f"waited {patience_s:.0f} s for {what}; screen: {self.screen()}")
            time.sleep(LOOKS_S)
