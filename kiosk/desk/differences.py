"""What kiosks that worked apart tell differently: every claim with its kiosk, its person and the time there.

Reads, and writes the line by which a hand settles one; where a holder is, is settled by scanning it and nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import msgspec

from kiosk.desk import first_pin
from kiosk.desk.people import PeopleCounter
from kiosk.desk.session import ActRefused, NotThere, Session
from kiosk.desk.settling import SETTLED, Settling, closes_unseen, lines_of
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.ledger.derive import TableRow
from kiosk.rules import lines as L
from kiosk.rules.cards import Heat
from kiosk.rules.merge import CLOSED, NOTHING, OPEN, RETIRED, USED, Made, Matter
from kiosk.rules.outcomes import Reason, Refused, refuse
from kiosk.rules.say import Say, Value, say

_made = msgspec.json.Decoder(tuple[Made, ...])
_OF_SUPERVISORS = (Matter.SETTING, Matter.USE, Matter.BADGE, Matter.PIN)
_FACTS = (
    L.HolderRegistered, L.CutterAdded, L.CutterReground, L.PlaceAdded, L.PocketAssigned, L.MeasuredLine,
)  # fmt: skip
_NOTHING = {Matter.PLACE: "apart.nothing", Matter.LABEL: "apart.out_of_use"}
_PLAIN = {USED: "apart.in_use", RETIRED: "apart.out_of_use", OPEN: "apart.open", CLOSED: "apart.closed"}


@dataclass(frozen=True, slots=True)
class ToldHere:
    """One claim.  what: as it is said to people, a message id of `apart` or `condition`, or plain words.

    who: None: nobody's badge.
    """

    kiosk_id: str
    kiosk: str
    who: str | None
    told_utc_s: float
    value: str
    what: str
    not_verified: bool = False
    line: int = 0  # that says it
    last_pin: bool = False  # called right, it would leave the shop without anybody who can give a PIN


_STAYS = ToldHere("", "", None, 0.0, USED, "apart.stays")


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
    def not_now(self) -> tuple[ToldHere, ...]:
        """Claims that cannot be called right as things stand."""
        return tuple(each for each in self.claims if each.last_pin)

    @property
    def offers(self) -> tuple[ToldHere, ...]:
        """What can be called right: claims, and where none of them can be, what no kiosk said, that somebody stays."""
        return tuple(each for each in self.claims if not each.last_pin) or (_STAYS,)

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
        """A hand has looked: this is the case, and the book says so from now on (`settling.lines_of`).

        What a thing is, whether it or somebody is in use, whose a badge is, and a setting, are a supervisor's.  Raises
        NotThere, Locked, ActRefused, among these where this would settle something else that nobody looked at;
        SettingsFault, StillHot for facts and settings; ValueError for where a holder is.
        """
        for each in self.open():
            if each.key == key:
                if each.matter is Matter.PLACE:
                    raise ValueError("where a holder is, is settled by scanning it")
                if each.matter is Matter.SETTING and T.Setting.get_or_none(T.Setting.name == each.subject):
                    table, _, name = each.subject.partition(".")
                    PeopleCounter(self._session).change_setting(table, name, value, reason or SETTLED)
                    return
                self._write(each, value, reason)
                return
        raise NotThere("difference", key)

    def _write(self, found: ToldDifferently, value: str, reason: str) -> None:
        session = self._session
        by = session.supervised() if found.matter in _OF_SUPERVISORS or _is_badge(found) else None
        said = _settling(found.matter, found.subject, value, found.claims, reason)
        lines = lines_of(said)
        if (other := closes_unseen(said, lines)) is not None:
            raise ActRefused(Reason.SETTLE_FIRST, name=self._name(other))
        for entry in lines:
            session.unheld(entry)
        session.write(L.ClaimSettled(found.matter.value, found.subject, value, reason), *lines, by=by)

    def _told(self, row: TableRow) -> ToldDifferently:
        matter, subject = Matter(row["matter"]), row["subject"]
        claims = tuple(self._claim(matter, made) for made in _made.decode(row["claims"]))
        if matter is Matter.SETTING:
            claims = self._facts(claims)
        if matter is Matter.BADGE:
            claims = tuple(_with_last_pin(subject, each, claims) for each in claims)
        heat = rows(T.Holder.select(T.Holder.heat).where(T.Holder.key == subject)) if matter is Matter.PLACE else []
        hot = bool(heat) and heat[0]["heat"] != Heat.COOL.value
        return ToldDifferently(row["key"], matter, subject, self._name(subject), claims, hot)

    def _facts(self, claims: tuple[ToldHere, ...]) -> tuple[ToldHere, ...]:
        """What a thing is by each claim: those of its figures and names in which they differ."""
        lines = [self._session.book.line(each.line) for each in claims]
        said = [line.entry for line in lines if line is not None and isinstance(line.entry, _FACTS)]
        if len(said) < len(claims):
            return claims
        plain = [dict(_plain(msgspec.to_builtins(each))) for each in said]
        names = dict.fromkeys(name for each in plain for name in each if name != "reason")
        apart = [name for name in names if len({each.get(name) for each in plain}) > 1]
        told = [" · ".join(self._name(each[name]) for name in apart if each.get(name)) for each in plain]
        return tuple(replace(each, what=what or "apart.empty") for each, what in zip(claims, told, strict=True))

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
            return _NOTHING.get(matter, "apart.empty")
        if matter is Matter.CONDITION:
            return f"condition.{value}"
        if matter is Matter.PIN:
            return "apart.pin"  # its digest is nobody's to read
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
        named = T.Cutter, T.Assembly
        found = (rows(table.select(table.name).where(table.key == key)) for table in named)
        return next((str(row[0]["name"]) for row in found if row), key)


def _settling(matter: Matter, subject: str, value: str, claims: tuple[ToldHere, ...], reason: str) -> Settling:
    made = tuple(Made(each.line, each.kiosk_id, each.value) for each in claims)
    return Settling(matter, subject, value, made, reason or SETTLED)


def _with_last_pin(subject: str, claim: ToldHere, claims: tuple[ToldHere, ...]) -> ToldHere:
    """A claim about somebody; what it says where it would take the shop's last PIN, or a supervisor who has it."""
    lines = lines_of(_settling(Matter.BADGE, subject, claim.value, claims, ""))
    if first_pin.refuses(lines, supervisor=True) is None:
        return claim
    return replace(claim, what=claim.what if claim.value == RETIRED else "apart.no_supervisor", last_pin=True)


def _is_badge(found: ToldDifferently) -> bool:
    """Whether it is about a label that somebody wears or wore."""
    bound = T.Binding.select().where(T.Binding.text == found.subject, T.Binding.what == "operator")
    return found.matter is Matter.LABEL and bool(rows(bound))


def _plain(facts: dict[str, Any], inside: str = "") -> Iterator[tuple[str, str]]:
    """Every figure and name of a line by the way to it, as it is read; none that it does not say."""
    for name, value in facts.items():
        if isinstance(value, dict):
            yield from _plain(value, f"{inside}{name}.")
        elif value is not None:
            yield f"{inside}{name}", f"{value:g}" if isinstance(value, float) else str(value)
