"""Assemblies as MTConnect CuttingTool assets, version 2.4.

Nothing is claimed that was not measured or said: an assembly nobody measured has no status MEASURED, and what is
not known is left out rather than set to zero.  Element order, value lists and units are those of the published
assets schema; lengths are MILLIMETER, masses GRAM, speeds REVOLUTION/MINUTE, life MINUTES.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from xml.etree import ElementTree as ET

from kiosk.rules.assembly import Assembly, Condition
from kiosk.rules.fitting.loads import mass_kg, rated_rpm
from kiosk.rules.fitting.magazine import Magazine
from kiosk.rules.fitting.pockets import overlap
from kiosk.rules.places import Kind
from kiosk.rules.stock import BookEntry

NAMESPACE = "urn:mtconnect.org:MTConnectAssets:2.4"
BUFFER_SIZE = 1048576  # more than any shop has assemblies
_UNFIT = re.compile(r"[^\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")  # XML 1.0 has no place for these


@dataclass(frozen=True, slots=True)
class Export:
    """What the document says of itself.  when: of the export and of every value in it, UTC."""

    when: datetime
    sender: str
    instance: int = 1

    @property
    def timestamp(self) -> str:
        if self.when.tzinfo is None:
            raise ValueError("the time of an export needs its zone")
        return self.when.isoformat(timespec="seconds").replace("+00:00", "Z")


def document(entries: Iterable[BookEntry], export: Export, magazines: Mapping[str, Magazine] | None = None) -> bytes:
    """An MTConnectAssets document of every entry that has something built in, UTF-8.

    magazines: by machine name, for how far an assembly reaches into its neighbours' pockets.
    """
    ET.register_namespace("", NAMESPACE)
    built = [entry for entry in entries if entry.assembly is not None]
    root = ET.Element(_tag("MTConnectAssets"))
    ET.SubElement(
        root,
        _tag("Header"),
        {
            "version": "2.4.0.0",
            "creationTime": export.timestamp,
            "sender": _plain(export.sender),
            "instanceId": str(export.instance),
            "deviceModelChangeTime": export.timestamp,
            "assetBufferSize": str(BUFFER_SIZE),
            "assetCount": str(len(built)),
        },
    )
    assets = ET.SubElement(root, _tag("Assets"))
    for entry in built:
        magazine = (magazines or {}).get(entry.machine or "")
        assets.append(_cutting_tool(entry, export, magazine))
    ET.indent(root)
    return bytes(ET.tostring(root, encoding="utf-8", xml_declaration=True)) + b"\n"


def statuses(entry: BookEntry) -> tuple[str, ...]:
    """CutterStatus values of an entry, in the schema's words."""
    built = entry.assembly
    assert built is not None
    found = ["MEASURED"] if built.measured else []
    if built.condition is Condition.BROKEN:
        found.append("BROKEN")
    elif built.condition is Condition.WORN or _used_up(built):
        found.append("EXPIRED")
    elif built.condition is Condition.UNKNOWN:
        found.append("UNKNOWN")
    elif entry.hot or entry.kind is Kind.OUT or entry.place is None:
        found.append("UNAVAILABLE")
    else:
        found.append("AVAILABLE")
    found.append("USED" if built.used_min > 0 else "NEW")
    if entry.kind is not None and entry.kind.in_machine:
        found.append("ALLOCATED")
    return tuple(found)


def _used_up(built: Assembly) -> bool:
    return built.cutter.life_min is not None and built.used_min >= built.cutter.life_min


def _tag(name: str) -> str:
    return f"{{{NAMESPACE}}}{name}"


def _plain(text: str) -> str:
    return _UNFIT.sub("\ufffd", text)


def _token(text: str) -> str:
    """A text as an NMTOKEN: what it may not hold becomes a hyphen."""
    return re.sub(r"[^A-Za-z0-9À-ÖØ-öø-ÿ._:-]", "-", text) or "-"


def _number(value: float) -> str:
    return f"{value:.6f}".rstrip("0").rstrip(".")


def _cutting_tool(entry: BookEntry, export: Export, magazine: Magazine | None) -> ET.Element:
    built = entry.assembly
    assert built is not None
    cutter = built.cutter
    tool = ET.Element(
        _tag("CuttingTool"),
        {
            "assetId": _plain(built.key),
            "timestamp": export.timestamp,
            "serialNumber": _plain(entry.code),
            "toolId": _token(built.name),
        },
    )
    _text(tool, "Description", f"{built.name}: {cutter.name} in {entry.holder.name}")
    life = ET.SubElement(tool, _tag("CuttingToolLifeCycle"))
    status = ET.SubElement(life, _tag("CutterStatus"))
    for value in statuses(entry):
        _text(status, "Status", value)
    _text(life, "ReconditionCount", str(entry.regrinds))
    minutes = {"type": "MINUTES", "countDirection": "UP", "initial": "0"}
    if cutter.life_min is not None:
        minutes["limit"] = _number(cutter.life_min)
    _text(life, "ToolLife", _number(built.used_min), minutes)
    if entry.tool_number is not None:
        _text(life, "ProgramToolNumber", str(entry.tool_number))
    _location(life, entry, magazine)
    if (rpm := rated_rpm(built)) is not None:
        _text(life, "ProcessSpindleSpeed", "", {"maximum": _number(rpm)})
    _text(life, "ConnectionCodeMachineSide", str(entry.holder.coupling))
    _measurements(life, built)
    return tool


def _text(parent: ET.Element, name: str, text: str, attributes: Mapping[str, str] | None = None) -> None:
    ET.SubElement(parent, _tag(name), dict(attributes or {})).text = _plain(text)


def _location(life: ET.Element, entry: BookEntry, magazine: Magazine | None) -> None:
    """Where it stands, where the schema has a kind for it: a pot, a spindle or the crib (the cabinet)."""
    attributes: dict[str, str] = {}
    if entry.kind is Kind.POCKET and entry.pocket is not None:
        attributes["type"], number = "POT", entry.pocket
        if magazine is not None and entry.assembly is not None:
            reach = overlap(magazine, entry.assembly)
            attributes |= {"negativeOverlap": str(reach.negative), "positiveOverlap": str(reach.positive)}
    elif entry.kind is Kind.SPINDLE:
        attributes["type"], number = "SPINDLE", 1
    elif entry.kind is not None and entry.kind.stores:
        attributes["type"], number = "CRIB", 0
        attributes["toolRack"] = _token(entry.place or "")
    else:
        return
    if entry.machine:
        attributes["toolMagazine"] = _token(entry.machine)
    _text(life, "Location", str(number), attributes)


def _measurements(life: ET.Element, built: Assembly) -> None:
    """Assembly measurements, then those of the cutting item; nominal beside measured where both are known."""
    cutter, holder, measured = built.cutter, built.holder, built.measured
    mass = mass_kg(built)
    stick_out = None if built.insert_mm is None else cutter.oal_mm - built.insert_mm
    planned = None if stick_out is None or holder.projection_mm is None else holder.projection_mm + stick_out
    whole = ET.SubElement(life, _tag("Measurements"))
    rows: tuple[tuple[str, str, str, float | None, float | None], ...] = (
        ("FunctionalLength", "LF", "MILLIMETER", measured.length_mm if measured else None, planned),
        ("Weight", "WT", "GRAM", None, None if mass is None else mass * 1000),
        ("CuttingDiameterMax", "DC", "MILLIMETER", measured.diameter_mm if measured else None, cutter.dc_mm),
        ("BodyDiameterMax", "BDX", "MILLIMETER", None, holder.nose_mm),
        ("OverallToolLength", "OAL", "MILLIMETER", None, cutter.oal_mm),
        ("ShankDiameter", "DMM", "MILLIMETER", None, cutter.dmm_mm),
        ("UsableLengthMax", "LUX", "MILLIMETER", None, cutter.lu_mm),
    )
    for row in rows:
        _measurement(whole, *row)
    items = ET.SubElement(life, _tag("CuttingItems"), {"count": str(cutter.zefp)})
    item = ET.SubElement(items, _tag("CuttingItem"), {"indices": f"1-{cutter.zefp}" if cutter.zefp > 1 else "1"})
    of_item = ET.SubElement(item, _tag("Measurements"))
    radius = measured.corner_radius_mm if measured else None
    diameter = measured.diameter_mm if measured else None
    _measurement(of_item, "CuttingDiameter", "DC", "MILLIMETER", diameter, cutter.dc_mm)
    _measurement(of_item, "CornerRadius", "RE", "MILLIMETER", radius, cutter.re_mm)


def _measurement(
    parent: ET.Element, name: str, code: str, units: str, measured: float | None, nominal: float | None
) -> None:
    if measured is None and nominal is None:
        return
    attributes = {"code": code, "units": units}
    if nominal is not None:
        attributes["nominal"] = _number(nominal)
    _text(parent, name, "" if measured is None else _number(measured), attributes)
