"""How the kiosk is: what the desk knows of its parts, looked up when somebody asks and never while nobody does.

The camera is the window's and the print queues take their time; both are looked up there and judged by the same rules
(`rules/wellbeing.py`).
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from kiosk import __version__, installed, logbook
from kiosk.desk import wall_clock
from kiosk.labels.faults import LabelError
from kiosk.labels.queue import system_printing
from kiosk.ledger import backup
from kiosk.rules import wellbeing
from kiosk.rules.link_state import LEVEL
from kiosk.rules.say import say
from kiosk.rules.wellbeing import ClockSeen, CopiesSeen, Finding, Mark, Part

if TYPE_CHECKING:
    from kiosk.desk.desk import Desk


def findings(desk: Desk) -> tuple[Finding, ...]:
    """Every part but camera and printer."""
    return tuple(_findings(desk))


def stopped(desk: Desk) -> Finding | None:
    """Copies that no longer come; None: they do.  Asked after each copy that was due."""
    now_utc_s = desk.session.now().utc_s
    for part, seen in _copies(desk):
        if wellbeing.have_stopped(seen, now_utc_s):
            return wellbeing.of_copies(part, seen, now_utc_s)
    return None


def printer(queue: str) -> Finding:
    """The label printer; needs no desk, and may take as long as the print system does."""
    if not queue:
        return wellbeing.of_printer(queue, None, "")
    try:
        found = {each.name: each for each in system_printing().queues()}
    except LabelError:
        return wellbeing.of_printer(queue, None, "")
    troubles = found[queue].troubles if queue in found else ()
    return wellbeing.of_printer(queue, queue in found, f"term.trouble.{troubles[0].value}" if troubles else "")


def _findings(desk: Desk) -> Iterator[Finding]:
    session = desk.session
    now_utc_s, settings = session.now().utc_s, session.settings
    folder = session.book.path.parent
    copies = [wellbeing.of_copies(part, seen, now_utc_s) for part, seen in _copies(desk)]
    yield from copies
    if len(copies) == 1:
        yield Finding(Part.SECOND, Mark.OFF, say("health.second.off"), say("health.second.advice"))
    with suppress(OSError):
        yield wellbeing.of_disk(shutil.disk_usage(folder).free)
    yield wellbeing.of_clock(_clock(desk), now_utc_s)
    yield Finding(Part.ZONE, Mark.TOLD, say("health.zone.is", zone=wall_clock.zone(now_utc_s)), say("health.zone.set"))
    told = settings.thermometer
    yield wellbeing.of_thermometer(told.source, desk.air.silent, settings.heat.ambient_c)
    yield wellbeing.of_probe(told.probe, desk.probe.shows_c())
    if desk.kiosks is None:
        yield wellbeing.of_link(None, level=True)
    else:
        standing = desk.kiosks.standing()
        yield wellbeing.of_link(standing.state.value, level=standing.state in LEVEL)
    lines = session.book.last_id
    yield wellbeing.of_version(__version__, installed.current().failed, lines)
    yield Finding(Part.LOG, Mark.TOLD, say("health.log.is", path=_short(folder / logbook.FOLDER / logbook.NAME)))


def _copies(desk: Desk) -> Iterator[tuple[Part, CopiesSeen]]:
    """The folders copies go to."""
    book = desk.session.book
    for part, folder in zip((Part.COPIES, Part.SECOND), desk.copies.folders(), strict=False):
        yield part, _seen(folder, book.folder_name, book.last_id > 0, second=part is Part.SECOND)


def _seen(folder: Path, owner: str, due: bool, *, second: bool) -> CopiesSeen:
    """second: that folder is made by a hand, so that it is not there means that its disk or share is not."""
    try:
        made = max((path.stat().st_mtime for path in backup.copies(folder, owner)), default=None)
        there = folder.is_dir() or not second
    except OSError:
        return CopiesSeen(_short(folder), False, None, due)
    return CopiesSeen(_short(folder), there, made, due)


def _short(path: Path) -> str:
    """A path as far as a narrow screen has room for it: its last two parts."""
    return f"…/{'/'.join(path.parts[-2:])}" if len(path.parts) > 3 else str(path)


def _clock(desk: Desk) -> ClockSeen:
    told = wall_clock.network_time()
    book = desk.session.book
    last = book.line(book.last_id)
    off_s = None
    if desk.kiosks is not None:
        mine = desk.kiosks.membership.kiosk
        off_s = next((each.clock_off_s for each in desk.kiosks.list() if each.kiosk == mine), None)
    return ClockSeen(
        None if told is None else told[0],
        None if told is None else told[1],
        wall_clock.set_by_network_utc_s(),
        None if last is None else last.utc_s,
        off_s,
    )
