"""The setting-up counter: places, cutters and holders added, changed, copied, retired and brought back by hand.

It writes what the answers make (`rules.shop_things`) and makes the codes; who may is asked of `rules.acts`, what a hold
rests on and what is in use of `rules.grounds`.  A new place takes a supervisor once the shop has one with a PIN, and so
does every change, with a reason; a new cutter or holder is anybody's work, as at the screens for them.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import msgspec

from kiosk.desk.session import NeedsReason, NotThere, Session
from kiosk.ledger import history
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.rules import codes
from kiosk.rules import lines as L
from kiosk.rules.assembly import Cutter, Holder
from kiosk.rules.hold_facts import pair
from kiosk.rules.outline import OutlineError, bare
from kiosk.rules.say import say
from kiosk.rules.shop_things import making
from kiosk.rules.shop_things.forms import Draft, Thing
from kiosk.rules.shop_things.making import Furnished, Standing, ThingFault, refused

_cutter = msgspec.json.Decoder(Cutter)


@dataclass(frozen=True, slots=True)
class Entered:
    """What was added or changed: its key or code and name, and how many labels are new.

    alike_hot: name of a hot holder of the same type, where one is said to have stood cold.
    """

    key: str
    name: str
    labels: int
    alike_hot: str = ""


@dataclass(frozen=True, slots=True)
class Listed:
    """A thing of a list: its key or code, what it is, its name; inside: how many places are in it."""

    key: str
    thing: Thing
    name: str
    inside: int = 0


class SettingUpCounter:
    def __init__(self, session: Session) -> None:
        self._session = session

    @property
    def needs_supervisor(self) -> bool:
        """Whether somebody has to give a PIN before a place is added or anything is changed; asking renews none."""
        return self.has_pin and self._session.unlocked_by() is None

    @property
    def has_pin(self) -> bool:
        """Whether a supervisor of this shop has a PIN, so that changes need a reason."""
        found = T.Operator.select().where(T.Operator.pin_hash.is_null(False), T.Operator.retired == 0)
        return bool(found.exists())

    # What there is ----------------------------------------------------------------------------------------------

    def listed(self, things: Iterable[Thing]) -> tuple[Listed, ...]:
        """Everything in use of these kinds, by name."""
        wanted = set(things)
        places = self._session.cards.places
        found: list[Listed] = []
        for code, row in places.rows.items():
            if row["parent"] is None and not row["retired"] and row["kind"] in {each.value for each in wanted}:
                inside = sum(not places.rows[each]["retired"] for each in places.within(code)) - 1
                found.append(Listed(code, Thing(row["kind"]), row["name"], inside))
        if Thing.CUTTER in wanted:
            query = T.Cutter.select(T.Cutter.key, T.Cutter.name).where(T.Cutter.retired == 0)
            found += [Listed(row["key"], Thing.CUTTER, row["name"]) for row in rows(query)]
        if Thing.HOLDER in wanted:
            held = T.Holder.select(T.Holder.key, T.Holder.name).where(T.Holder.retired == 0)
            found += [Listed(row["key"], Thing.HOLDER, row["name"]) for row in rows(held)]
        return tuple(sorted(found, key=lambda each: (each.name.casefold(), each.key)))

    def draft(self, thing: Thing, key: str) -> dict[str, Any]:
        """The answers that would make a thing again.  Raises NotThere."""
        if thing is Thing.CUTTER:
            return making.draft_of(self._cutter_known(key))
        if thing is Thing.HOLDER:
            return making.draft_of(self._session.holder(key).holder)
        return making.draft_of_place(self._standing(key))

    def names(self) -> frozenset[str]:
        """Names of the places in use that stand for themselves, folded."""
        found = self._session.cards.places.rows.values()
        return frozenset(row["name"].casefold() for row in found if row["parent"] is None and not row["retired"])

    # Added ------------------------------------------------------------------------------------------------------

    def add(self, thing: Thing, draft: Draft, *, stood_cold: bool = False) -> Entered:
        """A new thing with codes for all its labels.

        stood_cold: whoever adds a holder says that nobody heated it within a day.  Raises ThingFault, Locked,
        ActRefused, OutOfBounds.
        """
        return self._write_new(thing, (draft,), stood_cold)

    def copy(self, thing: Thing, key: str, count: int, *, stood_cold: bool = False) -> Entered:
        """So many more like this one, named on from it, each with labels of its own, all or none.

        Raises NotThere, ThingFault, Locked, ActRefused.
        """
        if not making.COPIES.takes(count):
            raise refused("copies", most=int(making.COPIES.most))
        draft = self.draft(thing, key)
        taken = self.names() if thing.is_place else {each.name for each in self.listed((thing,))}
        if thing is Thing.HOLDER:  # they are told apart by their labels, as those of a drawer are
            names: Sequence[str] = (str(draft["name"]),) * count
        else:
            names = making.next_names(str(draft["name"]), taken, count)
        return self._write_new(thing, [draft | {"name": name} for name in names], stood_cold)

    def _write_new(self, thing: Thing, drafts: Sequence[Draft], stood_cold: bool) -> Entered:
        self._session.signed_in()
        entries: list[L.Entry] = []
        labels, made, taken = 0, "", set(self.names())
        key, fresh = "", self._fresh()
        for draft in drafts:
            if thing is Thing.CUTTER:
                new = making.cutter(draft, f"C{secrets.token_hex(5).upper()}")
                key, made = new.key, new.name
                entries.append(L.CutterAdded(new))
            elif thing is Thing.HOLDER:
                steel = making.holder(draft, f"T{secrets.token_hex(5).upper()}")
                _outlined(steel)
                key, made, labels = steel.key, steel.name, labels + 1
                entries.append(L.HolderRegistered(steel, stood_cold=stood_cold))
            else:
                furnished = making.place(thing, draft, fresh)
                first = furnished.added[0].place
                if first.name.casefold() in taken:
                    raise refused("name_taken", name=first.name)
                taken.add(first.name.casefold())
                key, made, labels = first.code, first.name, labels + len(furnished.added)
                entries += _bound(furnished)
        self._write(entries, reason=None)
        return Entered(key, made, labels, self._alike_hot(key) if thing is Thing.HOLDER and stood_cold else "")

    def _alike_hot(self, key: str) -> str:
        """The name of a hot holder of the same type, which a cold one may be taken for."""
        mine = pair(self._session.holder(key).holder, None)
        found = (card for card in self._session.hot_lately() if card.holder.key != key)
        return next((card.name for card in found if pair(card.holder, None) == mine), "")

    def _fresh(self) -> Callable[[], str]:
        """Codes of places, none given twice."""
        given: set[str] = set()

        def fresh() -> str:
            while (code := self._session.fresh_code(codes.CodeKind.PLACE).text) in given:
                pass
            given.add(code)
            return code

        return fresh

    # Changed, retired -------------------------------------------------------------------------------------------

    def change(self, thing: Thing, key: str, draft: Draft, reason: str) -> Entered:
        """Other facts of a thing.  Raises NotThere, ThingFault, Locked, NeedsReason, ActRefused, OutOfBounds."""
        if thing is Thing.CUTTER:
            self._cutter_known(key)
            new = making.cutter(draft, key)
            self._write([L.CutterAdded(new, reason)], reason=reason)
            return Entered(key, new.name, 0)
        if thing is Thing.HOLDER:
            before = self._session.holder(key).holder
            steel = making.holder(draft, key)
            if making.draft_of(steel) != making.draft_of(before):
                _outlined(steel)
            self._write([L.HolderRegistered(steel, reason)], reason=reason)
            return Entered(key, steel.name, 0)
        standing = self._standing(key)
        if standing.place.kind.value != thing.value:
            raise NotThere(thing.value, key)
        furnished = making.place(thing, draft, self._fresh(), standing)
        first = furnished.added[0]
        if first.place.name.casefold() in self.names() - {standing.place.name.casefold()}:
            raise refused("name_taken", name=first.place.name)
        changed = L.PlaceAdded(first.place, first.magazine, reason)
        more = Furnished(furnished.added[1:])
        gone = self._retired(furnished.retired, reason)
        self._write([changed, *_bound(more), *gone], reason=reason)
        return Entered(key, first.place.name, len(more.added))

    def retire(self, thing: Thing, key: str, reason: str) -> None:
        """A thing that is gone for good, with all that is in it.

        Raises NotThere, ThingFault where something stands there or it is built in, Locked, NeedsReason.
        """
        if thing is Thing.CUTTER:
            name = self._cutter_known(key).name
            built = T.Assembly.select().where(T.Assembly.cutter == key, T.Assembly.torn_line.is_null())
            if built.exists():
                raise refused("built_in", name=name)
            self._write([L.CutterRetired(key, reason)], reason=reason)
        elif thing is Thing.HOLDER:
            card = self._session.holder(key)
            if card.hold is not None:
                raise ThingFault(say("intake.hot", name=card.name))
            self._write([L.HolderRetired(key, reason)], reason=reason)
        else:
            inside = self._standing(key).inside
            self._write(self._retired([each.code for each in inside] + [key], reason), reason=reason)

    def gone(self, things: Iterable[Thing]) -> tuple[Listed, ...]:
        """Everything of these kinds that is out of use, by name."""
        wanted = set(things)
        found = [
            Listed(code, Thing(row["kind"]), row["name"])
            for code, row in self._session.cards.places.rows.items()
            if row["parent"] is None and row["retired"] and row["kind"] in {each.value for each in wanted}
        ]
        for thing, table in ((Thing.CUTTER, T.Cutter), (Thing.HOLDER, T.Holder)):
            if thing in wanted:
                query = table.select(table.key, table.name).where(table.retired == 1)
                found += [Listed(row["key"], thing, row["name"]) for row in rows(query)]
        return tuple(sorted(found, key=lambda each: (each.name.casefold(), each.key)))

    def bring_back(self, thing: Thing, key: str, reason: str) -> Entered:
        """A thing that was gone is in use again as it was, with the labels it wore.

        How warm a holder is that comes back nobody knows (`derive`).  Raises NotThere, ThingFault where another has
        its name by now, Locked, NeedsReason.
        """
        found = next((each for each in self.gone((thing,)) if each.key == key), None)
        if found is None:
            raise NotThere(f"{thing.value} out of use", key)
        if thing is Thing.CUTTER:
            row = rows(T.Cutter.select(T.Cutter.facts).where(T.Cutter.key == key))[0]
            self._write([L.CutterAdded(_cutter.decode(row["facts"]), reason)], reason=reason)
        elif thing is Thing.HOLDER:
            self._write([L.HolderRegistered(self._session.holder(key).holder, reason)], reason=reason)
        else:
            if found.name.casefold() in self.names():
                raise refused("name_taken", name=found.name)
            places = self._session.cards.places
            with_it = (key, *self._gone_with(key))
            back = [L.PlaceAdded(places.place(code), places.magazine(code), reason) for code in with_it]
            self._write(back, reason=reason)
        return Entered(key, found.name, 0)

    def _gone_with(self, code: str) -> Iterator[str]:
        """What is inside a place and went when it did; what went before is in the steel no more."""
        went = {each: self._went(each) for each in self._session.cards.places.within(code)}
        yield from (each for each, when in went.items() if each != code and when == went[code])

    @staticmethod
    def _went(code: str) -> tuple[str, float, float] | None:
        """Who wrote and when that a place is out of use; None: nobody did."""
        asked = history.Question(code, frozenset((L.PlaceRetired.kind,)), newest=1)
        return next(((line.kiosk, line.utc_s, line.watched_s) for line in history.lines(asked)), None)

    def _retired(self, retiring: Sequence[str], reason: str) -> list[L.Entry]:
        owners = self._session.cards.places.rows
        kept = [L.PocketAssigned(code, None) for code in retiring if owners[code]["owner"]]
        return [*kept, *(L.PlaceRetired(code, reason) for code in retiring)]

    def _write(self, entries: Sequence[L.Entry], *, reason: str | None) -> None:
        """Writes all of it or nothing, by whoever may.  reason: of a change; None: everything here is new."""
        session = self._session
        if reason is not None and self.has_pin and not reason.strip():
            raise NeedsReason
        grounds = session.grounds()
        for entry in entries:
            if (why := grounds.refuses(entry)) is not None:
                raise ThingFault(why)
        session.write(*entries, by=session.supervised() if reason is not None else None)

    # ------------------------------------------------------------------------------------------------------------

    def _standing(self, code: str) -> Standing:
        places = self._session.cards.places
        if code not in places.rows or places.rows[code]["retired"] or places.rows[code]["parent"] is not None:
            raise NotThere("place in use", code)
        inside = [each for each in places.within(code) if each != code and not places.rows[each]["retired"]]
        return Standing(places.place(code), places.magazine(code), tuple(map(places.place, inside)))

    def _cutter_known(self, key: str) -> Cutter:
        for row in rows(T.Cutter.select().where(T.Cutter.key == key, T.Cutter.retired == 0)):
            found: Cutter = _cutter.decode(row["facts"])
            return found
        raise NotThere("cutter", key)


def _bound(furnished: Furnished) -> list[L.Entry]:
    """Each place with the code on its label."""
    return [
        entry for line in furnished.added for entry in (line, L.CodeBound(line.place.code, line.place.code, "place"))
    ]


def _outlined(holder: Holder) -> None:
    """Raises ThingFault for figures that make no holder."""
    try:
        bare(holder)
    except (OutlineError, ValueError) as fault:
        raise refused("outline", why=str(fault)) from None
