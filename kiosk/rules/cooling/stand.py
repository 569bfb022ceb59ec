"""How a holder stood: what was heated, which films its skin saw, and in what air.

The values a hold is made of, checked, and the one course of temperatures they and a draw of the unknowns make.
It never assumes a faster way of cooling than was seen: what follows the last stage is free air.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from kiosk.rules.cooling.flow import Course, Exchange, Longer, Start, conductance, flow, radiance
from kiosk.rules.cooling.mesh import FINE, Floats, Grid, Mesh, mesh_of
from kiosk.rules.cooling.unknowns import AMBIENT_K, FILMS, Film, Way
from kiosk.rules.outline import Profile

WAYS = tuple(Way)
_PAST_INSERT_MM = 4.0


class CoolingError(ValueError):
    """Data that cannot bound a temperature.  `field` is what to correct, `why` in a setter's words."""

    def __init__(self, field: str, why: str) -> None:
        super().__init__(f"{field}: {why}")
        self.field = field
        self.why = why


class Heat(NamedTuple):
    """Steel up to `length_mm` from the nose is at `temp_c` at time 0; the rest at `body_c` (None: ambient).

    left_k: in place of `body_c` how far above its air it was along its axis, as (z in mm, K).
    """

    temp_c: float
    length_mm: float
    body_c: float | None = None  # of a holder heated again before it was cold
    left_k: tuple[tuple[float, float], ...] = ()


class Stage(NamedTuple):
    """Where it stood, seconds since heating.  wet_length_mm: cooled this way from the cutter's tip to that z,
    in free air beyond; None: everywhere.  longer_s: it may have stood so for that much longer.  taken: which of those
    times it is solved for; None: every cell is as warm as at any of them."""

    way: Way
    start_s: float
    end_s: float | None = None
    wet_length_mm: float | None = None
    longer_s: float = 0.0
    taken: Longer | None = None


_MOST_STAGES = 8  # solved one after another; who moves a hot holder about more often waits as if in air


def few(stages: Sequence[Stage]) -> tuple[Stage, ...]:
    """At most `_MOST_STAGES` of them: earlier neighbours are taken together, as one stay in the slowest air.

    Slower cooling is warmer everywhere and ever after, so that a hold only gets longer by it.
    """
    kept = list(stages)
    while len(kept) > _MOST_STAGES:
        lost = [_lost(one) + _lost(two) for one, two in pairwise(kept[:-1])]
        at = lost.index(min(lost))
        one, two = kept[at : at + 2]
        kept[at : at + 2] = [Stage(Way.FREE_AIR, one.start_s, two.end_s, longer_s=one.longer_s + two.longer_s)]
    return tuple(kept)


def _lost(stage: Stage) -> float:
    """What is given away where it is taken for free air: seconds, weighed by the film."""
    if stage.way is Way.FREE_AIR or stage.end_s is None:
        return 0.0
    return (stage.end_s - stage.start_s) * FILMS[stage.way].film_w_m2k


class Room(NamedTuple):
    """The shop.  tolerance_um: length error a measurement may have.  ambient_sd_k: standard deviation of the air a
    holder stands in about `ambient_c`."""

    ambient_c: float = 23.0
    limit_c: float = 43.0
    tolerance_um: float = 3.0
    films: Mapping[Way, Film] = FILMS
    ambient_sd_k: float = AMBIENT_K.whole


class Draw(NamedTuple):
    """One holder out of all the ones that might stand there: factors on nominal, 1 and 0 for nominal itself.

    Or many: then each is (holders, 1).
    """

    heat: float | Floats = 1.0  # on the rise over ambient
    length_mm: float | Floats = 0.0  # added to the heated length
    film: tuple[float | Floats, ...] = (1.0,) * len(WAYS)  # by `Way`, radiation included
    bulk: float | Floats = 1.0  # on every heat capacity
    ambient_k: float | Floats = 0.0  # added to ambient


def course_of(profile: Profile, heat: Heat, stages: Sequence[Stage], room: Room, draw: Draw | None = None) -> Course:
    """The temperatures of one holder through its stages, guard not included.  Raises CoolingError."""
    stages = checked(profile, heat, stages, room)
    draw = draw or Draw()
    mesh = mesh_for(profile, heat, stages)
    return flow(mesh, start_of(mesh, heat, room, draw), exchanges(mesh, stages, room, draw))


def start_of(mesh: Mesh, heat: Heat, room: Room, draw: Draw, left_k: Floats | None = None) -> Start:
    """What drawn holders are solved from.  left_k: as in `excess_at_start`."""
    ambient_c, capacity = (np.ravel(each) for each in (room.ambient_c + draw.ambient_k, draw.bulk))
    return Start(excess_at_start(mesh, heat, room, draw, left_k), ambient_c, capacity)


def default_heated_mm(profile: Profile) -> float:
    """Heated length where the heating line has none: a little past the insert, as coils are set."""
    tool = profile.tool
    if tool is not None:
        return min(tool.insert_mm + _PAST_INSERT_MM, profile.length_mm)
    deep = 0.0
    for segment in profile.segments:
        if segment.bore_mm == 0 or segment.bore_mm != profile.segments[0].bore_mm:
            break
        deep += segment.length_mm
    return deep or profile.segments[0].length_mm


def checked(profile: Profile, heat: Heat, stages: Sequence[Stage], room: Room) -> tuple[Stage, ...]:
    """Stages without holes and without end, or CoolingError naming the field."""
    _finite("ambient_c", room.ambient_c, -30, 60)
    _finite("limit_c", room.limit_c, -30, 100)
    _finite("ambient_sd_k", room.ambient_sd_k, 0.1, 10)
    limit_over_ambient_k(room)
    _finite("heat.temp_c", heat.temp_c, room.ambient_c, 600)
    _finite("heat.length_mm", heat.length_mm, 0, 2000)
    if heat.body_c is not None:
        _finite("heat.body_c", heat.body_c, room.ambient_c, 600)
    for way in Way:
        film = room.films.get(way)
        if film is None:
            raise CoolingError(f"films.{way.value}", "is missing")
        _finite(f"films.{way.value}.film_w_m2k", film.film_w_m2k, 0.1, 20000)
        _finite(f"films.{way.value}.emissivity", film.emissivity, 0, 1)
    if not stages:
        raise CoolingError("stages", "where the holder stood is missing")
    at_s = 0.0
    for index, stage in enumerate(stages):
        name = f"stages[{index}]"
        _finite(f"{name}.start_s", stage.start_s, 0, 1e8)
        if abs(stage.start_s - at_s) > 1e-6:
            raise CoolingError(f"{name}.start_s", f"must be {at_s:g}, where the stage before it ends")
        if stage.end_s is None:
            if index + 1 < len(stages):
                raise CoolingError(f"{name}.end_s", "only the last stage may be without an end")
        else:
            _finite(f"{name}.end_s", stage.end_s, stage.start_s, 1e8)
            at_s = stage.end_s
        if not stage.longer_s >= 0:  # no number is not, either
            raise CoolingError(f"{name}.longer_s", f"must be 0 s or more, not {stage.longer_s:g}")
        if stage.wet_length_mm is not None:
            tip = -profile.tool.stickout_mm if profile.tool else 0.0
            _finite(f"{name}.wet_length_mm", stage.wet_length_mm, min(tip, 0.0), 2000)
    if stages[-1].end_s is not None:
        return (*stages, Stage(Way.FREE_AIR, at_s))  # nowhere known: free air, the slowest
    return tuple(stages)


def _finite(field: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:  # what is no number lies nowhere
        raise CoolingError(field, f"must lie between {low:g} and {high:g}, not {value:g}")


def limit_over_ambient_k(room: Room) -> float:
    """Excess at which skin counts as hot.  Raises CoolingError where the air itself is as warm."""
    limit_k = room.limit_c - room.ambient_c
    if limit_k < 0.5:
        raise CoolingError("limit_c", f"must be above the shop's {room.ambient_c:g} °C; only a reading ends this hold")
    return limit_k


def mesh_for(profile: Profile, heat: Heat, stages: Sequence[Stage], grid: Grid = FINE) -> Mesh:
    """The mesh with slices ending where heat and wet lengths do."""
    marks = {heat.length_mm} | {stage.wet_length_mm for stage in stages if stage.wet_length_mm is not None}
    return mesh_of(profile, tuple(sorted(mark for mark in marks if 0 < mark < profile.length_mm)), grid)


def excess_at_start(mesh: Mesh, heat: Heat, room: Room, draw: Draw, left_k: Floats | None = None) -> Floats:
    """(n,) excess over the drawn ambient at time 0, (holders, n) of many drawn ones.

    left_k: what was left in each cell; else as `heat` says.
    """
    length = heat.length_mm + draw.length_mm
    inside = _share(mesh, length)
    inside *= mesh.steel & (mesh.low_mm > -1e-6)
    if left_k is None and heat.left_k:
        left_k = np.interp((mesh.low_mm + mesh.high_mm) / 2, *np.array(heat.left_k).T)
    if left_k is not None:
        rise = (heat.temp_c - room.ambient_c) * draw.heat - draw.ambient_k
        return np.asarray(left_k + inside * np.maximum(rise - left_k, 0.0), np.float64)
    body = 0.0 if heat.body_c is None else heat.body_c - room.ambient_c
    rise = (heat.temp_c - room.ambient_c) * draw.heat
    # Steel is nowhere colder than the air it stood in: a body warmer than nominal air may still be.
    start: Floats = np.maximum(body + inside * (np.maximum(rise, body) - body) - draw.ambient_k, 0.0)
    return start if heat.body_c is not None else np.where(inside > 0, start, 0.0)


def _share(mesh: Mesh, length_mm: float | Floats) -> Floats:
    """(n,) how much of each cell lies before a length from the nose, 0 to 1; (holders, n) for many lengths."""
    share = (length_mm - mesh.low_mm) / (mesh.high_mm - mesh.low_mm)
    return np.asarray(np.minimum(np.maximum(share, 0.0), 1.0), np.float64)


def exchanges(mesh: Mesh, stages: Sequence[Stage], room: Room, draw: Draw) -> list[Exchange]:
    """What the skin of drawn holders does, stage by stage."""
    dry_factor = draw.film[WAYS.index(Way.FREE_AIR)]
    dry = room.films[Way.FREE_AIR]
    found = []
    for stage in stages:
        film, factor = room.films[stage.way], draw.film[WAYS.index(stage.way)]
        end_s = math.inf if stage.end_s is None else stage.end_s
        if end_s <= stage.start_s and stage.longer_s == 0:
            continue
        conducts = conductance(mesh, film.film_w_m2k * factor)
        radiates = radiance(mesh, film.emissivity * factor)
        if stage.wet_length_mm is not None:
            wet = _share(mesh, stage.wet_length_mm)
            conducts = wet * conducts + (1 - wet) * conductance(mesh, dry.film_w_m2k * dry_factor)
            radiates = wet * radiates + (1 - wet) * radiance(mesh, dry.emissivity * dry_factor)
        longer = stage.taken or (Longer(0.0, 0.0, stage.longer_s, alone=True) if stage.longer_s else None)
        found.append(
            Exchange(stage.start_s, end_s, conducts, radiates if radiates.any() else None, (longer,) if longer else ())
        )
    return found
