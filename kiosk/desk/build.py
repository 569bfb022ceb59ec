"""The build-up counter: which cutter fits which holder, building, measuring, tearing down.

What fits is `rules.fits`' business; a build it blocks is refused with its findings.  Tearing down a shrink fit
takes heat, so it starts a hold again.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass, replace

from kiosk.desk.next_step import next_of
from kiosk.desk.session import NotThere, Session
from kiosk.ledger import history as past
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.ledger.view import cutter_of
from kiosk.rules.assembly import Assembly, Clamping, Condition, Cutter, Measured
from kiosk.rules.cards import Heat, HolderCard, PlaceCard
from kiosk.rules.checkin import ONE_HEATING_S, heating, warmth
from kiosk.rules.fitting.balance import grade_of
from kiosk.rules.fitting.fits import Finding, Fit, FitRules, Question, fit, usual_insert_mm
from kiosk.rules.fitting.loads import mass_kg
from kiosk.rules.fitting.magazine import Machine
from kiosk.rules.fitting.shrink import ShrinkRules
from kiosk.rules.lines import (
    Built,
    ConditionSaid,
    CutterReground,
    Entry,
    Heated,
    HoldEnded,
    MeasuredLine,
    ToolNumbered,
    TornDown,
)
from kiosk.rules.outline import STEEL
from kiosk.rules.places import Kind
from kiosk.rules.say import Say, say


class BuildRefused(ValueError):
    """Not built: `why` and `remedy` for the screen, `findings` where it is a matter of fit, `hot`: heat is why."""

    def __init__(self, why: Say, remedy: Say, findings: tuple[Finding, ...] = (), *, hot: bool = False) -> None:
        super().__init__(why.key)
        self.why = why
        self.remedy = remedy
        self.findings = findings
        self.hot = hot


@dataclass(frozen=True, slots=True)
class Offer:
    """A free cutter held against a holder."""

    cutter: Cutter
    fit: Fit


@dataclass(frozen=True, slots=True)
class MeasureTaken:
    """A measurement as it was written; `warning` where the steel was still warm."""

    holder: HolderCard
    values: Measured
    warning: Say | None


def _graded(built: Assembly, values: Measured) -> Measured:
    """A measurement with the balance grade its unbalance amounts to, where the balancer gave none."""
    mass = mass_kg(built)
    if values.balance_grade is not None or None in (values.unbalance_gmm, values.at_rpm, mass):
        return values
    assert values.unbalance_gmm is not None and values.at_rpm is not None and mass is not None
    if values.unbalance_gmm < 0 or values.at_rpm <= 0 or mass <= 0:
        return values
    return replace(values, balance_grade=round(grade_of(values.unbalance_gmm, mass, values.at_rpm), 2))


class BuildCounter:
    def __init__(self, session: Session) -> None:
        self._session = session

    def rules(self) -> FitRules:
        heat, mine = self._session.settings.heat, self._session.settings.build
        shrink = ShrinkRules(
            ambient_c=heat.ambient_c,
            unit_max_c=heat.temp_c,
            clearance_um=mine.clearance_um,
            friction=mine.friction,
            heat_limit=int(heat.cycles_limit),
        )
        return FitRules(side_screw_rpm_max=mine.side_screw_rpm, shrink=shrink)

    def machines(self) -> tuple[Machine, ...]:
        places = self._session.cards.places
        return tuple(
            Machine(row["name"], magazine)
            for code, row in places.rows.items()
            if row["kind"] == Kind.MACHINE.value and (magazine := places.magazine(code))
        )

    def free_cutters(self) -> tuple[Cutter, ...]:
        """Cutters that are in no assembly, by diameter."""
        built = T.Holder.select(T.Assembly.cutter).join(T.Assembly, on=(T.Holder.assembly == T.Assembly.key))
        free = T.Cutter.select().where(T.Cutter.key.not_in(built), T.Cutter.retired == 0)
        return tuple(cutter_of(row) for row in rows(free.order_by(T.Cutter.dc_mm, T.Cutter.name)))

    def reground(self, cutter_key: str, dc_mm: float | None = None, oal_mm: float | None = None) -> Cutter:
        """A cutter came back from regrinding, with what it measures now.

        Raises NotThere, ValueError, StillHot while it is in a holder under a hold.
        """
        cutter = self._cutter(cutter_key)
        for value, most in ((dc_mm, cutter.dc_mm), (oal_mm, cutter.oal_mm)):
            if value is not None and not 0 < value <= most:
                raise ValueError(f"{value:g} mm: regrinding takes away, and it had {most:g} mm")
        line = CutterReground(cutter_key, dc_mm, oal_mm)
        self._session.unheld(line)
        self._session.write(line)
        return self._cutter(cutter_key)

    def number(self, holder_key: str, number: int | None) -> None:
        """What the controls call the assembly in this holder.  Raises BuildRefused, NotThere."""
        card = self._session.holder(holder_key)
        if card.assembly is None:
            raise BuildRefused(say("build.nothing_in", name=card.name), say("build.choose_other"))
        self._session.write(ToolNumbered(holder_key, card.assembly.key, number))

    def number_of(self, holder_key: str) -> int | None:
        """What the controls call the assembly in this holder.  Raises NotThere."""
        assembly = self._session.holder(holder_key).assembly
        found = rows(T.Assembly.select().where(T.Assembly.key == assembly.key)) if assembly else []
        return int(found[0]["tool_number"]) if found and found[0]["tool_number"] is not None else None

    def offers(self, holder_key: str) -> tuple[Offer, ...]:
        """Every free cutter with what speaks for and against it, those that fit first."""
        found = [Offer(cutter, self.fit(holder_key, cutter.key)) for cutter in self.free_cutters()]
        return tuple(sorted(found, key=lambda offer: (not offer.fit.ok, len(offer.fit.findings), offer.cutter.dc_mm)))

    def fit(self, holder_key: str, cutter_key: str, insert_mm: float | None = None, rpm: float | None = None) -> Fit:
        """What speaks for and against building this cutter in, with the shrink fit worked out.  Raises NotThere."""
        card = self._session.holder(holder_key)
        holder = card.holder
        cutter = self._cutter(cutter_key)
        depth_mm = insert_mm if insert_mm is not None else usual_insert_mm(holder, cutter)
        question = Question(
            holder, cutter, depth_mm, rpm=rpm, heats_used=card.heat_cycles, came_out=self._came_out(cutter_key)
        )
        return fit(question, self.rules(), self.machines())

    @staticmethod
    def _came_out(cutter_key: str) -> Condition:
        """How a cutter was when it came out of its last holder, unless it was reground since."""
        query = T.Assembly.select().where(T.Assembly.cutter == cutter_key)
        last = rows(query.order_by(T.Assembly.built_line.desc()).limit(1))
        spent = (Condition.WORN.value, Condition.BROKEN.value)
        if not last or last[0]["torn_line"] is None or last[0]["condition"] not in spent:
            return Condition.GOOD
        kinds = frozenset({CutterReground.kind})
        ground = past.lines(past.Question(cutter_key, kinds, newest=1))
        since = bool(ground) and ground[0].id > last[0]["torn_line"]
        return Condition.GOOD if since else Condition(last[0]["condition"])

    def _cutter(self, key: str) -> Cutter:
        for row in rows(T.Cutter.select().where(T.Cutter.key == key)):
            return cutter_of(row)
        raise NotThere("cutter", key)

    def not_here(self, card: HolderCard) -> BuildRefused | None:
        """Why nothing can be built into this holder as and where it stands; None: it may be."""
        if card.assembly is not None:
            names = {"name": card.holder.name, "cutter": card.assembly.cutter.name}
            return BuildRefused(say("build.taken", **names), say("build.tear_down_first", **names))
        at = card.at.place.kind if card.at else None
        if at is not Kind.SHRINK and warmth(card) is Heat.HELD:
            cooling = self._session.cooling_place()
            stays = next_of(self._session, card) if at is Kind.COOLING else None  # where it cools it may stay
            remedy = stays or say("build.cool_first", place=cooling.name if cooling else None)
            return BuildRefused(say("build.hot", name=card.name), remedy, hot=True)
        if card.retired:
            return BuildRefused(say("refused.retired_holder", name=card.name), say("remedy.retired_holder"))
        if at in (Kind.BENCH, Kind.SHRINK):
            return None
        where = card.at.name if card.at else None
        return BuildRefused(
            say("build.not_at_bench", name=card.name, place=where), say("build.to_bench", name=card.name)
        )

    def may_build(self, holder_key: str, cutter_key: str) -> HolderCard:
        """The holder, if something can be built into it as it stands and the cutter is free; not whether they fit.

        Raises BuildRefused, NotThere.
        """
        card = self._session.holder(holder_key)
        cutter = self._cutter(cutter_key)
        if (not_here := self.not_here(card)) is not None:
            raise not_here
        if cutter_key not in {free.key for free in self.free_cutters()}:
            raise BuildRefused(say("build.cutter_taken", cutter=cutter.name), say("build.choose_other"))
        return card

    def build(self, holder_key: str, cutter_key: str, insert_mm: float | None = None, name: str = "") -> HolderCard:
        """Builds the cutter in.  Raises BuildRefused, NotThere, ActRefused."""
        session = self._session
        session.signed_in()
        card = self.may_build(holder_key, cutter_key)
        cutter = self._cutter(cutter_key)
        answer = self.fit(holder_key, cutter_key, insert_mm)
        if not answer.ok:
            first = next(finding for finding in answer.findings if finding.blocking)
            why = Say(first.message_id, tuple(first.values.items()))
            raise BuildRefused(why, Say(first.remedy_id, tuple(first.values.items())), answer.findings)
        depth_mm = insert_mm if insert_mm is not None else usual_insert_mm(card.holder, cutter)
        key = f"A{secrets.token_hex(6).upper()}"
        built = Built(key, name or cutter.name, holder_key, cutter_key, depth_mm)
        shrinks = card.holder.clamping is Clamping.SHRINK_FIT
        at_work = shrinks and card.at is not None and card.at.place.kind is Kind.SHRINK
        session.write(*(self._opening(card, card.at) if at_work and card.at else ()), built)
        return session.holder(holder_key)

    def holder_labelled(self, text: str) -> HolderCard:
        """The holder that a scanned label stands for.  Raises BuildRefused where it stands for anything else."""
        subject = self._session.cards.subject(text)
        if not isinstance(subject, HolderCard):
            raise BuildRefused(Say("build.no_holder_label"), Say("build.scan_holder"))
        return subject

    def may_tear_down(self, holder_key: str) -> HolderCard:
        """The holder, if its cutter may come out where it stands: a shrink fit's at the shrink station.

        Raises BuildRefused, NotThere.
        """
        card = self._session.holder(holder_key)
        if card.assembly is None:
            raise BuildRefused(say("build.nothing_in", name=card.name), say("build.choose_other"))
        shrinks = card.holder.clamping is Clamping.SHRINK_FIT
        if card.at is None or card.at.place.kind is not (Kind.SHRINK if shrinks else Kind.BENCH):
            why = say("build.tear_down_elsewhere", name=card.name, place=card.at.name if card.at else None)
            raise BuildRefused(why, say("build.to_shrink" if shrinks else "build.to_bench", name=card.name))
        return card

    def tear_down(self, holder_key: str, condition: Condition = Condition.UNKNOWN, used_min: float = 0.0) -> HolderCard:
        """Ends the assembly; for a shrink fit, at the shrink station, and hot from then on.

        Raises BuildRefused, NotThere, ActRefused.
        """
        session = self._session
        session.signed_in()
        card = self.may_tear_down(holder_key)
        assert card.assembly is not None and card.at is not None
        lines: list[Entry] = []
        if card.holder.clamping is Clamping.SHRINK_FIT:
            lines += self._opening(card, card.at)
        lines.append(ConditionSaid(holder_key, card.assembly.key, condition, used_min))
        lines.append(TornDown(holder_key, card.assembly.key))
        session.write(*lines)
        return session.holder(holder_key)

    def _opening(self, card: HolderCard, station: PlaceCard) -> tuple[Entry, ...]:
        """The heating by which a cutter goes in or comes out: the one scanned just now, still going on, or another.

        Steel that was heated earlier lets no shank move any more: it was heated again, whatever is left of its hold.
        """
        runs = card.hold is not None and not card.hold.ended and card.heat_unused
        since_s = None if card.heated_at_s is None else self._session.now().watched_s - card.heated_at_s
        if runs and since_s is not None and since_s <= min(self._session.settings.heat.heating_s, ONE_HEATING_S):
            return (Heated(card.holder.key, station.place.code, heats=0, again=True),)
        ended = card.hold is not None and card.hold.ended
        over = (HoldEnded(card.holder.key, "time", card.hold.heating),) if card.hold and ended else ()
        return (*over, heating(card, station, heats=0 if runs else 1))

    def measure(self, holder_key: str, values: Measured, *, by_hand: bool = True) -> MeasureTaken:
        """Writes a measurement; one taken warm carries the length error the heat makes.

        by_hand: somebody typed it, else a presetter sent it.  Raises BuildRefused, ActRefused.
        """
        session = self._session
        if by_hand:
            session.signed_in()
        card = session.holder(holder_key)
        if card.assembly is None:
            raise BuildRefused(say("build.nothing_in", name=card.name), say("build.choose_other"))
        if not (0 < values.length_mm < 1000 and 0 < values.diameter_mm < 500):
            raise BuildRefused(say("measure.impossible", name=card.name), say("measure.again"))
        facts = session.cards.hold_facts(holder_key)
        error_um = session.holds.length_error_um(facts, session.now()) if facts else 0.0
        if error_um is None:  # safe to touch, and no more is known: all of it as warm as that allows
            heat = session.settings.heat
            error_um = 1e3 * STEEL.alpha_per_k * (heat.limit_c - heat.ambient_c) * values.length_mm
        tolerance_um = session.settings.heat.length_tolerance_um
        warning = None
        if error_um > tolerance_um:
            values = replace(values, length_error_um=error_um)
            warning = say("measure.warm", name=card.name, error_um=error_um, measure_in_s=card.measure_in_s)
        values = _graded(card.assembly, values)
        session.write(MeasuredLine(holder_key, card.assembly.key, values), presetter=not by_hand)
        return MeasureTaken(session.holder(holder_key), values, warning)

    def say_condition(self, holder_key: str, condition: Condition, used_min: float = 0.0) -> HolderCard:
        """What a hand says of a cutter that came back, and the minutes it cut.  Raises BuildRefused, ActRefused."""
        self._session.signed_in()
        card = self._session.holder(holder_key)
        if card.assembly is None:
            raise BuildRefused(say("build.nothing_in", name=card.name), say("build.choose_other"))
        self._session.write(ConditionSaid(holder_key, card.assembly.key, condition, used_min))
        return self._session.holder(holder_key)
