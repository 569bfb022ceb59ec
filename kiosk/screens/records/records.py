"""Where the book is read: the summary of a shift, the audits that were closed, everything that happened, and
what the camera saw of labels nobody could read.

Only leads on to the screens that show it.
"""

from __future__ import annotations

from kivy.properties import ListProperty

from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.view import View
from kiosk.words import t

LEADS = ("shift", "audits", "history", "unread")


class RecordsScreen(View):
    """`choices`: what can be read."""

    name = "records"
    rail = "audit"

    choices = ListProperty()

    def shown(self, **_: object) -> None:
        self.choices = [Choice(name, t(f"records.{name}"), t(f"records.{name}_note")) for name in LEADS]

    def choose(self, name: str) -> None:
        """One was touched."""
        self.clerk.go(name)


load_beside(__file__)
