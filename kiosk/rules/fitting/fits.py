"""Whether this cutter goes into this holder by its clamping, what speaks against it, and how fast it may turn.

It never passes over what it was not told: a shank that is not known to be h6 does not go into a shrink bore,
and a bore whose sleeve the shop does not have is no fit.  What each clamping demands is the trade's table; the
shrink fit's numbers come from `shrink`, machine limits from `magazine`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from enum import Enum
from typing import NamedTuple

from kiosk.rules.assembly import Assembly, Clamping, Condition, Cutter, Family, Holder, Material
from kiosk.rules.fitting.magazine import Machine
from kiosk.rules.fitting.obstacles import Note, Obstacle, limits, notes
from kiosk.rules.fitting.shrink import Range, Shrink, ShrinkRules, bore_below_um, h6_um, work_out
from kiosk.rules.say import Value

HAIR_MM = 0.0005  # half a micrometre: below what a shop measures a shank to
SLACK_MM = 0.03  # a shank further under the bore than this is another size


class Sleeve(NamedTuple):
    """A reducing sleeve for press-fit holders."""

    outside_mm: float
    inside_mm: float


@dataclass(frozen=True, slots=True)
class FitRules:
    """The shop's values for what fits."""

    sleeves: frozenset[Sleeve] = frozenset()
    side_screw_rpm_max: float = 8000.0  # pushed off centre, so not fast
    flat_blocks_shrink: bool = True  # a shank with a flat is not round in the bore
    shrink: ShrinkRules = field(default_factory=ShrinkRules)


class FitReason(Enum):
    """What was found; the value is the tail of the message id."""

    SHANK_OUTSIDE_COLLET = "shank_outside_collet"
    SHANK_NOT_BORE = "shank_not_bore"
    NO_FLAT = "no_flat"
    NO_SLEEVE = "no_sleeve"
    USE_SLEEVE = "use_sleeve"
    SHANK_NOT_H6 = "shank_not_h6"
    SHANK_OFF_TOLERANCE = "shank_off_tolerance"
    FLAT_IN_SHRINK = "flat_in_shrink"
    HSS_IN_SHRINK = "hss_in_shrink"
    BORE_SIZE_UNKNOWN = "bore_size_unknown"
    NOSE_UNKNOWN = "nose_unknown"
    NOSE_NO_WALL = "nose_no_wall"
    OPENS_TOO_LITTLE = "opens_too_little"
    MAY_NOT_OPEN = "may_not_open"
    NO_GRIP = "no_grip"
    GRIP_UNSURE = "grip_unsure"
    NOSE_OVERSTRESSED = "nose_overstressed"
    HARD_TO_RELEASE = "hard_to_release"
    HEATS_USED_UP = "heats_used_up"
    HEATS_FEW_LEFT = "heats_few_left"
    INSERT_UNKNOWN = "insert_unknown"
    INSERT_TOO_SHORT = "insert_too_short"
    INSERT_TOO_DEEP = "insert_too_deep"
    FLUTES_IN_BORE = "flutes_in_bore"
    NO_COOLANT_CHANNEL = "no_coolant_channel"
    NO_CHANNEL_IN_HOLDER = "no_channel_in_holder"  # though coolant is wanted
    NO_CHANNEL_IN_CUTTER = "no_channel_in_cutter"
    MORSE_IS_RARE = "morse_is_rare"
    KNOB_MISSING = "knob_missing"
    NO_MACHINE = "no_machine"
    TOO_FAST = "too_fast"
    SPEED_UNKNOWN = "speed_unknown"
    CUTTER_BROKEN = "cutter_broken"
    CUTTER_WORN = "cutter_worn"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found.  `blocking`: the cutter must not be built in like this.  `shown`: values by name."""

    reason: FitReason
    blocking: bool
    shown: tuple[tuple[str, Value], ...] = ()

    @property
    def message_id(self) -> str:
        return f"fits.{self.reason.value}"

    @property
    def remedy_id(self) -> str:
        return f"remedy.fits.{self.reason.value}"

    @property
    def values(self) -> dict[str, Value]:
        return dict(self.shown)


class Source(Enum):
    """Which part sets a speed limit; the word for it is `term.speed_of_<value>`."""

    HOLDER = "holder"
    CUTTER = "cutter"
    CLAMPING = "clamping"
    GRIP = "grip"


class SpeedLimit(NamedTuple):
    """A speed and what sets it."""

    source: Source
    rpm: float


@dataclass(frozen=True, slots=True)
class MachineFit:
    """Whether one machine takes the assembly: it does where there are no obstacles."""

    name: str
    obstacles: tuple[Obstacle, ...]
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True)
class Fit:
    """The answer.  `speeds` from the lowest; `shrink` only for shrink fits that can be worked out."""

    findings: tuple[Finding, ...]
    speeds: tuple[SpeedLimit, ...]
    machines: tuple[MachineFit, ...] = ()
    shrink: Shrink | None = None

    @property
    def ok(self) -> bool:
        return not any(finding.blocking for finding in self.findings)

    @property
    def speed_limit_rpm(self) -> float | None:
        """The lowest limit known, or None where none is."""
        return self.speeds[0].rpm if self.speeds else None


@dataclass(frozen=True, slots=True)
class Question:
    """A cutter held against a holder.

    insert_mm: depth in the bore.  shank_um, bore_um: measured deviation of shank and cold bore from the
    holder's nominal bore, µm (a bore ground 12 µm under is -12).  rpm: the speed it is to run at.
    came_out: how the cutter was when it came out of its last holder.
    """

    holder: Holder
    cutter: Cutter
    insert_mm: float | None = None
    shank_um: float | None = None
    bore_um: float | None = None
    rpm: float | None = None
    coolant_wanted: bool = False
    heats_used: int = 0
    came_out: Condition = Condition.GOOD


class _Found:
    """Findings as they are made."""

    def __init__(self) -> None:
        self.findings: list[Finding] = []

    def block(self, reason: FitReason, **shown: Value) -> None:
        self.findings.append(Finding(reason, True, tuple(shown.items())))

    def warn(self, reason: FitReason, **shown: Value) -> None:
        self.findings.append(Finding(reason, False, tuple(shown.items())))


def usual_insert_mm(holder: Holder, cutter: Cutter) -> float | None:
    """How deep a cutter is set where nobody says otherwise: as deep as holder and flutes allow."""
    if holder.insert_max_mm is None:
        return holder.insert_min_mm
    return min(holder.insert_max_mm, cutter.oal_mm - (cutter.lu_mm or 0.0))


def heats_left(holder: Holder, used: int, rules: FitRules) -> int:
    """How often a shrink fit may still be heated; 0 or less: no more."""
    limit = holder.heat_limit if holder.heat_limit is not None else rules.shrink.heat_limit
    return limit - used


def fit(question: Question, rules: FitRules, machines: Sequence[Machine] = ()) -> Fit:
    """Everything to know before building: what fits, what does not and why, and the lowest speed limit."""
    found = _Found()
    holder, cutter = question.holder, question.cutter
    shrink = _CLAMPINGS[holder.clamping](question, rules, found)
    _insertion(question, found)
    if question.came_out is Condition.BROKEN:
        found.block(FitReason.CUTTER_BROKEN)
    elif question.came_out is Condition.WORN:
        found.warn(FitReason.CUTTER_WORN)
    if question.coolant_wanted and not holder.coolant:
        found.block(FitReason.NO_CHANNEL_IN_HOLDER)
    elif question.coolant_wanted and not cutter.coolant:
        found.block(FitReason.NO_CHANNEL_IN_CUTTER)
    elif cutter.coolant and not holder.coolant:
        found.warn(FitReason.NO_COOLANT_CHANNEL)
    if holder.coupling.family is not Family.HOLLOW_TAPER and not holder.knob:
        found.warn(FitReason.KNOB_MISSING, coupling=str(holder.coupling))
    speeds = _speeds(holder, cutter, rules, shrink)
    if not speeds:
        found.warn(FitReason.SPEED_UNKNOWN)
    elif question.rpm is not None and question.rpm > speeds[0].rpm:
        found.block(
            FitReason.TOO_FAST,
            asked_rpm=question.rpm,
            allowed_rpm=speeds[0].rpm,
            source=f"term.speed_of_{speeds[0].source.value}",
        )
    built = Assembly("", cutter.name, holder, cutter, question.insert_mm)
    takes = tuple(
        MachineFit(machine.name, limits(machine.magazine, built), notes(machine.magazine, built))
        for machine in machines
    )
    if takes and all(machine.obstacles for machine in takes):
        found.warn(FitReason.NO_MACHINE, coupling=str(holder.coupling), knob=holder.knob)
    return Fit(tuple(found.findings), speeds, takes, shrink)


def _speeds(holder: Holder, cutter: Cutter, rules: FitRules, shrink: Shrink | None) -> tuple[SpeedLimit, ...]:
    screw = rules.side_screw_rpm_max if holder.clamping is Clamping.SIDE_SCREW else None
    known = (
        (Source.HOLDER, holder.rpm_max),
        (Source.CUTTER, cutter.rpmx_rpm),
        (Source.CLAMPING, screw),
        (Source.GRIP, shrink.grip_limit_rpm if shrink else None),
    )
    speeds = [SpeedLimit(source, rpm) for source, rpm in known if rpm is not None]
    return tuple(sorted(speeds, key=lambda limit: limit.rpm))


def _insertion(question: Question, found: _Found) -> None:
    holder, cutter, insert_mm = question.holder, question.cutter, question.insert_mm
    if insert_mm is None:
        found.warn(FitReason.INSERT_UNKNOWN)
        return
    if not insert_mm > 0 or insert_mm < (holder.insert_min_mm or 0.0):
        found.block(FitReason.INSERT_TOO_SHORT, actual_mm=insert_mm, least_mm=holder.insert_min_mm or 0.0)
    if holder.insert_max_mm is not None and insert_mm > holder.insert_max_mm:
        found.block(FitReason.INSERT_TOO_DEEP, actual_mm=insert_mm, most_mm=holder.insert_max_mm)
    shank_mm = cutter.oal_mm - (cutter.lu_mm or 0.0)
    if insert_mm > shank_mm:
        found.block(FitReason.FLUTES_IN_BORE, actual_mm=insert_mm, shank_mm=shank_mm)


def _same_size(question: Question, found: _Found) -> bool:
    """Whether the shank is the bore's size; a shank a hair under it is."""
    shank_mm, bore_mm = question.cutter.dmm_mm, question.holder.bore_mm
    if bore_mm - SLACK_MM <= shank_mm <= bore_mm + HAIR_MM:
        return True
    found.block(FitReason.SHANK_NOT_BORE, shank_mm=shank_mm, bore_mm=bore_mm)
    return False


def _collet(question: Question, rules: FitRules, found: _Found) -> None:
    shank_mm, most_mm = question.cutter.dmm_mm, question.holder.bore_mm
    # without a lower end the collet is taken to close no further than ground shanks need
    least_mm = question.holder.bore_min_mm
    if least_mm is None:
        least_mm = most_mm - SLACK_MM
    if not least_mm - HAIR_MM <= shank_mm <= most_mm + HAIR_MM:
        found.block(FitReason.SHANK_OUTSIDE_COLLET, shank_mm=shank_mm, least_mm=least_mm, most_mm=most_mm)


def _side_screw(question: Question, rules: FitRules, found: _Found) -> None:
    _same_size(question, found)
    if not question.cutter.flat:
        found.block(FitReason.NO_FLAT)


def _press_fit(question: Question, rules: FitRules, found: _Found) -> None:
    shank_mm, bore_mm = question.cutter.dmm_mm, question.holder.bore_mm
    if shank_mm >= bore_mm - SLACK_MM:
        _same_size(question, found)
        return
    fitting = [
        sleeve
        for sleeve in sorted(rules.sleeves)
        if abs(sleeve.outside_mm - bore_mm) <= HAIR_MM
        and sleeve.inside_mm - SLACK_MM <= shank_mm <= sleeve.inside_mm + HAIR_MM
    ]
    if fitting:
        found.warn(FitReason.USE_SLEEVE, outside_mm=bore_mm, inside_mm=fitting[0].inside_mm)
    else:
        found.block(FitReason.NO_SLEEVE, bore_mm=bore_mm, shank_mm=shank_mm)


def _morse(question: Question, rules: FitRules, found: _Found) -> None:
    found.warn(FitReason.MORSE_IS_RARE)
    _same_size(question, found)


def _shank_band(question: Question, found: _Found) -> Range | None:
    """Deviation of the shank from the nominal bore, µm, or None where it cannot go in."""
    shank_um = question.shank_um
    if shank_um is None and abs(question.cutter.dmm_mm - question.holder.bore_mm) > HAIR_MM:
        # entered as measured, to the micrometre
        shank_um = round((question.cutter.dmm_mm - question.holder.bore_mm) * 1000, 3)
    tolerance_um = h6_um(question.holder.bore_mm)
    if shank_um is None:
        if not question.cutter.shank_h6:
            found.block(FitReason.SHANK_NOT_H6, bore_mm=question.holder.bore_mm, tolerance_um=tolerance_um)
            return None
        return Range(-tolerance_um, 0.0)
    if not -tolerance_um <= shank_um <= 0.0:
        found.block(FitReason.SHANK_OFF_TOLERANCE, actual_um=shank_um, least_um=-tolerance_um, most_um=0.0)
        return None
    return Range(shank_um, shank_um)


def _shrink_fit(question: Question, rules: FitRules, found: _Found) -> Shrink | None:
    holder, cutter = question.holder, question.cutter
    if cutter.flat:
        found.findings.append(Finding(FitReason.FLAT_IN_SHRINK, rules.flat_blocks_shrink))
    left = heats_left(holder, question.heats_used, rules)
    if left <= 0:
        found.block(FitReason.HEATS_USED_UP, used=question.heats_used, limit=left + question.heats_used)
    elif left <= rules.shrink.heats_warn_left:
        found.warn(FitReason.HEATS_FEW_LEFT, used=question.heats_used, left=left)
    if not _near_size(question, found):
        return None
    shank = _shank_band(question, found)
    below = bore_below_um(holder.bore_mm, rules.shrink)
    if question.bore_um is not None:
        below = Range(-question.bore_um, -question.bore_um)
    if below is None:
        found.block(FitReason.BORE_SIZE_UNKNOWN, bore_mm=holder.bore_mm)
    if shank is None or below is None:
        return None
    if holder.nose_mm is None:
        found.warn(FitReason.NOSE_UNKNOWN)
    elif holder.nose_mm <= holder.bore_mm:
        found.block(FitReason.NOSE_NO_WALL, nose_mm=holder.nose_mm, bore_mm=holder.bore_mm)
    answer = work_out(
        holder.bore_mm,
        below,
        shank,
        cutter.material,
        rules.shrink,
        outside_mm=holder.nose_mm,
        insert_mm=question.insert_mm,
        oal_mm=cutter.oal_mm,
        projection_mm=holder.projection_mm,
        rpm=question.rpm,
        heats_used=question.heats_used,
        heat_limit=holder.heat_limit,
    )
    _judge_shrink(answer, cutter, rules, found)
    return answer


def _near_size(question: Question, found: _Found) -> bool:
    """Whether shank and bore are one nominal size; whether it is within h6 is asked after this."""
    shank_mm, bore_mm = question.cutter.dmm_mm, question.holder.bore_mm
    if abs(shank_mm - bore_mm) <= SLACK_MM and 0 < bore_mm <= 80:
        return True
    found.block(FitReason.SHANK_NOT_BORE, shank_mm=shank_mm, bore_mm=bore_mm)
    return False


def _judge_shrink(answer: Shrink, cutter: Cutter, rules: FitRules, found: _Found) -> None:
    hottest_c = rules.shrink.unit_max_c
    if answer.margin_um.most < 0:
        found.block(FitReason.OPENS_TOO_LITTLE, missing_um=-answer.margin_um.most, unit_c=hottest_c)
    elif answer.margin_um.least < 0:
        found.warn(FitReason.MAY_NOT_OPEN, missing_um=-answer.margin_um.least, unit_c=hottest_c)
    if answer.interference_um.most <= 0:
        found.block(FitReason.NO_GRIP, interference_um=answer.interference_um.most)
    elif answer.interference_um.least <= 0:
        found.warn(FitReason.GRIP_UNSURE, interference_um=answer.interference_um.least)
    if answer.hoop_mpa is not None and answer.hoop_mpa > rules.shrink.stress_max_mpa:
        found.block(
            FitReason.NOSE_OVERSTRESSED, actual_mpa=round(answer.hoop_mpa), allowed_mpa=rules.shrink.stress_max_mpa
        )
    if cutter.material is Material.HSS:
        found.warn(FitReason.HSS_IN_SHRINK, release_um=answer.release_um)
    elif answer.release_um < 0:
        found.warn(FitReason.HARD_TO_RELEASE, release_um=answer.release_um)


_CLAMPINGS: dict[Clamping, Callable[[Question, FitRules, _Found], Shrink | None]] = {
    Clamping.COLLET: _collet,
    Clamping.SIDE_SCREW: _side_screw,
    Clamping.PRESS_FIT: _press_fit,
    Clamping.MORSE_TAPER: _morse,
    Clamping.SHRINK_FIT: _shrink_fit,
}
