"""The people counter: badges, signing in and out, supervisors and their PIN.

A PIN is kept only as an argon2 hash.  No role, whatever it is, ends a hold.
"""

from __future__ import annotations

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerifyMismatchError

from kiosk import filing
from kiosk import settings as shop_settings
from kiosk.desk.session import NotThere, Session, StillHot
from kiosk.ledger import history
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.ledger.derive import Row
from kiosk.rules.cards import OperatorCard
from kiosk.rules.lines import (
    CodeBound,
    Entry,
    OperatorAdded,
    OperatorRetired,
    SettingChanged,
    SignedOut,
    TurnedAway,
)
from kiosk.settings import Settings

ROLES = ("setter", "supervisor")
TRIES = 5
WAIT_S = 60.0
WRONG_PIN = "wrong_pin"


class PinRefused(PermissionError):
    """A wrong PIN, or too many of them.  `wait_s`: how long nothing is tried any more."""

    def __init__(self, wait_s: float = 0.0) -> None:
        super().__init__(f"wait {wait_s:.0f} s" if wait_s else "wrong PIN")
        self.wait_s = wait_s


class PeopleCounter:
    def __init__(self, session: Session) -> None:
        self._session = session
        self._hasher = PasswordHasher()

    def operators(self) -> tuple[OperatorCard, ...]:
        found = rows(T.Operator.select().order_by(T.Operator.name))
        return tuple(OperatorCard(row["key"], row["name"], row["role"], bool(row["retired"])) for row in found)

    def add(self, key: str, name: str, role: str, code: str, pin: str | None = None) -> OperatorCard:
        """A new operator with the badge `code`; `pin` for a supervisor.  Raises Locked, ValueError (unknown role)."""
        if role not in ROLES:
            raise ValueError(f"a role is one of {', '.join(ROLES)}, not {role!r}")
        by = self._session.supervised()
        pin_hash = self._hasher.hash(pin) if pin else None
        self._session.write(OperatorAdded(key, name, role, pin_hash), CodeBound(code, key, "operator"), by=by)
        card = self._session.cards.operator(key)
        assert card is not None  # written just now
        return card

    def has_pin(self, key: str) -> bool:
        """Whether a supervisor has chosen a PIN.  Raises NotThere."""
        return bool(self._row(key)["pin_hash"])

    def first_pin(self, key: str, pin: str) -> None:
        """A supervisor without a PIN chooses one.  Raises PinRefused where there is one already, NotThere."""
        row = self._row(key)
        if row["pin_hash"] or row["role"] != "supervisor":
            raise PinRefused
        self._session.write(OperatorAdded(key, row["name"], row["role"], self._hasher.hash(pin)))

    def _row(self, key: str) -> Row:
        found = rows(T.Operator.select().where(T.Operator.key == key, T.Operator.retired == 0))
        if not found:
            raise NotThere("operator", key)
        return found[0]

    def set_pin(self, key: str, pin: str) -> None:
        """Another PIN for a supervisor, by one who has given theirs.  Raises Locked, NotThere."""
        row = self._row(key)
        if row["role"] != "supervisor":
            raise NotThere("supervisor", key)
        by = self._session.supervised()
        self._session.write(OperatorAdded(key, row["name"], row["role"], self._hasher.hash(pin)), by=by)

    def retire(self, key: str, reason: str) -> None:
        """A badge that opens nothing any more.  Raises Locked, NeedsReason, NotThere."""
        self._row(key)
        by = self._session.supervised(reason)
        self._session.write(OperatorRetired(key, reason), by=by)

    def change_setting(self, table: str, key: str, value: str, reason: str) -> Settings:
        """Changes one setting in the file and writes a line about it.

        What holds are worked out from does not change while one runs.  Raises Locked, NeedsReason, SettingsFault,
        StillHot.
        """
        session = self._session
        by = session.supervised(reason)
        if table == "heat" and (held := session.cards.held()):
            raise StillHot(held[0].name)
        path = session.book.path.parent / shop_settings.NAME
        before = filing.take(path) if path.exists() else None
        settings = shop_settings.changed(path, table, key, value)
        try:
            session.write(SettingChanged(f"{table}.{key}", value, reason), by=by)
        except BaseException:  # no setting without its line
            path.unlink() if before is None else filing.write(path, before)
            raise
        session.take_settings(settings)
        return settings

    def sign_out(self) -> None:
        if self._session.operator:
            self._session.write(SignedOut(self._session.operator.key))
            self._session.operator = None

    def unlock(self, key: str, pin: str) -> OperatorCard:
        """Gives a supervisor's PIN, good for some minutes.  Five wrong tries wait a minute, restarts or not.

        Raises PinRefused, NotThere.
        """
        session = self._session
        row = self._row(key)
        if row["role"] != "supervisor" or not row["pin_hash"]:
            raise NotThere("supervisor with a PIN", key)
        if wait_s := self._wait_s(key):
            raise PinRefused(wait_s)
        try:
            self._hasher.verify(row["pin_hash"], pin)
        except (VerifyMismatchError, InvalidHashError):
            session.write(TurnedAway(key, WRONG_PIN))
            raise PinRefused(self._wait_s(key)) from None
        card = OperatorCard(key, row["name"], row["role"])
        session.supervisor, session.supervised_at_s = card, session.now().watched_s
        return card

    def lock(self) -> None:
        """The supervisor is done."""
        self._session.supervisor = None

    def _wait_s(self, key: str) -> float:
        """How long nothing is tried: after every five wrong tries in a row a minute of watched time.

        Counted from the book, so that a restart opens nothing.
        """
        question = history.Question(key, newest=TRIES)
        tries = [line for line in history.lines(question) if _is_wrong_try(line.entry, key)]
        if len(tries) < TRIES:
            return 0.0
        return max(0.0, tries[0].watched_s + WAIT_S - self._session.now().watched_s)


def _is_wrong_try(entry: Entry, key: str) -> bool:
    return isinstance(entry, TurnedAway) and entry.reason == WRONG_PIN and entry.text == key
