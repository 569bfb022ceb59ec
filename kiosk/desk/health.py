"""How the kiosk is: what the desk knows of its parts, looked up when somebody asks and never while nobody does.

The camera is the window's; print queues and the folders of copies take their time.  These are looked up beside the desk
and judged by the same rules (`rules/wellbeing.py`).
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from kiosk import __version__, installed, logbook
from kiosk.desk import far_folder, wall_clock
from kiosk.labels.faults import LabelError
from kiosk.labels.queue import system_printing
from kiosk.ledger import backup
from kiosk.rules import wellbeing
from kiosk.rules.link_state import LEVEL
from kiosk.rules.say import say
from kiosk.rules.wellbeing import ClockSeen, CopiesSeen, Finding, Mark, Part

if TYPE_CHECKING:
    from kiosk.desk.desk import Desk


@dataclass(frozen=True, slots=True)
class CopyFolders:
    """Where copies are kept.  each: beside the book, and the second where one is set.  owner: the book's name, as
    its copies carry it.  due: there is something to copy."""

    each: tuple[tuple[Part, Path], ...]
    data: Path
    owner: str
    due: bool
    now_utc_s: float


def findings(desk: Desk) -> tuple[Finding, ...]:
    """Every part but copies, camera and printer."""
    return tuple(_findings(desk))


def copy_folders(desk: Desk) -> CopyFolders:
    """Where copies are kept: no folder is touched, because one in the network may not answer."""
    book = desk.session.book
    each = tuple(zip((Part.COPIES, Part.SECOND), desk.copies.folders(), strict=False))
    return CopyFolders(each, book.path.parent, book.folder_name, book.last_id > 0, desk.session.now().utc_s)


def copies(folders: CopyFolders) -> tuple[Finding, ...]:
    """The copies; needs no desk, and waits for folders as `far_folder` does."""
    found = tuple(wellbeing.of_copies(part, _seen(part, at, folders), folders.now_utc_s) for part, at in folders.each)
    if len(found) > 1:
        return found
    return (*found, Finding(Part.SECOND, Mark.OFF, say("health.second.off"), say("health.second.advice")))


def stopped(folders: CopyFolders) -> Finding | None:
    """Copies that no longer come; None: they do.  Asked after each copy that was due; needs no desk, as `copies`."""
    for part, at in folders.each:
        if wellbeing.have_stopped(seen := _seen(part, at, folders), folders.now_utc_s):
            return wellbeing.of_copies(part, seen, folders.now_utc_s)
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
    with suppress(OSError):
        yield wellbeing.of_disk(shutil.disk_usage(folder).free)
    yield wellbeing.of_clock(_clock(desk), now_utc_s)
    yield Finding(Part.ZONE, Mark.TOLD, say("health.zone.is", zone=wall_clock.zone(now_utc_s)), say("health.zone.set"))
    told = settings.thermometer
    yield wellbeing.of_thermometer(told.source, desk.air.silent, settings.heat.ambient_c)
    yield wellbeing.of_probe(told.probe, desk.probe.shows_c())
    yield wellbeing.of_presetter(desk.presetter.standing, desk.presetter.count)
    if desk.kiosks is None:
        yield wellbeing.of_link(None, level=True)
    else:
        standing = desk.kiosks.standing()
        yield wellbeing.of_link(standing.state.value, level=standing.state in LEVEL)
    lines = session.book.last_id
    yield wellbeing.of_version(__version__, installed.current().failed, lines)
    yield Finding(Part.LOG, Mark.TOLD, say("health.log.is", path=_short(folder / logbook.FOLDER / logbook.NAME)))


def _seen(part: Part, folder: Path, folders: CopyFolders) -> CopiesSeen:
    """The second folder is made by a hand, so that it is not there means that its disk or share is not."""

    def look(folder: Path) -> CopiesSeen:
        made = max((path.stat().st_mtime for path in backup.copies(folder, folders.owner)), default=None)
        there = folder.is_dir() or part is Part.COPIES
        apart = part is Part.COPIES or not there or folder.stat().st_dev != folders.data.stat().st_dev
        return CopiesSeen(_short(folder), there, made, folders.due, apart)

    try:
        return far_folder.ask(folder, look)
    except OSError:
        return CopiesSeen(_short(folder), False, None, folders.due)


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
