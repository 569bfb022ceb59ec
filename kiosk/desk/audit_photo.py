"""A photograph in an audit: which place each label in it was seen at, and what to draw over it.

`audit_scan.photograph` says what comes of the labels, `drawer.slots_of` beside which slot's label each lies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kiosk.desk.session import Session
from kiosk.ledger.book import Written
from kiosk.reader.symbols import Symbol
from kiosk.rules.audit import Shows
from kiosk.rules.audit_scan import InPicture, shows
from kiosk.rules.cards import FreshLabel, HolderCard, PlaceCard, RetiredCode, Subject
from kiosk.rules.drawer import slots_of
from kiosk.rules.outcomes import Outcome, Refused, Step
from kiosk.rules.say import Say


@dataclass(frozen=True, slots=True)
class PhotoMark:
    """What to draw over a label in the picture.  `holder`: its key, where a holder answers to the label."""

    corners: tuple[tuple[float, float], ...]
    text: str
    name: str
    state: Shows
    say: Say
    holder: str | None = None
    step: Step = Step.OTHER  # what seeing it was


@dataclass(frozen=True, slots=True)
class PhotoSeen:
    """What a drawer's photograph told.  `alarm`: something hot or not proven cool is in it."""

    marks: tuple[PhotoMark, ...]
    lines: tuple[Written, ...]
    alarm: bool


def labels_in(
    session: Session, symbols: Sequence[Symbol], drawer: PlaceCard, members: frozenset[str]
) -> list[tuple[Symbol, InPicture]]:
    """Every label of a picture of a drawer but those of places, each at the slot it lies by, else at the drawer.

    members: codes of the places that are audited.
    """
    read = [(symbol, session.cards.subject(symbol.text)) for symbol in symbols]
    slots = {
        subject.place.code: symbol.centre
        for symbol, subject in read
        if isinstance(subject, PlaceCard) and subject.place.code in members
    }
    others = [(symbol, subject) for symbol, subject in read if not isinstance(subject, PlaceCard)]
    codes = slots_of([symbol.centre for symbol, _ in others], slots)
    return [
        (symbol, InPicture(symbol.text, subject, (session.cards.place(code) if code else None) or drawer))
        for (symbol, subject), code in zip(others, codes, strict=True)
    ]


def mark(symbol: Symbol, subject: Subject, outcome: Outcome) -> PhotoMark:
    """What is drawn over a label in the picture."""
    corners = tuple((float(x), float(y)) for x, y in symbol.corners)
    if isinstance(outcome, Refused):
        return PhotoMark(corners, symbol.text, symbol.text, Shows.UNKNOWN, outcome.why)
    state = shows(subject, outcome)
    if isinstance(subject, HolderCard):
        return PhotoMark(corners, symbol.text, subject.name, state, outcome.say, subject.holder.key, outcome.step)
    known = subject.holder if isinstance(subject, RetiredCode | FreshLabel) else None
    key = known.holder.key if known and state is Shows.HOT else None
    name = known.name if known else symbol.text
    return PhotoMark(corners, symbol.text, name, state, outcome.say, key, outcome.step)
