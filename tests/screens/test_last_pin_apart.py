"""A difference about the last who can give a PIN, as it is shown and touched: no touch is refused."""

from __future__ import annotations

from typing import Any

import pytest
from kivy.core.window import Window  # noqa: F401 - the widgets need one

from kiosk.desk import Desk
from kiosk.rules import lines as L
from kiosk.rules.merge import Made, claims
from kiosk.screens.shop.apart import ApartScreen, Page
from kiosk.settings import Settings
from tests.conftest import Shop
from tests.desk.test_settled_by_hand import supervised, unapplied
from tests.desk.test_told_differently import OTHER, differs


class Clerk:
    """Asks the desk at once."""

    settings = Settings()

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def ask(self, question: Any, then: Any, failed: Any = None) -> None:
        try:
            found = question(self._desk)
        except Exception as error:
            if failed is None:
                raise
            failed(error)
        else:
            then(found)

    def play(self, _: object) -> None:
        """Nothing is heard."""


@pytest.mark.parametrize("said", [L.OperatorRetired("ines", "left"), L.OperatorAdded("ines", "Ines", "setter")])
def test_every_row_can_be_touched_and_why_the_other_cannot_is_read_with_what_to_do(shop: Shop, said: L.Entry) -> None:
    supervised(shop)
    differs(shop, "badge/ines", Made(unapplied(shop, said), OTHER, claims(said)[0].value))
    shop.desk.people.unlock("ines", "2580")
    screen = ApartScreen()
    screen.clerk = Clerk(shop.desk)
    screen.shown()
    screen.choose(screen.rows[0])
    assert [row.text for row in screen.claims] == ["stays supervisor"]
    for words in ("last supervisor with a PIN", "another supervisor choose a PIN first"):
        assert words in screen.what_to_do
    assert ("taken out of use" in screen.what_to_do) is isinstance(said, L.OperatorRetired)
    for row in screen.claims:
        screen.take(row)
        assert screen.page == Page.LIST and screen.trouble == "" and "stays supervisor" in screen.settled
