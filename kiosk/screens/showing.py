"""A rehearsed shift shown in the window: its photographs before the camera, its other steps as a hand would do them.

Plays the same folder as `kiosk.rehearsal`, one step after the other: the next begins when the last has been answered
and could be read.  Waits move the pretended clock, which is why a shift is shown only in a ledger of its own.  It
decides nothing and writes nothing: whatever it does goes through the clerk, as a touch or a scan would.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from kivy.clock import Clock
from numpy.typing import NDArray

from kiosk import words
from kiosk.reader.files import PICTURES, PictureError, load
from kiosk.reader.sources import STILL_RATE_S, Shot, SourceError, Trouble
from kiosk.rehearsal import STEP_S, PretendedTime, StepFault, instruction
from kiosk.screens.clerk import Clerk, fault_words
from kiosk.screens.questions import showing as asks

if TYPE_CHECKING:
    from kiosk.screens.clerk import Scanned

DWELL_S = 3.0  # what came of a step stands so long before the next begins
PATIENCE_S = 8.0  # a picture in which nothing is read is given up after so long
_LOOKS_S = 0.1

log = logging.getLogger("kiosk.showing")


class HeldUp:
    """A source that shows what is held before it; ends when nothing more will come."""

    live = False

    def __init__(self, name: str) -> None:
        self.name = name
        self._held: tuple[NDArray[np.uint8], int] | None = None
        self._ended = False
        self._there = threading.Event()

    def hold(self, picture: NDArray[np.uint8]) -> None:
        take = self._held[1] + 1 if self._held else 0
        self._held = (picture, take)
        self._there.set()

    def end(self) -> None:
        self._ended = True
        self._there.set()

    def open(self) -> None:
        """Nothing to get ready."""

    def grab(self) -> Shot:
        time.sleep(STILL_RATE_S)
        self._there.wait()
        if self._ended or self._held is None:
            raise SourceError(self.name, Trouble.ENDED, "that was the last picture")
        picture, take = self._held
        return Shot(picture.copy(), take)

    def close(self) -> None:
        """Nothing to let go of."""


class Showing:
    """Goes through the steps.  dwell_s: how long what came of each stands."""

    def __init__(self, steps: Sequence[Path], clerk: Clerk, clock: PretendedTime, dwell_s: float = DWELL_S) -> None:
        self.source = HeldUp(steps[0].parent.name)
        self._steps = list(steps)
        self._clerk = clerk
        self._clock = clock
        self._dwell_s = dwell_s
        self._heard_at_s: float | None = None  # when something was read in the picture that is held up
        self._began_s = 0.0
        self._busy = False  # a step that is no picture is being done
        self._looking: Any = None

    def start(self) -> None:
        """Begin with the first step."""
        self._looking = Clock.schedule_interval(self._look, _LOOKS_S)
        self._next()

    def stop(self) -> None:
        if self._looking is not None:
            self._looking.cancel()
        self.source.end()

    def scanned(self, text: str) -> None:
        """A code was read in what is held up."""
        self._heard_at_s = time.monotonic()
        self._clerk.scanned(text)

    def _look(self, _: float) -> None:
        """Whether the step in hand has been answered, and has stood long enough."""
        now_s = time.monotonic()
        heard = self._heard_at_s is not None and now_s - self._heard_at_s > self._dwell_s
        if self._busy or not (heard or now_s - self._began_s > max(PATIENCE_S, self._dwell_s)):
            return
        view = self._clerk.view
        if view is not None and view.name == "heat":  # an alarm is understood by touch before anything goes on
            self._heard_at_s = now_s
            view.understood()
            return
        self._next()

    def _next(self) -> None:
        if not self._steps:
            self.stop()
            return
        path = self._steps.pop(0)
        self._began_s, self._heard_at_s = time.monotonic(), None
        self._clerk.ask(asks.wait(self._clock, STEP_S))  # what a hand takes for it; fewer seconds could not be one
        try:
            if path.suffix.lower() in PICTURES:
                self.source.hold(load(path, colour=True))
            else:
                self._do(path)
        except (PictureError, StepFault, OSError) as fault:
            self._failed(fault)

    def _do(self, path: Path) -> None:
        """A step that is no picture, as a hand does it."""
        step, clerk = instruction(path), self._clerk
        match step:
            case ["wait", amount, "s"]:
                self._ask(asks.wait(self._clock, float(amount)), lambda _: self._waited(float(amount)))
            case ["touch", "undo"]:
                clerk.undo()
                self._done()
            case ["touch", "reading", where, value]:
                self._ask(asks.being_read(), lambda key: self._read(key, where, float(value)))
            case ["touch", "audit", *name]:
                self._ask(asks.open_audit(" ".join(name)), lambda _: self._went("audit"))
            case ["touch", "settle", holder, action, *reason]:
                self._ask(asks.settle(path, holder, action, " ".join(reason)), self._answered)
            case ["touch", "close", "audit"]:
                self._ask(asks.close_audit(), self._answered)
            case [*typed]:
                self.scanned("".join(typed))

    def _ask(self, question: Callable[[Any], Any], then: Callable[[Any], Any]) -> None:
        self._busy = True
        self._clerk.ask(question, then, self._failed)

    def _done(self) -> None:
        self._busy, self._heard_at_s = False, time.monotonic()

    def _waited(self, wait_s: float) -> None:
        self._clerk.trouble = words.t("rehearsal.waited", wait_s=wait_s)
        self._done()

    def _went(self, screen: str) -> None:
        self._clerk.go(screen)
        self._done()

    def _answered(self, scanned: Scanned) -> None:
        self._clerk.answer(scanned)
        self._done()

    def _read(self, key: str, where: str, value_c: float) -> None:
        """A reading is entered on its screen, page by page."""
        self._clerk.go("reading", key=key)
        view: Any = self._clerk.view

        def typed(_: float) -> None:
            view.at(where)
            view.take(value_c)
            self._done()

        Clock.schedule_once(typed, self._dwell_s / 2)

    def _failed(self, error: Exception) -> None:
        log.warning("a step of the shift cannot be shown: %s", error)
        self._clerk.trouble = str(error) if isinstance(error, StepFault | PictureError) else fault_words(error)
        self._done()
