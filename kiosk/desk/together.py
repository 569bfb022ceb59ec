"""What the desk does about the shop's other kiosks: says where this one stands, and takes in what they did.

Made only where there are others.  Everything that was read of the tables before others' lines came is stale then.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from kiosk.desk.beats import unshared
from kiosk.desk.differences import DifferencesCounter
from kiosk.desk.kiosks import KiosksCounter
from kiosk.desk.session import ActRefused, NotThere, Session
from kiosk.ledger import laid_aside
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.ledger.sharing import Member
from kiosk.link.faults import Cause, LinkFault
from kiosk.rules.apart import Apart
from kiosk.rules.assembly import Clamping
from kiosk.rules.lines import KioskLockedOut, KioskRests, KioskStands, Restored
from kiosk.rules.outcomes import Outcome, Reason, Refused
from kiosk.rules.places import Kind

_BACK_S = 0.08  # how long an answer waits for what comes back with its line
_LEAVES_S = 10.0
_REST_S = 4.0  # how long a kiosk that is closed waits for the server, at most twice: a service has 20 s to end


@dataclass(frozen=True, slots=True)
class LockedOut:
    """A kiosk that works here no more.  shared: lines of it in the shop's book; unshared: how many it had besides when
    it was heard last."""

    name: str
    shared: int
    unshared: int


class Together:
    """One kiosk among others.  stale: told when what the desk's other counters have read is stale."""

    def __init__(self, session: Session, kiosks: KiosksCounter, stale: Callable[[], None]) -> None:
        self._session = session
        self.kiosks = kiosks
        self._stale = stale
        self._folded = session.book.changed[1]
        self._looked = -1
        self._only_here = laid_aside.only_here(session.book.path.parent)
        session.wrote = kiosks.wrote
        self._say_where_it_stands()
        self.heard()

    def _say_where_it_stands(self) -> None:
        """The others must know of this kiosk, and whether heatings are booked at it, before it works."""
        session = self._session
        here = session.cards.places.rows.get(session.here or "")
        heats = here is None or here["kind"] == Kind.SHRINK.value
        said = self._said()
        wanted = self.kiosks.membership.name, session.here, heats
        if said is None or (said.name, said.at, said.heats) != wanted:
            session.write(KioskStands(*wanted))

    def _said(self) -> Member | None:
        """What this kiosk said last."""
        sharing = self._session.book.sharing
        return sharing.members().get(sharing.own) if sharing else None

    def heard(self) -> None:
        """Drops what is stale, and says anew how far apart this kiosk is; before every answer and every second."""
        session = self._session
        if self._folded != session.book.changed[1]:
            self._folded = session.book.changed[1]
            session.catch_up()
            session.follow_rules()
            self._stale()
        session.cards.apart = apart = self._with_what_is_owed(self.kiosks.apart(self._machine()))
        said = self._said()
        if apart.admitted and said is not None and not said.known:
            session.write(KioskStands(said.name, said.at, said.heats, known=True))  # a restart asks nobody again

    def _with_what_is_owed(self, apart: Apart) -> Apart:
        """Tells the shop what only the book that was laid aside knew; before that nothing it calls cool is believed."""
        if self._only_here is None:
            return apart
        session, known = self._session, self._only_here
        if not apart.caught_up:
            return replace(apart, stations_heard=False, all_heard=False)
        shrinks = T.Holder.select(T.Holder.key).where(T.Holder.clamping == Clamping.SHRINK_FIT.value)
        unsure = known.unsure if known.whole else {row["key"] for row in rows(shrinks)} - known.hot
        runs = {row["holder"] for row in rows(T.Hold.select(T.Hold.holder).where(T.Hold.ended_line.is_null()))}
        hot = known.hot | (unsure & runs)  # one that was moved there cools otherwise than the shop counts
        if hot or unsure:
            line = Restored(laid_aside.OWED, tuple(sorted(hot)), tuple(sorted(unsure - hot)), cause="lost")
            session.write(line)
        laid_aside.told(session.book.path.parent)
        self._only_here = None
        return self.kiosks.apart(self._machine())

    def rests(self) -> None:
        """Says, as the last line before this kiosk is closed, that nothing is done here until it is opened again.

        Only while the server answers and there are others to hear it: a line that may not have come would keep this
        kiosk from heating when it is opened without a network, and nobody would have heard it rest.
        """
        session, kiosks = self._session, self.kiosks
        apart, said = kiosks.apart(None), self._said()
        if said is None or not (apart.caught_up and apart.admitted and apart.awake) or not self._has_others():
            return
        if session.cards.unwritten or not kiosks.shared(_REST_S):
            return
        session.write(KioskRests())
        kiosks.shared(_REST_S)

    def _has_others(self) -> bool:
        sharing = self._session.book.sharing
        assert sharing is not None
        return any(not each.gone for key, each in sharing.members().items() if key != sharing.own)

    def lock_out(self, kiosk: str) -> LockedOut:
        """That kiosk works in this shop no more, if a supervisor says so; what of it the shop has, and what not.

        First the server, so that no line of it comes after the one that says so.  Raises Locked, ActRefused,
        LinkFault, NotThere.
        """
        session = self._session
        if (by := session.supervised()) is None:
            session.signed_in()
        found = next((each for each in self.kiosks.list() if each.kiosk == kiosk), None)
        if found is None or kiosk == self.kiosks.membership.kiosk:  # itself goes by `leave`, which the others hear
            raise NotThere("kiosk", kiosk)
        self.heard()
        if session.cards.apart is None or not session.cards.apart.caught_up:
            raise ActRefused(Reason.CATCH_UP_FIRST)
        shared = self.kiosks.lock_out(kiosk)
        told = LockedOut(found.name, shared, unshared(found, shared))
        session.write(KioskLockedOut(kiosk, told.name, told.shared, told.unshared), by=by)
        return told

    def leave(self) -> None:
        """This kiosk belongs to the shop no more, if a supervisor says so.  Raises Locked, ActRefused, LinkFault."""
        session = self._session
        if (by := session.supervised()) is None:
            session.signed_in()
        sharing = session.book.sharing
        assert sharing is not None
        session.write(KioskLockedOut(sharing.own, self.kiosks.membership.name, session.book.last_id + 1), by=by)
        if not self.kiosks.shared(_LEAVES_S):
            raise LinkFault(Cause.SLOW)

    def told_back(self, outcome: Outcome, differences: DifferencesCounter) -> Refused | None:
        """After a step was written: what other kiosks say otherwise, if that is known at once; else None.

        The step stands in the book beside what they say; what is told is that it is not settled by it.
        """
        card = outcome.holder
        if card is None or not self.kiosks.fresh(_BACK_S):
            return None
        self.heard()
        goal = outcome.goal.place.code if outcome.goal else None
        return differences.told_otherwise(card.holder.key, goal)

    def may_alarm(self) -> bool:
        """Whether lines came since this was asked: only these can tell of what was not heard."""
        before, self._looked = self._looked, self._session.book.changed[1]
        return before != self._looked

    def _machine(self) -> str | None:
        """Code of the machine this kiosk stands at, or in a pocket of which."""
        row = self._session.cards.places.rows.get(self._session.here or "")
        if row is None:
            return None
        return str(row["code"]) if row["kind"] == Kind.MACHINE.value else row["parent"]
