"""What kiosks that worked apart tell differently: every claim with its kiosk, its person and the time there.

Reads, and writes the line by which a hand settles one; where a holder is, is settled by scanning it and nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass

import msgspec

from kiosk.desk.people import PeopleCounter
from kiosk.desk.session import NotThere, Session
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.ledger.derive import TableRow
from kiosk.rules import lines as L
from kiosk.rules.cards import Heat
from kiosk.rules.merge import CLOSED, NOTHING, OPEN, RETIRED, USED, Made, Matter
from kiosk.rules.outcomes import Reason, Refused, refuse
from kiosk.rules.say import Say, Value, say

_made = msgspec.json.Decoder(tuple[Made, ...])
_SETTLED = "told differently"  # why a setting is set once more, where nobody said
_FACTS = (L.HolderRegistered, L.CutterAdded, L.PlaceAdded, L.PocketAssigned)
_PLAIN = {USED: "apart.in_use", RETIRED: "apart.out_of_use", OPEN: "apart.open", CLOSED: "apart.closed"}


@dataclass(frozen=True, slots=True)
class ToldHere:
    """One claim.  what: as it is said to people, a message id of `apart` or plain words.  who: None: nobody's badge."""

    kiosk_id: str
    kiosk: str
    who: str | None
    told_utc_s: float
    value: str
    what: str
    not_verified: bool = False
    line: int = 0  # that says it


@dataclass(frozen=True, slots=True)
class ToldDifferently:
    """A difference between kiosks.  hot: steel that may be hot where it was taken to."""

    key: str
    matter: Matter
    subject: str
    name: str
    claims: tuple[ToldHere, ...]
    hot: bool = False

    @property
    def alarm(self) -> Say | None:
        """What is to be called out at every kiosk: heated by one, taken by another that had not heard it."""
        took = next((each for each in self.claims if each.not_verified), None)
        if not self.hot or took is None:
            return None
        return say("apart.alarm", name=self.name, kiosk=took.kiosk, who=took.who, place=took.what)


class DifferencesCounter:
    """What the shop's kiosks tell differently."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._called: set[str] = set()

    def called_out(self) -> ToldDifferently | None:
        """One that is to be called out and was not yet since the start; the next one when this is asked again."""
        for each in self.open():
            if each.alarm is not None and each.key not in self._called:
                self._called.add(each.key)
                return each
        return None

    def told_otherwise(self, holder: str, place: str | None) -> Refused | None:
        """What is open about where a holder is, or about what stands in a place, as the answer to a scan of both."""
        session = self._session
        about = {(Matter.PLACE, holder), (Matter.POCKET, place)}
        for each in self.open():
            other = next((told for told in each.claims if told.kiosk_id != session.book.kiosk), None)
            if (each.matter, each.subject) not in about or other is None:
                continue
            self._called.add(each.key)
            card = session.cards.holder(holder)
            if each.alarm is not None:
                return Refused(Reason.HOT, each.alarm, say("apart.alarm_remedy"), holder=card)
            values: dict[str, Value] = {"name": each.name, "kiosk": other.kiosk, "what": other.what}
            if other.value == NOTHING:
                values["what"] = None
            return refuse(Reason.TOLD_OTHERWISE, card, None, None, **values)
        return None

    def open(self) -> tuple[ToldDifferently, ...]:
        """Those that nobody has settled, what may be hot first."""
        found = rows(T.Difference.select().where(T.Difference.closed_line.is_null()).order_by(T.Difference.opened_line))
        told = [self._told(row) for row in found]
        return tuple(sorted(told, key=lambda each: not each.hot))

    def settle(self, key: str, value: str, reason: str = "") -> None:
        """A hand has looked: this is the case, and the book says so from now on.

        A label that is on another thing than the book has it opens the first no more; that thing gets a new one, for
        no code ever stands for two.  A setting, and what a thing is, are a supervisor's.  Raises NotThere, ActRefused,
        Locked; SettingsFault, StillHot for these; ValueError for where a holder is.
        """
        for each in self.open():
            if each.key == key:
                if each.matter is Matter.PLACE:
                    raise ValueError("where a holder is, is settled by scanning it")
                if each.matter is Matter.SETTING and T.Setting.get_or_none(T.Setting.name == each.subject):
                    table, _, name = each.subject.partition(".")
                    PeopleCounter(self._session).change_setting(table, name, value, reason or _SETTLED)
                    return
                if (facts := self._facts(each, value)) is not None:
                    by = self._session.supervised()
                    self._session.unheld(facts)
                    self._session.write(facts, by=by)
                    return
                settled = L.ClaimSettled(each.matter.value, each.subject, value, reason)
                self._session.write(settled, *_label_elsewhere(each, value))
                return
        raise NotThere("difference", key)

    def _facts(self, found: ToldDifferently, value: str) -> L.Entry | None:
        """The line that told these facts of a thing, to be told once more: the last in the order stands in the book.

        None of what is out of use: telling it would bring that back.
        """
        if found.matter is Matter.SETTING and _out_of_use(found.subject):
            return None
        chosen = next((each.line for each in found.claims if each.value == value), 0)
        line = self._session.book.line(chosen) if found.matter is Matter.SETTING else None
        return line.entry if line is not None and isinstance(line.entry, _FACTS) else None

    def _told(self, row: TableRow) -> ToldDifferently:
        matter, subject = Matter(row["matter"]), row["subject"]
        claims = tuple(self._claim(matter, made) for made in _made.decode(row["claims"]))
        heat = rows(T.Holder.select(T.Holder.heat).where(T.Holder.key == subject)) if matter is Matter.PLACE else []
        hot = bool(heat) and heat[0]["heat"] != Heat.COOL.value
        return ToldDifferently(row["key"], matter, subject, self._name(subject), claims, hot)

    def _claim(self, matter: Matter, made: Made) -> ToldHere:
        line = self._session.book.line(made.line)
        sharing = self._session.book.sharing
        member = sharing.members().get(made.kiosk) if sharing else None
        kiosk = member.name if member and member.name else made.kiosk[:4]
        operator = self._session.cards.operator(line.operator) if line and line.operator else None
        unverified = line is not None and getattr(line.entry, "reason", "") == L.NOT_VERIFIED
        who, utc_s = operator.name if operator else None, line.utc_s if line else 0.0
        return ToldHere(
            made.kiosk, kiosk, who, utc_s, made.value, self._what(matter, made.value), unverified, made.line
        )

    def _what(self, matter: Matter, value: str) -> str:
        if value == NOTHING:
            return "apart.nothing"
        if matter is Matter.BADGE and value != RETIRED:
            return "apart.in_use"  # who they are and may do was set anew; their PIN's digest is nobody's to read
        return _PLAIN.get(value) or self._name(value)

    def _name(self, key: str) -> str:
        """As people say a thing by its key; what has no name is said as it is."""
        cards = self._session.cards
        if (place := cards.place(key)) is not None:
            return place.name
        if (holder := cards.holder(key)) is not None:
            return holder.name
        if (operator := cards.operator(key)) is not None:
            return operator.name
        cutter = rows(T.Cutter.select(T.Cutter.name).where(T.Cutter.key == key))
        return str(cutter[0]["name"]) if cutter else key


def _out_of_use(key: str) -> bool:
    of = (T.Holder, T.Holder.key), (T.Cutter, T.Cutter.key), (T.Place, T.Place.code)
    return any(rows(table.select(field).where(field == key, table.retired == 1)) for table, field in of)


def _label_elsewhere(found: ToldDifferently, value: str) -> tuple[L.CodeRetired, ...]:
    """The end of a label that is not on what the book has it on."""
    if found.matter is not Matter.LABEL:
        return ()
    bound = rows(T.Binding.select().where(T.Binding.text == found.subject, T.Binding.retired_line.is_null()))
    return (L.CodeRetired(found.subject, _SETTLED),) if bound and bound[0]["subject"] != value else ()
