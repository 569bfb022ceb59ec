"""Until when another kiosk's lines are complete here: a kiosk is *in hearing* while that was a moment ago.

Beats carry, beside a number of their own, the numbers of the others' beats that came in.  One that echoes mine was sent
after mine; it says how far its kiosk's chain went then; and once I have applied that line, I know everything that
kiosk wrote until I sent mine.  No clock is compared, a delay only makes it less, and silence proves nothing.

A folder may be copied, and then two programs say that they are one kiosk.  A beat therefore names the digest of the
chain's last line as well: one whose chain is another than the one known here, or ends before a line that was known here
when the beat it echoes was sent, is not that kiosk's.  It proves nothing, and neither does that run from then on.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from kiosk.rules.ages import Pace, StayName, Trip, pace

WITHIN_S = 8.0  # two beats there and back, and less than it takes to heat steel and carry it to another kiosk
_BEHIND = 4  # beats in a row; fewer may be of a kiosk whose desk is slow to say which line it wrote last
_APART_S = 20.0  # between two round trips that say how two counters run against each other
_TRIPS = 16
_DIGESTS = 64  # of each chain


@dataclass(frozen=True, slots=True)
class Echo:
    """The last beat of another that came in: its number, and the run of that kiosk's program it was of."""

    beat: int
    run: str


@dataclass(frozen=True, slots=True)
class Beat:
    """What a kiosk tells the others every two seconds.

    run: random, another after every restart, for beats are counted from then.  last: number of the last line of its
    chain, shared or waiting.  counter_s: of its own counter.  applied: the last shared number in its tables.  echoes:
    by kiosk.  ages: what it counted, by the line the stay began with.  digest: of that last line.
    """

    kiosk: str
    run: str
    beat: int
    last: int
    counter_s: float
    applied: int = 0
    echoes: Mapping[str, Echo] = field(default_factory=dict)
    ages: tuple[tuple[StayName, float], ...] = ()
    waiting: int = 0
    version: str = ""
    utc_s: float = 0.0
    digest: str = ""


class _Sent(NamedTuple):
    """When an own beat went out, and which line of each chain was in the tables then."""

    at_s: float
    applied: Mapping[str, int]


class _Claimed(NamedTuple):
    """What another's beat proves, once that line of its chain is in the tables and is the one it means."""

    until_s: float
    last: int
    digest: str
    run: str


class _Kept(NamedTuple):
    """A round trip, and how narrowly it and those after it say how two counters run."""

    trip: Trip
    pace: Pace | None = None

    def with_later(self, trip: Trip) -> _Kept:
        return self._replace(pace=_narrowest((self.pace, pace(self.trip, trip))))


def _narrowest(paces: Iterable[Pace | None]) -> Pace | None:
    """What all that say anything agree on."""
    found = [each for each in paces if each is not None]
    return Pace(max(each.least for each in found), min(each.most for each in found)) if found else None


class Hearing:
    """What one kiosk heard of the others, by its own counter."""

    def __init__(self, kiosk: str, run: str) -> None:
        self.kiosk = kiosk
        self.run = run
        self._sent: dict[int, _Sent] = {}  # by the number of an own beat
        self._came: dict[str, Echo] = {}  # the newest beat of each other
        self._claimed: dict[str, list[_Claimed]] = {}
        self._digests: dict[str, dict[int, str]] = {}  # of lines in the tables, by chain and number; the newest ones
        self._behind: dict[str, tuple[str, int]] = {}  # run, and how many beats in a row named no last line
        self._copied: dict[str, str] = {}  # runs of programs that said they were a kiosk whose lines are not theirs
        self._heard_s: dict[str, float] = {}
        self._applied: dict[str, int] = {}
        self._trips: dict[str, list[_Kept]] = {}
        self._paces: dict[str, Pace | None] = {}  # by the trips kept; worked out when one is added, not when asked
        self._ends: list[tuple[float, int]] = []  # when asked, and where the shop's order ended then or later
        self._order_applied = 0
        self._complete_s: float | None = None

    def sends(self, beat: int, now_s: float) -> dict[str, Echo]:
        """A beat of this number goes out now; what it echoes."""
        self._sent[beat] = _Sent(now_s, self._applied)
        while (oldest := next(iter(self._sent))) < beat - 600:  # in the order they were sent
            del self._sent[oldest]
        return dict(self._came)

    def heard(self, beat: Beat, now_s: float) -> None:
        """A beat came in.  One that is older than what came before says nothing."""
        before = self._came.get(beat.kiosk)
        if beat.kiosk == self.kiosk or (before and before.run == beat.run and beat.beat <= before.beat):
            return
        if before is not None and before.run != beat.run:  # while it was off its counter stood
            self._trips.pop(beat.kiosk, None)
            if (known := self._paces.get(beat.kiosk)) is None or not known.other_runs_fast:
                self._paces.pop(beat.kiosk, None)  # one that ran fast is believed again when new trips say so
        self._came[beat.kiosk] = Echo(beat.beat, beat.run)
        echo = beat.echoes.get(self.kiosk)
        sent = self._sent.get(echo.beat) if echo and echo.run == self.run else None
        if sent is None or self.is_copy(beat.kiosk):
            return
        if beat.last < sent.applied.get(beat.kiosk, 0):
            self._is_behind(beat.kiosk, beat.run)
            return
        self._behind.pop(beat.kiosk, None)
        self._claimed.setdefault(beat.kiosk, []).append(_Claimed(sent.at_s, beat.last, beat.digest, beat.run))
        self._prove(beat.kiosk)
        self._trip(beat.kiosk, Trip(sent.at_s, beat.counter_s, now_s))

    def applied(self, kiosk: str, number: int, digest: str = "") -> None:
        """This line of that kiosk's chain, and all before it, are in the tables here.  digest: its own."""
        if number > self._applied.get(kiosk, 0):
            self._applied = {**self._applied, kiosk: number}
        self.known(kiosk, number, digest)

    def known(self, kiosk: str, number: int, digest: str) -> None:
        """The digest of a line that is in the tables here; "" for that of no line, and where nobody looks."""
        kept = self._digests.setdefault(kiosk, {})
        kept[number] = digest
        while len(kept) > _DIGESTS:
            del kept[next(iter(kept))]
        self._prove(kiosk)

    def to_look_up(self) -> list[tuple[str, int]]:
        """Lines that are in the tables here, by chain and number, whose digests would prove something."""
        return [
            (kiosk, each.last)
            for kiosk, claimed in self._claimed.items()
            for each in claimed
            if each.last <= self._applied.get(kiosk, 0) and each.last not in self._digests.get(kiosk, {})
        ]

    def is_copy(self, kiosk: str) -> bool:
        """Whether what says now that it is this kiosk is a copy of its folder."""
        came = self._came.get(kiosk)
        return came is not None and self._copied.get(kiosk) == came.run

    def _is_behind(self, kiosk: str, run: str) -> None:
        """A beat whose chain ends before a line known to be of it proves nothing, and a few in a row are a copy's."""
        before, count = self._behind.get(kiosk, (run, 0))
        count = count + 1 if before == run else 1
        self._behind[kiosk] = (run, count)
        self._doubt(kiosk)
        if count >= _BEHIND:
            self._found_copy(kiosk, run)

    def _found_copy(self, kiosk: str, run: str) -> None:
        self._copied[kiosk] = run
        self._doubt(kiosk)

    def _doubt(self, kiosk: str) -> None:
        self._claimed.pop(kiosk, None)
        self._heard_s.pop(kiosk, None)  # what it said before may have been as wrong

    def _prove(self, kiosk: str) -> None:
        applied, digests = self._applied.get(kiosk, 0), self._digests.get(kiosk, {})
        waits = []
        for each in self._claimed.get(kiosk, []):
            digest = digests.get(each.last) if each.last else each.digest  # nothing was written yet
            if each.last > applied or digest is None:
                waits.append(each)
            elif digest != each.digest:
                self._found_copy(kiosk, each.run)
                return
            else:
                self._heard_s[kiosk] = max(each.until_s, self._heard_s.get(kiosk, each.until_s))
        self._claimed[kiosk] = waits[-16:]

    def answered(self, beat: int, end: int) -> None:
        """The server's answer to an own beat.  end: the last number of the shop's order, which may be newer."""
        if (sent := self._sent.get(beat)) is not None:
            self._ends.append((sent.at_s, end))
            self.order_applied(self._order_applied)

    def order_applied(self, n: int) -> None:
        """All shared lines to this one are in the tables here."""
        self._order_applied = n
        for sent_s, end in self._ends:
            if end <= n:
                self._complete_s = max(sent_s, self._complete_s or sent_s)
        self._ends = [each for each in self._ends if each[1] > n][-16:]

    def order_is_known(self, now_s: float) -> bool:
        """Whether all lines that had their number a moment ago are here, which says all of kiosks at rest."""
        return self._is_near(self._complete_s, now_s)

    def heard_to_s(self, kiosk: str) -> float | None:
        """Until when, by this kiosk's counter, all that kiosk's lines are known here; None: never since the start."""
        return self._heard_s.get(kiosk)

    def in_hearing(self, kiosks: Iterable[str], now_s: float) -> bool:
        """Whether each of these was heard within `WITHIN_S`; the kiosk itself always is."""
        return all(kiosk == self.kiosk or self._is_near(self.heard_to_s(kiosk), now_s) for kiosk in kiosks)

    @staticmethod
    def _is_near(heard_s: float | None, now_s: float) -> bool:
        return heard_s is not None and now_s - heard_s <= WITHIN_S

    def _trip(self, kiosk: str, trip: Trip) -> None:
        trips = self._trips.setdefault(kiosk, [])
        if trips and trip.other_s < trips[-1].trip.other_s:
            trips.clear()  # its counter began anew
        if not trips or trip.sent_s - trips[-1].trip.sent_s >= _APART_S:
            trips[:] = [each.with_later(trip) for each in trips[-_TRIPS + 1 :]] + [_Kept(trip)]
            if (found := _narrowest(each.pace for each in trips)) is not None:
                self._paces[kiosk] = found

    def pace(self, kiosk: str) -> Pace | None:
        """How that kiosk's counter runs against this one's, as narrowly as round trips say; None: not known yet."""
        return self._paces.get(kiosk)

    @property
    def own_runs_fast(self) -> bool:
        """Whether every other whose pace is known finds this kiosk's counter fast; one alone may only have slept."""
        known = [each for each in self._paces.values() if each is not None]
        return bool(known) and all(each.own_runs_fast for each in known)


def known_to_all(n: int, applied: Mapping[str, int]) -> bool:
    """Whether a shared line is in every kiosk's tables, so that nobody's silence is mistaken.  applied: by kiosk."""
    return all(number >= n for number in applied.values())


@dataclass(frozen=True, slots=True)
class LastHeard:
    """When another kiosk was last in hearing.  counted_s: this kiosk's counter.  utc_s: wall time, for people only."""

    counted_s: float
    utc_s: float


def silent_since(last_heard: Mapping[str, LastHeard], silent: Iterable[str]) -> float | None:
    """Wall time at which the longest silent of these was last in hearing; None: there is none, or one never was.

    Which one that is says this kiosk's counter: the wall clock is set back and forth.
    """
    found = [last_heard.get(each) for each in silent]
    heard = [each for each in found if each is not None]
    if not heard or len(heard) < len(found):
        return None
    return min(heard, key=lambda each: each.counted_s).utc_s


def known_as_of(last_heard: Mapping[str, LastHeard]) -> float | None:
    """Wall time at which any of these was last in hearing, by this kiosk's counter; None: none ever was."""
    return max(last_heard.values(), key=lambda each: each.counted_s).utc_s if last_heard else None
