"""The shop counter: places, holders, cutters and machines, and the codes bound to them.

A code is bound once and for all; whatever is registered here can be corrected by a later line, never erased.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from functools import cached_property
from typing import TYPE_CHECKING

from kiosk.desk.session import NotThere, Session
from kiosk.ledger import stock
from kiosk.ledger import tables as T
from kiosk.ledger.book import Written, rows
from kiosk.rules import codes
from kiosk.rules.assembly import Holder
from kiosk.rules.cards import HolderCard, PlaceCard
from kiosk.rules.hold_facts import pair
from kiosk.rules.lines import (
    CodeBound,
    CodeRetired,
    Entry,
    HolderRegistered,
    HolderRetired,
    Imported,
    Moved,
)
from kiosk.rules.outcomes import Refused
from kiosk.rules.outline import bare

if TYPE_CHECKING:
    from kiosk.desk.setting_up import SettingUpCounter


class ShopCounter:
    def __init__(self, session: Session) -> None:
        self._session = session

    @cached_property
    def setting_up(self) -> SettingUpCounter:
        """What a shop has, entered by hand; loaded when it is first asked for."""
        from kiosk.desk.setting_up import SettingUpCounter

        return SettingUpCounter(self._session)

    def fresh_code(self, kind: codes.CodeKind) -> codes.Code:
        """A code that was never bound."""
        return self._session.fresh_code(kind)

    def load(self, entries: Sequence[Entry], source: str = "") -> tuple[Written, ...]:
        """Writes what a shop file said, all of it or nothing; with its `source` it is nobody's work of this shift."""
        return self._session.write(*entries, *((Imported(source, len(entries)),) if source else ()))

    @property
    def empty(self) -> bool:
        """Whether the book has no place yet: a new kiosk."""
        return not self._session.cards.places.rows

    def standing(self) -> dict[str, tuple[str, ...]]:
        """Names of what stands at each place, by its code."""
        found = rows(T.Holder.select(T.Holder.key, T.Holder.place).where(T.Holder.place.is_null(False)))
        called = stock.names(row["key"] for row in found)
        at: dict[str, list[str]] = {}
        for row in found:
            at.setdefault(str(row["place"]), []).append(called.get(row["key"]) or str(row["key"]))
        return {code: tuple(sorted(names)) for code, names in at.items()}

    def standing_in(self, code: str) -> tuple[HolderCard, ...]:
        """Holders at a place and in everything inside it, in walking order."""
        cards = self._session.cards
        order = cards.places.within(code)
        found = rows(T.Holder.select(T.Holder.key, T.Holder.place).where(T.Holder.place.in_(order)))
        found.sort(key=lambda row: (order.index(row["place"]), row["key"]))
        return tuple(card for row in found if (card := cards.holder(row["key"])))

    def places(self) -> tuple[PlaceCard, ...]:
        """Every place in walking order, without who stands there."""
        places = self._session.cards.places
        tops = sorted((c for c, row in places.rows.items() if not row["parent"]), key=lambda c: places.rows[c]["name"])
        return tuple(
            PlaceCard(places.place(code), places.path(code), retired=bool(places.rows[code]["retired"]))
            for top in tops
            for code in places.within(top)
        )

    def holders(self, first: int = 0, count: int = 50) -> tuple[HolderCard, ...]:
        """Holders by name, a page at a time."""
        found = rows(T.Holder.select().order_by(T.Holder.name, T.Holder.key).offset(first).limit(count))
        return tuple(self._session.cards.holder_of(row) for row in found)

    def fresh_key(self) -> str:
        """A key for a new holder."""
        return f"T{secrets.token_hex(5).upper()}"

    def code_of(self, key: str) -> str:
        """The label in use on a place or badge.  Raises NotThere."""
        bound = T.Binding.select(T.Binding.text).where(T.Binding.subject == key, T.Binding.retired_line.is_null())
        for row in rows(bound.order_by(T.Binding.bound_line.desc())):
            return str(row["text"])
        raise NotThere("label on", key)

    def register(
        self, holder: Holder, code: str | None, place: str | None, *, stood_cold: bool, foreign: bool = False
    ) -> HolderCard:
        """A new holder standing at `place`.  stood_cold: nobody heated it within the last day.

        code: of a label it has already, or `foreign` of a mark; None: one is printed, and bound by its first scan.
        Raises ActRefused.
        """
        self._session.signed_in()
        lines: list[Entry] = [HolderRegistered(holder, stood_cold=stood_cold)]
        if code is not None:
            lines.append(CodeBound(code, holder.key, "holder", foreign=foreign))
        if place is not None:
            lines.append(Moved(holder.key, None, place))
        self._session.write(*lines)
        return self._session.holder(holder.key)

    def alike_and_hot(self, holder: Holder) -> HolderCard | None:
        """Another holder of the same type that is under a hold or was heated within the hour.

        What nobody can see by a label: the hot one of two alike may be the one that is being registered as cold.
        """
        mine = pair(holder, None)
        others = (card for card in self._session.hot_lately() if card.holder.key != holder.key)
        return next((card for card in others if pair(card.holder, None) == mine), None)

    def retire(self, key: str, reason: str) -> None:
        """A holder that is gone for good.  Raises Locked, NeedsReason, NotThere."""
        self._session.holder(key)
        by = self._session.supervised(reason)
        self._session.write(HolderRetired(key, reason), by=by)

    def correct(self, holder: Holder, reason: str) -> HolderCard:
        """Other facts of a holder.

        Raises Locked, NeedsReason, NotThere, OutlineError (figures that make no holder), OutOfBounds, StillHot while
        a hold rests on them.
        """
        before = self._session.holder(holder.key).holder
        line = HolderRegistered(holder, reason)
        self._session.unheld(line)
        if _figures(holder) != _figures(before):
            bare(holder)
        self._session.write(line, by=self._session.supervised(reason))
        return self._session.holder(holder.key)

    def correct_place(self, key: str, place: str | None, reason: str) -> HolderCard | Refused:
        """The book follows the steel without a scan; None: nowhere known.  What may not go there is refused still.

        Raises Locked, NeedsReason, NotThere.
        """
        from kiosk.rules.checkin import arrival, may_go  # the desk tells what is hot before it has read how one moves

        session = self._session
        card = session.holder(key)
        by = session.supervised(reason)
        goal = session.place(place) if place else None
        refused = may_go(card, goal, session.cooling_place()) if goal else None
        if refused is not None:
            return refused
        at = card.at.place.code if card.at else None
        lines = arrival(card, goal, reason) if goal else (Moved(key, at, None, reason=reason),)
        session.write(*lines, by=by)
        return session.holder(key)

    def replace_label(self, key: str, code: str) -> HolderCard:
        """A new label on a holder: binds it and retires the old one in the same line; a maker's mark stays."""
        card = self._session.holder(key)
        bound = T.Binding.text == card.code, T.Binding.foreign_mark == 0, T.Binding.retired_line.is_null()
        old = card.code if T.Binding.select().where(*bound).exists() else None
        self._session.write(CodeBound(code, key, "holder", replaces=old))
        return self._session.holder(key)

    def adopt_mark(self, key: str, text: str) -> HolderCard:
        """A mark that was on the holder before us answers for it from now on."""
        self._session.write(CodeBound(text, key, "holder", foreign=True))
        return self._session.holder(key)

    def retire_code(self, text: str, reason: str) -> None:
        """A holder's label that answers for nothing any more; a new one is printed and bound by its first scan.

        A place and a badge are known by their label alone, so theirs stay.  Raises Locked, NeedsReason, NotThere.
        """
        bound = T.Binding.text == text, T.Binding.what == "holder", T.Binding.retired_line.is_null()
        if not T.Binding.select().where(*bound).exists():
            raise NotThere("holder's label in use", text)
        by = self._session.supervised(reason)
        self._session.write(CodeRetired(text, reason), by=by)


def _figures(holder: Holder) -> tuple[object, ...]:
    """What its outline is made of."""
    return holder.coupling, holder.bore_mm, holder.nose_mm, holder.projection_mm
