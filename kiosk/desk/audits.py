"""The audit counter: opening, the flow of scans and photographs, how an audit stands, closing it and its report.

`rules.audit` says what differs and `checkin` says what may move; here the two meet the book.  An audit lives in
the book alone, so it outlasts restarts and shifts and any number of people can work on it.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import msgspec

from kiosk.desk.audit_book import AuditBook, AuditRow, DifferenceCard, counts_of
from kiosk.desk.audit_search import AuditSearch, LookFor
from kiosk.desk.audit_settling import Settling, refuse
from kiosk.desk.session import ActRefused, NotThere, Session
from kiosk.ledger import tables as T
from kiosk.ledger.book import Written, rows
from kiosk.reader.symbols import Symbol
from kiosk.rules import audit as A
from kiosk.rules import lines as L
from kiosk.rules.cards import (
    AuditView,
    Command,
    CommandCard,
    FreshLabel,
    Glimpse,
    Heat,
    HolderCard,
    Moment,
    OperatorCard,
    PlaceCard,
    RetiredCode,
    Subject,
    View,
)
from kiosk.rules.checkin import Done, Outcome, Reason, Refused, Step, decide
from kiosk.rules.drawer import slots_of
from kiosk.rules.places import Kind
from kiosk.rules.say import Say, say

__all__ = [
    "AuditCounter", "AuditRow", "AuditStatus", "DifferenceCard", "LookFor", "PhotoMark", "PhotoSeen", "ReportCheck",
]  # fmt: skip

_closed = msgspec.json.Decoder(L.AuditClosed)


@dataclass(frozen=True, slots=True)
class AuditStatus:
    """How an audit stands.  `at`: name of the drawer or slot scanned last; `here`: this kiosk is in it."""

    row: AuditRow
    people: tuple[str, ...]
    counts: A.Counts
    groups: tuple[A.GroupState, ...]
    missing: tuple[A.Item, ...]  # in walking order
    differences: tuple[DifferenceCard, ...]
    settled: tuple[A.Settled, ...]
    at: str | None
    here: bool


@dataclass(frozen=True, slots=True)
class PhotoMark:
    """What to draw over a label in the picture.  `holder`: its key, where a holder answers to the label."""

    corners: tuple[tuple[float, float], ...]
    text: str
    name: str
    state: A.State
    say: Say
    holder: str | None = None
    step: Step = Step.OTHER  # what seeing it was


@dataclass(frozen=True, slots=True)
class PhotoSeen:
    """What a drawer's photograph told.  `alarm`: something hot or not proven cool is in it."""

    marks: tuple[PhotoMark, ...]
    lines: tuple[Written, ...]
    alarm: bool


@dataclass(frozen=True, slots=True)
class ReportCheck:
    """A printed report held against the book.  `genuine`: the hash on it is that of the line it names."""

    report: A.AuditReport | None
    genuine: bool


@dataclass(frozen=True, slots=True)
class _Doubt:
    """A holder that was just seen astray: the next place scanned may say what to do."""

    text: str
    difference: A.Difference
    booked: str | None
    found: str | None
    since_watched_s: float


class AuditCounter:
    def __init__(self, session: Session) -> None:
        self._session = session
        self._book = AuditBook(session)
        self._search = AuditSearch(session, self._book)
        self._settling = Settling(session, self._book)
        self._awaited_since_s: float | None = None  # a command card asked for an audit; of what comes next
        self._doubt: _Doubt | None = None
        self._hot: dict[str, A.Open] = {}  # what this kiosk's audit has seen hot, by holder

    # opening, going on, pausing -----------------------------------------------------------------------------

    def running(self) -> tuple[AuditRow, ...]:
        """Audits that are not closed, paused ones too, newest first."""
        query = T.Audit.select().where(T.Audit.closed_line.is_null()).order_by(T.Audit.opened_line.desc())
        return tuple(self._book.row(row) for row in rows(query))

    def past(self, place: str | None = None, newest: int = 100) -> tuple[AuditRow, ...]:
        """Closed audits, newest first, of one place or of all."""
        query = T.Audit.select().where(T.Audit.closed_line.is_null(False))
        if place is not None:
            query = query.where(T.Audit.place == place)
        return tuple(self._book.row(row) for row in rows(query.order_by(T.Audit.closed_line.desc()).limit(newest)))

    def open(self, place: str) -> AuditStatus:
        """Starts an audit of a place (its code; a slot stands for its cabinet, a pocket for its machine) or of
        everything hot (`hot`), or goes on with the one that runs there.

        Raises NotThere, ActRefused (no badge, a place that is out of use).
        """
        self._session.signed_in()
        self._write(self._begin(place))
        assert self._session.audit is not None  # _begin or follow joined one
        return self.status(self._session.audit)

    def resume(self, key: str) -> AuditStatus:
        """This kiosk works on that audit from now on; whoever else does goes on too.  Raises NotThere, ActRefused."""
        self._session.signed_in()
        row = self._book.found(key)
        if row["closed_line"] is not None:
            raise NotThere("running audit", key)
        self._join(key)
        return self.status(key)

    def pause(self) -> None:
        """This kiosk leaves its audit, which waits."""
        session = self._session
        if session.audit:
            session.write(L.AuditPaused(session.audit))
        self._leave()

    def idle(self, idle_s: float) -> None:
        """Nobody has scanned for a while: pauses, so that the next shift's scans move holders again."""
        if self._session.audit and idle_s > self._session.settings.kiosk.sign_out_s:
            self.pause()

    def cooled(self) -> None:
        """What was seen hot in this kiosk's audit and is cool by now was still found hot: that is written down."""
        session = self._session
        for key, was in tuple(self._hot.items()):
            card = session.cards.holder(key)
            if session.audit is None or card is None or card.hold is not None or card.heat is not Heat.COOL:
                continue
            del self._hot[key]
            closed = (each for each in self._book.settled(session.audit) if each.difference in A.ABOUT_HEAT)
            if all(each.text != key for each in closed):
                session.write(
                    L.DifferenceSettled(
                        session.audit, key, was.difference.value, A.Action.COOLED.value, "", was.booked, was.found,
                        was.name,
                    )
                )  # fmt: skip

    def _watch_heat(self) -> None:
        """Remember what is hot in this kiosk's audit now."""
        if self._session.audit is not None:
            found = self._book.findings(self._session.audit)[1].open
            self._hot |= {each.text: each for each in found if each.difference in A.ABOUT_HEAT}

    # the flow of scans --------------------------------------------------------------------------------------

    def view(self) -> AuditView | None:
        """What the decision knows of this kiosk's audit."""
        session = self._session
        if session.audit is None:
            return None
        row = self._book.found(session.audit)
        scope = self._book.scope(row["place"])
        at = session.cards.place(session.audit_at) if session.audit_at else None
        query = T.Sighting.select(T.Sighting.text, T.Sighting.place, T.Sighting.watched_s)
        found: Any = query.where(T.Sighting.audit == session.audit).tuples()
        seen = {text: Glimpse(place, watched_s) for text, place, watched_s in found}
        kind = scope.kinds.get(scope.place)
        hot_allowed = scope.place == A.HOT or (kind is not None and kind.may_be_hot)
        within, around = _about(scope, session.audit_at)
        return AuditView(session.audit, scope.place, at, scope.members, within, around, seen, hot_allowed)

    def answer(self, subject: Subject, moment: Moment) -> Outcome | None:
        """What a place's label says beyond the usual: which place to audit, or what to do with a stray holder."""
        session = self._session
        if not isinstance(subject, PlaceCard) or self._session.badge_missing:
            return None
        awaited_s, self._awaited_since_s = self._awaited_since_s, None
        if session.audit is None:
            fresh = awaited_s is not None and moment.watched_s - awaited_s <= session.settings.kiosk.pair_s
            return self._beginning(subject.place.code) if fresh else None
        doubt, self._doubt = self._doubt, None
        if doubt is None or moment.watched_s - doubt.since_watched_s > session.settings.kiosk.pair_s:
            return None
        action = self._meant(doubt, subject)
        if action is None:
            return None
        goal = subject.place.code if action in (A.Action.BOOK_MOVED, A.Action.TO_COOLING) else None
        return self._settling.settling(f"{doubt.text}/{doubt.difference.value}", action, "", goal)

    def _meant(self, doubt: _Doubt, place: PlaceCard) -> A.Action | None:
        """What scanning this place right after a stray holder says."""
        code = place.place.code
        if doubt.difference in (A.Difference.HOT, A.Difference.NOT_PROVEN_COOL):
            return A.Action.TO_COOLING if place.place.kind is Kind.COOLING else None
        session = self._session
        inside = doubt.found is None or code in self._book.inside(doubt.found)
        vague = doubt.found != session.audit_at or session.audit_at is None
        return A.Action.BOOK_MOVED if code == doubt.found or (inside and vague) else None

    def command(self, command: Command) -> Outcome | None:
        """The command cards START AUDIT and CLOSE AUDIT; None: nothing more to say than the rules did."""
        session = self._session
        if self._session.badge_missing:
            return refuse(Reason.BADGE_FIRST)
        if command is Command.CLOSE_AUDIT:
            return self._settling.closing()
        if session.audit:
            return Done(
                (), say("audit.running", place=self._book.row(self._book.found(session.audit)).name),
                then=command, step=Step.AUDIT_OPENED,
            )
        if session.here:
            outcome = self._beginning(session.here)
            return replace(outcome, then=command) if isinstance(outcome, Done) else outcome
        self._awaited_since_s = session.now().watched_s
        return None

    def put_back(self, outcome: Outcome) -> Outcome:
        """A holder seen astray before and now at its own place was put back: that is written down as well."""
        seen = outcome.lines[0] if isinstance(outcome, Done) and outcome.lines else None
        if not isinstance(outcome, Done) or not isinstance(seen, L.Seen) or seen.twin or outcome.holder is None:
            return outcome
        if not rows(T.Sighting.select(T.Sighting.key).where(T.Sighting.key == f"{seen.audit}/{seen.text}")):
            return outcome
        row, findings, _ = self._book.findings(seen.audit)
        scope, card = self._book.scope(row["place"]), outcome.holder
        booked = card.place.place.code if card.place else None
        astray = (A.Difference.MISPLACED, A.Difference.UNEXPECTED)
        for each in findings.open:
            if each.text != card.holder.key or each.difference not in astray or booked is None or seen.place is None:
                continue
            if scope.same_spot(booked, seen.place):
                settled = L.DifferenceSettled(
                    seen.audit, each.text, each.difference.value, A.Action.PUT_BACK.value, "", booked, each.found,
                    each.name,
                )  # fmt: skip
                return replace(outcome, lines=(*outcome.lines, settled))
        return outcome

    def follow(self, outcome: Outcome, moment: Moment) -> None:
        """Keeps up with what was just written."""
        if not isinstance(outcome, Done):
            return
        for line in outcome.lines:
            match line:
                case L.AuditOpened(audit=key):
                    self._join(key)
                case L.AuditClosed():
                    self._leave()
                case L.Seen(holder=holder) if holder is not None and outcome.holder is not None:
                    self._doubt = self._doubtful(outcome.holder, line, moment)
                    if outcome.alarm:
                        self._watch_heat()

    def _doubtful(self, card: HolderCard, line: L.Seen, moment: Moment) -> _Doubt | None:
        findings = self._book.findings(line.audit)[1]
        for each in findings.open:  # the most dangerous first
            if each.text == card.holder.key and each.difference not in A.NOTES:
                return _Doubt(each.text, each.difference, each.booked, each.found, moment.watched_s)
        return None

    def photo(self, symbols: Sequence[Symbol], place: str) -> PhotoSeen:
        """Takes a photograph of a drawer (or any place with labels in sight) for what was seen there.

        symbols: as the reader gives them.  place: code of the drawer.  Slot labels in the picture say who stands
        where.  A printed label that waits for its first scan, a badge or a card is marked and does nothing: that
        takes a hand.  Raises NotThere without an audit or for an unknown place, ActRefused.
        """
        session = self._session
        session.signed_in()
        view = self.view()
        if view is None:
            raise NotThere("running audit", "at this kiosk")
        drawer = session.place(place)
        scope = self._book.scope(view.place)
        read = [(symbol, session.cards.subject(symbol.text)) for symbol in symbols]
        slots = {
            subject.place.code: symbol.centre
            for symbol, subject in read
            if isinstance(subject, PlaceCard) and subject.place.code in view.members
        }
        others = [(symbol, subject) for symbol, subject in read if not isinstance(subject, PlaceCard)]
        places = slots_of([symbol.centre for symbol, _ in others], slots)
        moment = session.now()
        limits = session.limits()
        marks: list[PhotoMark] = []
        lines: list[L.Entry] = []
        alarm = False
        here: dict[str, str] = {}  # codes of holders in this picture, and where
        stray = {each.text for each in self._book.findings(view.key)[1].open}
        for (symbol, subject), code in zip(others, places, strict=True):
            if isinstance(subject, FreshLabel | OperatorCard | CommandCard):
                marks.append(_by_hand(symbol, subject))
                continue
            at = (session.cards.place(code) if code else None) or drawer
            within, around = _about(scope, at.place.code)
            view = replace(view, at=at, within=within, around=around)
            asked = View(subject, session.book.kiosk, operator=session.operator, audit=view, limits=limits)
            outcome = decide(asked, moment)
            if isinstance(subject, HolderCard) and subject.code in here:
                outcome = _twice(view.key, subject, here[subject.code], at)
            elif isinstance(subject, HolderCard) and subject.holder.key in stray:
                outcome = self.put_back(outcome)
            if isinstance(outcome, Done):
                alarm = alarm or outcome.alarm
                for line in outcome.lines:
                    if isinstance(line, L.Seen):
                        lines.append(replace(line, by_photo=True))
                        view = replace(view, seen={**view.seen, line.text: Glimpse(line.place, moment.watched_s)})
                    elif isinstance(line, L.DifferenceSettled):
                        lines.append(line)
            if isinstance(subject, HolderCard):
                here.setdefault(subject.code, at.place.code)
            marks.append(_mark(symbol, subject, outcome))
        written = session.write(*lines) if lines else ()
        session.audit_at = place
        session.last_scan_s = moment.watched_s
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
        if session.audit is None:
            raise NotThere("running audit", "at this kiosk")
        before = next((each for each in self._book.sightings(session.audit) if each.holder == holder_key), None)
        text, at = (before.text, before.place) if before else (card.code, session.audit_at)
        twin = before.twin if before else None
        session.write(L.Seen(session.audit, text, holder_key, at, twin=twin, empty=is_empty))
        session.last_scan_s = session.now().watched_s
        key = f"{holder_key}/{A.Difference.EMPTY_HOLDER.value}"
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
            self._write(self._settling.settling(f"{text}/unknown_code", A.Action.REGISTERED, "", None))

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

    def settle(self, key: str, action: A.Action, reason: str = "", goal: str | None = None) -> Outcome:
        """Closes the difference `key` of this kiosk's audit by an action, or carries it over with a reason.

        goal: the place for `book_moved` (else where it was seen) and `to_cooling` (else one with room).
        Done with its lines written, or Refused: what may not move does not move.  Raises NotThere.
        """
        session = self._session
        if session.badge_missing:
            return refuse(Reason.BADGE_FIRST)
        session.last_scan_s = session.now().watched_s  # a touch is work as well
        if action is A.Action.TO_COOLING and goal is None and (free := session.cooling_place()):
            goal = free.place.code
        outcome = self._settling.settling(key, action, reason, goal)
        self._write(outcome)
        return outcome

    def close(self) -> Outcome:
        """Closes this kiosk's audit: Refused while differences wait for an action."""
        if self._session.badge_missing:
            return refuse(Reason.BADGE_FIRST)
        self.cooled()
        outcome = self._settling.closing()
        self._write(outcome)
        return outcome

    # reports ------------------------------------------------------------------------------------------------

    def report(self, key: str) -> A.AuditReport:
        """A closed audit as it is printed.  Raises NotThere."""
        row = self._book.found(key)
        line = self._session.book.line(row["closed_line"]) if row["closed_line"] else None
        if line is None or not isinstance(line.entry, L.AuditClosed):
            raise NotThere("closed audit", key)
        names = self._book.names()
        told = tuple(
            A.Row(
                each.difference, each.name, each.text, self._book.place_name(each.booked),
                self._book.place_name(each.found), each.action, each.reason,
                names.get(each.operator or "", each.operator), each.utc_s,
            )
            for each in self._book.settled(key)
        )  # fmt: skip
        return A.AuditReport(
            key, self._book.row(row).name, line.kiosk, row["opened_utc_s"], line.utc_s, self._book.people(key),
            counts_of(line.entry), line.entry.active_s, told, line.id, line.hash,
        )  # fmt: skip

    def verify(self, line: int, hash_start: str) -> ReportCheck:
        """Holds a printed report against the book by the line number and the hash on it (twelve signs or more).

        Whether the book itself is whole is `check`'s business.
        """
        found = self._session.book.line(line)
        if found is None or not isinstance(found.entry, L.AuditClosed):
            return ReportCheck(None, False)
        plain = "".join(hash_start.split()).lower()
        return ReportCheck(self.report(found.entry.audit), len(plain) >= 12 and found.hash.startswith(plain))

    def trend(self, place: str | None = None, newest: int = 50) -> tuple[A.Mark, ...]:
        """Closed audits as points, oldest first: share right the first time, seconds per hundred holders."""
        query = T.Audit.select().where(T.Audit.closed_line.is_null(False))
        if place is not None:
            query = query.where(T.Audit.place == place)
        marks = []
        for row in rows(query.order_by(T.Audit.closed_line.desc()).limit(newest)):
            closed = _closed.decode(row["summary"])
            marks.append(A.Mark(row["key"], row["closed_utc_s"], counts_of(closed), closed.active_s))
        return tuple(marks[::-1])

    # from the book ------------------------------------------------------------------------------------------

    def _beginning(self, place: str) -> Done | Refused:
        try:
            return self._begin(place)
        except ActRefused as refused:
            return Refused(refused.reason, refused.why, refused.remedy)

    def _begin(self, place: str) -> Done:
        session = self._session
        code = place
        if place != A.HOT:
            card = session.place(place)
            if card.retired:
                raise ActRefused(Reason.NOT_AUDITED, place=card.name)
            code = self._book.audited(card.place.code)
        running = rows(T.Audit.select().where(T.Audit.place == code, T.Audit.closed_line.is_null()))
        name = self._book.scope(code).name
        if running:
            self._join(running[0]["key"])
            return Done((), say("audit.resumed", place=name), step=Step.AUDIT_OPENED)
        key = f"audit {secrets.token_hex(4).upper()}"  # no other kiosk's, however many were opened
        return Done((L.AuditOpened(key, code),), say("audit.opened", place=name), step=Step.AUDIT_OPENED)

    def _join(self, key: str) -> None:
        self._session.audit = key
        self._session.last_scan_s = self._session.now().watched_s  # somebody is at it
        self._session.audit_at = None
        self._session.pending = None
        self._doubt = self._awaited_since_s = None
        self._hot.clear()
        self._watch_heat()

    def _leave(self) -> None:
        self._session.audit = self._session.audit_at = None
        self._doubt = None
        self._hot.clear()

    def _write(self, outcome: Outcome) -> None:
        if isinstance(outcome, Done) and outcome.lines:
            self._session.write(*outcome.lines)
            self.follow(outcome, self._session.now())


def _about(scope: A.Scope, at: str | None) -> tuple[frozenset[str], frozenset[str]]:
    """Codes of what is in a place of the scope, itself included, and of what that place is in."""
    if at is None or at not in scope.inside:
        return frozenset(), frozenset()
    around = frozenset(code for code, inside in scope.inside.items() if at in inside and code != at)
    return scope.inside[at], around


def _twice(audit: str, card: HolderCard, first: str, at: PlaceCard) -> Done:
    """One picture has the same label in two places: no piece of steel does that."""
    line = L.Seen(audit, card.code, card.holder.key, at.place.code, twin=first)
    words = say("audit.twin", name=card.name, place=at.name, code=card.code)
    return Done((line,), words, holder=card, goal=at, step=Step.AUDIT_TWIN)


def _corners(symbol: Symbol) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in symbol.corners)


def _by_hand(symbol: Symbol, subject: FreshLabel | OperatorCard | CommandCard) -> PhotoMark:
    """What a photograph may not set in motion."""
    name = subject.holder.name if isinstance(subject, FreshLabel) else symbol.text
    words = say("audit.by_hand", name=name)
    return PhotoMark(_corners(symbol), symbol.text, name, A.State.UNKNOWN, words, step=Step.AUDIT_BY_HAND)


def _mark(symbol: Symbol, subject: Subject, outcome: Outcome) -> PhotoMark:
    corners = _corners(symbol)
    if isinstance(outcome, Refused):
        return PhotoMark(corners, symbol.text, symbol.text, A.State.UNKNOWN, outcome.why)
    if not isinstance(subject, HolderCard):
        name = subject.holder.name if isinstance(subject, RetiredCode) and subject.holder else symbol.text
        return PhotoMark(corners, symbol.text, name, A.State.UNKNOWN, outcome.say, step=outcome.step)
    alarm = isinstance(outcome, Done) and outcome.alarm
    astray = outcome.step in (Step.AUDIT_MISPLACED, Step.AUDIT_TWIN)
    state = A.State.HOT if alarm else A.State.MISPLACED if astray else A.State.SEEN
    return PhotoMark(corners, symbol.text, subject.name, state, outcome.say, subject.holder.key, outcome.step)
