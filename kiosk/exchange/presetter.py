"""What a presetter says of an assembly: a table or a line on a serial cable, by a map of the shop's own.

A value that cannot be read is a fault and never a zero, and a line is taken only whole.  No presetter is known
here by name: the shop's TOML file says how its lines are cut, which field is which and in what unit.
"""

from __future__ import annotations

import errno
import re
from collections.abc import Iterator
from dataclasses import asdict, dataclass, fields
from typing import Any, Literal, Protocol

import msgspec

from kiosk import filing
from kiosk.exchange.faults import Fault, FieldFault, FileFaults, Read, does_not_fit, fault_at, no_toml
from kiosk.exchange.figures import possible
from kiosk.exchange.tables_csv import DELIMITERS, Record, decoded, number, read_table
from kiosk.rules.assembly import Measured
from kiosk.rules.bounds import TOOL_NUMBER

SCALES_TO_MM = {"mm": 1.0, "um": 0.001, "inch": 25.4}
SCALES_TO_UM = {"um": 1.0, "mm": 1000.0, "inch": 25400.0}
PLACES = 6  # after the point: what changing the unit adds behind them is no measurement
_NUMBER = re.compile(r"[Tt]?\s?0*(\d{1,9})", re.ASCII)
_ENDS = re.compile(rb"\r\n|\r|\n")
_IS_TAKEN = (errno.EAGAIN, errno.EWOULDBLOCK, errno.EBUSY)
LONGEST_LINE = 4096  # bytes without a line end: no presetter's line is longer


Unit = Literal["mm", "um", "inch"]


@dataclass(frozen=True, slots=True)
class Fields:
    """Which field is which: a column's name, or on a serial line its number from 1.  Empty: there is none.

    `tool` is what tells which assembly it is: its name, or its holder's code.  `number`: what the controls call it,
    asked where `tool` says nothing.
    """

    tool: str = ""
    number: str = ""
    length: str = ""
    diameter: str = ""
    radius: str = ""  # half the diameter, where the presetter gives that instead
    corner_radius: str = ""
    runout: str = ""
    edges: str = ""
    unbalance: str = ""  # g mm
    grade: str = ""
    rpm: str = ""


@dataclass(frozen=True, slots=True)
class SerialLine:
    """The serial port, as in the presetter's manual."""

    port: str
    baud: int = 9600
    bits: Literal[7, 8] = 8
    parity: Literal["none", "even", "odd"] = "none"
    stop_bits: Literal[1, 2] = 1
    flow: Literal["none", "rts", "xon"] = "none"


@dataclass(frozen=True, slots=True)
class PresetterMap:
    """How a presetter writes.  In the shop's file `[fields]` and `[line]` are tables."""

    fields: Fields
    unit: Unit = "mm"
    runout_unit: Unit = "um"
    delimiter: str = ""  # of a table, empty: found out; of a serial line, empty: blanks
    prefix: str = ""  # lines on the cable that do not begin so are no measurements
    skip_lines: int = 0
    line: SerialLine | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """One measurement.  `tool`: as the presetter has it, empty where it does not say.  `number`: of the controls'."""

    line: int
    tool: str
    values: Measured
    number: int | None = None

    @property
    def called(self) -> str:
        """What tells which assembly it is, as the presetter has it."""
        return self.tool or ("" if self.number is None else f"T{self.number}")


def read_presetter_map(text: str, file: str) -> PresetterMap:
    """The map in a TOML file.  Raises FileFaults with every key that is wrong."""
    try:
        data = filing.toml_values(text)
    except filing.TomlFault as fault:
        raise FileFaults([no_toml(file, fault.why)]) from None
    faults = []
    for kind, table, before in (
        (PresetterMap, data, ""),
        (Fields, data.get("fields", {}), "[fields] "),
        (SerialLine, data.get("line", {}), "[line] "),
    ):
        known = [entry.name for entry in fields(kind)]
        faults += [
            fault_at(file, 0, f"{before}{key}", "key_unknown", known=", ".join(known))
            for key in (table if isinstance(table, dict) else {})
            if key not in known
        ]
    if faults:
        raise FileFaults(faults)
    try:
        made = msgspec.convert(data, PresetterMap)
    except msgspec.ValidationError as error:
        raise FileFaults([does_not_fit(file, error)]) from None
    if (why := _contradiction(made)) is not None:
        field, key, given = why
        raise FileFaults([fault_at(file, 0, field, key, said=given)])
    return made


def _contradiction(made: PresetterMap) -> tuple[str, str, str] | None:
    """Field, reason and what was said there."""
    known = made.fields
    if not known.length:
        return "[fields] length", "length_missing", ""
    if bool(known.diameter) == bool(known.radius):
        return "[fields] diameter", "diameter_or_radius", ""
    if made.delimiter and (len(made.delimiter) != 1 or not (made.delimiter in DELIMITERS or made.line)):
        return "delimiter", "one_sign", ""
    if made.line:
        for name, value in asdict(known).items():
            if value and not (re.fullmatch("[1-9][0-9]{0,3}", value)):
                return f"[fields] {name}", "serial_field", repr(value)
    if made.skip_lines < 0:
        return "skip_lines", "not_less_than_0", ""
    return None


def read_measurements(data: bytes, file: str, made: PresetterMap) -> Read[Reading]:
    """The measurements in a table.  Raises FileFaults where there is no table at all."""
    text = decoded(data, file, eight_bit=True)
    table = read_table(text, file, delimiter=made.delimiter or None, skip_lines=made.skip_lines)
    missing = [
        fault_at(file, made.skip_lines + 1, name, "map_column_missing", said=key)
        for key, name in asdict(made.fields).items()
        if name and name not in table.columns
    ]
    if missing:
        return Read((), (*table.faults, *missing))
    good, faults = [], list(table.faults)
    for record in table.records:
        try:
            good.append(_reading(record, made))
        except FieldFault as fault:
            faults.append(Fault(file, record.line, fault.field, fault.say))
    return Read(tuple(good), tuple(sorted(faults)))


def read_line(text: str, count: int, made: PresetterMap) -> Reading | None:
    """The measurement in one line from the cable, or None for a line that is none.

    count: which line it was, for the faults.  Raises FieldFault with the field's number.
    """
    cells = cells_of(text, made.delimiter, made.prefix)
    return _reading(Record(count, {str(at): cell for at, cell in enumerate(cells, 1)}), made) if cells else None


def cells_of(text: str, delimiter: str, prefix: str = "") -> tuple[str, ...]:
    """The fields of a line from the cable, cut at `delimiter` or, where that is empty, at blanks; none: it has none."""
    plain = text.strip("\r\n\x00\x02\x03 ")
    if not plain or (prefix and not plain.startswith(prefix)):
        return ()
    return tuple(cell.strip() for cell in plain[len(prefix) :].split(delimiter or None))


def _reading(record: Record, made: PresetterMap) -> Reading:
    known = made.fields
    scale, fine = SCALES_TO_MM[made.unit], SCALES_TO_UM[made.runout_unit]
    if known.diameter:
        diameter_mm = round(record.number(known.diameter) * scale, PLACES)
    else:
        diameter_mm = round(2 * record.number(known.radius) * scale, PLACES)
    edges = record.maybe_whole(known.edges) if known.edges else None
    length_mm = round(record.number(known.length) * scale, PLACES)
    for name, value in ((known.length, length_mm), (known.diameter or known.radius, diameter_mm)):
        if value <= 0:
            raise FieldFault(name, "more_than_0")

    def maybe(name: str, by: float = 1.0) -> float | None:
        text = record.maybe(name) if name else None
        return None if text is None else round(number(text, name) * by, PLACES)

    values = Measured(
        length_mm,
        diameter_mm,
        corner_radius_mm=maybe(known.corner_radius, scale),
        runout_um=maybe(known.runout, fine),
        edges=edges,
        unbalance_gmm=maybe(known.unbalance),
        balance_grade=maybe(known.grade),
        at_rpm=maybe(known.rpm),
    )
    called = {
        "length_mm": known.length,
        "diameter_mm": known.diameter or known.radius,
        "corner_radius_mm": known.corner_radius,
        "runout_um": known.runout,
        "edges": known.edges,
        "unbalance_gmm": known.unbalance,
        "balance_grade": known.grade,
        "at_rpm": known.rpm,
    }
    tool = (record.maybe(known.tool) or "") if known.tool else ""
    said = record.maybe(known.number) if known.number else None
    told = None if said is None else _tool_number(said, known.number)
    return Reading(record.line, tool, possible(values, called), told)


def _tool_number(said: str, field: str) -> int:
    """A control's tool number, with a T before it or without.  Raises FieldFault."""
    found = _NUMBER.fullmatch(said)
    if found is None or not TOOL_NUMBER.takes(int(found[1])):
        raise FieldFault(field, "tool_number", said=said[:20], bound=str(TOOL_NUMBER))
    return int(found[1])


class Bytes(Protocol):
    """What gives so many bytes, or fewer when its time is over."""

    def read(self, size: int = ...) -> bytes: ...


class Port(Bytes, Protocol):
    """What is asked of a serial port; `read_until` gives bytes up to a line end, or fewer when its time is over."""

    def read_until(self, expected: bytes = ..., size: int | None = ...) -> bytes: ...

    def close(self) -> None: ...


class LineFault(OSError):
    """A port that cannot be opened or has gone.  `port`, `why`; `taken`: another program has it."""

    def __init__(self, port: str, why: str, *, taken: bool = False) -> None:
        super().__init__(f"presetter at {port}: {why}")
        self.port = port
        self.why = why
        self.taken = taken


def open_port(line: SerialLine, wait_s: float = 0.5) -> Port:
    """Opens the cable.  Raises LineFault."""
    try:
        import serial  # only a kiosk with a cable needs the driver
    except ImportError:
        raise LineFault(line.port, "the serial driver is not installed (pyserial)") from None
    parity = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}[line.parity]
    try:
        port: Port = serial.serial_for_url(
            line.port,
            baudrate=line.baud,
            bytesize=line.bits,
            parity=parity,
            stopbits=line.stop_bits,
            rtscts=line.flow == "rts",
            xonxoff=line.flow == "xon",
            timeout=wait_s,
            exclusive=True,  # of two that read one cable each would hear a half
        )
    except (serial.SerialException, ValueError, OSError) as error:
        if getattr(error, "errno", None) in _IS_TAKEN:
            raise LineFault(line.port, "another program listens there; end that one first", taken=True) from None
        raise LineFault(line.port, str(error)) from None
    return port


def raw_lines(port: Bytes, name: str) -> Iterator[tuple[int, str] | Fault | None]:
    """Every line with its number from 1 as it comes in, blank ones apart; None when none was whole for a while.

    A Fault is bytes without an end.  name: of the port, for faults.  Ends never; the caller stops asking and closes the
    port.  Raises LineFault where the cable is gone.
    """
    rest, count = b"", 0
    while True:
        try:
            rest += port.read(LONGEST_LINE)
        except OSError as error:
            raise LineFault(name, str(error)) from None
        *whole, rest = _ENDS.split(rest)
        came = [raw.decode("ascii", "replace") for raw in whole if raw.strip()]
        for text in came:
            count += 1
            yield count, text
        if len(rest) >= LONGEST_LINE:
            rest = b""
            yield fault_at(name, count + 1, "", "line_too_long")
        elif not came:
            yield None


def heard(count: int, text: str, made: PresetterMap) -> Reading | Fault | None:
    """What one line from the cable says; a Fault where it cannot be read, None where it is no measurement."""
    try:
        return read_line(text, count, made)
    except FieldFault as fault:
        return Fault(made.line.port if made.line else "cable", count, f"field {fault.field}", fault.say)


def listen(port: Port, made: PresetterMap) -> Iterator[Reading | Fault | None]:
    """Readings as they come in; a Fault for a line that cannot be read, None when nothing came for a while.

    Ends never; the caller stops asking and closes the port.  Raises LineFault where the cable is gone.
    """
    for came in raw_lines(port, made.line.port if made.line else "cable"):
        if not isinstance(came, tuple):
            yield came
        elif (found := heard(*came, made)) is not None:
            yield found


def write_presetter_map(made: PresetterMap) -> str:
    """A map as the TOML that `read_presetter_map` reads; what is as usual is left out."""
    import tomlkit  # only for who writes one: a kiosk that reads them starts without

    def told(values: dict[str, Any], usual: dict[str, Any]) -> dict[str, Any]:
        return {key: value for key, value in values.items() if value != usual.get(key)}

    plain = told(asdict(made), asdict(PresetterMap(Fields())))
    plain["fields"] = told(asdict(made.fields), asdict(Fields()))
    if made.line:
        plain["line"] = told(asdict(made.line), asdict(SerialLine("")))
    for key in ("fields", "line"):  # tables come behind what belongs to none
        if key in plain:
            plain[key] = plain.pop(key)
    return tomlkit.dumps(plain)
