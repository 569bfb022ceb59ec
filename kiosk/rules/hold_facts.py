"""What the ledger keeps about one heating, and the shop's values that it is worked out with.

Facts are what was seen: when it was heated, where it stood since, what was read, and what the shop's values were
meanwhile.  Nothing in them was computed, so that a better model needs no change of the ledger.  All times are watched.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import reduce

from kiosk.rules.assembly import Assembly, Holder
from kiosk.rules.belief import PROBE_TOLERANCE_K, Instrument
from kiosk.rules.belief import Verdict as Word
from kiosk.rules.cooling.assessment import Room, Touch, Way, Zone
from kiosk.rules.cooling.unknowns import AMBIENT_K

_AT = "at"
SPOTS = ("nose", "flange", "shank")
WITHDRAWN = "withdrawn"  # the verdict of a reading that was a slip


@dataclass(frozen=True, slots=True)
class Stay:
    """Where it stood from `since_s` on.  `way` None: not a cooling place, or nowhere known: free air.

    unwatched: the kiosk did not watch for a while meanwhile, so that it stood there for longer than was counted.
    """

    place: str | None
    since_s: float
    way: str | None = None
    wet_length_mm: float | None = None
    unwatched: bool = False


@dataclass(frozen=True, slots=True)
class Reading:
    """A thermometer's word.  where: one of `SPOTS`.  instrument: probe, infrared.  line: its number.

    tolerance_k: limit of error of the shop's probe when it was read.
    """

    at_s: float
    where: str
    value_c: float
    instrument: str
    verdict: str
    line: int = 0
    tolerance_k: float = PROBE_TOLERANCE_K


@dataclass(frozen=True, slots=True)
class HeatValues:
    """The shop's values at one moment, named as its settings are.  Lines older than the last have none of it."""

    temp_c: float
    ambient_c: float
    limit_c: float
    heating_s: float
    length_tolerance_um: float
    ambient_sd_k: float = AMBIENT_K.whole
    probe_tolerance_k: float = PROBE_TOLERANCE_K

    def stricter(self, other: HeatValues) -> HeatValues:
        """For each value the one that holds longer."""
        return HeatValues(
            max(self.temp_c, other.temp_c),
            max(self.ambient_c, other.ambient_c),
            min(self.limit_c, other.limit_c),
            max(self.heating_s, other.heating_s),
            min(self.length_tolerance_um, other.length_tolerance_um),
            max(self.ambient_sd_k, other.ambient_sd_k),
            max(self.probe_tolerance_k, other.probe_tolerance_k),
        )


def strictest(name: str, told: Sequence[str]) -> str:
    """Of values of one of the shop's settings, as they were typed, the one that holds longest; the first where it is
    none that a hold rests on.  name: as in `HeatValues`."""
    if name not in {each.name for each in fields(HeatValues)}:
        return told[0]
    plain = HeatValues(0.0, 0.0, 0.0, 0.0, 0.0)
    worth = [replace(plain, **{name: float(value.replace(",", "."))}) for value in told]
    return told[worth.index(reduce(HeatValues.stricter, worth))]


def all_found(before: tuple[HeatValues, ...], found: HeatValues) -> tuple[HeatValues, ...]:
    """All that the shop's values may have been when a holder was heated, once they were found to be `found` as well.

    Nobody knows which of them were true of it, or which of one and which of another; and since readings tell of a
    hotter start that it cooled faster, none of them stands for the others: each is kept, with the strictest of all.
    What may be touched and measured and what a probe is good for is not the steel's: there the strictest alone counts.
    """
    every = dict.fromkeys((*before, found))
    strictest = reduce(HeatValues.stricter, every)
    shared = {name: getattr(strictest, name) for name in ("limit_c", "length_tolerance_um", "probe_tolerance_k")}
    return tuple(dict.fromkeys(replace(each, **shared) for each in (*every, strictest)))


@dataclass(frozen=True, slots=True)
class Earlier:
    """A heating of which all was seen until another followed it, before it was cool.

    stays: where it stood, `since_s` by its scan.  lasted_s: from that to the scan of the next.  again_s: how long
    before that scan it had been scanned there first.  cutter: the assembly whose cutter was in it all the while; None:
    one went in or came out, or there was none.
    """

    temp_c: float | None
    length_mm: float | None
    body_c: float | None
    began: tuple[HeatValues, ...]
    stays: tuple[Stay, ...]
    lasted_s: float
    again_s: float
    cutter: str | None = None


@dataclass(frozen=True, slots=True)
class HoldFacts:
    """One heating as the ledger saw it.

    body_unknown: its body was as warm as a heating can have made it.  began: all that the shop's values may have been
    then (`all_found`), none for a line older than they are.  heating: number of the line that began it.  watched: its
    times are of the clock that counts now; of another's nothing can be subtracted.  clock: the kiosk that counts them.
    withdrawn: readings that were slips and are not among the others.  stay: number of the line of the last stay.
    heats: how many heatings in a row it is the last of, none of whose holds had ended.  earlier: those before it, the
    oldest first, where all was seen of them.  again_s: how long before `heated_at_s` it was scanned there first.
    """

    holder: Holder
    assembly: Assembly | None
    heated_at_s: float
    heated_utc_s: float
    temp_c: float | None  # None: not known
    length_mm: float | None
    stays: tuple[Stay, ...]
    readings: tuple[Reading, ...] = ()
    body_c: float | None = None
    reading_only: bool = False
    gaps: int = 0
    body_unknown: bool = False
    began: tuple[HeatValues, ...] = ()
    heating: int | None = None
    watched: bool = True
    withdrawn: tuple[Reading, ...] = ()
    clock: str = ""
    stay: int = 0
    heats: int = 1
    earlier: tuple[Earlier, ...] = ()
    again_s: float = 0.0

    @property
    def teaches(self) -> bool:
        """Whether readings say how such holders cool: not where nobody saw how it was heated, how long it has stood
        somewhere, or where it stands."""
        seen = not self.reading_only and not any(stay.unwatched for stay in self.stays)
        return seen and self.stays[-1].place is not None and len(self.began) < 2

    @property
    def may_have_soaked(self) -> bool:
        """Whether its heat went deeper than was counted before it came where it is now."""
        return any(stay.unwatched for stay in self.stays[:-1])


@dataclass(frozen=True, slots=True)
class HoldRules:
    """The shop's values a hold depends on.  heating_s: how long after the scan it may still be heated.

    probe_tolerance_k: what a probe is good for with which it is read from now on.
    """

    room: Room
    temp_c: float
    heating_s: float = 60.0
    probe_tolerance_k: float = PROBE_TOLERANCE_K

    @property
    def values(self) -> HeatValues:
        room = self.room
        return HeatValues(
            self.temp_c,
            room.ambient_c,
            room.limit_c,
            self.heating_s,
            room.tolerance_um,
            room.ambient_sd_k,
            self.probe_tolerance_k,
        )

    def of(self, values: HeatValues) -> HoldRules:
        room = self.room._replace(
            ambient_c=values.ambient_c,
            limit_c=values.limit_c,
            tolerance_um=values.length_tolerance_um,
            ambient_sd_k=values.ambient_sd_k,
        )
        return HoldRules(room, values.temp_c, values.heating_s, values.probe_tolerance_k)

    def each(self, began: tuple[HeatValues, ...]) -> tuple[HoldRules, ...]:
        """All that a hold may have begun under, these among them."""
        return tuple(self.of(values) for values in all_found(began, self.values))

    def stricter(self, began: tuple[HeatValues, ...]) -> HoldRules:
        """For each value the one that holds longest: as it is set now, or as it was since the hold began."""
        return self.of(reduce(HeatValues.stricter, began, self.values))

    def holds_as_long_as(self, other: HoldRules) -> bool:
        """Whether no value of these lets a hold go sooner than the other ones would."""
        return self.stricter((other.values,)) == self


def cooling_from_s(facts: HoldFacts, rules: HoldRules) -> float:
    """When it left the coil at the latest, whatever the values were when it was heated; `rules` as they are set now."""
    return left_coil_s(facts, rules.stricter(facts.began).heating_s)


def left_coil_s(facts: HoldFacts, heating_s: float) -> float:
    """When it left the coil: as it left the station, but no later than `heating_s` after the scan."""
    left_s = facts.stays[1].since_s if len(facts.stays) > 1 else float("inf")
    return min(left_s, facts.heated_at_s + heating_s)


def pair(holder: Holder, place: str | None) -> str:
    """The name under which readings of this type of holder at this place are counted."""
    outline = (holder.coupling, holder.bore_mm, holder.nose_mm, holder.projection_mm)
    return " ".join(str(part) for part in (*outline, _AT, place or "nowhere"))


def type_of(pair_name: str) -> str:
    """The type of holder in the name of a pair."""
    return pair_name.split(f" {_AT} ")[0]


def last_place(facts: HoldFacts) -> dict[Way, str | None]:
    """The latest place of each way of cooling it went through; the last one is where it is now."""
    return {way_of(stay): stay.place for stay in facts.stays}


def passed(facts: HoldFacts) -> dict[Way, str | None]:
    """The same with what only the heatings before it went through."""
    return {way_of(stay): stay.place for each in facts.earlier for stay in each.stays} | last_place(facts)


def way_now(facts: HoldFacts) -> Way:
    return way_of(facts.stays[-1])


def way_of(stay: Stay) -> Way:
    """How it cools there."""
    return Way(stay.way) if stay.way else Way.FREE_AIR


def touches(facts: HoldFacts, start_s: float) -> tuple[Touch, ...]:
    """Readings of this heat that count for it: those that were believed, and the doubted one a second confirmed.

    start_s: when it left the coil.  What was read before, while it may have been heated, says nothing about how it
    cools.
    """
    if facts.reading_only:
        return ()
    counted: list[Reading] = []
    doubted: list[Reading] = []
    for reading in facts.readings:
        if reading.verdict == Word.QUESTIONED.value:
            doubted = [reading]
            continue
        counted += doubted if reading.verdict == Word.CONFIRMED.value else []
        counted.append(reading)
        doubted = []
    return tuple(
        Touch(
            reading.at_s - start_s,
            Zone(reading.where),
            Instrument(reading.instrument),
            reading.value_c,
            tolerance_k=reading.tolerance_k,
        )
        for reading in counted
        if reading.at_s > start_s
    )
