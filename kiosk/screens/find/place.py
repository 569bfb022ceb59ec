"""Take me there: cabinet, drawer and slot, or machine and pocket, in letters that are read while walking.

Shows what the desk says of a holder's way; nothing moves here.
"""

from __future__ import annotations

from typing import Any

from kivy.properties import ListProperty, ObjectProperty, StringProperty

from kiosk.rules.finding import Usable
from kiosk.rules.place_drawing import PlaceDrawing
from kiosk.screens.clerk import fault_words
from kiosk.screens.find.find import SIGNS, usable_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions import find as asks
from kiosk.screens.view import Covers, View
from kiosk.telling import old_words
from kiosk.words import t

LOOK_AGAIN_S = 2


class PlaceScreen(View):
    """`stations`: the way from outside in, each with what it is."""

    name = "place"
    rail = "find"
    covers = Covers.RAIL

    title = StringProperty()
    state = StringProperty()
    tone = StringProperty("plain")
    sign = StringProperty()
    stations = ListProperty()
    picture = ObjectProperty(None, allownone=True)
    nowhere = StringProperty()  # that there is no way to it
    trouble = StringProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._key = ""
        self._age_s = 0

    def shown(self, key: str = "", **_: Any) -> None:
        self._key = key
        self.stations, self.title, self.state, self.nowhere, self.trouble = [], "", "", "", ""
        self._ask()

    def returned(self) -> None:
        self._ask()

    def tick(self) -> None:
        self._age_s += 1
        if self._age_s >= LOOK_AGAIN_S:
            self._ask()

    def holder(self) -> None:
        """What it is, and what can be done with it."""
        self.clerk.go("holder", key=self._key)

    def _ask(self) -> None:
        self._age_s = 0
        key = self._key
        self.clerk.ask(asks.way(key), lambda found: self.show(*found), self._failed)

    def show(self, way: asks.WayThere, kinds: tuple[str, ...], picture: PlaceDrawing | None = None) -> None:
        """Show the way as the desk gives it; kinds: what each part of its path is; picture: the same drawn."""
        self.picture = picture or None
        self.title = way.name
        self.sign, self.tone = SIGNS[way.usable]
        usable = usable_words(way.usable, way.path[0] if way.path else None, way.left_s)
        self.state = " · ".join(part for part in (usable, old_words(way.as_of)) if part)
        named = [t(f"kind.{kind}") for kind in kinds]
        self.stations = [
            Choice(str(at), part, "" if word.casefold() in part.casefold() else word)
            for at, (part, word) in enumerate(zip(_parts(way.path), named, strict=True))
        ]
        self.nowhere, self.trouble = t("find.nowhere") if way.usable is Usable.NOWHERE else "", ""

    def _failed(self, error: Exception) -> None:
        self.trouble = fault_words(error)


def _parts(path: tuple[str, ...]) -> tuple[str, ...]:
    """The names as they are walked: `Cabinet A`, `Drawer 1`, `1-05`; none repeats one before it."""
    parts: list[str] = []
    for at, name in enumerate(path):
        for before in path[:at]:
            name = name.removeprefix(f"{before} · ")
        parts.append(name)
    return tuple(parts)


load_beside(__file__)
