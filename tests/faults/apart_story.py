"""One drawn story of two to five kiosks, their server, hands and steel.

The server orders lines under one lock; pushes, pulls and beats are delayed, cut and lost; kiosks sleep, are switched
off in order or not, stolen and locked out, run up to 3 % fast.  Hands scan what they carry, and carry nothing from
kiosk to kiosk in less than `CARRIED_S`.  A step marked as not verified is counted apart: that one is allowed to
be wrong.
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass
from functools import cache
from itertools import accumulate

from kiosk.rules.apart import Answer, Apart, about_cool, about_time
from kiosk.rules.hearing import WITHIN_S
from tests.faults.apart_book import RATE, Book, Line
from tests.faults.apart_kiosk import Kiosk, Server, Steel

ACTS = 32  # more than a schedule has
CARRIED_S = 9.0
WHOLE = 0.9  # so much of what is sent comes in, where the network is bad
# How often each act is drawn, where the network is bad and where it is good.
OFTEN = {
    "exchanges": (3, 3), "round": (8, 8), "heats": (2, 2), "moves": (3, 3), "shelves": (5, 5), "nearly": (4, 4),
    "reads": (1, 1), "link": (2, 0), "sleeps": (1, 0), "restarts": (1, 0.1), "closes": (0.8, 0.8), "opens": (1.6, 1.6),
    "loses": (1, 0.5), "locks_out": (1, 0.5),
}  # fmt: skip
LOSSES = ("loses", "locks_out")
BY_PARTS = (0.0, 0.05, 0.1, 0.25, 0.5, 1.0)  # how much longer a hold was, by its need


@cache
def often(bad: bool, loses_some: bool) -> tuple[list[str], list[float]]:
    found = {name: each[0 if bad else 1] for name, each in OFTEN.items() if loses_some or name not in LOSSES}
    return list(found), list(accumulate(found.values()))


@dataclass
class Schedule:
    """One drawn story."""

    seed: int
    counts: Counter[str]
    without: frozenset[int] = frozenset()  # acts left out; each draws for itself, so that the others stay as they are

    def __post_init__(self) -> None:
        self.chance = chance = random.Random(self.seed * ACTS)
        self.told: list[tuple[int, str]] = []  # what was done, by number
        self.now_s = 1000.0
        count = chance.randint(2, 5)
        self.server, self.steel = Server(), Steel()
        self.kiosks = [Kiosk(f"k{at}", chance, at == 0 or (at == 1 and count > 3), self.server) for at in range(count)]
        self.bad = chance.random() < 0.6  # kiosks are cut off, asleep and switched off; what they send is lost
        self.order = list(self.kiosks)  # as they come to talk to the server
        self.loses_some = chance.random() < 0.15
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
        self.heated_at(self.kiosks[0])
        for number in range(1, chance.randint(9, 27)):
            if number not in self.without:
                chance.seed(self.seed * ACTS + number)
                self.does(number)
        self._left_open()

    def does(self, number: int) -> None:
        chance = self.chance
        self.now_s += chance.choice((0.3, 2.0, 7.0, 30.0, 120.0, 400.0, 900.0)) * chance.uniform(0.5, 1.5)
        names, weights = often(self.bad, self.loses_some)
        name = chance.choices(names, cum_weights=weights)[0]
        act = getattr(self, name)
        if not self.bad or (name == "shelves" and chance.random() < 0.5):
            self.round(3 if self.bad else 2)
        self.told.append((number, name))
        act()
        if not self.bad:
            self.round(2)
        self.ticks()

    def someone(self) -> Kiosk | None:
        """A kiosk that is awake, and whom the steel can have reached by now."""
        kiosk = self.chance.choice(self.kiosks)
        return kiosk if kiosk.at_hand and self.reached(kiosk) else None

    def reached(self, kiosk: Kiosk) -> bool:
        """Whether a hand can have the steel at this kiosk by now."""
        return self.now_s >= self.steel.ready_s or kiosk.name == self.scanned_at

    def handled(self, kiosk: Kiosk, place: str) -> None:
        self.steel.cools(self.now_s)
        self.steel.place = place
        self.scanned_at = kiosk.name
        self.steel.ready_s = self.now_s + CARRIED_S

    def heats(self) -> None:
        kiosk = self.chance.choice([each for each in self.kiosks if each.heats])
        if self.reached(kiosk) and kiosk.at_hand and kiosk.apart(self.now_s, self.kiosks).station:
            self.heated_at(kiosk)

    def heated_at(self, kiosk: Kiosk) -> None:
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
        cool = not book.runs and self.cool(kiosk, book, apart) is not None
        if not cool and (not book.runs or not apart.awake):
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
            if not kiosk.at_hand:
                continue
            book = kiosk.book()
            if not book.runs or not self.time_is_up(kiosk, book):
                continue
            if about_time(kiosk.apart(self.now_s, self.kiosks)) is Answer.AS_EVER:
                self.steel.cools(self.now_s)
                self.counts["ended by time"] += 1
                hot, here = self.steel.left > 0.0, self.reached(kiosk)
                self.counts["EARLY"] += hot and here
                self.counts["ended by time, unheard of a heating that began seconds ago elsewhere"] += hot and not here
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
        if not (kiosk.linked and kiosk.at_hand) or kiosk.locked_out:
            return
        if kiosk.name in self.server.retired:
            kiosk.locked_out = True
        elif self.bad:
            self._badly(kiosk)
        else:
            self._whole(kiosk)

    def _whole(self, kiosk: Kiosk) -> None:
        server = self.server
        if kiosk.waiting:
            server.push(kiosk.waiting)
        server.beats[kiosk.name] = [kiosk.beats(self.now_s)]
        self.now_s += 0.01
        if kiosk.known < len(server.lines):
            self.applies(kiosk, server.lines[kiosk.known :])
        end = len(server.lines)
        self.now_s += 0.01
        kiosk.hears([each[-1] for each in server.beats.values()], end, self.now_s)

    def _badly(self, kiosk: Kiosk) -> None:
        chance, server = self.chance, self.server
        if kiosk.waiting and chance.random() < WHOLE:
            server.push(kiosk.waiting[: chance.randint(0, 3)] if chance.random() < 0.2 else kiosk.waiting)
        mine = kiosk.beats(self.now_s)
        if chance.random() < WHOLE:
            beats = server.beats.setdefault(kiosk.name, [])
            beats.append(mine)
            del beats[:-20]
        if chance.random() < WHOLE:
            known = kiosk.known
            most = len(server.lines) if chance.random() < 0.8 else known + chance.randint(0, 2)
            self.now_s += chance.choice((0.01, 0.05, 0.3, 1.5))
            self.applies(kiosk, server.lines[known:most])
        if chance.random() < WHOLE:
            told = [(beats[-1] if chance.random() < 0.8 else chance.choice(beats)) for beats in server.beats.values()]
            end = len(server.lines)
            self.now_s += chance.choice((0.0, 0.02, 0.3, 2.0))
            kiosk.hears(told, end, self.now_s)

    def applies(self, kiosk: Kiosk, lines: list[Line]) -> None:
        for line in lines:
            kiosk.known = line.n
            if line.chain == kiosk.name:
                kiosk.waiting = [each for each in kiosk.waiting if each is not line]
            kiosk.hearing.applied(line.chain, line.number)
        if lines:
            kiosk.hearing.order_applied(kiosk.known)
            kiosk.follows(self.now_s)

    def exchanges(self) -> None:
        self.exchange(self.chance.choice(self.kiosks))

    def round(self, times: int = 3) -> None:
        """All of them, a few times within some seconds."""
        for _ in range(times):
            self.chance.shuffle(self.order)
            for kiosk in self.order:
                self.exchange(kiosk)
            self.now_s += self.chance.random()

    def nearly(self) -> None:
        """The moments in which a kiosk comes to believe that the time is up, with all linked kiosks just heard."""
        kiosk = self.chance.choice(self.kiosks)
        book = kiosk.book()
        if not (book.runs and kiosk.at_hand):
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
        if not kiosk.on:
            return
        if kiosk.awake:
            kiosk.awake, kiosk.slept_s = False, self.now_s
        else:
            kiosk.wakes(self.now_s)

    def restarts(self) -> None:
        """Switched off for a while: what it watched stops, and what it heard is forgotten."""
        kiosk = self.chance.choice(self.kiosks)
        if kiosk.on:
            kiosk.stops(self.now_s)
            self.now_s += self.chance.choice((1.0, 60.0, 1500.0))
            kiosk.opens(self.now_s, self.another_run())

    def another_run(self) -> str:
        self.runs += 1
        return f"run {self.runs}"

    def closes(self) -> None:
        """Switched off while the others work on: in order, if it can tell the server so; or its power goes."""
        kiosk = self.chance.choice(self.kiosks)
        if not kiosk.at_hand:
            return
        if not self.bad or self.chance.random() < 0.7:
            self.exchange(kiosk)
            if kiosk.linked and not kiosk.waiting and kiosk.apart(self.now_s, self.kiosks).awake:
                kiosk.writes(self.now_s, "rests")
                self.exchange(kiosk)
                self.counts["closed in order"] += 1
        kiosk.stops(self.now_s)

    def opens(self) -> None:
        closed = [each for each in self.kiosks if not each.on and not each.lost]
        if closed:
            self.chance.choice(closed).opens(self.now_s, self.another_run())

    def loses(self) -> None:
        """One is stolen: what it had not shared is gone with it."""
        kiosk = self.chance.choice(self.kiosks)
        if kiosk.on:
            kiosk.stops(self.now_s)
            kiosk.lost = True

    def locks_out(self) -> None:
        """A supervisor at another kiosk ends what one may do; from then on no hand uses it."""
        by, kiosk = self.chance.sample(self.kiosks, 2)
        if by.at_hand and by.linked and not by.locked_out and kiosk.name not in self.server.retired:
            self.exchange(by)
            if by.known < len(self.server.lines) or by.locked_out:
                return
            self.server.retired.add(kiosk.name)
            if kiosk.on:
                kiosk.stops(self.now_s)
            kiosk.lost = True
            by.writes(self.now_s, "gone", kiosk.name, heats=kiosk.heats)
            self.counts["locked out"] += 1
