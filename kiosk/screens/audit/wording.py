"""What the audit's screens say: where something was last, what an audit is about, what waits, what a slot shows.

Values in, words out; nothing is asked and nothing is kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple

from kiosk import words
from kiosk.rules import audit as A
from kiosk.rules.outcomes import Outcome, Refused, Step
from kiosk.rules.places import Kind
from kiosk.screens.parts.choice import Choice
from kiosk.screens.parts.slots import Slot, SlotState
from kiosk.screens.questions import audit as asks
from kiosk.screens.questions.audit import AuditRow, AuditStatus, Begin, LookFor
from kiosk.words import date, say, t

NUMBERED = (Kind.SLOT, Kind.POCKET, Kind.SPINDLE)
_STATES = {
    A.Shows.EMPTY: SlotState.EMPTY, A.Shows.MISSING: SlotState.MISSING, A.Shows.SEEN: SlotState.SEEN,
    A.Shows.MISPLACED: SlotState.MISPLACED, A.Shows.HOT: SlotState.HOT, A.Shows.UNKNOWN: SlotState.UNKNOWN,
}  # fmt: skip
_COUNTED = {
    A.Difference.HOT: "hot", A.Difference.NOT_PROVEN_COOL: "hot", A.Difference.MISPLACED: "misplaced",
    A.Difference.UNEXPECTED: "unexpected", A.Difference.UNKNOWN_CODE: "unknown", A.Difference.RETIRED_LABEL: "unknown",
    A.Difference.DUPLICATE_LABEL: "unknown",
}  # fmt: skip


_NOBODYS = {Step.AUDIT_UNKNOWN: "unknown", Step.AUDIT_RETIRED: "retired"}


class Told(NamedTuple):
    """What came of a scan.  about: the holder's key, or the label's text, that more can be shown of."""

    good: bool
    said: str
    more: str = ""
    about: str = ""


def of_scan(outcome: Outcome) -> Told:
    """A scan in an audit: what it was in one line, and what about it."""
    if isinstance(outcome, Refused):
        return Told(False, outcome.holder.name if outcome.holder else t("card.word.refused"), sentences(outcome))
    step, card = outcome.step, outcome.holder
    if step in _NOBODYS:
        code = str(outcome.say["code"])
        return Told(False, words.grouped(code), t(f"auditing.{_NOBODYS[step]}"), code)
    if card is None:
        return Told(True, outcome.goal.name if outcome.goal else "", say(outcome.say))
    key = card.holder.key
    if step is Step.AUDIT_MISPLACED:
        return Told(False, card.name, t("auditing.belongs", place=card.at.name if card.at else None), key)
    if step in (Step.AUDIT_SEEN, Step.AUDIT_AGAIN):
        return Told(True, card.name, t("term.state.seen"), key)
    return Told(step is not Step.AUDIT_TWIN, card.name, say(outcome.say), key)


def last_seen(found: LookFor) -> str:
    """Where a missing holder was last, and the likeliest places to look, in words."""
    seen_at = clock(found.utc_s) if found.utc_s is not None else None
    text = t("auditing.last_seen", place=found.place, at=seen_at, who=found.by) if seen_at else ""
    places = [name for _, name in found.places[:2]]
    look = t("auditing.look_in", places=", ".join(places)) if places else ""
    return f"{text} {look}".strip()


def clock(utc_s: float) -> str:
    """`14:05`, with the day before it where that is not today."""
    at = datetime.fromtimestamp(utc_s)
    return f"{at:%H:%M}" if at.date() == datetime.now().date() else f"{date(at, year=False)} {at:%H:%M}"


def place_words(name: str) -> str:
    """The name of what is audited; a term where it is no place."""
    return t(name) if name.startswith("term.") else name


def going_on(row: AuditRow) -> Choice:
    """An audit that waits, to go on with."""
    since = t("auditing.since", at=clock(row.opened_utc_s), who=row.opened_by)
    return Choice(row.place, t("auditing.go_on", place=place_words(row.name)), since)


def to_audit(begin: Begin) -> Sequence[Choice]:
    """What can be audited and is not yet, in the order of `asks.WHOLE`."""
    running = {row.place for row in begin.running}
    order = sorted(begin.places, key=lambda card: asks.WHOLE.index(card.place.kind))
    choices = [Choice(card.place.code, card.name, t(f"kind.{card.place.kind.value}")) for card in order]
    choices.append(Choice(A.HOT, t("auditing.everything_hot")))
    return [choice for choice in choices if choice.key not in running]


def _told(outcome: Outcome) -> tuple[str, str]:
    if isinstance(outcome, Refused):
        return say(outcome.why), say(outcome.remedy)
    return say(outcome.say), ""


def sentences(outcome: Outcome) -> str:
    """What an outcome says, and what to do about it."""
    return ". ".join(part for part in _told(outcome) if part)


def state_words(state: A.Shows) -> str:
    """A spot's state in a word.  While an audit runs nothing is missing: nobody has come to it yet."""
    return t("auditing.not_seen") if state is A.Shows.MISSING else t(f"term.state.{state.value}")


def difference_words(difference: A.Difference) -> str:
    """What differs, in a word, while the audit runs."""
    missing = difference is A.Difference.MISSING
    return t("auditing.not_seen") if missing else t(f"term.difference.{difference.value}")


def others(status: AuditStatus) -> str:
    """`1 wrong place · 1 unknown label`: what waits beside what is missing."""
    found: dict[str, int] = {}
    for each in status.differences:
        if each.difference is not A.Difference.MISSING:
            name = _COUNTED.get(each.difference, "other")
            found[name] = found.get(name, 0) + 1
    told = [t(f"auditing.count.{name}", count=count) for name, count in found.items()]
    if len(told) > 2:
        told = [told[0], t("auditing.count.more", count=sum(found.values()) - next(iter(found.values())))]
    return " · ".join(told)


def slot(key: str, spot: A.SpotState, number: int) -> Slot:
    """Written on it: the slot's own number as it stands on the steel, or a running one on a bench."""
    named = spot.spot.kind in NUMBERED
    return Slot(key, spot.spot.name.rsplit(" · ", 1)[-1] if named else str(number), _STATES[spot.state])
