"""The hand-over counter: machines as they are filled, the best pocket, and what to type at the control.

Shows what `checkin.may_go` and `magazine.propose` answer; the hand-over itself is a scan or a touch of a pocket.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from kiosk.desk.session import NotThere, Session
from kiosk.rules.apart import Answer, about_pocket
from kiosk.rules.assembly import Assembly
from kiosk.rules.cards import HolderCard, PlaceCard
from kiosk.rules.checkin import may_go
from kiosk.rules.fitting.change_plan import ChangePlan, Report
from kiosk.rules.fitting.magazine import Loaded, Magazine
from kiosk.rules.fitting.magazine_plan import plan
from kiosk.rules.fitting.proposals import NoRoom, Proposal, propose
from kiosk.rules.lines import PocketAssigned
from kiosk.rules.outcomes import Refused
from kiosk.rules.places import Kind


@dataclass(frozen=True, slots=True)
class Pocket:
    """One pocket as the screen draws it.  `refused` None: the holder asked about may go there."""

    number: int
    code: str
    holder: str | None  # key of the holder standing there
    name: str | None
    diameter_mm: float | None
    owner: str | None
    closed: bool
    refused: Refused | None = None


@dataclass(frozen=True, slots=True)
class MachineView:
    """A machine with its magazine as it is filled now."""

    code: str
    name: str
    magazine: Magazine
    pockets: tuple[Pocket, ...]
    spindle: PlaceCard | None
    best: int | None = None  # pocket number proposed for the holder asked about
    no_room: NoRoom | None = None
    may_differ: bool = False  # other kiosks may have filled or emptied pockets since they were heard
    as_of_utc_s: float | None = None  # how old the facts are then; None: nothing was ever heard


class HandoverCounter:
    def __init__(self, session: Session) -> None:
        self._session = session

    def machines(self) -> tuple[MachineView, ...]:
        places = self._session.cards.places
        codes = [c for c, row in places.rows.items() if row["kind"] == Kind.MACHINE.value and not row["retired"]]
        return tuple(self.machine(code) for code in sorted(codes, key=lambda c: places.rows[c]["name"]))

    def machine(self, code: str, holder_key: str | None = None) -> MachineView:
        """A machine, and for a holder asked about what each pocket has against it.  Raises NotThere."""
        session = self._session
        card = session.place(code)
        if card.magazine is None:
            raise NotThere("machine", code)
        holder = session.holder(holder_key) if holder_key else None
        places = session.cards.places
        standing = {loaded.pocket: loaded for loaded in card.loaded}
        pockets, spindle = [], None
        for inside in places.within(code)[1:]:
            place = places.place(inside)
            if place.kind is Kind.SPINDLE:
                spindle = session.place(inside)
                continue
            pockets.append(self._pocket(card, inside, standing, holder))
        best, no_room = None, None
        if holder and holder.assembly:
            others = [held for held in card.loaded if held.assembly.key != holder.assembly.key]
            answer = propose(card.magazine, others, card.owners, holder.assembly, returning=card.returning)
            best = answer.pocket if isinstance(answer, Proposal) else None
            no_room = answer if isinstance(answer, NoRoom) else None
        apart = session.cards.apart
        may_differ = about_pocket(apart, code) is not Answer.AS_EVER
        as_of_utc_s = apart.as_of_utc_s if apart and may_differ else None
        found = tuple(pockets)
        return MachineView(code, card.name, card.magazine, found, spindle, best, no_room, may_differ, as_of_utc_s)

    def _pocket(self, machine: PlaceCard, code: str, standing: dict[int, Loaded], holder: HolderCard | None) -> Pocket:
        place = self._session.cards.places.place(code)
        number = place.number
        assert machine.magazine is not None and number is not None  # a pocket has a number and a magazine
        held = standing.get(number)
        goal = replace(
            machine,
            place=place,
            path=(*machine.path, place.name),
            occupants=(held.assembly.holder.key,) if held else (),
        )
        return Pocket(
            number,
            code,
            held.assembly.holder.key if held else None,
            held.assembly.name if held else None,
            held.assembly.diameter_mm if held else None,
            machine.owners.get(number),
            number in machine.magazine.closed,
            may_go(holder, goal) if holder else None,
        )

    def assign(self, pocket_code: str, holder_key: str | None) -> None:
        """Makes a pocket one holder's own, or nobody's.  Raises NotThere, ActRefused."""
        self._owner(pocket_code)
        if holder_key is not None:
            self._session.holder(holder_key)
        self._session.write(PocketAssigned(pocket_code, holder_key))

    def _owner(self, pocket_code: str) -> str | None:
        """For which holder a pocket is kept.  Raises NotThere, also for one that is out of use."""
        row = self._session.cards.places.rows.get(pocket_code)
        if row is None or row["kind"] != Kind.POCKET.value or row["retired"]:
            raise NotThere("pocket", pocket_code)
        owner: str | None = row["owner"]
        return owner

    def own_pockets(self, holder_key: str) -> tuple[PlaceCard, ...]:
        """Pockets that are kept for a holder, by name."""
        rows = self._session.cards.places.rows
        own = (code for code, row in rows.items() if row["owner"] == holder_key and not row["retired"])
        return tuple(sorted(map(self._session.place, own), key=lambda card: card.name))

    def keep_pocket(self, holder_key: str, pocket_code: str | None) -> str | None:
        """Keeps this pocket for a holder and no other any more; None: none.  Gives back whose it was, if another's.

        Raises NotThere, ActRefused.
        """
        session = self._session
        session.holder(holder_key)
        given_up = [card.place.code for card in self.own_pockets(holder_key) if card.place.code != pocket_code]
        lines = [PocketAssigned(code, None) for code in given_up]
        owner = None
        if pocket_code is not None:
            owner = self._owner(pocket_code)
            if owner != holder_key:
                lines.append(PocketAssigned(pocket_code, holder_key))
        if lines:
            session.write(*lines)
        return session.holder(owner).name if owner and owner != holder_key else None

    def plan(
        self, machine_code: str, wanted: Sequence[Assembly], seconds: float = 20.0, report: Report | None = None
    ) -> ChangePlan:
        """The change plan that brings every wanted assembly into the machine.  Raises NotThere."""
        card = self._session.place(machine_code)
        if card.magazine is None:
            raise NotThere("machine", machine_code)
        return plan(card.magazine, card.loaded, card.owners, wanted, card.returning, seconds, report)
