"""What every counter of the desk shares: the open book, the cards, the settings and who is at work.

Writes only through the book and never decides; one thread owns a session.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager

from kiosk.desk import first_pin
from kiosk.desk.hand import Hand, OfHand
from kiosk.desk.holds import Holds
from kiosk.desk.shop_rules import following, gone_by, said_here
from kiosk.ledger import tables as T
from kiosk.ledger.book import Book, LedgerFault, Written, rows
from kiosk.ledger.last_step import last_step
from kiosk.ledger.view import Cards
from kiosk.rules import codes
from kiosk.rules.acts import apart_answer, from_presetter, of_itself, of_supervisor
from kiosk.rules.apart import Answer
from kiosk.rules.bounds_of_lines import check
from kiosk.rules.cards import HolderCard, HoldView, LastStep, Moment, OperatorCard, Pending, PlaceCard
from kiosk.rules.grounds import Grounds, Resting, grounds
from kiosk.rules.hold_facts import HoldFacts
from kiosk.rules.lines import (
    OUTSIDE,
    Built,
    Entry,
    Heated,
    Moved,
    OperatorAdded,
    OperatorRetired,
    PlaceAdded,
    PlaceRetired,
    PocketAssigned,
    SettingChanged,
    TornDown,
)
from kiosk.rules.outcomes import Reason
from kiosk.rules.places import Kind
from kiosk.rules.say import Value, say
from kiosk.rules.sending import cooling_place
from kiosk.rules.slices import Between, in_slices, not_asked
from kiosk.rules.view import Limits
from kiosk.settings import NAME, Settings, deciding, same_value

LONGEST_SCAN = 7089  # figures in the largest QR symbol at its weakest level, ISO/IEC 18004
ALIKE_S = 3600.0  # so long after a heating a twin registered as cold is worth a warning


def _nobody_waits() -> None:
    """This kiosk has no others."""


def writable(text: str) -> str:
    """A scanned text as it is written down: halves of signs, which whatever types may send, are `?`, and no longer than
    any symbol's."""
    return text[:LONGEST_SCAN].encode("utf-8", "replace").decode("utf-8")


class NotThere(LookupError):
    """Asked about something the book does not have.  `what` (holder, place, ...) and `key`."""

    def __init__(self, what: str, key: str) -> None:
        super().__init__(f"there is no {what} {key!r} in the book")
        self.what = what
        self.key = key


class ActRefused(PermissionError):
    """Something asked for by touch that is not done now.  `reason`; `why` and `remedy` for the screen."""

    def __init__(self, reason: Reason, **values: Value) -> None:
        super().__init__(reason.value)
        self.reason = reason
        self.why = say(f"refused.{reason.value}", **values)
        self.remedy = say(f"remedy.{reason.value}", **values)


class Locked(PermissionError):
    """This needs a supervisor who has given the PIN within the last minutes."""

    def __init__(self) -> None:
        super().__init__("this needs a supervisor: give the PIN first")


class GaveWay(RuntimeError):
    """Long work stopped, with nothing of it done, because somebody asked something meanwhile: do it again later."""

    ordinary = True  # no fault, and nothing for a log


class GivenUp(RuntimeError):
    """Long work stopped, with nothing of it done, because who began it wants it no more."""

    ordinary = True


class NeedsReason(ValueError):
    """A correction without a word why."""

    def __init__(self) -> None:
        super().__init__("a correction needs a reason: say in a few words why")


class StillHot(RuntimeError):
    """Facts that a running hold is worked out from stay as they are until it ends.  `name` of the holder."""

    def __init__(self, name: str) -> None:
        super().__init__(f"{name} is under a hold: what its hold is worked out from cannot change before it ends")
        self.name = name


UNLOCKED_S = 300.0  # a PIN is good for so long after the last thing done with it


class Session:
    """An open desk's state.  What stands under `OfHand` is that of the hand that asks (`desk.hand.Hand`)."""

    here = OfHand[str | None]()
    operator = OfHand[OperatorCard | None]()
    supervisor = OfHand[OperatorCard | None]()
    supervised_at_s = OfHand[float]()
    opened_with = OfHand[str | None]()
    pending = OfHand[Pending | None]()
    audit = OfHand[str | None]()
    audit_at = OfHand[str | None]()
    last_scan_s = OfHand[float]()
    stepped_s = OfHand[float | None]()
    last_holder = OfHand[str | None]()

    def __init__(self, book: Book, settings: Settings, here: str | None = None) -> None:
        self.book = book
        self.settings = settings
        self.hand = Hand(here=here)
        self.hands = [self.hand]  # the kiosk's own first, then those of telephones
        self.wrote: Callable[[], None] = _nobody_waits  # told once lines are on the disk
        self.is_asked: Callable[[], bool] = bool  # whether somebody waits for an answer; nobody does
        self.cards = Cards(book, self._hold)
        self.holds = self._holds(settings)

    def _holds(self, settings: Settings) -> Holds:
        cards, book = self.cards, self.book
        return Holds(settings.heat, cards.lessons, lambda line: book.age_of(line), lambda: cards.apart)

    def catch_up(self) -> None:
        """Lines of other kiosks came: what was read before is stale."""
        self.cards.forget_places()
        self.holds.told_by_others()
        self._who_is_here()

    def _who_is_here(self) -> None:
        """Nobody is at work who is out of use; nobody has opened who is no supervisor or has another PIN by now."""
        opened = {hand.supervisor.key for hand in self.hands if hand.supervisor}
        theirs = T.Operator.select(T.Operator.key, T.Operator.pin_hash).where(T.Operator.key.in_(opened))
        pins = {row["key"]: row["pin_hash"] for row in rows(theirs)} if opened else {}
        for hand in self.hands:
            hand.operator = self._in_use(hand.operator)
            supervisor = self._in_use(hand.supervisor)
            good = supervisor and supervisor.role == "supervisor" and pins[supervisor.key] == hand.opened_with
            hand.supervisor = supervisor if good else None

    def _in_use(self, card: OperatorCard | None) -> OperatorCard | None:
        now = self.cards.operator(card.key) if card else None
        return None if now is None or now.retired else now

    def _hold(self, facts: HoldFacts) -> HoldView:
        return self.holds.view(facts, self.now())

    @contextmanager
    def asked_by(self, hand: Hand) -> Iterator[None]:
        """Meanwhile it is this hand that asks."""
        before, self.hand = self.hand, hand
        try:
            yield
        finally:
            self.hand = before

    def now(self) -> Moment:
        return self.book.now()

    @property
    def badge_required(self) -> bool:
        """Whether this shop lets nobody work without a badge.  One where nobody has a badge yet asks for none."""
        people = T.Operator.select().where(T.Operator.retired == 0)
        return self.settings.kiosk.badge_required and bool(people.exists())

    @property
    def badge_missing(self) -> bool:
        """Whether a badge must be scanned before anything is done."""
        return self.operator is None and self.badge_required

    def badge_first(self, entries: Sequence[Entry]) -> bool:
        """Whether these lines are somebody's work and nobody is signed in."""
        return not all(map(of_itself, entries)) and self.badge_missing

    def signed_in(self) -> None:
        """What is done by touch is somebody's work too.  Raises ActRefused where a badge must be scanned first."""
        if self.badge_missing:
            raise ActRefused(Reason.BADGE_FIRST)

    def supervised(self, reason: str | None = None) -> str | None:
        """The supervisor who answers for what comes next.  None: no supervisor of this shop has a PIN yet.

        reason: what a correction is made for, where it needs one.  Raises Locked, NeedsReason.
        """
        if reason is not None and not reason.strip():
            raise NeedsReason
        if (key := self.unlocked_by()) is not None:
            self.supervised_at_s = self.now().watched_s
            return key
        if T.Operator.select().where(T.Operator.pin_hash.is_null(False), T.Operator.retired == 0).exists():
            raise Locked
        return None

    def unlocked_by(self) -> str | None:
        """The supervisor whose PIN is still good; None: nobody's is."""
        if self.supervisor is not None and self.now().watched_s - self.supervised_at_s > UNLOCKED_S:
            self.supervisor = None
        return self.supervisor.key if self.supervisor else None

    def write(
        self,
        *entries: Entry,
        by: str | None = None,
        presetter: bool = False,
        between: Between = not_asked,
    ) -> tuple[Written, ...]:
        """Appends lines as the operator at work, or as the supervisor `by`; they are on disk when this returns.

        Everything the desk writes goes through here, so this is where a badge is asked for and where figures that
        cannot be are turned away; and what is a supervisor's (`acts.of_supervisor`) is written by one, whichever
        counter, file or command it comes from.  presetter: a measurement came from an instrument and takes no hand.
        between: see `slices`; where it raises, nothing was written.  Raises ActRefused, Locked, OutOfBounds.
        """
        if by is None and any(map(of_supervisor, entries)):
            by = self.supervised()
        if by is None and self.badge_first([each for each in entries if not (presetter and from_presetter(each))]):
            raise ActRefused(Reason.BADGE_FIRST)
        if any(apart_answer(self.cards.apart, entry) is Answer.REFUSED for entry in entries):
            raise ActRefused(Reason.CATCH_UP_FIRST)
        if why := first_pin.refuses(entries, supervisor=bool(by or self.supervisor_at_work)):
            raise ActRefused(why)
        for entry in in_slices(entries, lambda _: between(0)):
            check(entry)
        written = self._append(entries, by or (self.operator.key if self.operator else None), between)
        if any(isinstance(entry, Moved | Built | TornDown) for entry in entries):
            self.stepped_s = self.now().watched_s
        if any(isinstance(entry, PlaceAdded | PlaceRetired | PocketAssigned) for entry in entries):
            self.cards.forget_places()
        if any(isinstance(entry, OperatorAdded | OperatorRetired) for entry in entries):
            self._who_is_here()
        self.wrote()
        return written

    def _append(
        self, entries: Sequence[Entry], by: str | None, between: Between = not_asked
    ) -> tuple[Written, ...]:
        """Writes lines; where the disk refuses a heating, the steel is hot all the same, and that is not forgotten.

        Until it is scanned at the station again nobody knows how warm it is, and the next line that the disk takes
        is kept after one that says so.  Raises LedgerFault.
        """
        heated = {entry.holder for entry in entries if isinstance(entry, Heated)}
        told = self._owed(self.cards.unwritten - heated)
        try:
            written = self.book.append((*told, *entries), by, self.hand.phone, between)
        except LedgerFault:
            self.cards.unwritten |= heated
            raise
        self.cards.unwritten.clear()
        return written[len(told) :]

    def _owed(self, keys: Collection[str]) -> list[Heated]:
        """What says of holders whose heating could not be written that nobody knows how warm they are."""
        return [
            Heated(card.holder.key, card.at.place.code, heats=0, reading_only=True, body_unknown=True)
            for card in map(self.holder, sorted(keys))
            if card.at is not None  # nowhere known is as good: only readings end that
        ]

    def tell_unwritten(self) -> None:
        """Writes down which holders were heated while the disk refused it, for a kiosk that starts again to know.

        Raises LedgerFault where it still refuses; then they stay unwritten.
        """
        if self.cards.unwritten:
            self._append((), None)

    @property
    def supervisor_at_work(self) -> str | None:
        """The supervisor who is signed in, by key."""
        now = self._in_use(self.operator)
        return now.key if now is not None and now.role == "supervisor" else None

    def holder(self, key: str) -> HolderCard:
        """Raises NotThere."""
        card = self.cards.holder(key)
        if card is None:
            raise NotThere("holder", key)
        return card

    def place(self, code: str) -> PlaceCard:
        """Raises NotThere."""
        card = self.cards.place(code)
        if card is None:
            raise NotThere("place", code)
        return card

    def grounds(self) -> Grounds:
        """What running holds, and those over whose steel may still be warm, rest on."""
        cards, places = self.cards, self.cards.places
        holds = []
        for card in cards.held():
            facts = cards.hold_facts(card.holder.key)
            stood = [*facts.stays, *(stay for each in facts.earlier for stay in each.stays)] if facts else []
            stays = {stay.place for stay in stood if stay.place}
            if card.at is not None:
                stays.add(card.at.place.code)
            holds.append(Resting(card.holder, card.assembly.cutter.key if card.assembly else None, stays))
        standing = rows(T.Holder.select(T.Holder.place).where(T.Holder.place.is_null(False)).distinct())
        return grounds(holds, {code: places.place(code) for code in places.rows}, (row["place"] for row in standing))

    def hot_lately(self) -> tuple[HolderCard, ...]:
        """What is under a hold or was heated within the hour: of two alike, it may be taken for the cold one."""
        now = self.now()

        def lately(key: str) -> bool:
            facts = self.cards.hold_facts(key)
            if facts is None or not facts.watched:
                return False
            return self.holds.moment(facts, now).watched_s - facts.heated_at_s <= ALIKE_S

        return tuple(card for card in self.cards.held() if card.hold or lately(card.holder.key))

    def unheld(self, entry: Entry) -> None:
        """A line that changes what no hold rests on.  Raises StillHot where one does."""
        if (why := self.grounds().refuses(entry)) is not None:
            raise StillHot(str(dict(why.values)["name"]))

    def fresh_code(self, kind: codes.CodeKind) -> codes.Code:
        """A code of which every slip is caught, never bound before, and on no label that waits for its first scan."""
        while True:
            code = codes.make(kind, secrets.randbelow(codes.NUMBERS))
            if not codes.catches_swaps(code):
                continue
            taken = (table.select(table.text).where(table.text == code.text) for table in (T.Binding, T.Printed))
            if not any(map(rows, taken)):
                return code

    def limits(self) -> Limits:
        """The settings a decision depends on."""
        kiosk = self.settings.kiosk
        return Limits(kiosk.pair_s, kiosk.undo_s, self.settings.heat.reheat_s, kiosk.travel_s, self.badge_required)

    def notice_settings(self) -> tuple[SettingChanged, ...]:
        """Settings a decision depends on that have another value than the book knows, each written as a line.

        Not those of a file that has not followed the others yet: nobody set the shop back to what this kiosk had.
        """
        known, said = gone_by(), said_here(self.book)
        found = deciding(self.settings)
        changed = tuple(
            SettingChanged(name, value, OUTSIDE)
            for name, value in found.items()
            if name in known and not same_value(known[name], value)
            if not said or (name in said and not same_value(said[name], value))
        )
        if changed:
            self.write(*changed)
        return changed

    def follow_rules(self, but: str = "") -> None:
        """What the shop goes by, as another kiosk's line set it, counts here too and stands in this kiosk's file.

        but: the one that a hand has just set here.
        """
        settings = following(self.settings, self.book.path.parent / NAME, but)
        if settings is not self.settings:
            self.take_settings(settings)

    def take_settings(self, settings: Settings) -> None:
        """The shop's settings are these from now on."""
        self.settings = settings
        self.holds = self._holds(settings)

    def cooling_place(self) -> PlaceCard | None:
        """Where to send a hot holder: a cooling place with room, a sleeve first."""
        cooling = [code for code, row in self.cards.places.rows.items() if row["kind"] == Kind.COOLING.value]
        return cooling_place(card for code in cooling if (card := self.cards.place(code)))

    def last_step(self) -> LastStep | None:
        return last_step(self.book, self.cards, self.operator.key if self.operator else None, self.hand.phone)
