"""The kiosks of a drawn schedule, their server and the steel: the product decides, what is true is kept beside it.

Steel cools by a scalar that hands set by heating; a kiosk knows lines, beats and its own counter, and nothing else.
"""

from __future__ import annotations

import random
from collections import Counter

from kiosk.rules.ages import Ages, StayName
from kiosk.rules.apart import Apart
from kiosk.rules.hearing import Beat, Hearing
from tests.faults.apart_book import RATE, WAITS, Book, Line, Stage, cools

COUNTED_LEAST = 0.92  # of a stay, by a counter 3 % slow and what a counted second is worth
COUNTED_LATE_S = 3.0
STOOD = "untold, its own counter stood while it slept"


class Steel:
    """The holder itself."""

    def __init__(self) -> None:
        self.place, self.since_s, self.left = "slot", 0.0, 0.0
        self.ready_s = 0.0  # not before then can it be anywhere else
        self.cool_s: float | None = None  # since when, after a heating: there a single kiosk's hold would end

    def heats(self, need: float) -> None:
        self.left, self.cool_s = need, None

    def cools(self, now_s: float) -> None:
        if self.left > 0.0:
            lasts_s = self.left / RATE[self.place]
            if lasts_s <= now_s - self.since_s:
                self.cool_s = self.since_s + lasts_s
            self.left = max(0.0, self.left - RATE[self.place] * (now_s - self.since_s))
        self.since_s = now_s


class Kiosk:
    def __init__(self, name: str, chance: random.Random, heats: bool, server: Server) -> None:
        self.name, self.heats, self.server = name, heats, server
        self.rate = chance.choice((1.0, 1.0, 1.0001, 0.97, 1.01, 1.03))
        self.offset_s = chance.uniform(0.0, 1e7)
        self.off_s = 0.0  # true time that its watched time does not count
        self.stops_asleep = chance.random() < 0.5  # its counter does
        self.linked = self.awake = True
        self.on, self.lost, self.locked_out = True, False, False
        self.off_since_s = 0.0
        self.slept_s = 0.0  # since when
        self.stood: list[tuple[float, float]] = []  # from when to when its counter did, asleep
        self.known = 0  # so many shared lines are applied
        self.waiting: list[Line] = []
        self.own = 0
        self._told_s: dict[StayName, float] = {}  # watched time of its own lines
        self._folded: tuple[tuple[int, int, int], Book] | None = None
        server.kiosks[name] = self
        self.starts(0.0, "run 0")

    def starts(self, now_s: float, run: str) -> None:
        self.ages, self.hearing, self.beat = Ages(), Hearing(self.name, run), 0
        for chain, number in self.server.tips(self.known).items():
            self.hearing.applied(chain, number)
        self.hearing.applied(self.name, self.own)
        self.hearing.order_applied(self.known)
        self.follows(now_s)

    @property
    def at_hand(self) -> bool:
        """Whether a hand can scan at it."""
        return self.awake and self.on

    def stops(self, now_s: float) -> None:
        """Switched off, in order or not."""
        self.on, self.off_since_s = False, now_s
        if not self.awake:
            self.wakes(now_s)

    def wakes(self, now_s: float) -> None:
        self.awake = True
        if self.stops_asleep:
            self.off_s += now_s - self.slept_s
            self.stood.append((self.slept_s, now_s))

    def stood_s(self, since_s: float, now_s: float) -> float:
        """For how long of that its counter stood because it slept."""
        stood = [*self.stood, (self.slept_s, now_s)] if self.stops_asleep and not self.awake else self.stood
        return sum(max(0.0, min(end_s, now_s) - max(began_s, since_s)) for began_s, end_s in stood)

    def opens(self, now_s: float, run: str) -> None:
        """Begins to watch again, and says so."""
        self.off_s += now_s - self.off_since_s
        self.on = True
        self.starts(now_s, run)
        self.writes(now_s, "started")

    def counter_s(self, now_s: float) -> float:
        return self.offset_s + (now_s - self.off_s) * self.rate

    def book(self) -> Book:
        """As its tables are now; to be looked at only."""
        key = self.known, len(self.waiting), self.own
        if self._folded is None or self._folded[0] != key:
            book = self.server.books[self.known]
            if self.waiting:
                book = book.copy()
                for line in self.waiting:
                    book.tell(line, WAITS + line.number)
            self._folded = key, book
        return self._folded[1]

    def follows(self, now_s: float) -> None:
        book = self.book()
        counter_s = self.counter_s(now_s)
        running = book.stages[-1].name if book.runs else None
        for name in list(self.ages.told(counter_s)):
            if name != running:
                self.ages.over(name)
        if running is not None:
            self.ages.began(running, self._told_s.get(running, counter_s))

    def writes(
        self, now_s: float, kind: str, goal: str = "", heating: StayName | None = None, *, heats: bool = False
    ) -> None:
        book, counter_s = self.book(), self.counter_s(now_s)
        stay = book.stages[-1].name if book.runs else None
        uncounted = stay is not None and stay.kiosk == self.name and self.ages.runs_fast
        age_s = self.ages.age_s(stay, counter_s) if stay is not None and not uncounted else None
        self.own += 1
        line = Line(kind, self.name, self.own, self.known, goal, book.place, stay, age_s, heating, heats=heats,
                    true_s=now_s)  # fmt: skip
        self._told_s[line.name] = counter_s
        self.waiting.append(line)
        self.follows(now_s)

    def beats(self, now_s: float) -> Beat:
        """What it tells the others."""
        self.beat += 1
        counter_s = self.counter_s(now_s)
        echoes = self.hearing.sends(self.beat, counter_s)
        ages = tuple(self.ages.told(counter_s).items())
        return Beat(self.name, self.hearing.run, self.beat, self.own, counter_s, 0, echoes, ages)

    def hears(self, told: list[Beat], end: int, now_s: float) -> None:
        """What the server says to its last beat."""
        counter_s, hearing = self.counter_s(now_s), self.hearing
        hearing.answered(self.beat, end)
        for beat in told:
            if beat.kiosk != self.name:
                hearing.heard(beat, counter_s)
                if beat.ages:
                    pace = hearing.pace(beat.kiosk)
                    self.ages.heard(dict(beat.ages), counter_s, believed=pace is None or not pace.other_runs_fast)
        if not self.ages.runs_fast and hearing.own_runs_fast:
            self.ages.found_fast(counter_s)

    def apart(self, now_s: float, kiosks: list[Kiosk]) -> Apart:
        """As `desk.beats` says it: who rests is waited for only while the shop's order is not known."""
        counter_s, book, hearing = self.counter_s(now_s), self.book(), self.hearing
        asleep = book.resting if book.resting and hearing.order_is_known(counter_s) else ()
        away = {self.name, *book.gone, *asleep}
        others = [each for each in kiosks if each.name not in away]
        all_heard = hearing.in_hearing([each.name for each in others], counter_s)
        stations_heard = all_heard or hearing.in_hearing([each.name for each in others if each.heats], counter_s)
        awake = self.name not in book.resting and book.woke.get(self.name, 0) < WAITS and not self.locked_out
        return Apart(
            self.name, awake and stations_heard, awake and all_heard, self.linked, self.heats and awake, awake=awake
        )


class Server:
    """The shop's order; what the lines to each number fold to is worked out once for all kiosks."""

    def __init__(self) -> None:
        self.lines: list[Line] = []
        self.books = [Book()]
        self.beats: dict[str, list[Beat]] = {}
        self.retired: set[str] = set()
        self.kiosks: dict[str, Kiosk] = {}
        self.longer: Counter[str] = Counter()  # stays that lasted longer than was counted, and whether the book says so

    def push(self, lines: list[Line]) -> None:
        for line in lines:
            if line.n == 0:
                self.lines.append(line)
                line.n = len(self.lines)
                book = self.books[-1].copy()
                book.tell(line, line.n)
                self.books.append(book)
                self._looks_at_the_stay_before(book, line)

    def _looks_at_the_stay_before(self, book: Book, line: Line) -> None:
        """Heat goes deeper while steel stands: what counts as shorter than it was must be said to be longer."""
        if not book.runs or book.reading_only or len(book.stages) < 2 or book.stages[-1].name != line.name:
            return
        *before, last = book.stages
        cooled = cools(before[-1].place)
        if cooled == cools(last.place):
            return
        first = len(before) - 1
        while first > 0 and cools(before[first - 1].place) == cooled:
            first -= 1
        began_s = next(each.true_s for each in reversed(self.lines) if each.name == before[first].name)
        counted_s, lasted_s = last.since_s - before[first].since_s, line.true_s - began_s
        if counted_s < lasted_s * COUNTED_LEAST - COUNTED_LATE_S:
            self.longer[self._said(before[first:], lasted_s - counted_s / COUNTED_LEAST, line.true_s)] += 1

    def _said(self, stays: list[Stage], missing_s: float, end_s: float) -> str:
        """Whether it is said that they were longer; it need not be where the counter of whoever counted them stood."""
        if any(each.longer for each in stays):
            return "said"
        began_s = [next(each.true_s for each in reversed(self.lines) if each.name == stay.name) for stay in stays]
        ends = zip(stays, began_s, [*began_s[1:], end_s], strict=True)
        stood_s = sum(self.kiosks[stay.name.kiosk].stood_s(began, ended) for stay, began, ended in ends)
        return STOOD if missing_s <= stood_s + COUNTED_LATE_S / COUNTED_LEAST else "UNTOLD"

    def tips(self, known: int) -> dict[str, int]:
        return {line.chain: line.number for line in self.lines[:known]}
