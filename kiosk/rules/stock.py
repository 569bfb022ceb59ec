"""What the book says of one holder, as lists and files need it: the label, what is built in, where it stands.

A snapshot for one moment; nothing here decides or changes anything.  Where a thing stands is said twice, by
name for people and by kind and number for rules, and both come from the same place card.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from kiosk.rules.assembly import Assembly, Holder
from kiosk.rules.cards import Heat, HolderCard
from kiosk.rules.checkin import warmth
from kiosk.rules.places import Kind


@dataclass(frozen=True, slots=True)
class BookEntry:
    """One holder at one moment.

    place: its name as people say it, None: nowhere known.  machine: name of the machine it is in.  hot: it must
    not be touched or taken.  safe_in_s: watched seconds until it may be, None where only a reading can tell.
    tool_number: what the control calls it, where the shop keeps that.
    """

    code: str
    holder: Holder
    assembly: Assembly | None = None
    place: str | None = None
    kind: Kind | None = None
    machine: str | None = None
    pocket: int | None = None
    fixed: bool = False
    hot: bool = False
    safe_in_s: float | None = None
    heats: int = 0  # heat cycles of the holder
    regrinds: int = 0  # times the cutter came back reground
    tool_number: int | None = None

    @property
    def name(self) -> str:
        return self.assembly.name if self.assembly else self.holder.name


def book_entry(
    card: HolderCard, *, fixed: bool = False, regrinds: int = 0, tool_number: int | None = None
) -> BookEntry:
    """A holder's card as lists need it.  A temperature nobody knows counts as hot."""
    place = card.at.place if card.at else None
    in_machine = place is not None and place.kind.in_machine
    held = card.hold is not None and not card.hold.ended
    return BookEntry(
        code=card.code,
        holder=card.holder,
        assembly=card.assembly,
        place=card.at.name if card.at else None,
        kind=place.kind if place else None,
        machine=card.at.path[0] if card.at and in_machine else None,
        pocket=place.number if place and place.kind is Kind.POCKET else None,
        fixed=fixed,
        hot=warmth(card) is not Heat.COOL,
        safe_in_s=card.hold.safe_in_s if card.hold and held else None,
        heats=card.heat_cycles,
        regrinds=regrinds,
        tool_number=tool_number,
    )


def in_reading_order(text: str) -> tuple[tuple[int, int, str], ...]:
    """A sort key that puts `drawer 2` before `drawer 10`, and letters without regard to case."""
    parts = re.findall(r"\d+|\D+", text)
    return tuple((0, int(part), "") if part.isdecimal() else (1, 0, part.casefold()) for part in parts)
