"""Out of the full screen: a supervisor closes a kiosk that the service keeps open.

Only a PIN leads here.  It says first what closing costs: nothing that cools meanwhile is counted.
"""

from __future__ import annotations

from typing import Any

from kiosk.screens.kv import load_beside
from kiosk.screens.view import Covers, View


class LeaveScreen(View):
    """Asks once more, then closes the window; without a supervisor who has opened it goes back."""

    name = "leave"
    rail = "shop"
    covers = Covers.RAIL

    def shown(self, supervisor: str = "", **_: Any) -> None:
        if not supervisor:
            self.clerk.go("shop")

    def close(self) -> None:
        self.clerk.leave()


load_beside(__file__)
