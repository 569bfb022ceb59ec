"""Typing a code by hand, where a label cannot be read.

The pad checks the check character with the last symbol; what is wrong is compared with the codes that exist.
"""

from __future__ import annotations

from typing import Any

from kiosk.desk import Desk
from kiosk.rules.cards import DamagedCode
from kiosk.rules.codes import slips
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.pads import CodePad, Offer
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
        self.clerk.ask(lambda desk: _meant(desk, text), self._offer)

    def _offer(self, offers: list[Offer]) -> None:
        self.pad.offers = offers


def _meant(desk: Desk, text: str) -> list[Offer]:
    cards = desk.session.cards
    subject = cards.subject(text)
    near = subject.near if isinstance(subject, DamagedCode) else tuple(code.text for code in slips(text))
    offers = []
    for code in near:
        known = cards.subject(code)
        offers.append(Offer(code, str(getattr(known, "name", ""))))
    return offers


load_beside(__file__)
