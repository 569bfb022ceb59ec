"""Holders, cutters and assemblies as rows of a table, both ways.

No row is taken in by halves and none is dropped in silence: a row is good, or it is a fault with its line and
field.  Column names are ISO 13399 symbols where there is one; the order is the one the demo shop's files use.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum
from typing import TypeVar

from kiosk.exchange.faults import Fault, FieldFault, Read, fault_at, no_code, no_coupling
from kiosk.exchange.figures import possible
from kiosk.exchange.tables_csv import PLAIN, Cell, Dialect, Record, Table, write_table
from kiosk.rules.assembly import Assembly, Clamping, Condition, Coupling, Cutter, Holder, Material, Measured, Unbalance
from kiosk.rules.bounds import TOOL_NUMBER
from kiosk.rules.codes import CodeFault, CodeKind
from kiosk.rules.codes import parse as parse_code
from kiosk.rules.fitting.balance import grade_of
from kiosk.rules.stock import BookEntry

CUTTER_COLUMNS = (
    *("cutter", "cutter_name", "material", "DC", "DMM", "OAL", "LF", "LU", "RE", "ZEFP", "RPMX", "WT"),
    *("flat", "shank_h6", "cutter_coolant", "life_min"),
)
HOLDER_COLUMNS = (
    *("code", "key", "name", "coupling", "clamping", "bore_mm", "bore_min_mm", "nose_mm", "projection_mm"),
    *("insert_min_mm", "insert_max_mm", "rpm_max", "mass_kg", "holder_coolant", "knob", "heat_limit"),
)
PLACE_COLUMNS = ("stood_cold", "place", "fixed_pocket")
ASSEMBLY_COLUMNS = ("assembly", "assembly_name", "insert_mm")
STATE_COLUMNS = ("used_min", "condition", "tool_number")
MEASURED_COLUMNS = (
    *("length_mm", "diameter_mm", "runout_um", "corner_radius_mm", "edges", "unbalance_gmm", "balance_grade"),
    *("at_rpm", "length_error_um", "balance_asked", "balanced_kg"),
)
BOOK_COLUMNS = (
    *HOLDER_COLUMNS,
    *PLACE_COLUMNS,
    *ASSEMBLY_COLUMNS,
    *CUTTER_COLUMNS,
    *STATE_COLUMNS,
    *MEASURED_COLUMNS,
)
HOLDER_NEEDS = ("code", "key", "name", "coupling", "clamping", "bore_mm")
CUTTER_SYMBOLS = {  # of the figures, by field of a cutter
    "dc_mm": "DC",
    "dmm_mm": "DMM",
    "oal_mm": "OAL",
    "lf_mm": "LF",
    "lu_mm": "LU",
    "re_mm": "RE",
    "zefp": "ZEFP",
    "rpmx_rpm": "RPMX",
    "wt_kg": "WT",
}
_BALANCE_COLUMNS = {  # by field of an unbalance
    "residual_gmm": "unbalance_gmm",
    "grade": "balance_asked",
    "rpm": "at_rpm",
    "mass_kg": "balanced_kg",
}
CUTTER_NEEDS = ("cutter", "cutter_name", "DC", "DMM", "OAL")

Choice = TypeVar("Choice", bound=Enum)
Made = TypeVar("Made")


@dataclass(frozen=True, slots=True)
class HolderRow:
    """A holder as a table gives it.

    code: of our own label, None: it wears none.  `place` is a name or code; `assembly` None: nothing is built in.
    """

    code: str | None
    holder: Holder
    assembly: Assembly | None
    place: str | None
    fixed_pocket: bool = False
    stood_cold: bool = False
    tool_number: int | None = None  # of the assembly, at the controls
    line: int = field(default=0, compare=False)  # where in its file


def _choice(record: Record, name: str, kind: type[Choice], default: Choice | None = None) -> Choice:
    value = record.maybe(name)
    if value is None and default is not None:
        return default
    for choice in kind:
        if (value or "").lower() == choice.value:
            return choice
    known = ", ".join(str(choice.value) for choice in kind)
    raise FieldFault(name, "one_of", known=known, said=repr(value or ""))


def _more_than_nought(record: Record, name: str) -> float:
    value = record.number(name)
    if value <= 0:
        raise FieldFault(name, "more_than_0")
    return value


def cutter_of(record: Record) -> Cutter:
    """The cutter in a row.  Raises FieldFault."""
    edges = record.maybe_whole("ZEFP")
    if edges == 0:
        raise FieldFault("ZEFP", "at_least_1")
    made = Cutter(
        key=record.text("cutter"),
        name=record.text("cutter_name"),
        dc_mm=_more_than_nought(record, "DC"),
        dmm_mm=_more_than_nought(record, "DMM"),
        oal_mm=_more_than_nought(record, "OAL"),
        material=_choice(record, "material", Material, Material.CARBIDE),
        lf_mm=record.maybe_number("LF"),
        lu_mm=record.maybe_number("LU"),
        re_mm=record.maybe_number("RE") or 0.0,
        zefp=edges or 1,
        rpmx_rpm=record.maybe_number("RPMX"),
        wt_kg=record.maybe_number("WT"),
        flat=record.flag("flat"),
        shank_h6=record.flag("shank_h6"),  # not said: not known to be ground so
        coolant=record.flag("cutter_coolant"),
        life_min=record.maybe_number("life_min"),
    )
    return possible(made, CUTTER_SYMBOLS)


def holder_of(record: Record) -> Holder:
    """The holder in a row.  Raises FieldFault."""
    try:
        coupling = Coupling.parse(record.text("coupling"))
    except ValueError as error:
        if isinstance(error, FieldFault):
            raise
        raise no_coupling("coupling", record.text("coupling")) from None
    made = Holder(
        key=record.text("key"),
        name=record.text("name"),
        coupling=coupling,
        clamping=_choice(record, "clamping", Clamping),
        bore_mm=_more_than_nought(record, "bore_mm"),
        bore_min_mm=record.maybe_number("bore_min_mm"),
        nose_mm=record.maybe_number("nose_mm"),
        projection_mm=record.maybe_number("projection_mm"),
        insert_min_mm=record.maybe_number("insert_min_mm"),
        insert_max_mm=record.maybe_number("insert_max_mm"),
        rpm_max=record.maybe_number("rpm_max"),
        mass_kg=record.maybe_number("mass_kg"),
        coolant=record.flag("holder_coolant"),
        knob=record.maybe("knob"),
        heat_limit=record.maybe_whole("heat_limit"),
    )
    return possible(made)


def measured_of(record: Record) -> Measured | None:
    """What was measured, or None where there is no length.  Raises FieldFault."""
    length_mm, diameter_mm = record.maybe_number("length_mm"), record.maybe_number("diameter_mm")
    if length_mm is None and diameter_mm is None:
        return None
    if length_mm is None or diameter_mm is None:
        raise FieldFault("length_mm" if length_mm is None else "diameter_mm", "empty_though_measured")
    made = Measured(
        length_mm,
        diameter_mm,
        corner_radius_mm=record.maybe_number("corner_radius_mm"),
        runout_um=record.maybe_number("runout_um"),
        edges=record.maybe_whole("edges"),
        unbalance_gmm=record.maybe_number("unbalance_gmm"),
        balance_grade=record.maybe_number("balance_grade"),
        at_rpm=record.maybe_number("at_rpm"),
        length_error_um=record.maybe_number("length_error_um", signed=True),
    )
    return possible(made)


def _unbalance_of(record: Record, found: Measured | None) -> tuple[Measured | None, Unbalance | None]:
    """What was found, and what unbalance is left by a balancing machine: where that found it, it stands there alone."""
    grade, mass_kg = record.maybe_number("balance_asked"), record.maybe_number("balanced_kg")
    residual_gmm = record.maybe_number("unbalance_gmm")
    if residual_gmm is None or (found is not None and grade is None and mass_kg is None):
        return found, None
    left = Unbalance(residual_gmm, grade, record.maybe_number("at_rpm") or None, mass_kg)
    possible(left, _BALANCE_COLUMNS)
    alone = None if found is None else replace(found, unbalance_gmm=None, balance_grade=None, at_rpm=None)
    return alone, left


def holder_row_of(record: Record) -> HolderRow:
    """A holder with what is built in and where it stands.  Raises FieldFault."""
    code = record.maybe("code")
    if code is not None:
        try:
            parsed = parse_code(code)
        except CodeFault as fault:
            raise no_code(code, fault) from None
        if parsed.kind is not CodeKind.HOLDER:
            raise FieldFault("code", "not_code_of.holder", said=code)
        code = parsed.text
    holder = holder_of(record)
    assembly = None
    if key := record.maybe("assembly"):
        cutter = cutter_of(record)
        measured, unbalance = _unbalance_of(record, measured_of(record))
        assembly = Assembly(
            key,
            record.maybe("assembly_name") or cutter.name,
            holder,
            cutter,
            record.maybe_number("insert_mm"),
            measured,
            _choice(record, "condition", Condition, Condition.GOOD),
            record.maybe_number("used_min") or 0.0,
            unbalance,
        )
        possible(assembly, CUTTER_SYMBOLS)
    elif record.maybe("cutter"):
        raise FieldFault("assembly", "empty_though_built")
    place, fixed = record.maybe("place"), record.flag("fixed_pocket")
    if fixed and place is None:
        raise FieldFault("fixed_pocket", "no_place_in_row")
    said = record.maybe("tool_number")  # a name in figures, longer than any measure
    number = int(said) if said and said.isdecimal() and len(said) <= len(str(int(TOOL_NUMBER.most))) else None
    if said and (number is None or not TOOL_NUMBER.takes(number)):
        raise FieldFault("tool_number", "tool_number", said=said[:20], bound=str(TOOL_NUMBER))
    return HolderRow(code, holder, assembly, place, fixed, record.flag("stood_cold"), number, record.line)


def _read(
    table: Table,
    make: Callable[[Record], Made],
    known: Sequence[str],
    needs: Sequence[str],
    unique: Callable[[Made], Iterable[tuple[str, str]]],
) -> Read[Made]:
    """Every row made, or its fault.  unique: (column, value) pairs that no two rows may share."""
    faults = list(table.faults)
    for name in table.columns:
        if name not in known:
            faults.append(fault_at(table.file, 1, name, "no_column", known=", ".join(known)))
    faults += [fault_at(table.file, 1, name, "column_missing") for name in needs if name not in table.columns]
    if any(name not in table.columns for name in needs):
        return Read((), tuple(faults))
    good: list[Made] = []
    seen: dict[tuple[str, str], int] = {}
    for record in table.records:
        try:
            made = make(record)
            pairs = tuple(unique(made))
            for pair in pairs:
                if pair in seen:
                    raise FieldFault(pair[0], "there_already", said=pair[1], line=seen[pair])
        except FieldFault as fault:
            faults.append(Fault(table.file, record.line, fault.field, fault.say))
            continue
        seen.update(dict.fromkeys(pairs, record.line))
        good.append(made)
    return Read(tuple(good), tuple(sorted(faults)))


def read_cutters(table: Table) -> Read[Cutter]:
    """The cutters in a table with CUTTER_COLUMNS; CUTTER_NEEDS must be there."""
    return _read(table, cutter_of, CUTTER_COLUMNS, CUTTER_NEEDS, lambda cutter: [("cutter", cutter.key)])


def read_holders(table: Table) -> Read[HolderRow]:
    """The holders in a table with BOOK_COLUMNS; HOLDER_NEEDS must be there."""

    def unique(row: HolderRow) -> list[tuple[str, str]]:
        pairs = [("key", row.holder.key)]
        if row.code:
            pairs.append(("code", row.code))
        if row.assembly:
            pairs += [("assembly", row.assembly.key), ("cutter", row.assembly.cutter.key)]
        return pairs

    return _read(table, holder_row_of, BOOK_COLUMNS, HOLDER_NEEDS, unique)


def cutter_cells(cutter: Cutter) -> tuple[Cell, ...]:
    """A cutter under CUTTER_COLUMNS."""
    return (
        *(cutter.key, cutter.name, cutter.material.value, cutter.dc_mm, cutter.dmm_mm, cutter.oal_mm),
        *(cutter.lf_mm, cutter.lu_mm, cutter.re_mm, cutter.zefp, cutter.rpmx_rpm, cutter.wt_kg),
        *(cutter.flat, cutter.shank_h6, cutter.coolant, cutter.life_min),
    )


def holder_cells(code: str, holder: Holder) -> tuple[Cell, ...]:
    """A holder under HOLDER_COLUMNS."""
    return (
        *(code, holder.key, holder.name, str(holder.coupling), holder.clamping.value, holder.bore_mm),
        *(holder.bore_min_mm, holder.nose_mm, holder.projection_mm, holder.insert_min_mm, holder.insert_max_mm),
        *(holder.rpm_max, holder.mass_kg, holder.coolant, holder.knob, holder.heat_limit),
    )


def _measured_cells(built: Assembly) -> tuple[Cell, ...]:
    found, left = built.measured, built.unbalance
    sizes: tuple[Cell, ...] = (None,) * 5
    balance: tuple[Cell, ...] = (None,) * 3
    asked: tuple[Cell, ...] = (None,) * 2
    if found is not None:
        sizes = found.length_mm, found.diameter_mm, found.runout_um, found.corner_radius_mm, found.edges
        balance = found.unbalance_gmm, found.balance_grade, found.at_rpm
    if left is not None and (found is None or found.unbalance_gmm is None):
        balance, asked = (left.residual_gmm, _grade_kept(left), left.rpm), (left.grade, left.mass_kg)
    return (*sizes, *balance, found.length_error_um if found else None, *asked)


def _grade_kept(left: Unbalance) -> float | None:
    """The grade G that an unbalance amounts to at its speed, where the mass is known."""
    if left.rpm is None or left.mass_kg is None:
        return None
    return round(grade_of(left.residual_gmm, left.mass_kg, left.rpm), 2)


def book_cells(entry: BookEntry) -> tuple[Cell, ...]:
    """A holder with everything about it under BOOK_COLUMNS."""
    built = entry.assembly
    cutter: tuple[Cell, ...] = cutter_cells(built.cutter) if built else (None,) * len(CUTTER_COLUMNS)
    return (
        *holder_cells(entry.code, entry.holder),
        # a table read in later may be read on another day: whether it is cold then, nobody knows
        *(False, entry.place, entry.fixed),
        *((built.key, built.name, built.insert_mm) if built else (None, None, None)),
        *cutter,
        *((built.used_min, built.condition.value, entry.tool_number) if built else (None, None, None)),
        *(_measured_cells(built) if built else (None,) * len(MEASURED_COLUMNS)),
    )


def write_book(entries: Iterable[BookEntry], dialect: Dialect = PLAIN) -> str:
    """All holders as one table that `read_holders` takes in again."""
    return write_table(BOOK_COLUMNS, map(book_cells, entries), dialect)


def write_cutters(cutters: Iterable[Cutter], dialect: Dialect = PLAIN) -> str:
    """Cutters as one table that `read_cutters` takes in again."""
    return write_table(CUTTER_COLUMNS, map(cutter_cells, cutters), dialect)
