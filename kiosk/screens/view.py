"""What every screen is: a page of the window, with its way to the desk.

How a screen is made stands in `app.py`.  A screen shows and forwards; it never waits for the desk, and holds
nothing that the ledger holds.
"""

from __future__ import annotations

from enum import IntEnum
from typing import TYPE_CHECKING, Any

from kivy.properties import ObjectProperty
from kivy.uix.boxlayout import BoxLayout

if TYPE_CHECKING:  # the desk is loaded on its own thread
    from kiosk.desk.desk import Scanned


class Covers(IntEnum):
    """How much of the frame a screen hides."""

    NOTHING = 0
    RAIL = 1
    ALL = 2


class View(BoxLayout):
    """A page.  `clerk`: its way to the desk (`clerk.Clerk`).

    `name`: how `Clerk.go` calls it.  `rail`: the destination marked while it is shown.  `covers`: what it hides.
    """

    clerk = ObjectProperty(None, allownone=True)
    name = ""
    rail = "scan"
    covers = Covers.NOTHING
    signs_in = False  # what it takes is steel and places: a badge signs in or out, and the screen stays as it is
    forwards = False  # what it takes of scans it hands to the desk itself
    tells_first = False  # it says how something went that a hand waits for: what else is to be said comes behind it
    holds = False  # nothing comes over it until it has let go by itself: an alarm nobody has understood yet

    @property
    def stays(self) -> bool:
        """Whether it is left only by a touch or a scan; others give way to the scan screen after a pause."""
        return False

    @property
    def half_typed(self) -> bool:
        """Whether something typed in sight was not handed over yet: that is not thrown away by a pause either."""
        return any(getattr(part, "half_typed", False) for part in self.walk(restrict=True) if part is not self)

    def shown(self, **about: Any) -> None:
        """It comes into sight; `about` is what the caller of `Clerk.go` said."""

    def left(self) -> None:
        """It goes out of sight."""

    def returned(self) -> None:
        """It comes into sight again on the way back."""

    def tick(self) -> None:
        """Once a second while it is in sight."""

    def keyed(self, character: str) -> None:
        """A key was struck while it is in sight and no field has the keyboard; a scanner's count too."""

    def scanned(self, text: str) -> bool:
        """A code was read while it is in sight.  True: it is this screen's; False: the desk is asked what it does."""
        return False

    def came(self, scanned: Scanned) -> bool:
        """The desk's answer to a scan while it is in sight.  True: it is shown here; False: on the scan screen."""
        return False
