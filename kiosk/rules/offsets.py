"""What is typed at the control for one assembly: the values and the order, as a card or for a file.

It never shows a value nobody measured as if it were one: an assembly that has not been measured, or was measured
warm, has no card to type.  Symbols are those of ISO 13399; the order is the one controls ask for.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

from kiosk.rules.assembly import Condition
from kiosk.rules.fitting.loads import rated_rpm
from kiosk.rules.say import Say, Value, say
from kiosk.rules.stock import BookEntry


class Unit(Enum):
    """Unit of a value on the card; the value is how it is written."""

    NONE = ""
    MM = "mm"
    MIN = "min"
    RPM = "1/min"


class OffsetRow(NamedTuple):
    """One value to type.  `symbol` names it in templates; the label's message id is `offsets.<symbol>`."""

    symbol: str
    value: str | int | float | bool | None
    unit: Unit = Unit.NONE

    @property
    def label(self) -> Say:
        return say(f"offsets.{self.symbol.lower()}")


@dataclass(frozen=True, slots=True)
class Card:
    """The rows in the order they are typed; `cautions` are messages to be read before typing."""

    name: str
    code: str
    rows: tuple[OffsetRow, ...]
    cautions: tuple[Say, ...] = ()

    def value(self, symbol: str) -> str | int | float | bool | None:
        return next((row.value for row in self.rows if row.symbol == symbol), None)


class CardFault(ValueError):
    """An assembly whose values must not be typed.  `reason`, `remedy`: messages."""

    def __init__(self, name: str, reason: Say, remedy: Say) -> None:
        super().__init__(f"{name}: {reason.key}")
        self.name = name
        self.reason = reason
        self.remedy = remedy


@dataclass(frozen=True, slots=True)
class CardRules:
    """How this shop's controls want it."""

    radius: bool = False  # radius instead of diameter
    length_error_max_um: float = 3.0  # measured this much too long for heat is measured too warm
    coolant: bool = True  # whether the card says if coolant goes through


USUAL = CardRules()
SYMBOLS = {
    "POCKET": "pocket",
    "T": "tool number, where the shop keeps one",
    "NAME": "assembly's name",
    "CODE": "label's code",
    "LF": "measured length from the gauge line, mm",
    "DC": "measured diameter, mm",
    "R": "half the measured diameter, mm",
    "RE": "corner radius, measured or nominal, mm",
    "ZEFP": "effective edges",
    "COOLANT": "1 where coolant goes through holder and cutter, else 0",
    "RPMX": "speed limit engraved on holder or cutter, 1/min",
    "LIFE": "cutting minutes left",
    "LU": "usable length, mm",
    "DMM": "shank diameter, mm",
    "OAL": "overall length of the cutter, mm",
    "MACHINE": "machine's name",
}


def values(entry: BookEntry, rules: CardRules = USUAL, pocket: int | None = None) -> dict[str, OffsetRow]:
    """Every value of an entry by symbol; None where it is not known.  Raises CardFault.

    pocket: where it is about to go, where it is not there yet.
    """
    built = entry.assembly
    if built is None:
        raise CardFault(entry.name, say("offsets.no_assembly", name=entry.name), say("remedy.offsets.build"))
    measured = built.measured
    if measured is None:
        raise CardFault(entry.name, say("offsets.not_measured", name=entry.name), say("remedy.offsets.measure"))
    error_um = measured.length_error_um
    if error_um is not None and not abs(error_um) <= rules.length_error_max_um:
        raise CardFault(
            entry.name,
            say("offsets.measured_warm", name=entry.name, error_um=error_um),
            say("remedy.offsets.measure_cold"),
        )
    cutter = built.cutter
    radius = measured.corner_radius_mm
    life = None if cutter.life_min is None else max(0.0, cutter.life_min - built.used_min)
    rows = (
        OffsetRow("POCKET", entry.pocket if pocket is None else pocket),
        OffsetRow("T", entry.tool_number),
        OffsetRow("NAME", built.name),
        OffsetRow("LF", measured.length_mm, Unit.MM),
        OffsetRow("DC", measured.diameter_mm, Unit.MM),
        OffsetRow("R", measured.diameter_mm / 2, Unit.MM),
        OffsetRow("RE", cutter.re_mm if radius is None else radius, Unit.MM),
        OffsetRow("ZEFP", cutter.zefp if measured.edges is None else measured.edges),
        OffsetRow("COOLANT", int(entry.holder.coolant and cutter.coolant)),
        OffsetRow("RPMX", rated_rpm(built), Unit.RPM),
        OffsetRow("LIFE", life, Unit.MIN),
        OffsetRow("CODE", entry.code),
        OffsetRow("LU", cutter.lu_mm, Unit.MM),
        OffsetRow("DMM", cutter.dmm_mm, Unit.MM),
        OffsetRow("OAL", cutter.oal_mm, Unit.MM),
        OffsetRow("MACHINE", entry.machine),
    )
    return {row.symbol: row for row in rows}


def card(entry: BookEntry, rules: CardRules = USUAL, pocket: int | None = None) -> Card:
    """The card to type from.  Rows whose value is not known are left out.  Raises CardFault."""
    known = values(entry, rules, pocket)
    order = ["POCKET", "T", "NAME", "LF", "R" if rules.radius else "DC", "RE", "ZEFP"]
    order += ["COOLANT"] if rules.coolant else []
    order += ["RPMX", "LIFE"]
    rows = tuple(known[symbol] for symbol in order if known[symbol].value is not None)
    return Card(entry.name, entry.code, rows, _cautions(entry, known))


def _cautions(entry: BookEntry, known: dict[str, OffsetRow]) -> tuple[Say, ...]:
    found = []
    built = entry.assembly
    if entry.hot:
        found.append(say("offsets.still_hot", name=entry.name))
    if built and built.condition is not Condition.GOOD:
        shown: Value = f"term.{built.condition.value}"
        found.append(say("offsets.condition", name=entry.name, condition=shown))
    if known["LIFE"].value == 0.0:
        found.append(say("offsets.life_over", name=entry.name))
    return tuple(found)
