"""What a telephone may ask, each answered by one call at the desk: the only place where a page's question meets it.

Called on the desk's own thread with the telephone's hand in place.  Nothing is decided here; what is not in the table
of `messages` cannot be asked, a supervisor's doings, settings and readings among it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import assert_never

from kiosk.desk import Desk
from kiosk.desk.desk import Scanned
from kiosk.desk.hand import Hand
from kiosk.desk.session import NotThere
from kiosk.handheld import messages as M
from kiosk.handheld import said
from kiosk.handheld.said import Body
from kiosk.reader.symbols import Symbol, spent_in
from kiosk.rules import audit as A
from kiosk.rules.assembly import Condition
from kiosk.rules.cards import HolderCard
from kiosk.rules.offsets import Card, CardFault
from kiosk.rules.outcomes import Expects, Outcome, Refused
from kiosk.rules.places import Kind
from kiosk.telling import asked_for
from kiosk.words import say, t

MOST_FOUND = 40
_WHOLE = (Kind.CABINET, Kind.MACHINE, Kind.BENCH, Kind.COOLING, Kind.PRESETTER)
_REMEMBERED = 64  # answers kept for requests that are sent again

@dataclass(frozen=True, slots=True)
class Alarm:
    """Something hot that a telephone met: the kiosk shows it too.  scanned: what fills the window; None: only words."""

    scanned: Scanned | None
    words: str


Raise = Callable[[Alarm], None]


@dataclass(slots=True)
class Phone:
    """A telephone that is somebody's.  kind: what it calls itself; outcomes: how many it was told; last: the newest,
    and told_s: when, watched seconds.

    done: its latest requests with their answers, by key, so that one sent again is not done again.
    """

    name: str
    kind: str
    hand: Hand
    outcomes: int = 0
    last: Body = field(default_factory=dict)
    told_s: float = 0.0
    done: dict[str, tuple[M.AnyAsk, int, Body]] = field(default_factory=dict)

    def remember(self, key: str, ask: M.AnyAsk, status: int, body: Body) -> None:
        """Keep an answer for the case that its request is sent again."""
        self.done[key] = (ask, status, body)
        while len(self.done) > _REMEMBERED:
            del self.done[next(iter(self.done))]


def answer(desk: Desk, phone: Phone, ask: M.AnyAsk, alarm: Raise) -> Body:
    """What the desk says.  alarm: called with what the kiosk itself has to show too.  Raises what the desk raises."""
    match ask:
        case M.Scan(texts=texts):
            return _told(desk, phone, [desk.scan(text) for text in texts], alarm)
        case M.Undo():
            return _told(desk, phone, [desk.undo()], alarm)
        case M.HandOver(pocket=pocket, holder=key):
            desk.audits.pause()  # a touch on a map is no label that was seen
            desk.cancel()
            desk.scan(pocket)
            return _told(desk, phone, [desk.scan(desk.session.holder(key).code)], alarm)
        case M.Cancel():
            desk.cancel()
            return _me(desk, phone)
        case M.Me():
            return _me(desk, phone)
        case M.Hot():
            return said.board(desk.heat.board(), desk.heat.warm())
        case M.Find(text=text):
            return said.found(desk.finding.find(text, 0, MOST_FOUND))
        case M.Way(holder=key):
            return said.way(desk.finding.way(key))
        case M.Machines() | M.Machine() | M.Card() | M.Condition():
            return _machine(desk, ask)
        case M.LookedAt(spent=spent):
            desk.label_wear.saw(spent)
            return {"kind": "looked_at"}
        case _:
            return _audit(desk, phone, ask, alarm)


def _told(desk: Desk, phone: Phone, scans: Sequence[Scanned], alarm: Raise) -> Body:
    """The outcome to be shown: of several the one that is about heat, else the last."""
    alarms = [scanned for scanned in scans if said.is_alarm(scanned.outcome)]
    for scanned in alarms:
        outcome = scanned.outcome
        alarm(Alarm(scanned, "") if isinstance(outcome, Refused) else Alarm(None, say(outcome.say)))
    phone.outcomes += 1
    phone.last = said.outcome((alarms or list(scans))[-1], phone.outcomes, desk.session.settings.kiosk.pair_s)
    phone.told_s = desk.now().watched_s
    return phone.last


def _last(desk: Desk, phone: Phone) -> Body:
    """The newest outcome as it is now: what could be taken back or gone on with for a while, for so much less."""
    past_s = desk.now().watched_s - phone.told_s
    lasts = {name: phone.last[name] for name in ("undo_s", "wait_s") if phone.last.get(name) is not None}
    return phone.last | {name: max(0.0, left_s - past_s) for name, left_s in lasts.items()}


def _me(desk: Desk, phone: Phone) -> Body:
    """Where this telephone was, for a page that comes back."""
    session, waiting = desk.session, desk.waiting()
    owner = session.operator
    body: Body = {
        "kind": "me", "phone": phone.name, "person": owner.name if owner else "", "kiosk": session.book.kiosk,
        "audit": session.audit or "", "last": _last(desk, phone), "waits": {}, "number": phone.outcomes,
    }  # fmt: skip
    if waiting is not None:
        holder = waiting.card if isinstance(waiting.card, HolderCard) else None
        goal = None if holder else waiting.card
        what = asked_for(
            Expects.PLACE if holder else Expects.HOLDER, holder, goal if not isinstance(goal, HolderCard) else None
        )
        left_s = waiting.left_s(session.now(), session.settings.kiosk.pair_s)
        body["waits"] = {
            "kind": "outcome", "number": phone.outcomes, "state": "wait", "word": what.word, "title": what.title,
            "detail": what.detail, "origin": what.origin, "next": what.next, "wait_s": left_s,
        }  # fmt: skip
    return body


def _machine(desk: Desk, ask: M.Machines | M.Machine | M.Card | M.Condition) -> Body:
    match ask:
        case M.Machines():
            return said.machines(desk.handover.machines())
        case M.Machine(code=code, holder=key):
            return said.machine(desk.handover.machine(code, key or None), desk.session.holder(key) if key else None)
        case M.Card(holder=key):
            found: Card | CardFault
            try:
                found = desk.papers.card(key)
            except CardFault as fault:
                found = fault
            return said.card(found, desk.build.number_of(key))
        case M.Condition(holder=key, condition=word):
            if word not in {each.value for each in Condition}:
                raise NotThere("condition", word)
            card = desk.build.say_condition(key, Condition(word))
            return {"kind": "said", "good": True, "say": f"{card.name}: {t(f'condition.{word}')}"}
        case _:
            assert_never(ask)


def _audit(
    desk: Desk,
    phone: Phone,
    ask: M.Audits | M.OpenAudit | M.PauseAudit | M.CloseAudit | M.Settle | M.LookFor | M.Photograph,
    alarm: Raise,
) -> Body:
    audits = desk.audits
    match ask:
        case M.Audits():
            return _audits(desk)
        case M.OpenAudit(place=place):
            return said.audit(audits.open(place))
        case M.PauseAudit():
            audits.pause()
            return _audits(desk)
        case M.CloseAudit():
            return _settled(desk, audits.close())
        case M.Settle(difference=key, action=action, reason=reason):
            return _settled(desk, _settle(desk, key, action, reason))
        case M.LookFor(holder=key):
            return said.look_for(audits.look_for(key))
        case M.Photograph(place=place, symbols=symbols):
            read = [Symbol(each.text, each.format, each.corners, each.spent) for each in symbols]
            seen = audits.photo(read, place)
            desk.label_wear.saw(spent_in(read))
            for mark in seen.marks if seen.alarm else ():
                if mark.state is A.Shows.HOT:
                    alarm(Alarm(None, say(mark.say)))
            return said.photograph(seen)
        case _:
            assert_never(ask)


def _audits(desk: Desk) -> Body:
    if desk.session.audit is not None:
        return said.audit(desk.audits.status())
    places = [card for card in desk.shop.places() if card.place.kind in _WHOLE and not card.retired]
    places.sort(key=lambda card: _WHOLE.index(card.place.kind))
    return said.audits(desk.audits.running(), places)


def _settle(desk: Desk, key: str, action: str, reason: str) -> Outcome:
    """What is taken to cooling is taken to the cooling place that has room; why it stays open is one of the words."""
    if action not in {each.value for each in A.Action}:
        raise NotThere("action", action)
    wanted = A.Action(action)
    cooling = desk.session.cooling_place() if wanted is A.Action.TO_COOLING else None
    words = t(f"auditing.reason.{reason}") if reason in A.REASONS else ""
    return desk.audits.settle(key, wanted, words, cooling.place.code if cooling else None)


def _settled(desk: Desk, outcome: Outcome) -> Body:
    """What came of it, and how the audit stands then."""
    return said.settled(outcome) | {"audit": _audits(desk)}
