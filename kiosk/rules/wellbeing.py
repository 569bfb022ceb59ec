"""How the kiosk itself is: of every part whether it is as it should be, in words, and what to do where it is not.

Judges facts that others looked up, and decides nothing about steel.  A part nobody set up is `OFF`, never a fault.
How long a copy may be old: a copy a day is due (`desk.copies`), so two days without one mean that they stopped.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from kiosk.rules.say import Say, say

DAY_S = 86_400.0
STOPPED_S = 2 * DAY_S  # without a copy, and copies have stopped
LITTLE_BYTES, TOO_LITTLE_BYTES = 2_000_000_000, 200_000_000
CLOCK_OFF_S = 120.0  # against the shop's server, and then times of two kiosks no longer fit each other


class Part(Enum):
    """What is looked at, in the order it is shown."""

    COPIES = "copies"
    SECOND = "second"
    DISK = "disk"
    CAMERA = "camera"
    PRINTER = "printer"
    CLOCK = "clock"
    ZONE = "zone"
    THERMOMETER = "thermometer"
    PROBE = "probe"
    PRESETTER = "presetter"
    LINK = "link"
    VERSION = "version"
    LOG = "log"


class Mark(Enum):
    """How a part is."""

    GOOD = "good"
    LOOK = "look"  # somebody should look at it, today or soon
    BAD = "bad"  # it does not work
    OFF = "off"  # nobody set it up
    TOLD = "told"  # nothing that could be right or wrong


@dataclass(frozen=True, slots=True)
class Finding:
    """One part.  remedy: what to do; None: nothing."""

    part: Part
    mark: Mark
    what: Say
    remedy: Say | None = None


@dataclass(frozen=True, slots=True)
class CopiesSeen:
    """A folder of copies.  there: it can be looked into.  newest_utc_s: when its newest copy was made; None: has none.

    due: there is something to copy.  apart: it lies on another disk than the book, as far as it should.
    """

    folder: str
    there: bool
    newest_utc_s: float | None
    due: bool = True
    apart: bool = True


@dataclass(frozen=True, slots=True)
class ClockSeen:
    """The wall clock.  by_network: the system says that the network sets it; None: it does not say.

    within_s: how far off it may be at most, as the system counts.  set_utc_s: when the network set it last.
    last_line_utc_s: wall time of the newest line of the book.  server_off_s: ahead of the shop's server by so much.
    """

    by_network: bool | None = None
    within_s: float | None = None
    set_utc_s: float | None = None
    last_line_utc_s: float | None = None
    server_off_s: float | None = None


def of_copies(part: Part, seen: CopiesSeen, now_utc_s: float) -> Finding:
    """A folder of copies."""
    remedy = say(f"health.{part.value}.remedy", folder=seen.folder)
    if not seen.there:
        return Finding(part, Mark.BAD, say(f"health.{part.value}.gone"), remedy)
    if seen.newest_utc_s is None:
        mark = Mark.LOOK if seen.due else Mark.TOLD
        return Finding(part, mark, say(f"health.{part.value}.none"), remedy if seen.due else None)
    days = int((now_utc_s - seen.newest_utc_s) // DAY_S)
    what = _since(f"health.{part.value}.made", days, made_on=seen.newest_utc_s)
    if not have_stopped(seen, now_utc_s):
        if not seen.apart:  # a stick that was pulled leaves the folder it was in, and copies go there
            return Finding(part, Mark.LOOK, say("health.second.off"), say("health.second.advice"))
        return Finding(part, Mark.GOOD, what)
    return Finding(part, Mark.BAD, what, remedy)


def have_stopped(seen: CopiesSeen, now_utc_s: float) -> bool:
    """Whether copies no longer come into a folder.  One that is dated ahead was dated by a clock that was wrong."""
    if not seen.due:
        return not seen.there
    newest = seen.newest_utc_s
    return not seen.there or newest is None or not -DAY_S < now_utc_s - newest < STOPPED_S


def of_disk(free_bytes: float) -> Finding:
    """The disk the book lies on."""
    what = say("health.disk.free", free=free_bytes / 1e9)
    if free_bytes < LITTLE_BYTES:
        mark = Mark.BAD if free_bytes < TOO_LITTLE_BYTES else Mark.LOOK
        return Finding(Part.DISK, mark, what, say("health.disk.remedy"))
    return Finding(Part.DISK, Mark.GOOD, what)


def of_camera(why: str) -> Finding:
    """The camera.  why: there is no picture, in words; empty: there is one."""
    if not why:
        return Finding(Part.CAMERA, Mark.GOOD, say("health.camera.live"))
    return Finding(Part.CAMERA, Mark.BAD, say("health.camera.none"), say("health.camera.why", why=why))


def of_printer(queue: str, known: bool | None, trouble: str) -> Finding:
    """The label printer.  queue: its name; empty: none was chosen.  trouble: the key of what is wrong; empty: nothing.

    known: the system has that queue; None: the print system does not answer.
    """
    choose = say("health.printer.choose")
    if not queue:
        return Finding(Part.PRINTER, Mark.OFF, say("health.printer.off"), choose)
    if known is None:
        return Finding(Part.PRINTER, Mark.BAD, say("health.printer.unknown"), choose)
    if not known:
        return Finding(Part.PRINTER, Mark.BAD, say("health.printer.gone", queue=queue), choose)
    if trouble:
        what = say("health.printer.trouble", queue=queue, what=trouble)
        return Finding(Part.PRINTER, Mark.BAD, what, say("health.printer.remedy", queue=queue))
    return Finding(Part.PRINTER, Mark.GOOD, say("health.printer.ready", queue=queue))


def of_clock(seen: ClockSeen, now_utc_s: float) -> Finding:
    """The clock on the wall; what cools is never counted by it."""
    if seen.last_line_utc_s is not None and now_utc_s < seen.last_line_utc_s - CLOCK_OFF_S:
        what = say("health.clock.behind", last_on=seen.last_line_utc_s)
        return Finding(Part.CLOCK, Mark.BAD, what, say("health.clock.remedy"))
    off_s = seen.server_off_s
    if off_s is not None and abs(off_s) > CLOCK_OFF_S:
        return Finding(Part.CLOCK, Mark.BAD, say("health.clock.server", off_s=abs(off_s)), say("health.clock.remedy"))
    if seen.by_network:
        return Finding(Part.CLOCK, Mark.GOOD, say("health.clock.network", within=max(0.1, seen.within_s or 0.0)))
    if seen.by_network is None:
        return Finding(Part.CLOCK, Mark.TOLD, say("health.clock.untold"))
    if seen.set_utc_s is not None:
        days = int(max(0.0, now_utc_s - seen.set_utc_s) // DAY_S)
        what = _since("health.clock.last", days, set_on=seen.set_utc_s)
        return Finding(Part.CLOCK, Mark.LOOK, what, say("health.clock.remedy"))
    return Finding(Part.CLOCK, Mark.LOOK, say("health.clock.alone"), say("health.clock.remedy"))


def of_thermometer(source: str, silent: bool, ambient_c: float) -> Finding:
    """The shop's thermometer.  source: empty: there is none.  ambient_c: what counts as the shop's temperature."""
    if not source:
        return Finding(Part.THERMOMETER, Mark.OFF, say("health.thermometer.off", ambient_c=ambient_c))
    if silent:
        what = say("health.thermometer.silent", ambient_c=ambient_c)
        return Finding(Part.THERMOMETER, Mark.BAD, what, say("health.thermometer.remedy"))
    return Finding(Part.THERMOMETER, Mark.GOOD, say("health.thermometer.speaks", ambient_c=ambient_c))


def of_probe(source: str, shows_c: float | None) -> Finding:
    """A contact probe on a cable, which says something only while it is on."""
    if not source:
        return Finding(Part.PROBE, Mark.OFF, say("health.probe.off"))
    if shows_c is None:
        return Finding(Part.PROBE, Mark.TOLD, say("health.probe.silent"), say("health.probe.remedy"))
    return Finding(Part.PROBE, Mark.GOOD, say("health.probe.shows", value_c=shows_c))


def of_presetter(state: str, count: int) -> Finding:
    """A presetter on a cable.  state: off, unset, opens, listens, gone or taken.  count: measurements taken down."""
    what = say(f"health.presetter.{state}", count=count)
    if state in ("off", "opens"):
        return Finding(Part.PRESETTER, Mark.OFF if state == "off" else Mark.TOLD, what)
    if state == "listens":
        return Finding(Part.PRESETTER, Mark.GOOD, what)
    return Finding(Part.PRESETTER, Mark.BAD, what, say(f"health.presetter.{state}_remedy"))


def of_link(state: str | None, level: bool) -> Finding:
    """The shop's other kiosks.  state: of `LinkState`; None: there are none.  level: this one has all there is."""
    if state is None:
        return Finding(Part.LINK, Mark.OFF, say("health.link.off"))
    what = say(f"health.link.{state}")
    if level:
        return Finding(Part.LINK, Mark.GOOD, what)
    return Finding(Part.LINK, Mark.LOOK, what, say("health.link.remedy"))


def of_version(version: str, failed: str, lines: int) -> Finding:
    """The version that runs.  failed: a newer one that was tried and did not open; empty: none."""
    if failed:
        what = say("health.version.failed", version=version, failed=failed)
        return Finding(Part.VERSION, Mark.LOOK, what, say("health.version.failed_remedy", failed=failed))
    return Finding(Part.VERSION, Mark.TOLD, say("health.version.is", version=version, count=lines))


def _since(key: str, days: int, **at: float) -> Say:
    """When something was, and how long ago: `key`, or `key_today`."""
    return say(key, count=days, **at) if days > 0 else say(f"{key}_today", **at)
