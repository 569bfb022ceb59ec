"""The people counter: badges, signing in and out, supervisors and their PIN.

A PIN is kept only as an argon2 hash.  No role, whatever it is, ends a hold.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from kiosk import filing
from kiosk import settings as shop_settings
from kiosk.desk.holds import rules_set
from kiosk.desk.session import NotThere, Session, StillHot
from kiosk.ledger import history
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.ledger.derive import TableRow
from kiosk.ledger.lineform import Written
from kiosk.rules import tries
from kiosk.rules.acts import pins
from kiosk.rules.cards import OperatorCard
from kiosk.rules.lines import (
    THERMOMETER,
    CodeBound,
    CodeRetired,
    OperatorAdded,
    OperatorRetired,
    PinGiven,
    SettingChanged,
    SignedOut,
    TurnedAway,
)
from kiosk.rules.shop_things import making
from kiosk.settings import Settings
from kiosk.words import LANGUAGES

if TYPE_CHECKING:
    from argon2 import PasswordHasher

_BACK = "another badge"  # why the ones before are worth nothing
ROLES = ("setter", "supervisor")
_PAGE = 200


class PinRefused(PermissionError):
    """A wrong PIN, or too many of them.  `wait_s`: how long nothing is tried any more."""

    def __init__(self, wait_s: float = 0.0) -> None:
        super().__init__(f"wait {wait_s:.0f} s" if wait_s else "wrong PIN")
        self.wait_s = wait_s


class PeopleCounter:
    def __init__(self, session: Session) -> None:
        self._session = session

    @cached_property
    def _hasher(self) -> PasswordHasher:
        """Loaded with the first PIN."""
        from argon2 import PasswordHasher

        return PasswordHasher()

    def operators(self) -> tuple[OperatorCard, ...]:
        found = rows(T.Operator.select().order_by(T.Operator.name))
        return tuple(
            OperatorCard(row["key"], row["name"], row["role"], bool(row["retired"]), row["language"]) for row in found
        )

    def add(
        self, key: str, name: str, role: str, code: str, pin: str | None = None, language: str = ""
    ) -> OperatorCard:
        """A new operator with the badge `code`; `pin` for a supervisor.  Raises Locked, ValueError (unknown role).

        language: what the kiosk speaks to them, empty for the shop's.
        """
        if role not in ROLES:
            raise ValueError(f"a role is one of {', '.join(ROLES)}, not {role!r}")
        by = self._session.supervised()
        pin_hash = self._hasher.hash(pin) if pin else None
        added = OperatorAdded(key, name, role, pin_hash, language or None)
        self._session.write(added, CodeBound(code, key, "operator"), by=by)
        card = self._session.cards.operator(key)
        assert card is not None  # written just now
        return card

    def has_pin(self, key: str) -> bool:
        """Whether a supervisor has chosen a PIN.  Raises NotThere."""
        return bool(self._row(key)["pin_hash"])

    def first_pin(self, key: str, pin: str, *, by_owner: bool = False) -> None:
        """A supervisor without a PIN chooses one: the shop's first with a supervisor's badge, any further one by PIN.

        by_owner: who has the tablet's command line needs no badge for the shop's first.  Raises PinRefused where there
        is one already, ActRefused, Locked, NotThere.
        """
        row = self._row(key)
        if row["pin_hash"] or row["role"] != "supervisor":
            raise PinRefused
        by = self._session.supervised() or (key if by_owner else None)
        self._session.write(OperatorAdded(key, row["name"], row["role"], self._hasher.hash(pin)), by=by)

    def _row(self, key: str) -> TableRow:
        found = rows(T.Operator.select().where(T.Operator.key == key, T.Operator.retired == 0))
        if not found:
            raise NotThere("operator", key)
        return found[0]

    def set_pin(self, key: str, pin: str) -> None:
        """Another PIN for a supervisor, by one who has given theirs.  Raises Locked, NotThere."""
        row = self._row(key)
        if row["role"] != "supervisor":
            raise NotThere("supervisor", key)
        session = self._session
        by = session.supervised()
        mine, pin_hash = session.supervisor, self._hasher.hash(pin)
        session.write(OperatorAdded(key, row["name"], row["role"], pin_hash), by=by)
        if mine is not None and mine.key == key:  # who has just chosen it need not type it once more
            session.supervisor, session.opened_with = mine, pin_hash

    def choose_pin(self, key: str, pin: str, *, by_owner: bool = False) -> None:
        """A supervisor's PIN from now on, the first or another.  Raises ActRefused, Locked, NotThere, PinRefused."""
        if self.has_pin(key):
            self.set_pin(key, pin)
        else:
            self.first_pin(key, pin, by_owner=by_owner)

    def retire(self, key: str, reason: str) -> None:
        """A badge that opens nothing any more.  Raises Locked, NeedsReason, NotThere."""
        self._row(key)
        by = self._session.supervised(reason)
        self._session.write(OperatorRetired(key, reason), by=by)

    def rename(self, key: str, name: str) -> OperatorCard:
        """Another name for somebody; role, badge and PIN stay.  Raises Locked, NotThere, ThingFault."""
        row = self._row(key)
        by = self._session.supervised()
        self._session.write(OperatorAdded(key, making.named(name), row["role"]), by=by)
        return OperatorCard(key, making.named(name), row["role"], language=row["language"])

    def speaks(self, key: str, language: str) -> OperatorCard:
        """What the kiosk speaks to somebody from now on, at once where they are at work.

        language: one of `words.LANGUAGES`, or empty for the shop's.  Raises Locked, NotThere, ValueError.
        """
        if language and language not in LANGUAGES:
            raise ValueError(f"a language is one of {', '.join(LANGUAGES)}, not {language!r}")
        row = self._row(key)
        session = self._session
        by = session.supervised()
        session.write(OperatorAdded(key, row["name"], row["role"], language=language), by=by)
        card = OperatorCard(key, row["name"], row["role"], language=language)
        if session.operator is not None and session.operator.key == key:
            session.operator = card
        return card

    def bring_back(self, key: str, code: str) -> OperatorCard:
        """Somebody who was gone is here again, with the new badge `code` instead of any before.

        Who was a supervisor has the old PIN.  Raises Locked, NotThere for somebody who is here.
        """
        found = rows(T.Operator.select().where(T.Operator.key == key, T.Operator.retired == 1))
        if not found:
            raise NotThere("retired operator", key)
        by = self._session.supervised()
        row = found[0]
        worn = T.Binding.select(T.Binding.text).where(T.Binding.subject == key, T.Binding.retired_line.is_null())
        old = [CodeRetired(each["text"], _BACK) for each in rows(worn)]
        added = OperatorAdded(key, row["name"], row["role"])
        self._session.write(*old, added, CodeBound(code, key, "operator"), by=by)
        return OperatorCard(key, row["name"], row["role"], language=row["language"])

    def change_setting(self, table: str, key: str, value: str, reason: str) -> Settings:
        """Changes one setting in the file and writes a line about it.

        A hold that runs keeps, of the values it began with and those set now, the stricter one.  One that began
        before values were written down could only be weakened: then the change has to be to the safer side.  Raises
        Locked, NeedsReason, SettingsFault, StillHot.
        """
        session = self._session
        by = session.supervised(reason)
        if by is None:
            session.signed_in()
        return self._set(table, key, value, reason, by)

    def air_measured(self, key: str, value: float) -> Settings:
        """The shop's temperature or how well it is known, by a thermometer and without a hand.

        key: the setting's in `[heat]`.  Raises SettingsFault, StillHot.
        """
        return self._set("heat", key, f"{value:g}", THERMOMETER, None)

    def _set(self, table: str, key: str, value: str, reason: str, by: str | None) -> Settings:
        session = self._session
        path = session.book.path.parent / shop_settings.NAME
        before = filing.take(path) if path.exists() else None
        settings = shop_settings.changed(path, table, key, value)
        try:
            self._keeps_holds(settings)
            session.write(SettingChanged(f"{table}.{key}", value, reason), by=by)
        except BaseException:  # no setting without its line
            path.unlink() if before is None else filing.write(path, before)
            raise
        session.take_settings(settings)
        session.follow_rules(but=f"{table}.{key}")  # what the file cannot say beside it counts all the same
        return session.settings

    def _keeps_holds(self, settings: Settings) -> None:
        """Raises StillHot where these settings would let a hold go sooner than those it is worked out with now."""
        session = self._session
        if rules_set(settings.heat).holds_as_long_as(session.holds.rules):
            return
        for card in session.cards.held():
            facts = session.cards.hold_facts(card.holder.key)
            if facts is None or not facts.began:
                raise StillHot(card.name)

    def sign_out(self) -> None:
        """Whoever is at work goes, and what a PIN has opened is shut."""
        if self._session.operator:
            self._session.write(SignedOut(self._session.operator.key))
            self._session.operator = None
        self.lock()

    def unlock(self, key: str, pin: str) -> OperatorCard:
        """Gives a supervisor's PIN, good for some minutes.  Wrong ones wait (`rules.tries`), restarts or not.

        Raises PinRefused, NotThere.
        """
        session = self._session
        row = self._row(key)
        if row["role"] != "supervisor" or not row["pin_hash"]:
            raise NotThere("supervisor with a PIN", key)
        if wait_s := self._wait_s(key):
            raise PinRefused(wait_s)
        if not any(self._is_it(each, pin) for each in pins(row["pin_hash"])):
            session.write(TurnedAway(key, tries.WRONG_PIN))
            raise PinRefused(self._wait_s(key))
        session.write(PinGiven(key), by=key)
        card = OperatorCard(key, row["name"], row["role"])
        session.supervisor, session.supervised_at_s = card, session.now().watched_s
        session.opened_with = row["pin_hash"]
        return card

    def _is_it(self, kept: str, pin: str) -> bool:
        from argon2.exceptions import InvalidHashError, VerifyMismatchError

        try:
            return self._hasher.verify(kept, pin)
        except (VerifyMismatchError, InvalidHashError):
            return False

    def lock(self) -> None:
        """The supervisor is done."""
        self._session.supervisor = None

    def _wait_s(self, key: str) -> float:
        """How long nothing is tried.  Counted from the book, so that a restart opens nothing."""
        known = T.Operator.select(T.Operator.key).where(T.Operator.pin_hash.is_null(False), T.Operator.retired == 0)
        found = {row["key"]: self._wrong(row["key"]) for row in rows(known)}
        mine = found[key]
        newest = max((each.last for each in found.values() if each.last), key=lambda line: line.id, default=None)
        waits = (
            (tries.wait_s(mine.count, 0), mine.last),
            (tries.wait_s(0, sum(each.count for each in found.values())), newest),
        )
        return max((max(0.0, wait_s - self._since_s(last)) for wait_s, last in waits if wait_s and last), default=0.0)

    def _wrong(self, key: str) -> _Wrong:
        """The wrong tries since this PIN was last given right or chosen, whatever lies between."""
        kinds = frozenset({TurnedAway.kind, PinGiven.kind, OperatorAdded.kind})
        count, last, before = 0, None, None
        while page := history.lines(history.Question(key, kinds, newest=_PAGE, before=before)):
            for line in page:
                match line.entry:
                    case TurnedAway(text=who, reason=reason) if who == key and reason == tries.WRONG_PIN:
                        count, last = count + 1, last or line
                    case PinGiven(operator=who) if who == key:
                        return _Wrong(count, last)
                    case OperatorAdded(operator=who, pin_hash=chosen) if who == key and chosen:
                        return _Wrong(count, last)
            before = page[-1].id
        return _Wrong(count, last)

    def _since_s(self, line: Written) -> float:
        """How long this kiosk has watched since a line; another kiosk's clock counts nothing here."""
        book = self._session.book
        since_s: float | None = line.watched_s
        if line.kiosk != book.kiosk:
            own = T.KeptLine.select(T.KeptLine.watched_s).where(T.KeptLine.id > line.id, T.KeptLine.kiosk == book.kiosk)
            since_s = next((row["watched_s"] for row in rows(own.order_by(T.KeptLine.id).limit(1))), None)
        return 0.0 if since_s is None else max(0.0, self._session.now().watched_s - since_s)


@dataclass(frozen=True, slots=True)
class _Wrong:
    """Wrong tries of one PIN in a row, and the newest of them."""

    count: int
    last: Written | None
