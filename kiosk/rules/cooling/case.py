"""A cooling case from a file: every number given, nothing taken from the shop's settings.

Reads the plain values of a case (`holder`, `tool`, `heat`, `stages`, `methods`, `steel`, `tools`, `ambient_c`,
`limit_c`) and reports times and a curve.  It never fills in a number that is missing: an error names the field.
The layout is that of the reference solutions the model is checked against.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from reprlib import repr as shown
from typing import Any

import numpy as np

from kiosk.rules.assembly import Material
from kiosk.rules.cooling.assessment import assess
from kiosk.rules.cooling.lasting import GUARD
from kiosk.rules.cooling.stand import CoolingError, Heat, Room, Stage, checked, course_of
from kiosk.rules.cooling.unknowns import FILMS, Film, Way
from kiosk.rules.outline import CUTTER_METALS, STEEL, Metal, OutlineError, Profile, Segment, Tool

_CURVE_S = np.unique(np.concatenate([np.arange(0.0, 121.0), np.geomspace(120.0, 7200.0, 140), [7200.0]]))
LARGEST = 1e9


@dataclass(frozen=True, slots=True)
class Case:
    """One holder, its heat, where it stood, and the shop, all as the file gives them."""

    name: str
    profile: Profile
    heat: Heat
    stages: tuple[Stage, ...]
    room: Room

    @staticmethod
    def from_json(data: object) -> Case:
        """From the plain values of a case.  Raises CoolingError naming the field."""
        top = _Field("case", data)
        metals = top.at("tools", optional=True)
        steel = top.at("steel", optional=True)
        raw_tool = top.at("tool", optional=True)
        try:
            profile = Profile(
                segments=tuple(_segment(item) for item in top.at("holder").items()),
                tool=_tool(raw_tool, metals) if raw_tool else None,
                steel=_metal(steel, STEEL) if steel else STEEL,
            )
        except OutlineError as error:
            field = error.field.replace("segments[", "holder[")
            raise CoolingError(field, error.why) from error
        heat = top.at("heat")
        films = dict(FILMS)
        methods = top.at("methods", optional=True)
        if methods:
            for way in Way:
                given = methods.at(way.value, optional=True)
                if given:
                    films[way] = Film(given.number("film_w_m2k"), given.number("emissivity"))
        case = Case(
            name=str(top.value.get("name", "")) if isinstance(top.value, Mapping) else "",
            profile=profile,
            heat=Heat(heat.number("temp_c"), heat.number("length_mm")),
            stages=tuple(_stage(item) for item in top.at("stages").items()),
            room=Room(top.number("ambient_c"), top.number("limit_c"), films=films),
        )
        checked(case.profile, case.heat, case.stages, case.room)
        return case


@dataclass(frozen=True, slots=True)
class CaseReport:
    """touch_safe_s: nominal.  hold_s: 99 % bound, None if time alone cannot end it.  curve: (t_s, hottest_c)."""

    touch_safe_s: float
    hold_s: float | None
    measure_ready_s: float
    take_out_s: float | None
    mass_kg: float
    curve: tuple[tuple[float, float], ...]


def case_report(case: Case) -> CaseReport:
    """What the model says of a case.  Raises CoolingError."""
    assessment = assess(case.profile, case.heat, case.stages, case.room)
    course = course_of(case.profile, case.heat, case.stages, case.room)
    until_s = max(7200.0, assessment.t_s[-1])
    times = np.unique(np.round(np.concatenate([_CURVE_S, assessment.t_s, np.geomspace(7200.0, until_s, 20)]), 2))
    hottest = case.room.ambient_c + GUARD * course.hottest(times)
    return CaseReport(
        touch_safe_s=assessment.touch_safe_s,
        hold_s=assessment.hold_s,
        measure_ready_s=assessment.measure_ready_s,
        take_out_s=assessment.take_out_s,
        mass_kg=round(case.profile.mass_kg, 3),
        curve=tuple((round(float(t), 2), round(float(y), 2)) for t, y in zip(times, hottest, strict=True)),
    )


class _Field:
    """A value with the path to it, so that an error can name it."""

    def __init__(self, path: str, value: object) -> None:
        self.path, self.value = path, value

    def at(self, key: str, optional: bool = False) -> Any:
        if not isinstance(self.value, Mapping):
            raise CoolingError(self.path, "must be an object with named values")
        if key not in self.value or self.value[key] is None:
            if optional:
                return None
            raise CoolingError(f"{self.path}.{key}", "is missing")
        return _Field(f"{self.path}.{key}", self.value[key])

    def items(self) -> list[_Field]:
        if not isinstance(self.value, Sequence) or isinstance(self.value, str) or not self.value:
            raise CoolingError(self.path, "must be a list with at least one entry")
        return [_Field(f"{self.path}[{index}]", item) for index, item in enumerate(self.value)]

    def number(self, key: str) -> float:
        field = self.at(key)
        if isinstance(field.value, bool) or not isinstance(field.value, (int, float)):
            raise CoolingError(field.path, f"must be a number, not {shown(field.value)}")
        if not abs(field.value) <= LARGEST:  # not a number, without end, or beyond every measure
            raise CoolingError(field.path, f"must be a number within {LARGEST:g}, not {shown(field.value)}")
        return float(field.value)

    def text(self, key: str) -> str:
        field = self.at(key)
        if not isinstance(field.value, str):
            raise CoolingError(field.path, f"must be a word, not {shown(field.value)}")
        return field.value


def _segment(item: _Field) -> Segment:
    return Segment(
        item.number("length_mm"), item.number("od_start_mm"), item.number("od_end_mm"), item.number("bore_mm")
    )


def _tool(item: _Field, metals: _Field | None) -> Tool:
    name = item.text("material")
    known = {material.value: metal for material, metal in CUTTER_METALS.items()}
    given = metals.at(name, optional=True) if metals else None
    if given is None and name not in known:
        raise CoolingError(f"{item.path}.material", f"{name!r} stands neither in `tools` nor among {sorted(known)}")
    base = known.get(name, CUTTER_METALS[Material.CARBIDE])
    metal = _metal(given, base) if given else base
    return Tool(item.number("shank_mm"), item.number("insert_mm"), item.number("stickout_mm"), metal)


def _metal(item: _Field, base: Metal) -> Metal:
    return Metal(item.number("k"), item.number("rho"), item.number("c"), item.number("alpha"), base.e_gpa)


def _stage(item: _Field) -> Stage:
    name = item.text("method")
    if name not in {way.value for way in Way}:
        raise CoolingError(f"{item.path}.method", f"{name!r} is none of {', '.join(way.value for way in Way)}")
    end = item.at("end_s", optional=True)
    wet = item.at("cooled_length_mm", optional=True)
    return Stage(
        Way(name),
        item.number("start_s"),
        item.number("end_s") if end else None,
        item.number("cooled_length_mm") if wet else None,
    )
