"""Questions about the audit this kiosk is in the middle of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kiosk.desk import Desk
from kiosk.desk.audits import AuditRow, AuditStatus, DifferenceCard, LookFor, PhotoMark, PhotoSeen
from kiosk.desk.desk import Scanned
from kiosk.desk.session import NotThere
from kiosk.reader.symbols import Symbol
from kiosk.rules import audit as A
from kiosk.rules.cards import HolderCard, PlaceCard
from kiosk.rules.outcomes import Outcome
from kiosk.rules.place_drawing import PlaceDrawing
from kiosk.rules.places import Kind
from kiosk.screens.questions import Question

__all__ = [
    "AuditRow", "AuditStatus", "Begin", "DifferenceCard", "LookFor", "PhotoMark", "PhotoSeen", "Spoken",
    "begin", "close", "cool", "cool_at", "empty", "look_for", "open_audit", "open_or_scan", "pause", "photograph",
    "picture", "report", "settle", "spoken", "status",
]  # fmt: skip

WHOLE = (Kind.CABINET, Kind.MACHINE, Kind.BENCH, Kind.COOLING, Kind.PRESETTER)


@dataclass(frozen=True, slots=True)
class Begin:
    """What there is to go on with, and what can be audited."""

    here: AuditStatus | None
    running: tuple[AuditRow, ...]
    places: tuple[PlaceCard, ...]


@dataclass(frozen=True, slots=True)
class Spoken:
    """What the desk says of a holder or label.  `card`: None for a label nobody knows.  `found`: where to look."""

    state: A.Shows
    place: str
    name: str
    card: HolderCard | None
    differences: tuple[DifferenceCard, ...]
    found: LookFor | None
    picture: PlaceDrawing | None = None  # of the place; None: it stands alone, or nobody knows it


def begin() -> Question[Begin]:
    """How this kiosk's audit stands, or which there could be."""
    return _begin


def _begin(desk: Desk) -> Begin:
    here = desk.audits.status() if desk.session.audit else None
    places = tuple(card for card in desk.shop.places() if card.place.kind in WHOLE and not card.retired)
    return Begin(here, desk.audits.running(), places)


def status() -> Question[AuditStatus]:
    """How this kiosk's audit stands.  Raises NotThere."""
    return lambda desk: desk.audits.status()


def open_audit(what: str) -> Question[AuditStatus]:
    """Open or go on with an audit: a place's code, or the key of one that waits."""
    return lambda desk: desk.audits.open(what)


def open_or_scan(text: str) -> Question[AuditStatus | Scanned]:
    """A place is audited, unless hot steel was scanned with it; the desk knows what to do with everything else."""

    def answer(desk: Desk) -> AuditStatus | Scanned:
        if desk.session.audit is not None:
            return desk.scan(text)
        if (hot := desk.watch(text)) is not None:
            return hot
        subject = desk.session.cards.subject(text)
        return desk.audits.open(subject.place.code) if isinstance(subject, PlaceCard) else desk.scan(text)

    return answer


def pause() -> Question[Begin]:
    """Somebody goes on later: what there is then."""

    def answer(desk: Desk) -> Begin:
        desk.audits.pause()
        return _begin(desk)

    return answer


def close() -> Question[Outcome]:
    """Close the audit, if nothing is open any more."""
    return lambda desk: desk.audits.close()


def look_for(holder: str) -> Question[LookFor]:
    """Where a missing holder was last, and the likeliest places to look."""
    return lambda desk: desk.audits.look_for(holder)


def empty(holder: str, is_empty: bool) -> Question[DifferenceCard | None]:
    """A hand says that a holder has no cutter in it, or that it has."""
    return lambda desk: desk.audits.empty(holder, is_empty)


def photograph(symbols: Sequence[Symbol], place: str) -> Question[PhotoSeen]:
    """What was read in a photograph of a drawer."""
    return lambda desk: desk.audits.photo(symbols, place)


def picture(place: str) -> Question[PlaceDrawing]:
    """The place of a difference, drawn."""
    return lambda desk: desk.finding.place_picture(place)


def settle(key: str, action: A.Action, reason: str) -> Question[Outcome]:
    """Close a difference."""
    return lambda desk: _settle(desk, key, action, reason)


def _settle(desk: Desk, key: str, action: A.Action, reason: str) -> Outcome:
    """What is taken to cooling is taken to the cooling place that has room."""
    cooling = desk.session.cooling_place() if action is A.Action.TO_COOLING else None
    return desk.audits.settle(key, action, reason, cooling.place.code if cooling else None)


def cool(holder: str) -> Question[Outcome]:
    """A hot holder of the audit was taken to a cooling place.  Raises NotThere where it is hot no longer."""
    return lambda desk: _settle(desk, _heat_of(desk, holder), A.Action.TO_COOLING, "")


def cool_at(holder: str, text: str) -> Question[Outcome | None]:
    """The label of the cooling place was scanned that a hot holder of the audit was taken to; None: it is no such."""

    def answer(desk: Desk) -> Outcome | None:
        subject = desk.session.cards.subject(text)
        if not isinstance(subject, PlaceCard) or subject.place.kind is not Kind.COOLING:
            return None
        return desk.audits.settle(_heat_of(desk, holder), A.Action.TO_COOLING, "", subject.place.code)

    return answer


def _heat_of(desk: Desk, holder: str) -> str:
    """Key of the difference that says a holder is hot.  Raises NotThere."""
    wanted = (A.Difference.HOT, A.Difference.NOT_PROVEN_COOL)
    found = desk.audits.status().differences
    key = next((each.key for each in found if each.text == holder and each.difference in wanted), None)
    if key is None:
        raise NotThere("hold on", desk.session.holder(holder).name)
    return key


def spoken(about: str) -> Question[Spoken]:
    """What is known in the audit of a holder's key or a label's text."""
    return lambda desk: _spoken(desk, about)


def _spoken(desk: Desk, about: str) -> Spoken:
    status = desk.audits.status()
    spots = [spot for group in status.groups for spot in group.spots]
    spot = next((each for each in spots if about in (each.holder, each.name)), None)
    card = desk.session.cards.holder(about)
    texts = (about, card.code) if card else (about,)
    differences = tuple(each for each in status.differences if each.text in texts)
    state = spot.state if spot else A.Shows.UNKNOWN if card is None else A.Shows.SEEN
    booked = (card.at.name, card.at.place.code) if card and card.at else ("", None)
    found = next(((each.found_name, each.found) for each in differences if each.found_name), None)
    place, code = booked if state in (A.Shows.MISSING, A.Shows.SEEN) else found or booked
    look_for = desk.audits.look_for(about) if card and state is A.Shows.MISSING else None
    picture = desk.finding.place_picture(code) if code else None
    return Spoken(state, place, card.name if card else about, card, differences, look_for, picture or None)


def report(key: str) -> Question[A.AuditReport]:
    """How a closed audit ended."""
    return lambda desk: desk.audits.report(key)
