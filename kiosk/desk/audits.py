"""The audit counter: opening, the flow of scans and photographs, what the differences are and how they are closed.

`rules.audit` says what differs and `checkin` says what may move; here the two meet the book.  An audit lives in
the book alone, so it outlasts restarts and shifts and any number of people can work on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import msgspec

from kiosk.desk.session import NotThere, Session
from kiosk.ledger import history, stock
from kiosk.ledger import tables as T
from kiosk.ledger.book import Written, rows
from kiosk.ledger.derive import Row as TableRow
from kiosk.reader.symbols import Symbol
from kiosk.rules import audit as A
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Condition
from kiosk.rules.cards import (
    AuditView,
    Command,
    Glimpse,
    HolderCard,
    Limits,
    Moment,
    Pending,
    PlaceCard,
    RetiredCode,
    Subject,
    View,
    place_name,
)
from kiosk.rules.checkin import Done, Outcome, Reason, Refused, decide, may_go
from kiosk.rules.drawer import slots_of
from kiosk.rules.likely import Likely, Mistake, likely_places
from kiosk.rules.places import Kind
from kiosk.rules.say import Say, say

EVERYTHING_HOT = "term.everything_hot"  # the name of the audit of all that is hot
NEIGHBOURS = 12  # what else stood there, at most so many names
MISTAKES = 500  # of the shop's last so many the likely places are learnt
TURN = {Kind.SLOT: Kind.CABINET, Kind.POCKET: Kind.MACHINE, Kind.SPINDLE: Kind.MACHINE}  # what is audited instead

_closed = msgspec.json.Decoder(L.AuditClosed)


@dataclass(frozen=True, slots=True)
class AuditRow:
    """An audit in a list."""

    key: str
    place: str  # a place's code, or `hot`
    name: str
    opened_utc_s: float
    opened_by: str | None
    paused: bool
    closed_utc_s: float | None


@dataclass(frozen=True, slots=True)
class DifferenceCard:
    """A difference that waits, as the list shows it."""

    key: str  # what `settle` takes
    difference: A.Difference
    name: str
    text: str  # holder key, or the label's text
    holder: str | None
    booked: str | None
    booked_name: str | None
    found: str | None
    found_name: str | None
    actions: tuple[A.Action, ...]


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
class LookFor:
    """Where a missing holder was last, and where to look."""

    place: str | None  # name
    by: str | None
    utc_s: float | None
    neighbours: tuple[str, ...]  # names of what else stood there then
    places: tuple[tuple[Likely, str], ...]  # each with its name, most likely first


@dataclass(frozen=True, slots=True)
class PhotoMark:
    """What to draw over a label in the picture."""

    corners: tuple[tuple[float, float], ...]
    text: str
    name: str
    state: A.State
    say: Say


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
        self._awaited_since_s: float | None = None  # a command card asked for an audit; of what comes next
        self._doubt: _Doubt | None = None

    # opening, going on, pausing ---------------------------------------------------------------------------

    def running(self) -> tuple[AuditRow, ...]:
        """Audits that are not closed, paused ones too, newest first."""
        query = T.Audit.select().where(T.Audit.closed_line.is_null()).order_by(T.Audit.opened_line.desc())
        return tuple(self._row(row) for row in rows(query))

    def past(self, place: str | None = None, newest: int = 100) -> tuple[AuditRow, ...]:
        """Closed audits, newest first, of one place or of all."""
        query = T.Audit.select().where(T.Audit.closed_line.is_null(False))
        if place is not None:
            query = query.where(T.Audit.place == place)
        return tuple(self._row(row) for row in rows(query.order_by(T.Audit.closed_line.desc()).limit(newest)))

    def open(self, place: str) -> AuditStatus:
        """Starts an audit of a place (its code; a slot stands for its cabinet, a pocket for its machine) or of
        everything hot (`hot`), or goes on with the one that runs there.  Raises NotThere.
        """
        outcome = self._begin(place)
        if isinstance(outcome, Refused):
            raise NotThere("place in use", place)
        self._write(outcome)
        assert self._session.audit is not None  # _begin or follow joined one
        return self.status(self._session.audit)

    def resume(self, key: str) -> AuditStatus:
        """This kiosk works on that audit from now on; whoever else does goes on too.  Raises NotThere."""
        row = self._found(key)
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

    # the flow of scans ------------------------------------------------------------------------------------

    def view(self) -> AuditView | None:
        """What the decision knows of this kiosk's audit."""
        session = self._session
        if session.audit is None:
            return None
        row = self._found(session.audit)
        scope = self._scope(row["place"])
        at = session.cards.place(session.audit_at) if session.audit_at else None
        query = T.Sighting.select(T.Sighting.text, T.Sighting.place, T.Sighting.watched_s)
        found: Any = query.where(T.Sighting.audit == session.audit).tuples()
        seen = {text: Glimpse(place, watched_s) for text, place, watched_s in found}
        kind = scope.kinds.get(scope.place)
        hot_allowed = scope.place == A.HOT or (kind is not None and kind.may_be_hot)
        return AuditView(session.audit, scope.place, at, scope.members, seen, hot_allowed)

    def answer(self, subject: Subject, moment: Moment) -> Outcome | None:
        """What a place's label says beyond the usual: which place to audit, or what to do with a stray holder."""
        session = self._session
        if not isinstance(subject, PlaceCard) or self._badge_missing():
            return None
        awaited_s, self._awaited_since_s = self._awaited_since_s, None
        if session.audit is None:
            fresh = awaited_s is not None and moment.watched_s - awaited_s <= session.settings.kiosk.pair_s
            return self._begin(subject.place.code) if fresh else None
        doubt, self._doubt = self._doubt, None
        if doubt is None or moment.watched_s - doubt.since_watched_s > session.settings.kiosk.pair_s:
            return None
        action = self._meant(doubt, subject)
        if action is None:
            return None
        goal = subject.place.code if action in (A.Action.BOOK_MOVED, A.Action.TO_COOLING) else None
        return self._settling(f"{doubt.text}/{doubt.difference.value}", action, "", goal)

    def _meant(self, doubt: _Doubt, place: PlaceCard) -> A.Action | None:
        """What scanning this place right after a stray holder says."""
        code = place.place.code
        if doubt.difference in (A.Difference.HOT, A.Difference.NOT_PROVEN_COOL):
            return A.Action.TO_COOLING if place.place.kind is Kind.COOLING else None
        session = self._session
        inside = doubt.found is None or code in self._inside(doubt.found)
        vague = doubt.found != session.audit_at or session.audit_at is None
        return A.Action.BOOK_MOVED if code == doubt.found or (inside and vague) else None

    def command(self, command: Command) -> Outcome | None:
        """The command cards START AUDIT and CLOSE AUDIT; None: nothing more to say than the rules did."""
        session = self._session
        if self._badge_missing():
            return _refused(Reason.BADGE_FIRST)
        if command is Command.CLOSE_AUDIT:
            return self._closing()
        if session.audit:
            return Done((), say("audit.running", place=self._row(self._found(session.audit)).name), then=command)
        if session.here:
            outcome = self._begin(session.here)
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
        row, findings, _ = self._findings(seen.audit)
        scope, card = self._scope(row["place"]), outcome.holder
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

    def _doubtful(self, card: HolderCard, line: L.Seen, moment: Moment) -> _Doubt | None:
        findings = self._findings(line.audit)[1]
        for each in findings.open:  # the most dangerous first
            if each.text == card.holder.key and each.difference not in A.NOTES:
                return _Doubt(each.text, each.difference, each.booked, each.found, moment.watched_s)
        return None

    def photo(self, symbols: Sequence[Symbol], place: str) -> PhotoSeen:
        """Takes a photograph of a drawer (or any place with labels in sight) for what was seen there.

        symbols: as the reader gives them.  place: code of the drawer.  Slot labels in the picture say who stands
        where.  Raises NotThere without an audit or for an unknown place.
        """
        session = self._session
        view = self.view()
        if view is None:
            raise NotThere("running audit", "at this kiosk")
        drawer = session.place(place)
        read = [(symbol, session.cards.subject(symbol.text)) for symbol in symbols]
        slots = {
            subject.place.code: symbol.centre
            for symbol, subject in read
            if isinstance(subject, PlaceCard) and subject.place.code in view.members
        }
        others = [(symbol, subject) for symbol, subject in read if not isinstance(subject, PlaceCard)]
        places = slots_of([symbol.centre for symbol, _ in others], slots)
        moment = session.now()
        limits = _limits(session)
        marks, lines, alarm = [], [], False
        for (symbol, subject), code in zip(others, places, strict=True):
            at = (session.cards.place(code) if code else None) or drawer
            view = replace(view, at=at)
            asked = View(subject, session.book.kiosk, operator=session.operator, audit=view, limits=limits)
            outcome = decide(asked, moment)
            if isinstance(outcome, Done):
                alarm = alarm or outcome.alarm
                for line in outcome.lines:
                    if isinstance(line, L.Seen):
                        lines.append(replace(line, by_photo=True))
                        view = replace(view, seen={**view.seen, line.text: Glimpse(line.place, moment.watched_s)})
            marks.append(_mark(symbol, subject, outcome))
        written = session.write(*lines) if lines else ()
        session.audit_at = place
        session.last_scan_s = moment.watched_s
        return PhotoSeen(tuple(marks), written, alarm)

    def empty(self, holder_key: str) -> DifferenceCard | None:
        """An eye says that no cutter is in this holder.  The difference it makes, if the book says otherwise.

        Raises NotThere.
        """
        session = self._session
        card = session.holder(holder_key)
        if session.audit is None:
            raise NotThere("running audit", "at this kiosk")
        session.write(L.Seen(session.audit, card.code, holder_key, session.audit_at, empty=True))
        key = f"{holder_key}/{A.Difference.EMPTY_HOLDER.value}"
        return next((each for each in self.status().differences if each.key == key), None)

    # how it stands ----------------------------------------------------------------------------------------

    def status(self, key: str | None = None) -> AuditStatus:
        """How an audit stands; None: the one this kiosk is in.  Raises NotThere."""
        session = self._session
        wanted = key or session.audit
        if wanted is None:
            raise NotThere("running audit", "at this kiosk")
        row, findings, settled = self._findings(wanted)
        here = session.audit == wanted
        at = session.cards.place(session.audit_at) if here and session.audit_at else None
        return AuditStatus(
            self._row(row),
            self._people(wanted),
            findings.counts,
            findings.groups,
            findings.missing,
            tuple(self._card(each) for each in findings.open),
            settled,
            at.name if at else None,
            here,
        )

    def look_for(self, holder_key: str) -> LookFor:
        """Where a holder was last seen, what stood beside it then, and where to look first.  Raises NotThere."""
        session = self._session
        card = session.holder(holder_key)
        last = self._last_seen(card)
        place = self._booked_last(holder_key)
        if place is None:
            return LookFor(None, *_who_when(self, last), (), ())
        places = {code: session.cards.places.place(code) for code in session.cards.places.rows}
        parent = places[place].parent if place in places else None
        around = self._inside(parent) if parent and places[place].kind is Kind.SLOT else frozenset({place})
        standing = history.stood_there(around, last.id) if last else {}
        keys = set().union(*standing.values()) - {holder_key} if standing else set()
        beside = sorted(item.name for item in stock.items(session.cards.places, keys))[:NEIGHBOURS]
        found = likely_places(place, history.came_from(holder_key, place), self._mistakes(), places, self._ruled_out())
        return LookFor(
            self._place_name(place),
            *_who_when(self, last),
            tuple(beside),
            tuple((each, self._place_name(each.place) or each.place) for each in found),
        )

    # settling ---------------------------------------------------------------------------------------------

    def settle(self, key: str, action: A.Action, reason: str = "", goal: str | None = None) -> Outcome:
        """Closes the difference `key` of this kiosk's audit by an action, or carries it over with a reason.

        goal: the place for `book_moved` (else where it was seen) and `to_cooling` (else one with room).
        Done with its lines written, or Refused: what may not move does not move.  Raises NotThere.
        """
        outcome = self._settling(key, action, reason, goal)
        self._write(outcome)
        return outcome

    def close(self) -> Outcome:
        """Closes this kiosk's audit: Refused while differences wait for an action."""
        outcome = self._closing()
        self._write(outcome)
        return outcome

    def _settling(self, key: str, action: A.Action, reason: str, goal: str | None) -> Outcome:
        session = self._session
        if session.audit is None:
            return _refused(Reason.NO_AUDIT)
        row, findings, _ = self._findings(session.audit)
        difference = findings.difference(key)
        if difference is None:
            raise NotThere("difference", key)
        if action not in difference.actions:
            return _refused(Reason.NOT_SETTLED_SO, name=difference.name, action=f"term.action.{action.value}")
        if action is A.Action.CARRIED_OVER and not reason.strip():
            return _refused(Reason.NEEDS_REASON, name=difference.name)
        steps = self._steps(row, difference, action, goal)
        if isinstance(steps, Refused):
            return steps
        place = self._place_name(goal or difference.found)
        words = say(f"audit.settled.{action.value}", name=difference.name, place=place)
        settled = L.DifferenceSettled(
            session.audit, difference.text, difference.difference.value, action.value, reason.strip(),
            difference.booked, goal or difference.found, difference.name,
        )  # fmt: skip
        card = session.cards.holder(difference.text)
        return Done((*steps, settled), words, holder=card)

    def _steps(
        self, row: TableRow, difference: A.Open, action: A.Action, goal: str | None
    ) -> tuple[L.Entry, ...] | Refused:
        """The lines an action writes before its difference counts as settled."""
        session = self._session
        card = session.cards.holder(difference.text)
        match action:
            case A.Action.BOOK_MOVED if card:
                return self._book_moved(row, card, goal or difference.found)
            case A.Action.TO_COOLING if card:
                return self._to_cooling(card, goal)
            case A.Action.PUT_BACK if card:
                inside = card.place and card.place.place.code in self._scope(row["place"]).members
                if card.place is None:
                    return _refused(Reason.NOT_SETTLED_SO, name=card.name, action=f"term.action.{action.value}")
                back = L.Seen(row["key"], card.code, card.holder.key, card.place.place.code)
                return (back,) if inside else ()
            case A.Action.NOWHERE if card:
                return (L.Moved(card.holder.key, difference.booked, None, reason="audit"),)
            case A.Action.TORN_DOWN if card and card.assembly:
                torn = L.TornDown(card.holder.key, card.assembly.key)
                if card.holder.clamping is not Clamping.SHRINK_FIT:
                    return (torn,)
                # A shrunk cutter comes out by heat only, and nobody wrote down when: how warm it is, is not known.
                where = card.place.place.code if card.place else None
                return (torn, L.Moved(card.holder.key, where, None, reason="audit"))
            case A.Action.SAID_WORN if card and card.assembly:
                return (L.ConditionSaid(card.holder.key, card.assembly.key, Condition.WORN),)
            case A.Action.REGISTERED:
                subject = session.cards.subject(difference.text)
                known = isinstance(subject, HolderCard | PlaceCard)
                return () if known else _refused(Reason.UNKNOWN_CODE, code=difference.text, near=None)
        return ()

    def _to_cooling(self, card: HolderCard, goal: str | None) -> tuple[L.Entry, ...] | Refused:
        session = self._session
        place = session.place(goal) if goal else session.cooling_place()
        if place is None:
            return _refused(Reason.PLACE_FULL, name=card.name, place=None, capacity=0)
        now = session.now()
        pending = Pending(card, now.watched_s)
        outcome = decide(
            View(place, session.book.kiosk, pending, operator=session.operator, limits=_limits(session)), now
        )
        return outcome.lines if isinstance(outcome, Done) else outcome if isinstance(outcome, Refused) else ()

    def _book_moved(self, row: TableRow, card: HolderCard, goal: str | None) -> tuple[L.Entry, ...] | Refused:
        """The book follows the steel.  Where another holder is booked there that was itself seen elsewhere (two
        holders changed places), the book follows that one too, in the same step.
        """
        session = self._session
        seen = self._seen_at(row)
        lines: list[L.Entry] = []
        leaving: set[str] = set()
        mover, place = card, session.cards.place(goal) if goal else None
        while True:
            if place is None:
                return _refused(Reason.NOWHERE_KNOWN, name=mover.name, place=None)
            leaving.add(mover.holder.key)
            rest = tuple(key for key in place.occupants if key not in leaving)
            if (refused := may_go(mover, replace(place, occupants=rest))) is None:
                break
            follower = rest[0] if refused.reason is Reason.PLACE_FULL and len(rest) == 1 else None
            beyond = seen.get(follower or "")
            if follower is None or beyond is None or beyond == place.place.code:
                return refused
            if (refused := may_go(mover, replace(place, occupants=()))) is not None:
                return refused
            lines += _followed(row["key"], mover, place, mover is card)
            mover, place = session.holder(follower), session.cards.place(beyond)
        return (*lines, *_followed(row["key"], mover, place, mover is card))

    def _seen_at(self, row: TableRow) -> dict[str, str]:
        """Where each holder was seen in this audit that the book has elsewhere."""
        found = self._findings(row["key"])[1].open
        astray = (A.Difference.MISPLACED, A.Difference.UNEXPECTED)
        return {each.text: each.found for each in found if each.difference in astray and each.found}

    def _closing(self) -> Outcome:
        session = self._session
        if session.audit is None:
            return _refused(Reason.NO_AUDIT)
        row, findings, _ = self._findings(session.audit)
        waiting = [each for each in findings.open if each.difference not in A.NOTES]
        name = self._row(row).name
        if waiting:
            return _refused(Reason.AUDIT_OPEN, place=name, count=len(waiting), name=waiting[0].name)
        notes = tuple(
            L.DifferenceSettled(
                session.audit, each.text, each.difference.value, A.Action.NOTED.value, "", each.booked, each.found,
                each.name,
            )
            for each in findings.open
        )  # fmt: skip
        counts = findings.counts
        query = T.Line.select(T.Line.watched_s).join(T.Mention, on=(T.Mention.line == T.Line.id))
        found: Any = query.where(T.Mention.subject == session.audit).order_by(T.Mention.line).tuples()
        times = [watched_s for (watched_s,) in found]
        closed = L.AuditClosed(
            session.audit, counts.expected, counts.seen, counts.missing, counts.misplaced, counts.unexpected,
            counts.unknown, counts.hot, A.active_s(times),
        )  # fmt: skip
        words = say("audit.closed", place=name, seen=counts.seen, expected=counts.expected, missing=counts.missing)
        return Done((*notes, closed), words)

    # reports ----------------------------------------------------------------------------------------------

    def report(self, key: str) -> A.AuditReport:
        """A closed audit as it is printed.  Raises NotThere."""
        row = self._found(key)
        line = self._session.book.line(row["closed_line"]) if row["closed_line"] else None
        if line is None or not isinstance(line.entry, L.AuditClosed):
            raise NotThere("closed audit", key)
        names = self._names()
        told = tuple(
            A.Row(
                each.difference, each.name, each.text, self._place_name(each.booked), self._place_name(each.found),
                each.action, each.reason, names.get(each.operator or "", each.operator), each.utc_s,
            )
            for each in self._settled(key)
        )  # fmt: skip
        return A.AuditReport(
            key, self._row(row).name, line.kiosk, row["opened_utc_s"], line.utc_s, self._people(key),
            _counts(line.entry), line.entry.active_s, told, line.id, line.hash,
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
            marks.append(A.Mark(row["key"], row["closed_utc_s"], _counts(closed), closed.active_s))
        return tuple(marks[::-1])

    # from the book ----------------------------------------------------------------------------------------

    def _begin(self, place: str) -> Done | Refused:
        session = self._session
        code = place
        if place != A.HOT:
            card = session.place(place)
            if card.retired:
                return _refused(Reason.NOT_AUDITED, place=card.name)
            code = self._audited(card.place.code)
        running = rows(T.Audit.select().where(T.Audit.place == code, T.Audit.closed_line.is_null()))
        name = self._scope(code).name
        if running:
            self._join(running[0]["key"])
            return Done((), say("audit.resumed", place=name))
        key = f"audit {T.Audit.select().count() + 1}"
        return Done((L.AuditOpened(key, code),), say("audit.opened", place=name))

    def _audited(self, code: str) -> str:
        """The place an audit is made of when this label is scanned."""
        places = self._session.cards.places
        kind = places.place(code).kind
        at: str | None = code
        while kind in TURN and at is not None:
            if places.place(at).kind is TURN[kind]:
                return at
            at = places.rows[at]["parent"]
        return code

    def _join(self, key: str) -> None:
        self._session.audit = key
        self._session.audit_at = None
        self._session.pending = None
        self._doubt = self._awaited_since_s = None

    def _leave(self) -> None:
        self._session.audit = self._session.audit_at = None
        self._doubt = None

    def _write(self, outcome: Outcome) -> None:
        if isinstance(outcome, Done) and outcome.lines:
            self._session.write(*outcome.lines)
            self.follow(outcome, self._session.now())

    def _badge_missing(self) -> bool:
        return self._session.settings.kiosk.badge_required and self._session.operator is None

    def _found(self, key: str) -> TableRow:
        for row in rows(T.Audit.select().where(T.Audit.key == key)):
            return row
        raise NotThere("audit", key)

    def _row(self, row: TableRow) -> AuditRow:
        by = self._names().get(row["operator"] or "", row["operator"])
        name = self._scope(row["place"]).name
        paused = bool(row["paused"])
        return AuditRow(row["key"], row["place"], name, row["opened_utc_s"], by, paused, row["closed_utc_s"])

    def _names(self) -> dict[str, str]:
        found: Any = T.Operator.select(T.Operator.key, T.Operator.name).tuples()
        return dict(found)

    def _people(self, key: str) -> tuple[str, ...]:
        names = self._names()
        query = T.Line.select(T.Line.operator).join(T.Mention, on=(T.Mention.line == T.Line.id))
        found: Any = query.where(T.Mention.subject == key, T.Line.operator.is_null(False)).distinct().tuples()
        return tuple(sorted(names.get(operator, operator) for (operator,) in found))

    def _scope(self, place: str) -> A.Scope:
        places = self._session.cards.places
        if place == A.HOT:
            everywhere = {code: frozenset({code}) for code in places.rows}
            kinds = {code: Kind(row["kind"]) for code, row in places.rows.items()}
            named = sorted((row["name"], code) for code, row in places.rows.items() if kinds[code].may_be_hot)
            groups = tuple(A.Group(code, name, (self._spot(code),)) for name, code in named)
            return A.Scope(A.HOT, EVERYTHING_HOT, groups, everywhere, kinds)
        within = places.within(place)
        inside = {code: frozenset(places.within(code)) for code in within}
        kinds = {code: Kind(places.rows[code]["kind"]) for code in within}
        walked = [code for code in within if code == place or places.inside.get(code)]
        groups = tuple(A.Group(code, places.rows[code]["name"], self._spots(code)) for code in walked)
        return A.Scope(place, place_name(places.path(place)), groups, inside, kinds)

    def _spots(self, code: str) -> tuple[A.Spot, ...]:
        """The place itself and what is directly in it, as far as that has nothing inside of its own."""
        places = self._session.cards.places
        leaves = [c for c in places.within(code)[1:] if places.rows[c]["parent"] == code and not places.inside.get(c)]
        return tuple(self._spot(each) for each in (code, *leaves))

    def _spot(self, code: str) -> A.Spot:
        row = self._session.cards.places.rows[code]
        return A.Spot(code, row["name"], Kind(row["kind"]), row["number"])

    def _inside(self, code: str) -> frozenset[str]:
        places = self._session.cards.places
        return frozenset(places.within(code)) if code in places.rows else frozenset()

    def _place_name(self, code: str | None) -> str | None:
        places = self._session.cards.places
        return place_name(places.path(code)) if code in places.rows and code else None

    def _findings(self, key: str) -> tuple[TableRow, A.Findings, tuple[A.Settled, ...]]:
        session = self._session
        row = self._found(key)
        scope = self._scope(row["place"])
        places = session.cards.places
        sightings = self._sightings(key)
        seen = {each.holder for each in sightings if each.holder}
        if scope.place == A.HOT:
            hot = set(stock.hot_keys())
            items = {item.key: item for item in stock.items(places, hot)}
        else:
            items = {item.key: item for item in stock.items_at(places, scope.members)}
            settled_keys = {each.text for each in self._settled(key)}
            items |= {item.key: item for item in stock.items(places, (seen | settled_keys) - items.keys())}
        heat = session.settings.heat.cycles_limit
        standard = A.Standard(session.now().utc_s, session.settings.audit.measured_days * 86400.0, heat)
        settled = self._settled(key)
        return row, A.evaluate(scope, items, sightings, settled, row["opened_line"], standard), settled

    def _sightings(self, key: str) -> tuple[A.Sighting, ...]:
        found = rows(T.Sighting.select().where(T.Sighting.audit == key).order_by(T.Sighting.line))
        strange = [row["text"] for row in found if row["holder"] is None]
        bound: dict[str, bool] = {}
        for some in stock.parts(strange):
            query = T.Binding.select(T.Binding.text, T.Binding.retired_line).where(T.Binding.text.in_(some))
            answer: Any = query.tuples()
            bound |= {text: retired is None for text, retired in answer}
        return tuple(
            A.Sighting(
                row["text"], row["holder"], row["place"], row["line"], bound.get(row["text"]) is False,
                bound.get(row["text"]) is True, row["twin"], bool(row["stands_empty"]),
            )
            for row in found
        )  # fmt: skip

    def _settled(self, key: str) -> tuple[A.Settled, ...]:
        query = (
            T.Settled.select(T.Settled, T.Line.utc_s, T.Line.operator)
            .join(T.Line, on=(T.Settled.line == T.Line.id))
            .where(T.Settled.audit == key)
            .order_by(T.Settled.line)
        )
        return tuple(
            A.Settled(
                row["text"], A.Difference(row["difference"]), A.Action(row["action"]), row["reason"], row["booked"],
                row["found"], row["line"], row["name"], row["utc_s"], row["operator"],
            )
            for row in rows(query)
        )  # fmt: skip

    def _card(self, each: A.Open) -> DifferenceCard:
        labels = (A.Difference.UNKNOWN_CODE, A.Difference.RETIRED_LABEL, A.Difference.DUPLICATE_LABEL)
        return DifferenceCard(
            each.key,
            each.difference,
            each.name,
            each.text,
            None if each.difference in labels else each.text,
            each.booked,
            self._place_name(each.booked),
            each.found,
            self._place_name(each.found),
            each.actions,
        )

    def _last_seen(self, card: HolderCard) -> Written | None:
        """The last line in which somebody had it in hand or in sight."""
        kinds = frozenset({L.Moved.kind, L.Seen.kind, L.Built.kind, L.MeasuredLine.kind, L.TemperatureRead.kind})
        found = history.lines(history.Question(card.holder.key, kinds, newest=20))
        gone = (line for line in found if not (isinstance(line.entry, L.Moved) and line.entry.goal is None))
        return next(gone, None)

    def _booked_last(self, holder_key: str) -> str | None:
        """Where the book has it, or had it before it gave it up."""
        row = rows(T.Holder.select(T.Holder.place).where(T.Holder.key == holder_key))[0]
        if row["place"]:
            return str(row["place"])
        for line in history.lines(history.Question(holder_key, frozenset({L.Moved.kind}), newest=5)):
            if isinstance(line.entry, L.Moved) and (place := line.entry.goal or line.entry.origin):
                return place
        return None

    def _mistakes(self) -> list[Mistake]:
        """The shop's last mistakes: what audits found astray, and where given-up holders turned up."""
        kinds = [kind.value for kind in A.ABOUT_STANDING]
        query = T.Settled.select().where(T.Settled.difference.in_(kinds))
        query = query.order_by(T.Settled.line.desc()).limit(MISTAKES)
        mistakes = []
        for row in rows(query):
            booked, found = row["booked"], row["found"]
            if row["difference"] == A.Difference.MISSING.value:
                later = [
                    line.entry.goal
                    for line in history.between(row["text"], row["line"], None)
                    if isinstance(line.entry, L.Moved) and line.entry.goal
                ]
                found = later[0] if later else None
            if booked and found and booked != found:
                mistakes.append(Mistake(booked, found, history.came_from(row["text"], booked, row["line"])))
        return mistakes

    def _ruled_out(self) -> frozenset[str]:
        """Slots in which this kiosk's audit saw something."""
        session = self._session
        if session.audit is None:
            return frozenset()
        places = session.cards.places.rows
        found = (row.place for row in self._sightings(session.audit) if row.place)
        return frozenset(code for code in found if code in places and places[code]["capacity"] == 1)


def _who_when(counter: AuditCounter, line: Written | None) -> tuple[str | None, float | None]:
    if line is None:
        return None, None
    return counter._names().get(line.operator or "", line.operator), line.utc_s


def _followed(audit: str, card: HolderCard, goal: PlaceCard, asked: bool) -> tuple[L.Entry, ...]:
    """The book follows a holder to where it was seen; one that was not asked about is settled with it."""
    origin = card.place.place.code if card.place else None
    moved = L.Moved(card.holder.key, origin, goal.place.code, reason="audit")
    if asked:
        return (moved,)
    return (
        moved,
        L.DifferenceSettled(
            audit, card.holder.key, A.Difference.MISPLACED.value, A.Action.BOOK_MOVED.value, "", origin,
            goal.place.code, card.name,
        ),
    )  # fmt: skip


def _mark(symbol: Symbol, subject: Subject, outcome: Outcome) -> PhotoMark:
    corners = tuple((float(x), float(y)) for x, y in symbol.corners)
    if isinstance(outcome, Refused):
        return PhotoMark(corners, symbol.text, symbol.text, A.State.UNKNOWN, outcome.why)
    if not isinstance(subject, HolderCard):
        name = subject.holder.name if isinstance(subject, RetiredCode) and subject.holder else symbol.text
        return PhotoMark(corners, symbol.text, name, A.State.UNKNOWN, outcome.say)
    alarm = isinstance(outcome, Done) and outcome.alarm
    astray = outcome.say.key in ("audit.misplaced", "audit.twin")
    state = A.State.HOT if alarm else A.State.MISPLACED if astray else A.State.SEEN
    return PhotoMark(corners, symbol.text, subject.name, state, outcome.say)


def _counts(closed: L.AuditClosed) -> A.Counts:
    return A.Counts(
        closed.expected, closed.seen, closed.missing, closed.misplaced, closed.unexpected, closed.unknown, closed.hot
    )


def _limits(session: Session) -> Limits:
    kiosk = session.settings.kiosk
    return Limits(kiosk.pair_s, kiosk.undo_s, session.settings.heat.reheat_s, kiosk.travel_s, kiosk.badge_required)


def _refused(reason: Reason, **values: Any) -> Refused:
    return Refused(reason, say(f"refused.{reason.value}", **values), say(f"remedy.{reason.value}", **values))
