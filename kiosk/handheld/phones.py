"""The telephones of this kiosk: who may ask, what comes of it, and the process that serves them.

The clerk offers this to the screens (`look`, `code`, `end` are questions like any other) and it talks to the desk like
a screen does: every request of a telephone is one question on the desk's own thread, where all that is remembered of
telephones lives too.  Imported, and the server's libraries with it, only where a setting turns telephones on.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

from kiosk.desk import Desk
from kiosk.desk.phones import PhoneOver
from kiosk.desk.session import ActRefused
from kiosk.handheld import messages as M
from kiosk.handheld import said
from kiosk.handheld.asks import Phone, Raise, answer
from kiosk.handheld.link import Link, Serves
from kiosk.handheld.pairing import MOST_PHONES, TOKEN_S, Pairing, Turned, digest, new_cookie, new_name
from kiosk.telling import fault_words
from kiosk.words import for_everybody, language, t

A = TypeVar("A")

log = logging.getLogger("kiosk.handheld")

_OVER = {"kind": "over"}


class Asks(Protocol):
    """What is needed of the worker whose thread is the desk's."""

    def ask(
        self,
        question: Callable[[Desk], A],
        then: Callable[[A], Any] | None = None,
        failed: Callable[[Exception], Any] | None = None,
    ) -> None: ...


@dataclass(frozen=True, slots=True)
class Paired:
    """A telephone in the list.  kind: what it calls itself."""

    name: str
    person: str
    kind: str


@dataclass(frozen=True, slots=True)
class Seen:
    """How telephones stand.  state: starting, serving or failed (`why`).  address: for a browser, without a token."""

    state: str
    why: str
    address: str
    fingerprint: str
    paired: tuple[Paired, ...]


@dataclass(frozen=True, slots=True)
class Code:
    """What is shown once.  rows: the symbol's modules, dark is True.  person: whose the telephone will be."""

    rows: tuple[tuple[bool, ...], ...]
    person: str
    good_s: float


class Phones:
    """Telephones, served from `start` to `stop`.

    worker: asks the desk.  raised: called on the desk's thread with an alarm that the kiosk has to show too.
    serves: where and how (`link.Serves`).
    """

    def __init__(self, worker: Asks, raised: Raise, serves: Serves) -> None:
        self._worker = worker
        self._raised = raised
        self._pairing = Pairing()
        self._phones: dict[str, Phone] = {}  # by their cookies' digests; the desk's thread alone touches it
        self._language = ""
        self._link = Link(serves, self._came)

    def start(self) -> None:
        """Begin to serve; comes back at once."""
        self._link.start()

    def stop(self) -> None:
        """Tell the pages, and stop; comes back when that is done, within two seconds."""
        self._link.stop()

    # What the kiosk's screen asks ---------------------------------------------------------------------------

    def look(self, desk: Desk) -> Seen:
        """How telephones stand now."""
        self._still_there(desk)
        link = self._link
        paired = [
            Paired(each.name, each.hand.operator.name if each.hand.operator else "", each.kind)
            for each in self._phones.values()
        ]
        return Seen(link.state, link.why, link.address, link.fingerprint, tuple(paired))

    def code(self, desk: Desk) -> Code:
        """A new code for whoever is signed in at the kiosk.  Raises ActRefused where nobody is."""
        import qrcode

        owner = desk.phones.owner()
        token = self._pairing.offer(owner.key if owner else None, desk.now().watched_s)
        made = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_M, border=4)
        made.add_data(f"{self._link.address}#{token}")
        rows = tuple(tuple(map(bool, row)) for row in made.get_matrix())
        return Code(rows, owner.name if owner else "", TOKEN_S)

    def hide(self, _: Desk) -> None:
        """Nobody looks at the code any more: it is worth nothing from now on."""
        self._pairing.withdraw()

    def end(self, name: str) -> Callable[[Desk], Seen]:
        """That telephone asks nothing any more."""

        def ended(desk: Desk) -> Seen:
            for each in self._phones.values():
                if each.name == name:
                    desk.phones.end(each.hand)
            return self.look(desk)

        return ended

    def end_all(self, desk: Desk) -> None:
        """Telephones are switched off."""
        desk.phones.close()
        self._still_there(desk)

    # What telephones ask ------------------------------------------------------------------------------------

    def beat(self) -> None:
        """Once a second, from the window: pages that listen are told what is hot, which also says that all is well."""
        if self._link.listening or self._phones:
            self._worker.ask(self._tell)

    @for_everybody()
    def _tell(self, desk: Desk) -> None:
        self._still_there(desk)
        if self._language != language():
            self._speak()
        if self._link.listening:
            self._link.say(M.Board(said.board(desk.heat.board(), desk.heat.warm())))

    def _speak(self) -> None:
        self._language = language()
        self._link.say(M.Spoken(self._language, said.page_words()))

    def _came(self, message: M.Asked | M.Pair | M.Serving) -> None:
        """The server's process said something; on the link's thread."""
        match message:
            case M.Serving():
                self._worker.ask(self._opened)
            case M.Pair():
                self._worker.ask(lambda desk: self._pair(desk, message))
            case M.Asked():
                self._worker.ask(lambda desk: self._answer(desk, message))

    @for_everybody()
    def _opened(self, _: Desk) -> None:
        """A server has begun: what it has to know."""
        self._speak()
        self._tell_sessions()

    @for_everybody()
    def _pair(self, desk: Desk, asked: M.Pair) -> None:
        claimed = self._pairing.claim(asked.token, asked.address, desk.now().watched_s)
        if isinstance(claimed, Turned):
            why = t("phone.wait", wait_s=claimed.wait_s) if claimed.wait_s else t("phone.no_token")
            self._link.say(M.Answer(asked.number, 403, {"kind": "fault", "say": why}))
            return
        self._still_there(desk)
        if (earlier := self._phones.get(asked.before)) is not None:  # its browser keeps one cookie, the new one
            desk.phones.end(earlier.hand)
            self._still_there(desk)
        if len(self._phones) >= MOST_PHONES:
            self._link.say(M.Answer(asked.number, 403, {"kind": "fault", "say": t("phone.too_many")}))
            return
        try:
            name = new_name({each.name for each in self._phones.values()})
            phone = Phone(name, asked.kind, desk.phones.pair(name, claimed.owner))
        except PhoneOver:
            self._link.say(M.Answer(asked.number, 403, {"kind": "fault", "say": t("phone.no_token")}))
            return
        except Exception as error:
            self._failed(asked.number, error)
            return
        cookie = new_cookie()
        self._phones[digest(cookie)] = phone
        self._tell_sessions()
        keep_s = int(desk.session.settings.kiosk.shift_h * 3600)
        with desk.phones.asking(phone.hand):
            body = answer(desk, phone, M.Me(), self._raised)
        self._link.say(M.Answer(asked.number, 200, body, cookie, keep_s))

    @for_everybody()
    def _answer(self, desk: Desk, asked: M.Asked) -> None:
        """One request, one call at the desk; one that was sent before gets the answer of then.

        What asks something else under a key that was used is not done and not answered as if it had been: the answer
        of then may say of hot steel what came of another piece.
        """
        phone = self._phones.get(asked.phone)
        if phone is None:
            self._link.say(M.Answer(asked.number, 401, _OVER))
            return
        if (before := phone.done.get(asked.key)) is not None:
            said, status, body = before
            if said != asked.ask:
                status, body = 409, {"kind": "fault", "say": t("phone.key_used")}
            self._link.say(M.Answer(asked.number, status, body))
            return
        try:
            with desk.phones.asking(phone.hand):
                body = answer(desk, phone, asked.ask, self._raised)
        except PhoneOver:
            self._still_there(desk)
            self._link.say(M.Answer(asked.number, 401, _OVER))
            return
        except Exception as error:
            self._failed(asked.number, error, phone, asked)
            return
        if isinstance(asked.ask, M.DOING):
            phone.remember(asked.key, asked.ask, 200, body)
        self._link.say(M.Answer(asked.number, 200, body))
        self._still_there(desk)

    def _failed(
        self, number: int, error: Exception, phone: Phone | None = None, asked: M.Asked | None = None
    ) -> None:
        """What stands against it, in the words the window would say; remembered too, for it may have been half done."""
        expected = isinstance(error, ActRefused | LookupError)
        log.log(logging.INFO if expected else logging.WARNING, "a telephone was not answered: %s", error, exc_info=True)
        body = {"kind": "fault", "say": fault_words(error)}
        if phone is not None and asked is not None and isinstance(asked.ask, M.DOING):
            phone.remember(asked.key, asked.ask, 409, body)
        self._link.say(M.Answer(number, 409, body))

    def _still_there(self, desk: Desk) -> None:
        """Forget telephones that the desk has ended."""
        hands = desk.session.hands
        gone = [secret for secret, each in self._phones.items() if each.hand not in hands]
        for secret in gone:
            del self._phones[secret]
        if gone:
            self._tell_sessions()

    def _tell_sessions(self) -> None:
        self._link.say(M.Sessions({secret: each.name for secret, each in self._phones.items()}))
