"""The questions that make a place, a machine, a cutter or a holder, one list a thing.

Says what is asked, in which order and within what bounds; never asks anybody and makes nothing itself (`making`).
Fields are called as the values they fill, so that bounds come from the one table (`bounds_of_lines`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from kiosk.rules.assembly import SIZES, Clamping, Coupling, Cutter, Family, Holder, Material
from kiosk.rules.bounds import Bound
from kiosk.rules.bounds_of_lines import BOUNDS
from kiosk.rules.fitting.magazine import Magazine, MagazineKind
from kiosk.rules.places import WAYS, Kind, Place

Value = str | float | bool | tuple[int, ...]
Draft = Mapping[str, Value]  # the answers so far, by field


class Thing(Enum):
    """What a shop has; of a place the value is its kind."""

    BENCH = Kind.BENCH.value
    SHRINK = Kind.SHRINK.value
    COOLING = Kind.COOLING.value
    PRESETTER = Kind.PRESETTER.value
    CABINET = Kind.CABINET.value
    MACHINE = Kind.MACHINE.value
    OUT = Kind.OUT.value
    CUTTER = "cutter"
    HOLDER = "holder"

    @property
    def is_place(self) -> bool:
        return self not in (Thing.CUTTER, Thing.HOLDER)


class Ask(Enum):
    """How a field is asked."""

    TEXT = "text"
    FIGURE = "figure"
    CHOICE = "choice"
    YES_NO = "yes_no"
    DRAWERS = "drawers"  # slots of each drawer, top first, from a drawing


@dataclass(frozen=True, slots=True)
class Field:
    """One question.  needed: there is no thing without an answer.  options: of a choice, "" is none of them.

    where: another field and the answers to it for which this one is asked at all.
    """

    name: str
    ask: Ask
    needed: bool = False
    bound: Bound | None = None
    options: tuple[str, ...] = ()
    where: tuple[str, tuple[Value, ...]] | None = None


COUPLINGS = tuple(
    str(Coupling(family, size)) for family in Family for size in SIZES[family] if size not in (25, 125, 160)
)
ROUND = (MagazineKind.DISC.value, MagazineKind.CAROUSEL.value)
STRAIGHT = (MagazineKind.CHAIN.value, MagazineKind.SHELF.value)


def _figure(owner: type, name: str, needed: bool = False, where: tuple[str, tuple[Value, ...]] | None = None) -> Field:
    return Field(name, Ask.FIGURE, needed, BOUNDS[owner][name], where=where)


_NAME = Field("name", Ask.TEXT, needed=True)
_ROOM = _figure(Place, "capacity")

FORMS: Mapping[Thing, tuple[Field, ...]] = {
    Thing.BENCH: (_NAME, _ROOM),
    Thing.SHRINK: (_NAME, _ROOM),
    Thing.PRESETTER: (_NAME, _ROOM),
    Thing.OUT: (_NAME, _ROOM),
    Thing.COOLING: (
        Field("way", Ask.CHOICE, needed=True, options=WAYS),
        _figure(Place, "wet_length_mm", needed=True, where=("way", ("sleeve",))),
        _NAME,
        _ROOM,
    ),
    Thing.CABINET: (Field("drawers", Ask.DRAWERS, needed=True), _NAME),
    Thing.MACHINE: (
        Field("kind", Ask.CHOICE, needed=True, options=tuple(kind.value for kind in MagazineKind)),
        _figure(Magazine, "pockets", needed=True),
        _figure(Magazine, "ring_mm", needed=True, where=("kind", ROUND)),
        _figure(Magazine, "pitch_mm", needed=True, where=("kind", STRAIGHT)),
        Field("couplings", Ask.CHOICE, needed=True, options=(*COUPLINGS, "")),
        _NAME,
        Field("spindle", Ask.YES_NO),
        _figure(Magazine, "clearance_mm"),
        _figure(Magazine, "first"),
        _figure(Magazine, "rows", where=("kind", (MagazineKind.SHELF.value,))),
        _figure(Magazine, "row_pitch_mm", where=("kind", (MagazineKind.SHELF.value,))),
        _figure(Magazine, "diameter_max_mm"),
        _figure(Magazine, "diameter_max_free_mm"),
        _figure(Magazine, "length_max_mm"),
        _figure(Magazine, "mass_max_kg"),
        _figure(Magazine, "moment_max_nm"),
        _figure(Magazine, "rpm_max"),
        _figure(Magazine, "rpm_needed"),
        Field("coolant", Ask.YES_NO),
        _figure(Magazine, "change_at"),
    ),
    Thing.CUTTER: (
        _figure(Cutter, "dc_mm", needed=True),
        _figure(Cutter, "dmm_mm", needed=True),
        _figure(Cutter, "oal_mm", needed=True),
        Field("material", Ask.CHOICE, needed=True, options=tuple(material.value for material in Material)),
        Field("shank_h6", Ask.YES_NO, needed=True),
        _NAME,
        _figure(Cutter, "lu_mm"),
        _figure(Cutter, "lf_mm"),
        _figure(Cutter, "re_mm"),
        _figure(Cutter, "zefp"),
        _figure(Cutter, "rpmx_rpm"),
        _figure(Cutter, "wt_kg"),
        Field("flat", Ask.YES_NO),
        Field("coolant", Ask.YES_NO),
        _figure(Cutter, "life_min"),
    ),
    Thing.HOLDER: (
        Field("coupling", Ask.CHOICE, needed=True, options=COUPLINGS),
        Field("clamping", Ask.CHOICE, needed=True, options=tuple(clamping.value for clamping in Clamping)),
        _figure(Holder, "bore_mm", needed=True),
        _figure(Holder, "bore_min_mm", where=("clamping", (Clamping.COLLET.value,))),
        _figure(Holder, "nose_mm", needed=True),
        _figure(Holder, "projection_mm", needed=True),
        _NAME,
        _figure(Holder, "insert_min_mm"),
        _figure(Holder, "insert_max_mm"),
        _figure(Holder, "rpm_max"),
        _figure(Holder, "mass_kg"),
        _figure(Holder, "heat_limit"),
        Field("coolant", Ask.YES_NO),
        Field("knob", Ask.TEXT),
    ),
}


def fields_of(thing: Thing, draft: Draft) -> tuple[Field, ...]:
    """What is asked of a thing, the answers so far taken in."""
    return tuple(
        field for field in FORMS[thing] if field.where is None or draft.get(field.where[0]) in field.where[1]
    )


def next_field(thing: Thing, draft: Draft) -> Field | None:
    """The first question that is needed and has no answer; None: the thing can be made."""
    return next((field for field in fields_of(thing, draft) if field.needed and field.name not in draft), None)
