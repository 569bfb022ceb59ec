"""What came of a scan, and what went wrong, in a person's words: the same on the window and on a telephone.

Values in, words out; nothing is asked, decided or drawn here.  Errors of the operating system and of the database
speak English and to engineers; the few causes a person can act on (`ledger/trouble.py` tells them apart) get a sentence
of their own.  What an error came from is loaded by then, and the desk is not loaded by importing this.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeGuard

from kiosk import words
from kiosk.rules.as_of import AsOf
from kiosk.rules.audit import Difference
from kiosk.rules.bounds import OutOfBounds
from kiosk.rules.cards import HolderCard, PlaceCard
from kiosk.rules.outcomes import Done, Expects, Outcome, Reason, Refused, Step, Wait
from kiosk.rules.say import Say
from kiosk.words import say, t

if TYPE_CHECKING:
    from kiosk.exchange.faults import Fault, FileFaults
    from kiosk.ledger.trouble import Cause


@dataclass(frozen=True, slots=True)
class Told:
    """An outcome as a card shows it; an empty text is not there.

    state: idle, wait, done or stop.  offer: what else can be done with it now (pocket, reading, adopt), and `key` of
    what (a holder's key, or a label's text).
    """

    state: str
    word: str = ""
    title: str = ""
    detail: str = ""
    origin: str = ""
    goal: str = ""
    why: str = ""
    remedy: str = ""
    next: str = ""
    offer: str = ""
    key: str = ""


def place_words(place: str, old: AsOf | None) -> str:
    """Where something stands, and as of when that is known."""
    return place if old is None else t("find.as_of", place=place, known_at=old.utc_s)


def old_words(old: AsOf | None) -> str:
    """As of when something is known; empty: it is as new as can be."""
    return "" if old is None else t("find.old", known_at=old.utc_s)


def found_words(difference: Difference, booked: str | None, found: str | None) -> str:
    """Where an audit found something and where it belongs, in the order in which a hand puts it back.

    booked, found: names of places; None: nowhere.  Of a label seen twice neither place is the right one.
    """
    if not booked or not found or booked == found:
        return found or booked or ""
    if difference is Difference.DUPLICATE_LABEL:
        return t("auditing.seen_twice", one=booked, other=found)
    return t("auditing.back_to", found=found, place=booked)


def told(outcome: Outcome, card: HolderCard | None) -> Told:
    """What came of a scan.  card: the holder as it stands now."""
    match outcome:
        case Done():
            return _done(outcome, card)
        case Wait():
            return asked_for(outcome.expects, card, outcome.goal)
        case Refused():
            return _refused(outcome, card)


def _done(outcome: Done, card: HolderCard | None) -> Told:
    moved = outcome.step is Step.MOVED
    return Told(
        "done",
        _word(outcome.step),
        title=card.name if card else say(outcome.say),
        detail=coupling_words(card) if card else "",
        origin=str(outcome.say["origin"] or "") if moved else "",
        goal=outcome.goal.name if moved and card and outcome.goal else "",
        why=say(outcome.note) if outcome.note else say(outcome.say) if card and not moved else "",
        next=t("scan.next"),
    )


def asked_for(expects: Expects, card: HolderCard | None, goal: PlaceCard | None) -> Told:
    """The first scan of a pair is there, and its second is waited for."""
    place = expects is Expects.PLACE
    at = card.at.name if card and card.at else ""
    pocket = card is not None and card.assembly is not None and card.hold is None
    return Told(
        "wait",
        t("card.word.where_to") if place else t("card.word.which_one"),
        title=card.name if card else goal.name if goal else "",
        detail=coupling_words(card) if card else "",
        origin=t("scan.now_at", place=at) if at else t("scan.nowhere") if card else "",
        next=t("scan.scan_place") if place else t("scan.scan_holder"),
        offer="pocket" if pocket else "",
        key=card.holder.key if card and pocket else "",
    )


def _refused(outcome: Refused, card: HolderCard | None) -> Told:
    offer, key = "", ""
    if outcome.reason is Reason.NOWHERE_KNOWN and card is not None:
        offer, key = "reading", card.holder.key
    elif outcome.reason in (Reason.UNKNOWN_CODE, Reason.FOREIGN_CODE):
        offer, key = "adopt", str(outcome.why["code"])
    return Told(
        "stop",
        t("card.word.refused"),
        title=card.name if card else outcome.goal.name if outcome.goal else "",
        why=say(outcome.why),
        remedy=say(outcome.remedy),
        offer=offer,
        key=key,
    )


_WORDED = (
    Step.MOVED, Step.HEATING, Step.ALREADY_THERE, Step.SIGNED_IN, Step.SIGNED_OUT, Step.CANCELLED, Step.UNDONE,
)  # fmt: skip


def _word(step: Step) -> str:
    """The state word of what was done."""
    known = "audit" if step.audits else step.value if step in _WORDED else "done"
    return t(f"card.word.{known}")


def fault_words(error: Exception) -> str:
    """An error in a person's words: its own sentence and, where it has one, its remedy.

    What a disk or the book's file said gets the words of its cause.  The kiosk's own errors are worded for people;
    any other is said to be one, and is in the log.  What has no sentence in every language
    is quoted, after one that has.
    """
    parts = (getattr(error, name, None) for name in ("say", "why", "reason", "remedy"))
    spoken = [part for part in parts if isinstance(part, Say)]
    if spoken:
        return " ".join(_ended(words.say(message)) for message in spoken)
    if cause := cause_words(error):
        return cause
    if _is_about_a_file(error):
        return "\n".join(": ".join(file_fault_words(fault)) for fault in error.faults)
    if not type(error).__module__.startswith("kiosk."):
        return t("fault.unknown")
    remedy = getattr(error, "remedy", "")
    text = str(error)
    if not text:
        return t("fault.unknown")
    return t("fault.own", said=f"{text} {remedy}".strip() if remedy and remedy not in text else text)


def _ended(sentence: str) -> str:
    """A sentence with its full stop; one that ends in a question mark, as a screen's name may, needs none."""
    return sentence if sentence.endswith(("?", "…")) else f"{sentence.rstrip('.')}."


def file_fault_words(fault: Fault) -> tuple[str, str]:
    """Where in its file something is wrong, and what; the column by the file's name for it and by the trade's."""
    where = t("in_file.line", file=fault.file, line=fault.line) if fault.line else fault.file
    why = say(fault.say)
    if not fault.field:
        return where, why
    if (number := fault.field.removeprefix("field ")) != fault.field:  # of a line from a presetter's cable
        return where, t("in_file.field", field=t("cable.field", number=number), why=why)
    column, field = fault.field, column_words(fault.field)
    if field == column:
        return where, t("in_file.field", field=column, why=why)
    return where, t("in_file.both", column=column, field=field, why=why)


def column_words(column: str) -> str:
    """What the trade calls a column of a shop's files; its own name where there is no other."""
    from kiosk.exchange.columns import CUTTER_SYMBOLS

    asked = next((field for field, symbol in CUTTER_SYMBOLS.items() if symbol == column), column)
    known = words.catalogue(words.language()).words
    return known.get(f"column.{column}") or known.get(f"field.{asked}", column)


def coupling_words(card: HolderCard) -> str:
    """`HSK-A 63 · H7K2 B4N9 RX`: its taper and what its label says."""
    coupling = card.holder.coupling
    family = t(f"coupling.{coupling.family.value}", size=coupling.size)
    return f"{family} · {words.grouped(card.code)}"


def _is_about_a_file(error: Exception) -> TypeGuard[FileFaults]:
    from kiosk.exchange.faults import FileFaults

    return isinstance(error, FileFaults)


def cause_words(error: BaseException) -> str | None:
    """The sentence for a cause that a person can act on; None: this is no such error."""
    from kiosk.desk.far_folder import Silent
    from kiosk.desk.session import Locked, NeedsReason, NotThere, StillHot

    if isinstance(error, Silent):
        return t("fault.silent")
    if isinstance(error, NotThere):
        return t("fault.not_there", thing=error.key)
    if isinstance(error, StillHot):
        return t("fault.still_hot", name=error.name)
    if isinstance(error, OutOfBounds):
        least, most, unit, _ = error.bound
        return t("pad.bounds", least=float(least), most=float(most), unit=unit)
    if isinstance(error, Locked):
        return t("fault.locked")
    if isinstance(error, NeedsReason):
        return t("fault.needs_reason")
    if (met := getattr(error, "cause", None)) is not None and type(error).__name__ == "LinkFault":
        return t(f"fault.link_{met.value}")  # what speaks to servers is loaded only where there is one
    cause = _cause(error)
    return t(f"fault.{cause.value}") if cause else None


def is_damage(error: BaseException) -> bool:
    """Whether the book itself is spoilt, or gone where it was, so that only a copy put back helps."""
    return getattr(_cause(error), "value", "") == "damaged"


def _cause(error: BaseException) -> Cause | None:
    from msgspec import MsgspecError

    from kiosk.ledger.book import Broken
    from kiosk.ledger.trouble import Cause, cause_of

    if isinstance(error, MsgspecError | Broken):
        return Cause.DAMAGED  # a line or a table that no longer reads as what was written
    return cause_of(error)
