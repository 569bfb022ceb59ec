"""What a kiosk does while it is cut off from others on the same book: one table, an input to `checkin.may_go`.

Not having heard of a heating is not cold.  Kiosks of the station are those that may book a heating; only while each
of them is in hearing (`hearing.Hearing`) does "cool" mean cool.  A holder may be moved by any kiosk, to where it cools
more slowly, so a hold ends by time only while every kiosk is in hearing.  For the same reason a kiosk writes, or books
heatings, only from when every other has applied the line that says it may (`hearing.known_to_all`).  A kiosk without a
server is never apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum


class Question(Enum):
    """What is asked of a kiosk that is cut off."""

    KNOWN_HOT = "known hot"
    TIME_IS_UP = "a hold whose time is over by this kiosk's own count"
    COOL_BY_US = "a shrink fit that was cool and was brought here by this kiosk"
    COOL_BY_OTHERS = "a shrink fit that was cool and was brought here by another"
    HEATING_AT_STATION = "a heating, at a kiosk of the station"
    HEATING_ELSEWHERE = "a heating, at any other kiosk"
    OWN_POCKET = "a pocket of the machine this kiosk stands at"
    OTHER_POCKET = "a pocket of another machine"
    UNDO_OWN = "an own step that is not shared yet"
    UNDO_SHARED = "an own step that others may have seen"
    AUDIT_SEEN = "a sighting"
    AUDIT_CLOSE = "closing an audit"
    OFFICE = "taking out of use, settings, PINs, imports"
    BADGE = "a badge"


class Answer(Enum):
    """What comes of it."""

    AS_EVER = "as ever"
    REFUSED = "refused"
    READING_ONLY = "only a reading ends it, or hearing the others again"
    HEAT_UNKNOWN = "a reading or a cooling place"
    NOT_VERIFIED = "allowed, and the line says that it was not verified"
    TOLD_HOW_OLD = "allowed, and how old the facts are is told"
    LOOK_FIRST = "allowed once a hand has looked, and the line says so"


TABLE: Mapping[Question, Answer] = {
    Question.KNOWN_HOT: Answer.REFUSED,
    Question.TIME_IS_UP: Answer.READING_ONLY,
    Question.COOL_BY_US: Answer.NOT_VERIFIED,
    Question.COOL_BY_OTHERS: Answer.HEAT_UNKNOWN,
    Question.HEATING_AT_STATION: Answer.AS_EVER,
    Question.HEATING_ELSEWHERE: Answer.REFUSED,
    Question.OWN_POCKET: Answer.TOLD_HOW_OLD,
    Question.OTHER_POCKET: Answer.LOOK_FIRST,
    Question.UNDO_OWN: Answer.AS_EVER,
    Question.UNDO_SHARED: Answer.REFUSED,
    Question.AUDIT_SEEN: Answer.AS_EVER,
    Question.AUDIT_CLOSE: Answer.REFUSED,
    Question.OFFICE: Answer.REFUSED,
    Question.BADGE: Answer.AS_EVER,
}


@dataclass(frozen=True, slots=True)
class Apart:
    """How far this kiosk, one of several on one book, is cut off from the others.

    kiosk: this one.  stations_heard: every other kiosk that may book a heating is in hearing.  all_heard: every other
    kiosk is.  caught_up: the server answers and this kiosk has all it knows.  station: this kiosk may book a heating,
    and all others know it.  machine: code of the machine this kiosk stands at.  since_utc_s: since when the longest
    silent one of the stations, else of all, is not heard; as_of_utc_s: how old the facts are.  Both for people.
    admitted: every other kiosk knows of this one, so that its silence is not mistaken.  awake: none of them may take
    this one to be at rest, as it was when it was closed in order.  own_whole: this kiosk has all its own lines, as
    far as it knows; a folder that was put back has lost what was heated at it since.
    """

    kiosk: str
    stations_heard: bool
    all_heard: bool
    caught_up: bool
    station: bool = False
    machine: str | None = None
    since_utc_s: float | None = None
    as_of_utc_s: float | None = None
    admitted: bool = True
    awake: bool = True
    own_whole: bool = True


def nothing_heard(kiosk: str) -> Apart:
    """At a kiosk that has others, before it heard of any."""
    return Apart(kiosk, stations_heard=False, all_heard=False, caught_up=False, admitted=False)


def about_cool(apart: Apart | None, shrinks: bool, last_kiosk: str | None) -> Answer:
    """What a holder that counts as cool counts as.  last_kiosk: which kiosk moved it last."""
    if apart is None or apart.stations_heard or not shrinks:  # nothing else can be heated
        return Answer.AS_EVER
    by_us = last_kiosk == apart.kiosk and apart.own_whole
    return TABLE[Question.COOL_BY_US if by_us else Question.COOL_BY_OTHERS]


def about_time(apart: Apart | None) -> Answer:
    """Whether the time that has passed ends a hold."""
    return Answer.AS_EVER if apart is None or apart.all_heard else TABLE[Question.TIME_IS_UP]


def about_heating(apart: Apart | None) -> Answer:
    """Whether a heating may be booked here: nobody waits to hear of one from a kiosk that is none of the station."""
    if apart is None:
        return Answer.AS_EVER
    return TABLE[Question.HEATING_AT_STATION if apart.station else Question.HEATING_ELSEWHERE]


def about_pocket(apart: Apart | None, machine: str | None) -> Answer:
    """Whether what is known of this machine's pockets is good enough.  machine: its place's code."""
    if apart is None or apart.caught_up:
        return Answer.AS_EVER
    own = machine is not None and machine == apart.machine
    return TABLE[Question.OWN_POCKET if own else Question.OTHER_POCKET]


def about_undo(apart: Apart | None, shared: bool) -> Answer:
    """Whether an own step can be taken back.  shared: it has its place in the shop's order."""
    if apart is None or apart.caught_up:
        return Answer.AS_EVER
    return TABLE[Question.UNDO_SHARED if shared else Question.UNDO_OWN]
