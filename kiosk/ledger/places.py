"""Every place of the book in memory: the names from cabinet to slot, what stands inside what, and the magazines.

Read from rows once and never changed; who writes a place reads them again.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

import msgspec

from kiosk.ledger.derive import TableRow
from kiosk.rules.cards import place_name
from kiosk.rules.fitting.magazine import Magazine
from kiosk.rules.places import Kind, Place

_magazine = msgspec.json.Decoder(Magazine)


class Places:
    """Every place, by code, with the names from cabinet to slot."""

    def __init__(self, places: Iterable[TableRow]) -> None:
        self.rows = {row["code"]: row for row in places}
        self.inside: dict[str, list[str]] = {}
        for code, row in self.rows.items():
            if row["parent"]:
                self.inside.setdefault(row["parent"], []).append(code)
        self._magazines = {
            code: _magazine.decode(row["magazine"]) for code, row in self.rows.items() if row["magazine"]
        }
        self._said: Counter[str] | None = None

    def place(self, code: str) -> Place:
        row = self.rows[code]
        return Place(
            code,
            row["name"],
            Kind(row["kind"]),
            row["parent"],
            row["number"],
            row["capacity"],
            row["way"],
            row["wet_length_mm"],
        )

    def path(self, code: str) -> tuple[str, ...]:
        names: list[str] = []
        at: str | None = code
        while at is not None and len(names) < 8:
            row = self.rows[at]
            names.insert(0, row["name"])
            at = row["parent"]
        return tuple(names)

    def said(self) -> Counter[str]:
        """How often each text may mean a place: its code, its own name, and its name as people say it."""
        if self._said is None:
            texts = ({code, row["name"], place_name(self.path(code))} for code, row in self.rows.items())
            self._said = Counter(text for found in texts for text in found)
        return self._said

    def magazine(self, code: str) -> Magazine | None:
        return self._magazines.get(code)

    def within(self, code: str) -> list[str]:
        """The place and everything inside it, in walking order (by number)."""
        codes = [code]
        for child in sorted(
            self.inside.get(code, ()), key=lambda c: (self.rows[c]["number"] or 0, self.rows[c]["name"])
        ):
            codes += self.within(child)
        return codes
