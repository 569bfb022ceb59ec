"""The desk: a scan comes in, the rules decide, the book keeps the answer, and what to show goes out.

Never decides anything itself and never shows anything; `open_desk` is where every program begins.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from kiosk import __version__
from kiosk import settings as shop_settings
from kiosk.desk.counters import Counters
from kiosk.desk.presetting import PresetterCable
from kiosk.desk.probing import Probe
from kiosk.desk.session import NotThere, Session, writable
from kiosk.desk.shop_air import ShopAir
from kiosk.ledger.book import Book, LedgerFault, Written
from kiosk.ledger.clock import SecondsSource, boot_counter_s
from kiosk.rules.acts import left_alone
from kiosk.rules.apart import nothing_heard
from kiosk.rules.cards import (
    Command,
    CommandCard,
    HolderCard,
    Moment,
    OperatorCard,
    Pending,
    PlaceCard,
    Subject,
)
from kiosk.rules.lines import (
    HoldEnded,
    KioskStarted,
    Moved,
    SettingChanged,
    SignedIn,
    SignedOut,
    TurnedAway,
)
from kiosk.rules.outcomes import Done, Outcome, Reason, Refused, Wait
from kiosk.rules.say import say

if TYPE_CHECKING:
    from kiosk.desk.kiosks import KiosksCounter
    from kiosk.desk.together import LockedOut, Together
    from kiosk.link.faults import LinkFault
    from kiosk.rules.view import View

REHEARSAL = "rehearsal"  # what the kiosk is called while time is pretended
BEAT_S = 10.0  # at most this much watched time is lost with the power
MEMBER = "server.json"  # where `link.address`, which a kiosk without others never loads, keeps that there are others


@dataclass(frozen=True, slots=True)
class Scanned:
    """What came of a scan.  `lines` are on disk; `holder` is how it stands now."""

    text: str
    outcome: Outcome
    lines: tuple[Written, ...]
    moment: Moment
    holder: HolderCard | None = None
    undo_s: float | None = None  # how long the step can still be undone
    operator: OperatorCard | None = None  # who is at work now


class Desk(Counters):
    """An open kiosk.  Belongs to one thread."""

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self.air = ShopAir(session, lambda key, value: self.people.air_measured(key, value))
        self.probe = Probe(session)
        self.presetter = PresetterCable(session, lambda: self.papers, lambda: self.people)
        self.changed_outside: tuple[SettingChanged, ...] = ()  # settings found changed when the desk was opened
        self.past_lost: str | None = None  # why the past was not whole when the desk was opened (`lines.RESTORED`)
        self.kiosks: KiosksCounter | None = None  # the shop's other kiosks; None: there are none, or nobody asked
        self.not_shared: LinkFault | None = None  # why this kiosk, one of several, does not even ask for the others
        self._together: Together | None = None
        self._beat_s = session.now().watched_s
        self._closed = False

    @classmethod
    def open(
        cls,
        folder: Path,
        *,
        at: str | None = None,
        read_only: bool = False,
        counter: SecondsSource = boot_counter_s,
        wall: SecondsSource | None = None,
        rehearsal: bool = False,
    ) -> Desk:
        """Opens the data folder.  Raises SettingsFault, LedgerFault, InUse, NewerLedger, NotThere (for `at`).

        rehearsal: time is pretended, and every line says so.
        """
        settings = shop_settings.load(folder / shop_settings.NAME)
        name = REHEARSAL if rehearsal else settings.kiosk.name
        book = Book.open(folder, name, read_only=read_only, counter=counter, wall=wall)
        try:
            if (folder / MEMBER).exists() and book.sharing is None and not (read_only or rehearsal):
                from kiosk.desk.joining import share_again

                share_again(book)
            session = Session(book, settings)
            if (folder / MEMBER).exists() and session.cards.apart is None and not rehearsal:
                session.cards.apart = nothing_heard("")  # by its lines it is no kiosk of the shop's
            standing = at or settings.kiosk.at
            if standing:
                session.here = session.cards.find_place(standing)
                if session.here is None:
                    raise NotThere("place", standing)
            desk = cls(session)
            desk.past_lost = book.lost
            if not read_only:
                desk.changed_outside = session.notice_settings()
                session.follow_rules()  # what the file could not say, or had not heard of yet, counts from the start
                found = tuple(shop_settings.deciding(session.settings).items())
                session.write(KioskStarted(__version__, found, rehearsal))
            return desk
        except BaseException:
            book.close()
            raise

    def begin_sharing(self) -> None:
        """Shares the book with the shop's other kiosks from now on; one that has none stays what it is, untouched.

        Where nobody knows who this kiosk is among them (`not_shared`), nothing is shared and nothing counts as cool.
        """
        book = self.session.book
        if self.kiosks is not None or (book.sharing is None and not (book.path.parent / MEMBER).exists()):
            return
        from kiosk.desk.kiosks import KiosksCounter, LinkFault

        try:
            self.kiosks = KiosksCounter.of(book, book.path.parent)
        except LinkFault as fault:
            self.not_shared = fault
        if self.kiosks is not None:
            from kiosk.desk.together import Together

            self._together = Together(self.session, self.kiosks, self.finding.catch_up)

    def lock_out(self, kiosk: str) -> LockedOut:
        """Ends what a stolen or lost kiosk may do.  Raises Locked, ActRefused, NotThere, LinkFault."""
        return self._with_others().lock_out(kiosk)

    def leave(self) -> None:
        """Belongs to the shop with several kiosks no more.  Raises Locked, ActRefused, LinkFault."""
        self._with_others().leave()

    def _with_others(self) -> Together:
        if self._together is None:
            from kiosk.link.faults import Cause, LinkFault

            raise self.not_shared or LinkFault(Cause.ALONE)
        return self._together

    def close(self) -> None:
        """Once more is nothing: another desk may be open by then."""
        if self._closed:
            return
        self._closed = True
        self.air.close()
        self.probe.close()
        self.presetter.close()
        try:
            with suppress(LedgerFault):  # on a disk that is full to the end nothing more can be kept
                self.session.tell_unwritten()
                if self.session.hands[1:]:
                    self.phones.close()
                if self._together is not None:
                    self._together.rests()
        finally:
            if self.kiosks is not None:
                self.kiosks.close()
            self.session.book.close()

    def __enter__(self) -> Desk:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def now(self) -> Moment:
        return self.session.now()

    def scan(self, text: str) -> Scanned:
        """What a label's text does now.  Every line of it is on disk when this returns."""
        text = writable(text)
        self._hear()
        return self._answer(text, self.session.cards.subject(text))

    def watch(self, text: str) -> Scanned | None:
        """A label shown to a screen that keeps it for itself: nothing moves by it, but heat is told all the same.

        What came of it where it makes, with the label before it or the place this kiosk stands at, a pair by which hot
        steel would come to where hands reach; else None.
        """
        self._hear()
        return self._watch(writable(text), self._pending(), self.now())

    def _watch(self, text: str, pending: Pending | None, moment: Moment) -> Scanned | None:
        from kiosk.desk.watching import watch

        found = watch(self.session, text, pending, moment)
        return Scanned(text, found.refused, found.lines, moment, found.card) if found else None

    def called_out(self) -> Scanned | None:
        """Steel that was heated by one kiosk and taken by another that had not heard it: told once at each."""
        if self._together is None or not self._together.may_alarm():
            return None
        found = self.differences.called_out()
        if found is None or found.alarm is None:
            return None
        card = self.session.cards.holder(found.subject)
        told = Refused(Reason.HOT, found.alarm, say("apart.alarm_remedy"), holder=card)
        return Scanned("", told, (), self.now(), card)

    def undo(self) -> Scanned:
        """The same as the printed command card."""
        return self.command(Command.UNDO)

    def undoable(self) -> tuple[str, float]:
        """What the last step was about that could be taken back now, and how long yet; nothing: "" and 0."""
        session, moment = self.session, self.now()
        left_s = session.settings.kiosk.undo_s - (moment.watched_s - (session.stepped_s or 0.0))
        if session.stepped_s is None or left_s <= 0.0:
            return "", 0.0
        from kiosk.rules.decision import decide

        card = CommandCard(Command.UNDO)
        outcome = decide(self._view(card), card, moment)
        if not isinstance(outcome, Done) or outcome.holder is None:
            return "", 0.0
        return outcome.holder.name, left_s

    def command(self, command: Command) -> Scanned:
        self._hear()
        return self._answer(command.name, CommandCard(command))

    def waiting(self) -> Pending | None:
        """The first scan of a pair, as long as its second is taken."""
        pending = self._pending()
        in_time = pending is not None and pending.left_s(self.now(), self.session.settings.kiosk.pair_s) >= 0.0
        return pending if in_time and pending is not None and not pending.heat_only else None

    def cancel(self) -> None:
        """Forgets the first scan of a pair."""
        self.session.pending = None

    def tick(self) -> tuple[Written, ...]:
        """Once a second: ends holds whose time has come, signs out who is gone, writes watched time down."""
        session = self.session
        moment = session.now()
        if moment.watched_s - self._beat_s >= BEAT_S:
            session.book.beat()
            session.tell_unwritten()
            self._beat_s = moment.watched_s
        if self._together is not None:
            self._together.kiosks.take(session.is_asked)
            self._together.heard()
        self.air.tick()
        over = [(card.holder.key, card.hold) for card in self.heat.over()]
        ended = [HoldEnded(key, "time", hold.heating if hold else None) for key, hold in over]
        lines = session.write(*ended) if ended else ()
        if session.hands[1:]:
            self.phones.over()
        for hand in session.hands:
            with session.asked_by(hand):
                lines += self._left_alone(moment)
        return lines

    def _left_alone(self, moment: Moment) -> tuple[Written, ...]:
        """Whoever has not scanned for long is signed out and their audit waits; a telephone stays its owner's."""
        session = self.session
        idle_s, lines = moment.watched_s - session.last_scan_s, tuple[Written, ...]()
        owner = None if session.hand.phone else session.operator
        if owner and (gone := left_alone(owner, idle_s, session.settings.kiosk.sign_out_s)):
            lines = session.write(gone)
            session.operator = session.supervisor = None  # what a PIN has opened is shut with whoever goes
        if session.audit is not None:
            self.audits.cooled()
            self.audits.idle(idle_s)
        return lines

    def _answer(self, text: str, subject: Subject) -> Scanned:
        from kiosk.rules.decision import decide  # what is hot is told before all that decides is read

        session = self.session
        moment = session.now()
        outcome = decide(self._view(subject), subject, moment)
        waits = isinstance(outcome, Wait) or (isinstance(outcome, Refused) and outcome.reason is Reason.BADGE_FIRST)
        if waits and self._kept_one() and (met := self._watch(text, None, moment)):
            return met  # the other label of the pair was shown to a screen that kept it for itself
        session.last_scan_s = moment.watched_s
        holder = outcome.holder
        if holder is not None:
            session.last_holder = holder.holder.key
        lines = self._write(text, outcome)
        self._remember(subject, outcome, moment)
        if holder and lines:
            holder = session.cards.holder(holder.holder.key)
        written = outcome.lines if isinstance(outcome, Done) else ()
        moved = any(isinstance(line, Moved) and line.undoes is None for line in written)
        undo = session.settings.kiosk.undo_s if moved else None
        if moved and self._together is not None and (found := self._together.told_back(outcome, self.differences)):
            outcome, holder, undo = found, found.holder, None
        return Scanned(text, outcome, lines, moment, holder, undo, session.operator)

    def _kept_one(self) -> bool:
        """Whether a screen kept a label for itself; what this hand's audit found hot has been told of by that."""
        kept = self.session.hand.watched
        hot = self.session.hand.audit_hot
        return kept is not None and not (isinstance(kept.card, HolderCard) and kept.card.holder.key in hot)

    def _hear(self) -> None:
        """Before a card is looked at: what the other kiosks did is in the book, as far as they are to be heard."""
        if self._together is not None:
            self._together.kiosks.fresh()
            self._together.heard()

    def _write(self, text: str, outcome: Outcome) -> tuple[Written, ...]:
        """What was done, or that it was refused, is on disk when this returns."""
        match outcome:
            case Done(lines=lines):
                return self.session.write(*lines) if lines else ()
            case Refused(reason=reason, holder=holder, goal=goal, lines=known):
                key = holder.holder.key if holder else None
                turned_away = TurnedAway(text, reason.value, key, goal.place.code if goal else None)
                return self.session.write(*known, turned_away)
            case Wait():
                return ()

    def _remember(self, subject: Subject, outcome: Outcome, moment: Moment) -> None:
        session = self.session
        match outcome:
            case Done(lines=lines):
                session.pending = None
                shown = session.hand.watched.card if session.hand.watched else None
                for line in lines:
                    if isinstance(line, Moved) and isinstance(shown, HolderCard) and shown.holder.key == line.holder:
                        session.hand.watched = None  # where it went is scanned: it waits for no place any more
                    if isinstance(line, SignedIn):
                        session.operator = session.cards.operator(line.operator)
                        if session.unlocked_by() != line.operator:
                            self.people.lock()  # somebody else stands here now
                    elif isinstance(line, SignedOut):
                        session.operator = None
                        self.people.lock()
            case Wait(pending=pending):
                session.pending = pending
            case Refused(pending=pending):
                session.pending = pending or session.pending
        self.audits.remember(subject, outcome, moment)

    def _view(self, subject: Subject) -> View:
        from kiosk.rules.view import View

        session = self.session
        asks_undo = getattr(subject, "command", None) is Command.UNDO
        return View(
            session.book.kiosk,
            self._pending(),
            session.cards.place(session.here) if session.here else None,
            session.operator,
            session.last_step() if asks_undo else None,
            self.audits.view(subject),
            session.cooling_place(),
            session.limits(),
            self.audits.to_open(subject),
            session.hand.phone,
            session.hand.audit_asked_s,
            session.cards.apart,
        )

    def _pending(self) -> Pending | None:
        """The first scan of a pair, with its card as things stand now."""
        kept = self.session.pending
        if kept is None:
            return None
        cards = self.session.cards
        if isinstance(kept.card, HolderCard):
            card: HolderCard | PlaceCard | None = cards.holder(kept.card.holder.key)
        else:
            card = cards.place(kept.card.place.code)
        return replace(kept, card=card) if card else None
