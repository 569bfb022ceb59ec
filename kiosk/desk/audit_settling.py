"""Closing differences: the lines each action writes, and when an audit itself may close.

What may move is `checkin`'s to say: no action here moves what a scan could not.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from kiosk.desk.audit_book import AuditBook
from kiosk.desk.session import NotThere, Session
from kiosk.ledger import tables as T
from kiosk.ledger.derive import Row as TableRow
from kiosk.rules import audit as A
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Condition
from kiosk.rules.cards import HolderCard, Pending, PlaceCard, View
from kiosk.rules.checkin import Done, Outcome, Reason, Refused, Step, arrival, decide, may_go
from kiosk.rules.say import say


class Settling:
    """Outcomes for the differences of the audit this kiosk is in; writes nothing itself."""

    def __init__(self, session: Session, book: AuditBook) -> None:
        self._session = session
        self._book = book

    def settling(self, key: str, action: A.Action, reason: str, goal: str | None) -> Outcome:
        session = self._session
        if session.audit is None:
            return refuse(Reason.NO_AUDIT)
        row, findings, _ = self._book.findings(session.audit)
        difference = findings.difference(key)
        if difference is None and action is A.Action.REGISTERED:
            difference = self._known_since(row, key)
        if difference is None:
            raise NotThere("difference", key)
        if action not in difference.actions:
            return refuse(Reason.NOT_SETTLED_SO, name=difference.name, action=f"term.action.{action.value}")
        if action is A.Action.CARRIED_OVER and not reason.strip():
            return refuse(Reason.NEEDS_REASON, name=difference.name)
        steps = self._steps(row, difference, action, goal)
        if isinstance(steps, Refused):
            return steps
        place = self._book.place_name(goal or difference.found)
        words = say(f"audit.settled.{action.value}", name=difference.name, place=place)
        settled = L.DifferenceSettled(
            session.audit, difference.text, difference.difference.value, action.value, reason.strip(),
            difference.booked, goal or difference.found, difference.name,
        )  # fmt: skip
        card = session.cards.holder(difference.text)
        return Done((*steps, settled), words, holder=card, step=Step.AUDIT_SETTLED)

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
                inside = card.place and card.place.place.code in self._book.scope(row["place"]).members
                if card.place is None:
                    return refuse(Reason.NOT_SETTLED_SO, name=card.name, action=f"term.action.{action.value}")
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
                if isinstance(subject, HolderCard):
                    return (L.Seen(row["key"], difference.text, subject.holder.key, difference.found),)
                known = isinstance(subject, PlaceCard)
                return () if known else refuse(Reason.UNKNOWN_CODE, code=difference.text, near=None)
        return ()

    def _known_since(self, row: TableRow, key: str) -> A.Open | None:
        """The difference of a label that was unknown when it was seen, and is bound by now."""
        for each in self._book.sightings(row["key"]):
            if each.bound and each.holder is None:
                was = A.Open(each.text, A.Difference.UNKNOWN_CODE, each.text, None, each.place)
                if was.key == key:
                    return was
        return None

    def _to_cooling(self, card: HolderCard, goal: str | None) -> tuple[L.Entry, ...] | Refused:
        session = self._session
        place = session.place(goal) if goal else session.cooling_place()
        if place is None:
            return refuse(Reason.PLACE_FULL, name=card.name, place=None, capacity=0)
        now = session.now()
        pending = Pending(card, now.watched_s)
        outcome = decide(
            View(place, session.book.kiosk, pending, operator=session.operator, limits=session.limits()), now
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
                return refuse(Reason.NOWHERE_KNOWN, name=mover.name, place=None)
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
        found = self._book.findings(row["key"])[1].open
        astray = (A.Difference.MISPLACED, A.Difference.UNEXPECTED)
        return {each.text: each.found for each in found if each.difference in astray and each.found}

    def closing(self) -> Outcome:
        session = self._session
        if session.audit is None:
            return refuse(Reason.NO_AUDIT)
        row, findings, _ = self._book.findings(session.audit)
        waiting = [each for each in findings.open if each.difference not in A.NOTES]
        name = self._book.row(row).name
        if waiting:
            return refuse(Reason.AUDIT_OPEN, place=name, count=len(waiting), name=waiting[0].name)
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
        return Done((*notes, closed), words, step=Step.AUDIT_CLOSED)


def _followed(audit: str, card: HolderCard, goal: PlaceCard, asked: bool) -> tuple[L.Entry, ...]:
    """The book follows a holder to where it was seen; one that was not asked about is settled with it."""
    origin = card.place.place.code if card.place else None
    came = arrival(card, goal, "audit")
    if asked:
        return came
    return (
        *came,
        L.DifferenceSettled(
            audit, card.holder.key, A.Difference.MISPLACED.value, A.Action.BOOK_MOVED.value, "", origin,
            goal.place.code, card.name,
        ),
    )  # fmt: skip


def refuse(reason: Reason, **values: Any) -> Refused:
    """A refusal in the words of its reason."""
    return Refused(reason, say(f"refused.{reason.value}", **values), say(f"remedy.{reason.value}", **values))
