"""The people counter: badges, signing in and out, supervisors and their PIN.

A PIN is kept only as an argon2 hash.  No role, whatever it is, ends a hold.
"""

from __future__ import annotations

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerifyMismatchError

from kiosk.desk.session import NotThere, Session
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.ledger.derive import Row
from kiosk.rules.cards import OperatorCard
from kiosk.rules.lines import CodeBound, OperatorAdded, OperatorRetired, SignedOut

ROLES = ("setter", "supervisor")
TRIES = 5
WAIT_S = 60.0


class PinRefused(PermissionError):
    """A wrong PIN, or too many of them.  `wait_s`: how long nothing is tried any more."""

    def __init__(self, wait_s: float = 0.0) -> None:
        super().__init__(f"wait {wait_s:.0f} s" if wait_s else "wrong PIN")
        self.wait_s = wait_s


class PeopleCounter:
    def __init__(self, session: Session) -> None:
        self._session = session
        self._hasher = PasswordHasher()
        self._wrong = 0
        self._locked_until_s = 0.0

    def operators(self) -> tuple[OperatorCard, ...]:
        found = rows(T.Operator.select().order_by(T.Operator.name))
        return tuple(OperatorCard(row["key"], row["name"], row["role"], bool(row["retired"])) for row in found)

    def add(self, key: str, name: str, role: str, code: str, pin: str | None = None) -> OperatorCard:
        """A new operator with the badge `code`; `pin` for a supervisor.  Raises ValueError for an unknown role."""
        if role not in ROLES:
            raise ValueError(f"a role is one of {', '.join(ROLES)}, not {role!r}")
        pin_hash = self._hasher.hash(pin) if pin else None
        self._session.write(OperatorAdded(key, name, role, pin_hash), CodeBound(code, key, "operator"))
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

    def retire(self, key: str, reason: str) -> None:
        self._session.write(OperatorRetired(key, reason))

    def sign_out(self) -> None:
        if self._session.operator:
            self._session.write(SignedOut(self._session.operator.key))
            self._session.operator = None

    def unlock(self, key: str, pin: str) -> OperatorCard:
        """The supervisor whose PIN this is.  Five wrong tries wait a minute.  Raises PinRefused, NotThere."""
        now_s = self._session.now().watched_s
        if now_s < self._locked_until_s:
            raise PinRefused(self._locked_until_s - now_s)
        found = rows(T.Operator.select().where(T.Operator.key == key, T.Operator.retired == 0))
        if not found or found[0]["role"] != "supervisor" or not found[0]["pin_hash"]:
            raise NotThere("supervisor with a PIN", key)
        try:
            self._hasher.verify(found[0]["pin_hash"], pin)
        except (VerifyMismatchError, InvalidHashError):
            self._wrong += 1
            if self._wrong < TRIES:
                raise PinRefused from None
            self._wrong = 0
            self._locked_until_s = now_s + WAIT_S
            raise PinRefused(WAIT_S) from None
        self._wrong = 0
        return OperatorCard(key, found[0]["name"], found[0]["role"])
