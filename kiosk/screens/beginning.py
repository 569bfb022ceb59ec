"""What a new kiosk opens with, the way to the demo shop and back, and the same window anew.

Asks the desk whether the first steps are wanted; the next window is opened by the command, once this one is closed.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

from kiosk.screens.clerk import Clerk
from kiosk.screens.options import Options
from kiosk.screens.questions import first


class Beginning:
    """`goes_to`: the folder to open once the window is closed, this one's or another; None: none."""

    def __init__(self, options: Options, clerk: Clerk, stop: Callable[[], object]) -> None:
        self.goes_to: Path | None = None
        self._demo, self._clerk, self._stop = options.demo, clerk, stop
        if not options.shift:
            clerk.restart = partial(self._instead, options.data_dir)
        if options.own is not None:
            clerk.begin_own = partial(self._instead, options.own)
        elif not options.demo:
            clerk.look_around = partial(self._instead, options.data_dir / "demo")

    def look(self) -> None:
        """The desk is open: a kiosk that knows nothing yet asks first, unless somebody is at something already."""
        if not self._demo:
            self._clerk.ask(first.wanted(), self._first)

    def _first(self, wanted: bool) -> None:
        if wanted and self._clerk.view is not None and self._clerk.view.name == "scan":
            self._clerk.go("first")

    def _instead(self, folder: Path) -> None:
        self.goes_to = folder
        self._stop()
