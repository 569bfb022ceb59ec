"""How a telephone becomes somebody's: a token that is shown once, and a cookie that nobody keeps but the telephone.

Pure but for chance: time comes with every call, watched seconds.  Of what is secret only digests are kept here.  Whose
a telephone is and for how long is the desk's (`desk.phones`); how long wrong tries wait is `rules.tries`.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass

from kiosk.rules import tries

TOKEN_S = 120.0  # a code on the screen is good for so long
MOST_PHONES = 20
MOST_ADDRESSES = 200  # whose wrong tries are counted one by one; of more, together
FORGIVEN_S = 900.0  # after so long without a wrong try from anywhere the count begins anew


def digest(secret: str) -> str:
    """What is kept of a secret."""
    return hashlib.sha256(secret.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Token:
    """What the code on the screen stands for: `owner` (key, or None: a shop without badges) until `until_s`."""

    owner: str | None
    until_s: float


@dataclass(frozen=True, slots=True)
class Turned:
    """No telephone by that: wrong, used, too late, or (wait_s) too many tries."""

    wait_s: float = 0.0


class Pairing:
    """Tokens on offer and wrong tries."""

    def __init__(self) -> None:
        self._offered: dict[str, Token] = {}
        self._wrong: dict[str, int] = {}
        self._wrong_of_all = 0
        self._last_wrong_s = 0.0

    def offer(self, owner: str | None, now_s: float) -> str:
        """A new token for this person; one that was offered before is worth nothing any more."""
        token = secrets.token_urlsafe(16)
        self._offered = {digest(token): Token(owner, now_s + TOKEN_S)}
        return token

    def withdraw(self) -> None:
        """Nobody looks at the code any more."""
        self._offered = {}

    def claim(self, token: str, address: str, now_s: float) -> Token | Turned:
        """What a token stands for; it dies of this.  Wrong ones wait longer and longer."""
        if now_s - self._last_wrong_s > FORGIVEN_S:
            self._wrong, self._wrong_of_all = {}, 0
        who = address if address in self._wrong or len(self._wrong) < MOST_ADDRESSES else ""
        wait_s = tries.wait_s(self._wrong.get(who, 0), self._wrong_of_all)
        left_s = self._last_wrong_s + wait_s - now_s
        if wait_s and left_s > 0.0:
            return Turned(left_s)
        found = self._offered.pop(digest(token), None)
        if found is not None and now_s <= found.until_s:
            self._wrong.pop(who, None)
            return found
        self._wrong[who] = self._wrong.get(who, 0) + 1
        self._wrong_of_all += 1
        self._last_wrong_s = now_s
        return Turned(tries.wait_s(self._wrong[who], self._wrong_of_all))


def new_cookie() -> str:
    """What a telephone shows with everything it asks."""
    return secrets.token_urlsafe(32)


def new_name(taken: set[str]) -> str:
    """What a telephone is called in lines and lists: short, and like no other that is in use."""
    while True:
        name = secrets.token_hex(2).upper()
        if name not in taken:
            return name
