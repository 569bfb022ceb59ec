"""What this kiosk tells the others every two seconds, and what it makes of what they say: ages, hearing, how far apart.

Asked by the link's thread (`say`, `hear`) and by the desk's; a lock keeps the two apart, and the link's never touches
the ledger.  What must be known while nobody is heard comes from shared lines, never from a message alone.
"""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable, Mapping, Sequence

import msgspec

from kiosk.ledger import tables as T
from kiosk.ledger.book import Book, rows
from kiosk.ledger.shared_form import WAITING
from kiosk.ledger.sharing import Member
from kiosk.ledger.state import SHARED_CLOCK
from kiosk.link.border import Kiosk
from kiosk.link.faults import Cause
from kiosk.link.link import Standing
from kiosk.rules.ages import Ages, StayName
from kiosk.rules.apart import Apart
from kiosk.rules.hearing import Beat, Hearing, LastHeard, known_as_of, known_to_all, silent_since
from kiosk.rules.link_state import LEVEL, LinkState

_decoder = msgspec.json.Decoder(Beat)


def unshared(kiosk: Kiosk, shared: int) -> int:
    """How many lines a kiosk had told of with its last beat and never shared.  shared: how many the server has by now.

    Where what it said is not understood, as many as waited then: some of these may have come since.
    """
    try:
        return max(0, _decoder.decode(kiosk.said).last - shared)
    except msgspec.MsgspecError:
        return kiosk.waiting


def is_of_this_version(kiosk: Kiosk) -> bool:
    """Whether what a kiosk says can prove anything here: of an older version it cannot be told from its copy.

    Such a one counts as not heard until it is updated, whatever it says.
    """
    try:
        told = _decoder.decode(kiosk.said)
    except msgspec.MsgspecError:
        return not kiosk.said  # it joined and said nothing yet
    return bool(told.digest) or not told.last


def _never_shares(standing: Standing) -> bool:
    """Whether nobody will ever have what is done here, though others may wait for this kiosk no more."""
    forked = standing.fault is not None and standing.fault.cause is Cause.FORKED
    return forked or standing.state is LinkState.LOCKED_OUT


class KioskBeats:
    """One kiosk's side of the beats.  book: with others (`Book.sharing`)."""

    def __init__(self, book: Book, counter: Callable[[], float]) -> None:
        """counter: seconds that this kiosk itself watched go by, on any thread; goes on over a restart."""
        assert book.sharing is not None
        self._book = book
        self._counter = counter
        self._lock = threading.Lock()
        self._own = book.sharing.own
        run = secrets.token_hex(8)
        self._hearing = Hearing(self._own, run)
        self._ages = Ages()
        self._others: dict[str, Kiosk] = {}
        self._last_heard: dict[str, LastHeard] = {}
        self._end, self._applied = (0, ""), 0
        self._waiting = 0
        self.follow()

    # On the link's thread.

    def say(self, beat: int) -> str:
        with self._lock:
            now_s = self._counter()
            ages = tuple(self._ages.told(now_s).items())
            echoes = self._hearing.sends(beat, now_s)
            last, digest = self._end
            mine = self._own, self._hearing.run, beat, last, now_s, self._applied
            told = Beat(*mine, echoes, ages, self._waiting, digest=digest)
        return msgspec.json.encode(told).decode()

    def hear(self, beat: int, others: Sequence[Kiosk], end: int | None) -> None:
        with self._lock:
            now_s = self._counter()
            if end is not None:
                self._hearing.answered(beat, end)
            self._others = {each.kiosk: each for each in others if each.kiosk != self._own}
            for each in self._others.values():
                try:
                    told = _decoder.decode(each.said)
                except msgspec.MsgspecError:
                    continue  # of another form, or never said: not heard
                if told.kiosk != each.kiosk:
                    continue
                self._hearing.heard(told, now_s)
                pace = self._hearing.pace(each.kiosk)
                self._ages.heard(dict(told.ages), now_s, believed=pace is None or not pace.other_runs_fast)
            if self._hearing.own_runs_fast:
                self._ages.found_fast(now_s)

    # On the desk's.

    def follow(self) -> None:
        """Lines were written here or came: which stays are counted, and how far every chain is known."""
        sharing = self._book.sharing
        assert sharing is not None
        running = T.Hold.select(T.Hold.stages).where(T.Hold.ended_line.is_null(), T.Hold.kiosk == SHARED_CLOCK)
        lines = [msgspec.json.decode(row["stages"])[-1][2] for row in rows(running)]
        found = {name: line for line in lines if (name := sharing.name_of(line)) is not None}
        began_s = {name: self._began_s(name, line) for name, line in found.items()}
        ends = sharing.ends()
        with self._lock:
            for name in set(self._ages.told(0.0)) - set(found):
                self._ages.over(name)
            for name, at_s in began_s.items():
                self._ages.began(name, self._counter() if at_s is None else at_s)
            for chain, (number, digest) in ends.items():
                self._hearing.applied(chain, number, digest)
            self._hearing.order_applied(sharing.tail.applied)
            self._end, self._applied = ends[self._own], sharing.tail.applied
            self._waiting = sharing.waiting()

    def _began_s(self, name: StayName, line: int) -> float | None:
        """When an own line was written, by this kiosk's watched time, which a restart does not stop; else None: now."""
        if name.kiosk != self._own:
            return None
        written = self._book.line(line)
        return written.watched_s if written is not None and written.kiosk == self._own else None

    def age_s(self, line: int) -> float:
        """How long the stay that began with a line has lasted at least."""
        sharing = self._book.sharing
        assert sharing is not None
        name = sharing.name_of(line)
        if name is None:
            return 0.0
        with self._lock:
            return self._ages.age_s(name, self._counter())

    def said_age_s(self, line: int) -> float | None:
        """What an own line says of that; None: this kiosk began the stay and does not believe its own counter.

        Then others tell how long it lasted at least, but nobody counted it from its beginning.
        """
        sharing = self._book.sharing
        assert sharing is not None
        name = sharing.name_of(line)
        with self._lock:
            uncounted = self._ages.runs_fast and name is not None and name.kiosk == self._own
        return None if uncounted else self.age_s(line)

    def apart(self, standing: Standing, machine: str | None, utc_s: float) -> Apart:
        """How far this kiosk is cut off now.  machine: code of the one it stands at.  utc_s: for people."""
        sharing = self._book.sharing
        assert sharing is not None
        seen, members = sharing.seen_by(), sharing.members()
        self._look_up()
        with self._lock:
            now_s = self._counter()
            others = {each for each in {*members, *self._others} - {self._own} if not self._is_gone(each, members)}
            rest = {each for each in others if each in members and members[each].rests}
            alone = not others
            if self._hearing.order_is_known(now_s):
                others -= rest
            stations = {each for each in others if each not in members or members[each].heats}
            for each in others:
                if self._hearing.in_hearing([each], now_s):
                    self._last_heard[each] = LastHeard(now_s, utc_s)
            stations_heard = self._hearing.in_hearing(stations, now_s)
            all_heard = self._hearing.in_hearing(others, now_s)
            silent = stations if not stations_heard else others
            since, as_of = silent_since(self._last_heard, silent), known_as_of(self._last_heard)
            known = {
                each: max(seen.get(each, 0), self._told_applied(each))
                for each in others - rest  # these know all that is shared before they work again
            }
        mine = members.get(self._own)
        told = mine is not None and mine.line < WAITING and known_to_all(mine.line, known)
        may_write = alone or told or (mine is not None and mine.known)
        awake = (mine is None or (mine.awake and not mine.gone)) and not _never_shares(standing)
        return Apart(
            self._own,
            stations_heard=awake and stations_heard,
            all_heard=awake and all_heard,
            caught_up=standing.state in LEVEL,
            station=may_write and awake and mine is not None and mine.heats,
            machine=machine,
            since_utc_s=since,
            as_of_utc_s=as_of,
            admitted=may_write,
            awake=awake,
            own_whole=standing.state is not LinkState.FORKED,
        )

    def _look_up(self) -> None:
        """Whether the lines that others' beats named are the ones that are here under their numbers."""
        sharing = self._book.sharing
        assert sharing is not None
        with self._lock:
            asked = self._hearing.to_look_up()
        found = [(chain, number, sharing.digest_of(chain, number) or "") for chain, number in asked]
        with self._lock:
            for each in found:
                self._hearing.known(*each)

    def _told_applied(self, kiosk: str) -> int:
        """How far another has applied the shared lines, as it said last; a copy of its folder says nothing of it."""
        told = self._others.get(kiosk)
        return 0 if told is None or self._hearing.is_copy(kiosk) else told.applied

    def _is_gone(self, kiosk: str, members: Mapping[str, Member]) -> bool:
        """Whether a kiosk works here no more: a line says so; the server's word does for one that never wrote any."""
        if kiosk in members:
            return members[kiosk].gone
        return bool(self._others[kiosk].retired_n)
