"""Typing a code by hand, where a label cannot be read.

The pad checks the check character with the last symbol; what is wrong is compared with the codes that exist.
"""

from __future__ import annotations

from typing import Any

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.pads import CodePad, Offer
from kiosk.screens.questions import scan as asks
from kiosk.screens.view import Covers, View


class TypedScreen(View):
    """The code pad.  A whole code goes where a scan would have gone."""

    name = "typed"
    covers = Covers.RAIL

    @property
    def pad(self) -> CodePad:
        pad: CodePad = self.ids.pad
        return pad

    def shown(self, **_: Any) -> None:
        self.pad.clear()

    def typed(self, text: str) -> None:
        """A whole code: back to the screen that asked, which takes it as a scan."""
        self.clerk.back()
        self.clerk.scanned(text)

    def compare(self, text: str) -> None:
        """Look for codes that exist one slip away."""
        self.clerk.ask(asks.near(text), self._offer)

    def _offer(self, found: tuple[asks.Near, ...]) -> None:
        self.pad.offers = [Offer(near.code, near.name) for near in found]


load_beside(__file__)
