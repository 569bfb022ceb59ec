"""The balancing counter: what unbalance an assembly may have, and what the balancing machine found.

Hot steel is not balanced: a hand sets it on the machine and takes it off again.
"""

from __future__ import annotations

from dataclasses import dataclass

from kiosk.desk.build import BuildCounter, BuildRefused
from kiosk.desk.next_step import next_of
from kiosk.desk.session import Session
from kiosk.rules.assembly import Assembly
from kiosk.rules.cards import Heat, HolderCard
from kiosk.rules.checkin import warmth
from kiosk.rules.fitting.balance import Asked, Balance, Demand, Spindle, demand, judge
from kiosk.rules.fitting.fits import Fit
from kiosk.rules.lines import BalancedLine
from kiosk.rules.places import Kind
from kiosk.rules.say import Say, say


@dataclass(frozen=True, slots=True)
class ToBalance:
    """An assembly and what it has to keep."""

    holder: HolderCard
    demand: Demand


@dataclass(frozen=True, slots=True)
class BalanceTaken:
    """What the balancing machine found, as it was written and judged.  next_step: what is to be done now."""

    holder: HolderCard
    judged: Balance
    next_step: Say | None


class BalancingCounter:
    def __init__(self, session: Session, build: BuildCounter) -> None:
        self._session, self._build = session, build

    def asked(self, holder_key: str, asked: Asked) -> ToBalance:
        """What the assembly in this holder has to keep.  Raises BuildRefused for one that may be hot, NotThere."""
        card = self._cool(holder_key)
        assert card.assembly is not None
        return ToBalance(card, self.demand(card, card.assembly, asked))

    def demand(self, card: HolderCard, built: Assembly, asked: Asked) -> Demand:
        """What this assembly has to keep, however warm it is."""
        found = self._build.fit(card.holder.key, built.cutter.key, built.insert_mm)
        own = found.speeds[0] if found.speeds else None
        return demand(built, self._session.settings.build.balance_grade, own, self._spindles(card, found), asked)

    def take(self, holder_key: str, residual_gmm: float, asked: Asked, assembly: str) -> BalanceTaken:
        """Writes what the balancing machine found, g mm.  assembly: key of the one that was on it.

        Raises BuildRefused for an assembly that may be hot, whose mass or speed nobody knows, or that is in the holder
        no more, ActRefused, NotThere.
        """
        session = self._session
        session.signed_in()
        found = self.asked(holder_key, asked)
        wanted, built = found.demand, found.holder.assembly
        assert built is not None
        if built.key != assembly:
            why = say("build.taken", name=found.holder.holder.name, cutter=built.cutter.name)
            raise BuildRefused(why, say("build.scan_holder"))
        if wanted.mass_kg is None or wanted.rpm is None:
            lacking = "mass" if wanted.mass_kg is None else "rpm"
            raise BuildRefused(say(f"balance.no_{lacking}", name=built.name), say(f"balance.give_{lacking}"))
        session.write(BalancedLine(holder_key, built.key, wanted.left(residual_gmm)))
        judged = judge(residual_gmm, wanted.mass_kg, wanted.rpm, wanted.grade)
        card = session.holder(holder_key)
        return BalanceTaken(card, judged, next_of(session, card) if judged.ok else None)

    def _cool(self, holder_key: str) -> HolderCard:
        """The holder, if it has a cutter and is known to be cool."""
        card = self._session.holder(holder_key)
        if warmth(card) is not Heat.COOL:
            remedy = next_of(self._session, card) or say("build.cool_first", place=None)
            raise BuildRefused(say("balance.hot", name=card.name), remedy, hot=True)
        if card.assembly is None:
            raise BuildRefused(say("build.nothing_in", name=card.name), say("build.choose_other"))
        return card

    def _spindles(self, card: HolderCard, fit: Fit) -> tuple[Spindle, ...]:
        """Of the machine it stands in or has a pocket of its own in, else of all that take it."""
        machines = {machine.name: machine.magazine.rpm_max for machine in self._build.machines()}
        mine = self._machines_of(card) or {machine.name for machine in fit.machines if not machine.obstacles}
        return tuple(Spindle(name, rpm_max) for name, rpm_max in machines.items() if name in mine)

    def _machines_of(self, card: HolderCard) -> set[str]:
        places = self._session.cards.places
        owned = (code for code, row in places.rows.items() if row["owner"] == card.holder.key and not row["retired"])
        standing = card.at.place.code if card.at else None
        codes = (standing,) if standing and places.rows[standing]["kind"] == Kind.POCKET.value else tuple(owned)
        return {places.path(code)[0] for code in codes}
