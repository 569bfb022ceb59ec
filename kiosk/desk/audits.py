"""The audit counter: opening, scans and photographs, how an audit stands, settling and closing it.

The rules say what differs, what a scan means and what may move; here they meet the book.  An audit lives in the book
alone, so it outlasts restarts and shifts and any number of people can work on it; what this kiosk remembers beside it
is only what was scanned a moment ago.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kiosk.desk.audit_book import AuditBook, AuditRow, DifferenceCard
from kiosk.desk.audit_photo import PhotoMark, PhotoSeen, labels_in, mark
from kiosk.desk.audit_reports import AuditReports
from kiosk.desk.audit_search import AuditSearch, LookFor
from kiosk.desk.audit_view import AuditViews
from kiosk.desk.session import ActRefused, NotThere, Session
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.reader.symbols import Symbol
from kiosk.rules.audit import (
    ABOUT_HEAT,
    Action,
    AuditReport,
    Counts,
    Difference,
    GroupState,
    Item,
    Mark,
    Settled,
)
from kiosk.rules.audit_scan import begin, photograph, stands_empty
from kiosk.rules.audit_settling import close, cooled, settle
from kiosk.rules.cards import Command, CommandCard, Moment, PlaceCard, Subject
from kiosk.rules.lines import AuditClosed, AuditPaused, Seen
from kiosk.rules.outcomes import Done, Outcome, Reason, Refused, Step, Wait, refuse
from kiosk.rules.view import AuditToOpen, AuditView, View

__all__ = [
    "AuditCounter", "AuditRow", "AuditStatus", "DifferenceCard", "LookFor", "PhotoMark", "PhotoSeen",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class AuditStatus:
    """How an audit stands.  `at`: name of the drawer or slot scanned last; `here`: this kiosk is in it."""

    row: AuditRow
    people: tuple[str, ...]
    counts: Counts
    groups: tuple[GroupState, ...]
    missing: tuple[Item, ...]  # in walking order
    differences: tuple[DifferenceCard, ...]
    settled: tuple[Settled, ...]
    at: str | None
    here: bool


class AuditCounter:
    def __init__(self, session: Session) -> None:
        self._session = session
        self._book = AuditBook(session)
        self._views = AuditViews(session, self._book)
        self._search = AuditSearch(session, self._book)
        self._reports = AuditReports(session, self._book)

    # opening, going on, pausing -----------------------------------------------------------------------------

    def running(self) -> tuple[AuditRow, ...]:
        """Audits that are not closed, paused ones too, newest first."""
        query = T.Audit.select().where(T.Audit.closed_line.is_null()).order_by(T.Audit.opened_line.desc())
        return tuple(self._book.row(row) for row in rows(query))

    def open(self, place: str) -> AuditStatus:
        """Starts an audit of a place (its code; a slot stands for its cabinet, a pocket for its machine) or of
        everything hot (`hot`), or goes on with the one that runs there.

        Raises NotThere, ActRefused (no badge, a place that is out of use).
        """
        self._session.signed_in()
        outcome = begin(self._views.to_open(place))
        if isinstance(outcome, Refused):
            raise ActRefused(outcome.reason, **dict(outcome.why.values))
        self._write(outcome)
        return self.status(outcome.audit)

    def pause(self) -> None:
        """This hand leaves its audit, which waits unless another one works on it."""
        session = self._session
        others = [hand.audit for hand in session.hands if hand is not session.hand]
        if session.audit and session.audit not in others:
            session.write(AuditPaused(session.audit))
        self._leave()

    def idle(self, idle_s: float) -> None:
        """Nobody has scanned for a while: pauses, so that the next shift's scans move holders again."""
        if self._session.audit and idle_s > self._session.settings.kiosk.sign_out_s:
            self.pause()

    def cooled(self) -> None:
        """What was seen hot in this kiosk's audit and is cool by now was still found hot: that is written down."""
        session = self._session
        seen_hot = session.hand.audit_hot
        for key, was in tuple(seen_hot.items()):
            card = session.cards.holder(key)
            if session.audit is None or card is None or card.hold is not None:
                continue
            line = cooled(session.audit, was, card, self._book.settled(session.audit))
            if line is not None:
                session.write(line)
                del seen_hot[key]

    def _watch_heat(self) -> None:
        """Remember what is hot in this kiosk's audit now."""
        if self._session.audit is not None:
            found = self._book.findings(self._session.audit)[1].open
            self._session.hand.audit_hot |= {each.text: each for each in found if each.difference in ABOUT_HEAT}

    # what a decision is shown, and what is remembered of it -------------------------------------------------

    def view(self, subject: Subject) -> AuditView | None:
        """This kiosk's audit, as far as this scan can need it."""
        closing = isinstance(subject, CommandCard) and subject.command is Command.CLOSE_AUDIT
        if closing:
            self.cooled()
        at = subject if isinstance(subject, PlaceCard) else None
        return self._views.running(self._session.hand.audit_seen_last, at, closing)

    def to_open(self, subject: Subject) -> AuditToOpen | None:
        """The audit this scan may open: of a place after its command card, or of the place this kiosk stands at."""
        here = self._session.here
        if self._session.audit is not None:
            return None
        if isinstance(subject, PlaceCard):
            return self._views.to_open(subject.place.code) if self._session.hand.audit_asked_s is not None else None
        starts = isinstance(subject, CommandCard) and subject.command is Command.START_AUDIT
        return self._views.to_open(here) if starts and here else None

    def remember(self, subject: Subject, outcome: Outcome, moment: Moment) -> None:
        """Keeps up with what came of a scan, once its lines are written."""
        session = self._session
        nobody = isinstance(outcome, Refused) and outcome.reason is Reason.BADGE_FIRST
        if isinstance(subject, PlaceCard) and not nobody:
            session.hand.audit_asked_s = session.hand.audit_seen_last = None  # the place that was waited for has come
        match outcome:
            case Done():
                self._follow(outcome, moment)
                if outcome.then is Command.START_AUDIT and outcome.step is Step.COMMAND:
                    session.hand.audit_asked_s = moment.watched_s
            case Wait(step=Step.AUDIT_AT, goal=goal) if goal is not None:
                session.audit_at = goal.place.code
                session.pending = None

    def _follow(self, outcome: Done, moment: Moment) -> None:
        if outcome.audit is not None:
            self._join(outcome.audit)
        for line in outcome.lines:
            match line:
                case AuditClosed(audit=closed):
                    self._leave(closed)
                case Seen(holder=holder) if holder is not None and outcome.holder is not None:
                    self._session.hand.audit_seen_last = (outcome.holder.holder.key, moment.watched_s)
        if outcome.alarm:
            self._watch_heat()

    def photo(self, symbols: Sequence[Symbol], place: str) -> PhotoSeen:
        """Takes a photograph of a drawer (or any place with labels in sight) for what was seen there.

        symbols: as the reader gives them.  place: code of the drawer.  Slot labels in the picture say who stands
        where.  A printed label that waits for its first scan, a badge or a card is marked and does nothing: that
        takes a hand.  Raises NotThere without an audit or for an unknown place, ActRefused.
        """
        session = self._session
        session.signed_in()
        audit = self._views.running()
        if audit is None:
            raise NotThere("running audit", "at this kiosk")
        drawer = session.place(place)
        view = self._view(audit)
        labels = labels_in(session, symbols, drawer, audit.scope.members)
        moment = session.now()
        outcomes = photograph(view, [label for _, label in labels], moment)
        done = [outcome for outcome in outcomes if isinstance(outcome, Done)]
        lines = [line for outcome in done for line in outcome.lines]
        marks = [mark(symbol, label.subject, each) for (symbol, label), each in zip(labels, outcomes, strict=True)]
        written = session.write(*lines) if lines else ()
        session.audit_at = place
        session.last_scan_s = moment.watched_s
        alarm = any(outcome.alarm for outcome in done)
        if alarm:
            self._watch_heat()
        return PhotoSeen(tuple(marks), written, alarm)

    def empty(self, holder_key: str, is_empty: bool = True) -> DifferenceCard | None:
        """An eye says that no cutter is in this holder, or (`is_empty` false) that there is one after all.

        The difference it makes, if the book says otherwise.  It stands where it was seen, or where the walk is.
        Raises NotThere, ActRefused.
        """
        session = self._session
        session.signed_in()
        card = session.holder(holder_key)
        audit = self._views.running()
        if audit is None:
            raise NotThere("running audit", "at this kiosk")
        before = next((each for each in self._book.sightings(audit.key) if each.holder == holder_key), None)
        session.write(stands_empty(audit, card, before, is_empty))
        session.last_scan_s = session.now().watched_s
        key = f"{holder_key}/{Difference.EMPTY_HOLDER.value}"
        return next((each for each in self.status().differences if each.key == key), None)

    def known_now(self, text: str) -> None:
        """A label that was seen in this kiosk's audit and that nobody knew answers for a holder or place now.

        Its difference is closed as registered, and the sighting counts as the holder's.  Without such a sighting
        there is nothing to do.
        """
        session = self._session
        if session.audit is None:
            return
        strange = (each for each in self._book.sightings(session.audit) if each.text == text and each.holder is None)
        if any(each.bound for each in strange):
            self._write(self._settle(f"{text}/{Difference.UNKNOWN_CODE.value}", Action.REGISTERED, "", None))

    # how it stands ------------------------------------------------------------------------------------------

    def status(self, key: str | None = None) -> AuditStatus:
        """How an audit stands; None: the one this kiosk is in.  Raises NotThere."""
        session = self._session
        wanted = key or session.audit
        if wanted is None:
            raise NotThere("running audit", "at this kiosk")
        row, findings, settled = self._book.findings(wanted)
        here = session.audit == wanted
        at = session.cards.place(session.audit_at) if here and session.audit_at else None
        return AuditStatus(
            self._book.row(row),
            self._book.people(wanted),
            findings.counts,
            findings.groups,
            findings.missing,
            tuple(self._book.card(each) for each in findings.open),
            settled,
            at.name if at else None,
            here,
        )

    def look_for(self, holder_key: str) -> LookFor:
        """Where a holder was last seen, what stood beside it then, and where to look first.  Raises NotThere."""
        return self._search.look_for(holder_key)

    # settling -----------------------------------------------------------------------------------------------

    def settle(self, key: str, action: Action, reason: str = "", goal: str | None = None) -> Outcome:
        """Closes the difference `key` of this kiosk's audit by an action, or carries it over with a reason.

        goal: the place for `book_moved` (else where it was seen) and `to_cooling` (else one with room).
        Done with its lines written, or Refused: what may not move does not move.  Raises NotThere.
        """
        session = self._session
        if session.badge_missing:
            return refuse(Reason.BADGE_FIRST)
        session.last_scan_s = session.now().watched_s  # a touch is work as well
        outcome = self._settle(key, action, reason, goal)
        self._write(outcome)
        return outcome

    def close(self) -> Outcome:
        """Closes this kiosk's audit: Refused while differences wait for an action."""
        outcome = close(self._view(self.view(CommandCard(Command.CLOSE_AUDIT))))
        self._write(outcome)
        return outcome

    # what is over -------------------------------------------------------------------------------------------

    def past(self, place: str | None = None, newest: int = 100) -> tuple[AuditRow, ...]:
        """Closed audits, newest first, of one place or of all."""
        return self._reports.past(place, newest)

    def report(self, key: str) -> AuditReport:
        """A closed audit as it is printed.  Raises NotThere."""
        return self._reports.report(key)

    def trend(self, place: str | None = None, newest: int = 50) -> tuple[Mark, ...]:
        """Closed audits as points, oldest first."""
        return self._reports.trend(place, newest)

    # the audit this kiosk is in -----------------------------------------------------------------------------

    def _view(self, audit: AuditView | None) -> View:
        """What a touch or a picture is decided from: the same as a scan, without the first of a pair."""
        session = self._session
        return View(
            session.book.kiosk,
            operator=session.operator,
            audit=audit,
            cooling_place=session.cooling_place(),
            limits=session.limits(),
        )

    def _settle(self, key: str, action: Action, reason: str, goal: str | None) -> Outcome:
        audit = self._views.running()
        if audit is None:
            return refuse(Reason.NO_AUDIT)
        asked, audit = self._views.settling(audit, key, action, reason, goal)
        return settle(self._view(audit), asked, self._session.now())

    def _join(self, key: str) -> None:
        session, hand = self._session, self._session.hand
        session.audit = key
        session.last_scan_s = session.now().watched_s  # somebody is at it
        session.audit_at = None
        session.pending = None
        hand.audit_seen_last = hand.audit_asked_s = None
        hand.audit_hot.clear()
        self._watch_heat()

    def _leave(self, closed: str | None = None) -> None:
        """This hand leaves its audit; of one that was closed every hand does."""
        for hand in self._session.hands if closed else (self._session.hand,):
            if closed in (None, hand.audit):
                hand.audit = hand.audit_at = hand.audit_seen_last = None
                hand.audit_hot.clear()

    def _write(self, outcome: Outcome) -> None:
        if isinstance(outcome, Done):
            if outcome.lines:
                self._session.write(*outcome.lines)
            self._follow(outcome, self._session.now())
