"""Schedules of two to five kiosks against the steel itself: is anything let go that is hot, and what waits too long?

    nice -n 19 python -m tests.faults.apart --schedules 1000000 --seed 1

The server orders lines under one lock; pushes, pulls and beats are delayed, cut and lost; kiosks sleep, are switched
off, run up to 3 % fast, and their wall clocks say 1970, which nothing here can even ask.  What decides is the
product's: `rules.ages`, `rules.hearing`, `rules.apart`, `rules.merge`; the tables are folded by `Book`, which keeps of
`ledger.fold` what one holder needs.  Hands scan what they carry, and carry nothing from kiosk to kiosk in less than
`CARRIED_S`.  A step that was marked as not verified is counted apart: that one is allowed to be wrong.
"""

from __future__ import annotations

import argparse
import random
import time
from collections import Counter
from dataclasses import dataclass

from kiosk.rules.ages import Ages, StayName
from kiosk.rules.apart import Answer, Apart, about_cool, about_time
from kiosk.rules.hearing import WITHIN_S, Beat, Hearing
from tests.faults.apart_book import RATE, WAITS, Book, Line

CARRIED_S = 9.0
BY_PARTS = (0.0, 0.05, 0.1, 0.25, 0.5, 1.0)  # how much longer a hold was, by its need


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
        self.linked, self.awake = True, True
        self.slept_s = 0.0  # since when
        self.known = 0  # so many shared lines are applied
        self.waiting: list[Line] = []
        self.own = 0
        self._told_s: dict[StayName, float] = {}  # watched time of its own lines
        self._folded: tuple[tuple[int, int, int], Book] | None = None
        self.starts(0.0, "run 0")

    def starts(self, now_s: float, run: str) -> None:
        self.ages, self.hearing, self.beat = Ages(), Hearing(self.name, run), 0
        for chain, number in self.server.tips(self.known).items():
            self.hearing.applied(chain, number)
        self.hearing.applied(self.name, self.own)
        self.follows(now_s)

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
        running = book.stages[-1][2] if book.runs else None
        for name in list(self.ages.told(counter_s)):
            if name != running:
                self.ages.over(name)
        if running is not None:
            self.ages.began(running, self._told_s.get(running, counter_s))

    def writes(self, now_s: float, kind: str, goal: str = "", heating: StayName | None = None) -> None:
        book, counter_s = self.book(), self.counter_s(now_s)
        stay = book.stages[-1][2] if book.runs else None
        age_s = self.ages.age_s(stay, counter_s) if stay else 0.0
        self.own += 1
        line = Line(kind, self.name, self.own, self.known, goal, book.place, stay, age_s, heating)
        self._told_s[line.name] = counter_s
        self.waiting.append(line)
        self.follows(now_s)

    def apart(self, now_s: float, kiosks: list[Kiosk]) -> Apart:
        counter_s = self.counter_s(now_s)
        stations = [each.name for each in kiosks if each.heats]
        everyone = [each.name for each in kiosks]
        heard = self.hearing.in_hearing
        return Apart(self.name, heard(stations, counter_s), heard(everyone, counter_s), self.linked)


class Server:
    """The shop's order; what the lines to each number fold to is worked out once for all kiosks."""

    def __init__(self) -> None:
        self.lines: list[Line] = []
        self.books = [Book()]
        self.beats: dict[str, list[Beat]] = {}

    def push(self, lines: list[Line]) -> None:
        for line in lines:
            if line.n == 0:
                self.lines.append(line)
                line.n = len(self.lines)
                book = self.books[-1].copy()
                book.tell(line, line.n)
                self.books.append(book)

    def tips(self, known: int) -> dict[str, int]:
        return {line.chain: line.number for line in self.lines[:known]}


@dataclass
class Schedule:
    """One drawn story."""

    seed: int
    counts: Counter[str]

    def __post_init__(self) -> None:
        self.chance = chance = random.Random(self.seed)
        self.now_s = 1000.0
        count = chance.randint(2, 5)
        self.server, self.steel = Server(), Steel()
        self.kiosks = [Kiosk(f"k{at}", chance, at == 0 or (at == 1 and count > 3), self.server) for at in range(count)]
        self.bad = chance.random() < 0.6  # kiosks are cut off, asleep and switched off; what they send is lost
        self.whole = 0.9 if self.bad else 1.0
        self.looked_s = self.now_s  # when every kiosk looked last whether a hold is over
        self.open = False  # a heating whose hold has not ended anywhere
        self.need = chance.uniform(300.0, 3000.0)
        self.scanned_at = self.kiosks[0].name
        self.runs = 0

    def play(self) -> None:
        chance = self.chance
        self.kiosks[0].writes(self.now_s, "moved", "air")
        self.handled(self.kiosks[0], "air")
        self.round()
        self.heats()
        for _ in range(chance.randint(8, 26)):
            self.now_s += chance.choice((0.3, 2.0, 7.0, 30.0, 120.0, 400.0, 900.0)) * chance.uniform(0.5, 1.5)
            often = {
                self.exchanges: 3, self.round: 8, self.heats: 2, self.moves: 3, self.shelves: 5, self.nearly: 4,
                self.reads: 1, self.link: 2 if self.bad else 0, self.sleeps: 1 if self.bad else 0,
                self.restarts: 1 if self.bad else 0.1,
            }  # fmt: skip
            act = chance.choices(list(often), list(often.values()))[0]
            if not self.bad or (act == self.shelves and chance.random() < 0.5):
                self.round(3 if self.bad else 2)
            act()
            if not self.bad:
                self.round(2)
            self.ticks()
        self._left_open()

    def someone(self) -> Kiosk | None:
        """A kiosk that is awake, and whom the steel can have reached by now."""
        kiosk = self.chance.choice(self.kiosks)
        return kiosk if kiosk.awake and (self.now_s >= self.steel.ready_s or kiosk.name == self.scanned_at) else None

    def handled(self, kiosk: Kiosk, place: str) -> None:
        self.steel.cools(self.now_s)
        self.steel.place = place
        self.scanned_at = kiosk.name
        self.steel.ready_s = self.now_s + CARRIED_S

    def heats(self) -> None:
        kiosk = self.someone()
        if kiosk is None or not kiosk.heats:
            return
        book = kiosk.book()
        if book.place != "station":
            kiosk.writes(self.now_s, "moved", "station")
        kiosk.writes(self.now_s, "heated", "station")
        self.handled(kiosk, "station")
        self._left_open()
        self.steel.heats(self.need)
        self.open = True
        self.counts["heatings"] += 1

    def moves(self) -> None:
        """To a cooling place, as anything hot may go."""
        kiosk = self.someone()
        goal = self.chance.choice(("air", "sleeve"))
        if kiosk is None or kiosk.book().place == goal:
            return
        book = kiosk.book()
        apart = kiosk.apart(self.now_s, self.kiosks)
        if not book.runs and (book.heat == "unknown" or self.cool(kiosk, book, apart) is None):
            return  # then only readings end it
        kiosk.writes(self.now_s, "moved", goal)
        self.handled(kiosk, goal)

    def time_is_up(self, kiosk: Kiosk, book: Book) -> bool:
        age_s = kiosk.ages.age_s(book.stages[-1][2], kiosk.counter_s(self.now_s))
        return not book.reading_only and book.cooled(max(0.0, age_s - WITHIN_S)) >= self.need

    def cool(self, kiosk: Kiosk, book: Book, apart: Apart) -> Answer | None:
        """None: it does not count as cool here."""
        if book.runs:
            up = self.time_is_up(kiosk, book) and about_time(apart) is Answer.AS_EVER
            return Answer.AS_EVER if up else None
        answer = about_cool(apart, True, book.last)
        return answer if book.heat == "cool" and answer is not Answer.HEAT_UNKNOWN else None

    def shelves(self) -> None:
        """A hand brings it to a slot."""
        kiosk = self.someone()
        if kiosk is None:
            return
        self.steel.cools(self.now_s)
        book, apart = kiosk.book(), kiosk.apart(self.now_s, self.kiosks)
        answer = self.cool(kiosk, book, apart)
        if self.steel.left == 0.0:
            self.counts["asked about cool steel"] += 1
            if answer is None:
                self.counts["refused though cool"] += 1
                why = "heat unknown" if not book.runs else "a reading is asked for" if book.reading_only else None
                why = why or ("others are not heard" if about_time(apart) is not Answer.AS_EVER else "counted shorter")
                self.counts[f"refused though cool: {why}"] += 1
        if answer is None:
            return
        hot = self.steel.left > 0.0
        if answer is Answer.NOT_VERIFIED:
            self.counts["not verified"] += 1
            self.counts["not verified, and hot"] += hot
        else:
            self.counts["let go"] += 1
            self.counts["EARLY"] += hot
        if book.runs:
            self._over("time")
            kiosk.writes(self.now_s, "ended", heating=book.heating)
        if book.place != "slot":
            kiosk.writes(self.now_s, "moved", "slot")
        self.handled(kiosk, "slot")

    def ticks(self) -> None:
        """What every kiosk does by itself: it ends holds whose time has come."""
        for kiosk in self.kiosks:
            if not kiosk.awake:
                continue
            book = kiosk.book()
            if not book.runs or not self.time_is_up(kiosk, book):
                continue
            if about_time(kiosk.apart(self.now_s, self.kiosks)) is Answer.AS_EVER:
                self.steel.cools(self.now_s)
                self.counts["ended by time"] += 1
                self.counts["EARLY"] += self.steel.left > 0.0
                self._over("time")
                kiosk.writes(self.now_s, "ended", heating=book.heating)
        self.looked_s = self.now_s

    def reads(self) -> None:
        """A probe at the steel, which ends what is not known to be cool once it is."""
        kiosk = self.someone()
        if kiosk is None:
            return
        self.steel.cools(self.now_s)
        book = kiosk.book()
        if self.steel.left == 0.0 and (book.runs or book.heat == "unknown"):
            self.counts["ended by a reading"] += 1
            self.open = False
            kiosk.writes(self.now_s, "read", heating=book.heating if book.runs else None)

    def _over(self, by: str) -> None:
        """A hold ended by time here: how much later than a single kiosk's would have."""
        cool_s = self.steel.cool_s
        if not self.open or cool_s is None:
            return
        self.open = False
        where = "network bad" if self.bad else "network good"
        self.counts[f"hold over by {by}, {where}"] += 1
        if self.now_s - self.looked_s < 30.0:  # else it may have been over long before anybody looked
            longer_s = self.now_s - cool_s
            part = max(each for each in BY_PARTS if each <= longer_s / self.need)
            self.counts[f"of those looked at often, {where}"] += 1
            self.counts[f"of those looked at often, {where}: longer by {part:.0%} of it or more"] += 1
            self.counts[f"of those looked at often, {where}: seconds longer together"] += round(longer_s)

    def _left_open(self) -> None:
        """A heating's hold was not over before the next one, or the end of the story, though the steel was cool."""
        self.steel.cools(self.now_s)
        if self.open and self.steel.left == 0.0:
            self.counts[f"hold never over by time, {'network bad' if self.bad else 'network good'}"] += 1
        self.open = False

    def exchange(self, kiosk: Kiosk) -> None:
        """A push, a pull and a beat, each of which may be cut."""
        chance, server = self.chance, self.server
        if not (kiosk.linked and kiosk.awake):
            return
        whole = self.whole
        if chance.random() < whole:
            server.push(kiosk.waiting[: chance.randint(0, 3)] if self.bad and chance.random() < 0.2 else kiosk.waiting)
        kiosk.beat += 1
        said_s = kiosk.counter_s(self.now_s)
        echoes = kiosk.hearing.sends(kiosk.beat, said_s)
        ages = tuple(kiosk.ages.told(said_s).items())
        mine = Beat(kiosk.name, kiosk.hearing.run, kiosk.beat, kiosk.own, said_s, 0, echoes, ages)
        if chance.random() < whole:
            beats = server.beats.setdefault(kiosk.name, [])
            beats.append(mine)
            del beats[:-20]
        if chance.random() < whole:
            known = kiosk.known
            most = len(server.lines) if not self.bad or chance.random() < 0.8 else known + chance.randint(0, 2)
            self.now_s += chance.choice((0.01, 0.05, 0.3, 1.5)) if self.bad else 0.01
            self.applies(kiosk, server.lines[known:most])
        if chance.random() < whole:
            told = [
                (beats[-1] if not self.bad or chance.random() < 0.8 else chance.choice(beats))
                for beats in server.beats.values()
            ]
            self.now_s += chance.choice((0.0, 0.02, 0.3, 2.0)) if self.bad else 0.01
            for beat in told:
                if beat.kiosk != kiosk.name:
                    counter_s = kiosk.counter_s(self.now_s)
                    kiosk.hearing.heard(beat, counter_s)
                    pace = kiosk.hearing.pace(beat.kiosk)
                    kiosk.ages.heard(dict(beat.ages), counter_s, believed=pace is None or not pace.other_runs_fast)
            if kiosk.hearing.own_runs_fast:
                kiosk.ages.found_fast(kiosk.counter_s(self.now_s))

    def applies(self, kiosk: Kiosk, lines: list[Line]) -> None:
        for line in lines:
            kiosk.known = line.n
            if line.chain == kiosk.name:
                kiosk.waiting = [each for each in kiosk.waiting if each is not line]
            kiosk.hearing.applied(line.chain, line.number)
        if lines:
            kiosk.follows(self.now_s)

    def exchanges(self) -> None:
        self.exchange(self.chance.choice(self.kiosks))

    def round(self, times: int = 3) -> None:
        """All of them, a few times within some seconds."""
        for _ in range(times):
            for kiosk in self.chance.sample(self.kiosks, len(self.kiosks)):
                self.exchange(kiosk)
            self.now_s += self.chance.uniform(0.0, 1.0)

    def nearly(self) -> None:
        """The moments in which a kiosk comes to believe that the time is up, with all linked kiosks just heard."""
        kiosk = self.chance.choice(self.kiosks)
        book = kiosk.book()
        if not (book.runs and kiosk.awake):
            return
        age_s = kiosk.ages.age_s(book.stages[-1][2], kiosk.counter_s(self.now_s))
        left_s = (self.need - book.cooled(max(0.0, age_s - WITHIN_S))) / RATE[book.stages[-1][0] or "air"]
        self.now_s += max(0.0, left_s / kiosk.rate - self.chance.uniform(2.0, 8.0))
        self.round()
        moved = self.chance.randint(0, 8)
        for step in range(16):
            self.now_s += self.chance.uniform(0.0, 1.5)
            if step == moved:
                self.moves()
            if not self.bad:
                self.round(1)
            elif self.chance.random() < 0.3:
                self.exchanges()
            self.ticks()

    def link(self) -> None:
        kiosk = self.chance.choice(self.kiosks)
        kiosk.linked = not kiosk.linked or self.chance.random() < 0.3

    def sleeps(self) -> None:
        """Or wakes; its counter may have stopped meanwhile, as some tablets' do."""
        kiosk = self.chance.choice(self.kiosks)
        kiosk.awake = not kiosk.awake
        if not kiosk.awake:
            kiosk.slept_s = self.now_s
        elif kiosk.stops_asleep:
            kiosk.off_s += self.now_s - kiosk.slept_s

    def restarts(self) -> None:
        """Switched off for a while: what it watched stops, and what it heard is forgotten."""
        kiosk = self.chance.choice(self.kiosks)
        off_s = self.chance.choice((1.0, 60.0, 1500.0))
        asleep_s = 0.0 if kiosk.awake or not kiosk.stops_asleep else self.now_s - kiosk.slept_s
        self.now_s += off_s
        kiosk.off_s += off_s + asleep_s
        kiosk.awake = True
        self.runs += 1
        kiosk.starts(self.now_s, f"run {self.runs}")


def run(schedules: int, seed: int, seconds: float | None = None) -> Counter[str]:
    """So many schedules from a seed on, or as many as there is time for."""
    counts: Counter[str] = Counter()
    began_s = time.monotonic()
    for at in range(schedules):
        early = counts["EARLY"]
        Schedule(seed + at, counts).play()
        counts["schedules"] += 1
        if counts["EARLY"] > early:
            counts[f"EARLY: seed {seed + at}"] += 1
        if seconds is not None and time.monotonic() - began_s > seconds:
            break
    return counts


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--schedules", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float)
    asked = parser.parse_args()
    for what, count in sorted(run(asked.schedules, asked.seed, asked.seconds).items()):
        print(f"{what:45} {count}")


if __name__ == "__main__":
    main()
