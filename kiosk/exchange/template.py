"""The shop's own text templates: any control's offset file, written without knowing the control.

A template never writes a value that is not there: an unknown symbol or a missing value is a fault with the
template's file and line and the assembly's name, and no half-written file comes out.  Symbols are those of
ISO 13399 with a few plain ones beside them (`rules.offsets.SYMBOLS`).

A template is plain text.  `{LF}` is a value, `{LF:.3f}` one with three decimals, `{LF/25.4:.4f}` one in inches,
`{POCKET:03}` one with leading noughts; `{{` and `}}` are braces.  Lines between `[each]` and `[end]` are repeated
for each assembly, those before and after are written once.  `[decimal comma]`, `[lines crlf]` and
`[encoding ascii]` before the first text say how the file is written.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from kiosk.exchange.faults import Fault, FileFaults, fault_at, file_say
from kiosk.rules.offsets import SYMBOLS, USUAL, CardRules, OffsetRow, values
from kiosk.rules.stock import BookEntry

_FIELD = re.compile(r"\{([A-Z]+)(?:([*/])([0-9]+(?:\.[0-9]+)?))?(?::([^{}]*))?\}")
_SPEC = re.compile(r"[<>^]?[+]?0?[0-9]{0,3}(\.[0-9]{1,2}f|d)?")
LONGEST_LINE = 2000  # characters: no control takes a longer one
MOST_LINES = 2000
LONGEST_FACTOR = 20  # digits
LEAST_FACTOR = 1e-6
_OPTIONS = {
    "[decimal point]": ("decimal", "."),
    "[decimal comma]": ("decimal", ","),
    "[lines lf]": ("line_end", "\n"),
    "[lines crlf]": ("line_end", "\r\n"),
    "[encoding utf-8]": ("encoding", "utf-8"),
    "[encoding ascii]": ("encoding", "ascii"),
}
_SHAPE = {"(": "[", ")": "]", "%": "/"}  # what ends a comment or a program by ISO 6983


class Unwritable(ValueError):
    """A `value` that its way of writing, `spec`, does not suit."""

    def __init__(self, value: str, spec: str) -> None:
        super().__init__(value)
        self.value = value
        self.spec = spec


class Slot(NamedTuple):
    """A value in a template's line; `spec` as in Python's formats, `scale` what it is multiplied with."""

    symbol: str
    scale: float
    spec: str


@dataclass(frozen=True, slots=True)
class TemplateLine:
    """One line of a template with its number in the file: texts, and slots between them."""

    number: int
    parts: tuple[str | Slot, ...]


@dataclass(frozen=True, slots=True)
class Template:
    """A template that has been read."""

    file: str
    before: tuple[TemplateLine, ...]
    each: tuple[TemplateLine, ...]
    after: tuple[TemplateLine, ...]
    decimal: str = "."
    line_end: str = "\n"
    encoding: str = "utf-8"


def read_template(text: str, file: str) -> Template:
    """A template from its text.  Raises FileFaults with every line that is wrong."""
    options: dict[str, str] = {}
    sections: list[list[TemplateLine]] = [[], [], []]
    at = 0
    faults: list[Fault] = []
    raws = text.removeprefix("\ufeff").splitlines()
    if len(raws) > MOST_LINES:
        raise FileFaults([fault_at(file, 0, "", "too_many_lines", lines=len(raws), most=MOST_LINES)])
    for number, raw in enumerate(raws, 1):
        if len(raw) > LONGEST_LINE:
            faults.append(fault_at(file, number, "", "too_many_characters", characters=len(raw), most=LONGEST_LINE))
            continue
        mark = raw.strip().lower()
        if mark in _OPTIONS and not any(sections):
            name, value = _OPTIONS[mark]
            options[name] = value
        elif mark in ("[each]", "[end]"):
            if at != ("[each]", "[end]").index(mark):
                faults.append(fault_at(file, number, raw.strip(), "out_of_order"))
            at = min(at + 1, 2)
        else:
            sections[at].append(_line(raw, number, file, faults))
    if at == 0:
        faults.append(fault_at(file, 0, "[each]", "each_missing"))
    elif at == 1:
        faults.append(fault_at(file, 0, "[end]", "end_missing"))
    for section in (sections[0], sections[2]):
        for line in section:
            faults += [
                fault_at(file, line.number, f"{{{part.symbol}}}", "outside_each")
                for part in line.parts
                if isinstance(part, Slot) and part.symbol != "MACHINE"
            ]
    if faults:
        raise FileFaults(sorted(faults))
    return Template(file, tuple(sections[0]), tuple(sections[1]), tuple(sections[2]), **options)


def _line(raw: str, number: int, file: str, faults: list[Fault]) -> TemplateLine:
    parts: list[str | Slot] = []
    at = 0
    while at < len(raw):
        if raw.startswith(("{{", "}}"), at):
            parts.append(raw[at])
            at += 2
        elif raw[at] in "{}":
            match = _FIELD.match(raw, at)
            if match is None:
                end = raw.find("}", at)
                what = raw[at : end + 1] if end > at else raw[at:]
                faults.append(fault_at(file, number, what, "no_value_here"))
                break
            parts.append(_slot(match, number, file, faults))
            at = match.end()
        else:
            end = min((cut for cut in (raw.find("{", at), raw.find("}", at)) if cut >= 0), default=len(raw))
            parts.append(raw[at:end])
            at = end
    return TemplateLine(number, tuple(parts))


def _slot(match: re.Match[str], number: int, file: str, faults: list[Fault]) -> Slot:
    symbol, sign, factor, spec = match[1], match[2], match[3], match[4] or ""
    if symbol not in SYMBOLS:
        faults.append(fault_at(file, number, match[0], "symbol_unknown", said=symbol, known=", ".join(SYMBOLS)))
    if not _SPEC.fullmatch(spec):
        faults.append(fault_at(file, number, match[0], "no_way_to_write", said=repr(spec)))
    scale = float(factor[:LONGEST_FACTOR]) if factor else 1.0
    if factor and (len(factor) > LONGEST_FACTOR or not LEAST_FACTOR <= scale <= 1 / LEAST_FACTOR):
        what = f"{match[0][:LONGEST_FACTOR]}..." if len(match[0]) > LONGEST_FACTOR else match[0]
        if scale == 0:
            faults.append(fault_at(file, number, what, "factor_0"))
        else:
            least, most = f"{LEAST_FACTOR:g}", f"{1 / LEAST_FACTOR:.0f}"
            faults.append(fault_at(file, number, what, "factor", least=least, most=most))
        scale = 1.0
    return Slot(symbol, 1 / scale if sign == "/" else scale, spec)


def fill(template: Template, entries: Iterable[BookEntry], rules: CardRules = USUAL, machine: str = "") -> bytes:
    """The file for these assemblies.  Raises FileFaults naming line, assembly and symbol; CardFault where an
    assembly's values must not be used at all.
    """
    faults: list[Fault] = []
    whole = {"MACHINE": OffsetRow("MACHINE", machine)}
    lines = [_filled(line, whole, template, "", faults) for line in template.before]
    for entry in entries:
        known = values(entry, rules)
        if machine:
            known |= whole
        lines += [_filled(line, known, template, entry.name, faults) for line in template.each]
    lines += [_filled(line, whole, template, "", faults) for line in template.after]
    if faults:
        raise FileFaults(faults)
    text = "".join(line + template.line_end for line in lines)
    return text.encode(template.encoding)


def _filled(
    line: TemplateLine, known: Mapping[str, OffsetRow], template: Template, name: str, faults: list[Fault]
) -> str:
    text = ""
    marks = {mark for mark in ",;\t" for part in line.parts if isinstance(part, str) and mark in part}
    for part in line.parts:
        if isinstance(part, str):
            text += part if template.encoding != "ascii" else _plain(part)
            continue
        value = known[part.symbol].value
        if value is None:
            faults.append(fault_at(template.file, line.number, f"{{{part.symbol}}}", "no_value", assembly=name))
            continue
        try:
            if isinstance(value, str):  # a name must not open another column
                value = "".join(" " if sign in marks else sign for sign in value)
            text += _written(value, part, template)
        except Unwritable as error:
            why = file_say("not_so_written", assembly=name, said=error.value, spec=repr(error.spec))
            faults.append(Fault(template.file, line.number, f"{{{part.symbol}}}", why))
    return text


def _written(value: str | int | float, slot: Slot, template: Template) -> str:
    """One value as text.  Raises Unwritable where the way of writing does not suit it."""
    if isinstance(value, str):
        safe = "".join(_SHAPE.get(sign, sign) for sign in value if sign.isprintable())
        return format(_plain(safe) if template.encoding == "ascii" else safe, slot.spec)
    scaled = value * slot.scale
    whole = scaled == int(scaled)
    if slot.spec.endswith("d") and whole:
        return format(int(scaled), slot.spec)
    if slot.spec.endswith("f"):
        return format(scaled, slot.spec).replace(".", template.decimal)
    if slot.spec.endswith("d"):
        raise Unwritable(f"{scaled:g}", slot.spec)
    plain = str(int(scaled)) if whole else f"{scaled:.6f}".rstrip("0")
    padded = format(int(plain), slot.spec) if whole and slot.spec else format(plain, slot.spec)
    return padded.replace(".", template.decimal)


def _plain(text: str) -> str:
    """Letters without their marks, and a question mark for what ASCII has nothing for."""
    bare = unicodedata.normalize("NFKD", text.replace("ß", "ss").replace("Ø", "D").replace("ø", "d"))
    kept = "".join(sign for sign in bare if not unicodedata.combining(sign))
    return kept.encode("ascii", "replace").decode("ascii")
