"""The last step of somebody at a kiosk that a hand could want back: a move, or a tear-down.

Looks only; whether it may be taken back is decided in `rules.checkin.undo`.
"""

from __future__ import annotations

from typing import Any

import msgspec

from kiosk.ledger import tables as T
from kiosk.ledger.book import Book, Written, rows
from kiosk.ledger.shared_form import WAITING
from kiosk.ledger.view import Cards
from kiosk.rules.assembly import Condition
from kiosk.rules.cards import LastStep, Torn
from kiosk.rules.lines import Built, ConditionSaid, HolderRegistered, Moved, TornDown
from kiosk.rules.merge import Made, Matter

_REGISTRATION = 20  # lines about a holder that may be written with its registration and after it
_made = msgspec.json.Decoder(tuple[Made, ...])
_KINDS = (Moved.kind, Built.kind, TornDown.kind)


_OTHERS = 100  # newer steps of other hands that are looked past: more than hands can do while one may be taken back


def last_step(book: Book, cards: Cards, operator: str | None, phone: str = "") -> LastStep | None:
    """The last step of this operator by this hand at this kiosk; None: there is none, or it was taken back already.

    phone: the hand, as lines name it; empty: the kiosk's own window.  What others do meanwhile is not this hand's to
    take back, nor is it when both are one person's, or nobody's in a shop without badges.
    """
    mine = T.KeptLine.kiosk == book.kiosk, T.KeptLine.kind.in_(_KINDS)
    order: Any = T.KeptLine.id
    query = T.KeptLine.select(T.KeptLine.id)
    if operator is None:
        query = query.where(T.KeptLine.operator.is_null(), *mine)
    else:
        query = query.join(T.Mention, on=(T.Mention.line == T.KeptLine.id))
        query = query.where(T.Mention.subject == operator, T.KeptLine.operator == operator, *mine)
        order = T.Mention.line
    for row in rows(query.order_by(order.desc()).limit(_OTHERS)):
        line = book.line(row["id"])
        if line is None or line.phone != phone:
            continue
        match line.entry:
            case Moved(undoes=None) as entry:
                return _move(book, cards, line, entry)
            case TornDown(undoes=None) as entry:
                return _tear_down(book, cards, line, entry)
        return None
    return None


def _move(book: Book, cards: Cards, line: Written, entry: Moved) -> LastStep | None:
    card = cards.holder(entry.holder)
    if card is None or (entry.origin is None and _came_with_it(book, line, entry.holder)):
        return None
    origin = cards.place(entry.origin) if entry.origin else None
    still = _since_line(entry.holder) == line.id and not _told_since(line.id, Matter.PLACE, entry.holder)
    # Whether it was heated by or after the step: what began its last hold came later.
    after = T.Hold.select(T.Hold.holder).where(T.Hold.holder == entry.holder, T.Hold.heated_line > line.id)
    shared = _is_shared(book, line)
    return LastStep(line.id, line.watched_s, card, origin, entry.goal, bool(rows(after)), still, shared=shared)


def _came_with_it(book: Book, line: Written, holder: str) -> bool:
    """Whether that move only says where a holder stood as it was registered: no hand took that step."""
    about = book.lines(subject=holder, newest=_REGISTRATION)
    at_once = (each for each in about if (each.kiosk, each.watched_s) == (line.kiosk, line.watched_s))
    return any(isinstance(each.entry, HolderRegistered) for each in at_once)


def _tear_down(book: Book, cards: Cards, line: Written, entry: TornDown) -> LastStep | None:
    card = cards.holder(entry.holder)
    found = rows(T.Assembly.select().where(T.Assembly.key == entry.assembly))
    if card is None or not found:
        return None
    about = [each for each in book.lines(subject=entry.assembly, newest=60) if each.id < line.id]
    # What was said of the cutter with the tear-down is taken back too; what was said before it stays.
    earlier = [each for each in about if each.kiosk != line.kiosk or each.watched_s < line.watched_s]
    since = min((each.id for each in about if each not in earlier), default=line.id)
    said = next((each.entry.condition for each in earlier if isinstance(each.entry, ConditionSaid)), Condition.GOOD)
    before = max([said, *_told_apart(entry.assembly, since)], key=lambda each: each.badness)
    elsewhere = T.Assembly.select().where(T.Assembly.cutter == found[0]["cutter"], T.Assembly.torn_line.is_null())
    still = card.assembly is None and not elsewhere.exists() and _since_line(entry.holder) < line.id
    told = _told_since(line.id, Matter.HOLDER, entry.holder) or _told_since(line.id, Matter.CUTTER, found[0]["cutter"])
    still = still and not told
    torn = Torn(entry.assembly, found[0]["name"], before)
    shared = _is_shared(book, line)
    return LastStep(line.id, line.watched_s, card, card.at, None, still_there=still, torn=torn, shared=shared)


def _told_since(line: int, matter: Matter, subject: str) -> bool:
    """Whether kiosks that worked apart tell that differently, or did and a hand settled it after a line."""
    still = T.Difference.closed_line.is_null() | (T.Difference.closed_line > line)
    return bool(rows(T.Difference.select().where((T.Difference.key == f"{matter.value}/{subject}") & still)))


def _told_apart(assembly: str, line: int) -> list[Condition]:
    """How kiosks that worked apart called a cutter, where nobody had settled that before a line."""
    key = f"{Matter.CONDITION.value}/{assembly}"
    still = T.Difference.closed_line.is_null() | (T.Difference.closed_line >= line)
    found = rows(T.Difference.select().where((T.Difference.key == key) & still))
    return [Condition(each.value) for row in found for each in _made.decode(row["claims"])]


def _is_shared(book: Book, line: Written) -> bool:
    """Whether a line has its place in the order of all kiosks, so that others may have seen it."""
    return book.sharing is not None and line.id < WAITING


def _since_line(holder: str) -> int:
    """Number of the line that brought a holder where it is."""
    return int(rows(T.Holder.select(T.Holder.since_line).where(T.Holder.key == holder))[0]["since_line"] or 0)
