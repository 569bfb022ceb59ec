"""A shift played from a folder: pictures in name order as if scanned, text files for keys, waits and touches.

Runs on a pretended clock, so that a wait of half an hour takes no time; everything else is the real thing: the
pictures are read, the rules decide and the ledger is written.  Nothing here is special to the demo shift.  Pretended
time must never end a real hold, so it goes only into a ledger that rehearsals alone have written.

Text steps, one instruction a file: ten characters typed by hand (`NNN-keys.txt`), `wait 1500 s`, or
`touch reading nose 38.5`, `touch audit Cabinet A`, `touch settle CODE ACTION` (what an audit found about a
holder), `touch close audit`, `touch undo`.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from kiosk import filing
from kiosk.desk import Desk
from kiosk.desk.desk import REHEARSAL, Scanned
from kiosk.desk.heat import ReadingFault
from kiosk.desk.session import ActRefused, NotThere
from kiosk.ledger.book import NAME, Book
from kiosk.reader.decode import read
from kiosk.reader.files import PICTURES, PictureError, load
from kiosk.rules.audit import Action
from kiosk.rules.cards import HolderCard
from kiosk.rules.lines import KioskStarted
from kiosk.rules.outcomes import Done, Outcome, Refused, Wait
from kiosk.rules.say import Say

STEP_S = 6.0  # what one scan takes a hand
READ_MS = 400.0
MOST_STEP_BYTES = 4096
MOST_WAIT_S = 2 * 86400.0


class StepFault(ValueError):
    """A step file that says nothing the rehearsal can do.  `path`, `why`."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(f"{path}: line 1: {why}")
        self.path = path
        self.why = why


class NotARehearsal(RuntimeError):
    """A data folder with a ledger of real steel.  `folder`."""

    def __init__(self, folder: Path) -> None:
        super().__init__(
            f"{folder} has the ledger of a real kiosk, and a rehearsal pretends time: give an empty --data folder, "
            "or none; nothing was written"
        )
        self.folder = folder


class PretendedTime:
    """A counter and a wall clock that move only when told."""

    def __init__(self, wall_s: float) -> None:
        self.counter_s = 0.0
        self._wall_s = wall_s

    def forward(self, seconds: float) -> None:
        self.counter_s += seconds

    def counter(self) -> float:
        return self.counter_s

    def wall(self) -> float:
        return self._wall_s + self.counter_s


class RunningTime(PretendedTime):
    """The same, while it also goes by itself, as somebody who looks on expects."""

    def __init__(self) -> None:
        super().__init__(time.time())
        self._began_s = time.monotonic()

    def counter(self) -> float:
        return self.counter_s + time.monotonic() - self._began_s

    def wall(self) -> float:
        return self._wall_s + self.counter()


@dataclass(frozen=True, slots=True)
class Played:
    """What one step came to.  outcome: done, wait, refused, unread, waited, noted."""

    step: str
    read: tuple[str, ...]
    outcome: str
    reason: str | None
    says: tuple[Say, ...]
    holder: HolderCard | None = None
    hot: int = 0
    lines: tuple[str, ...] = field(default=())


def steps_in(folder: Path) -> list[Path]:
    """Pictures and step files in name order.  Raises PictureError for a folder without any."""
    if not folder.is_dir():
        raise PictureError(folder, "is not a folder")
    found = sorted(p for p in folder.iterdir() if p.suffix.lower() in PICTURES or p.suffix == ".txt")
    if not found:
        raise PictureError(folder, "has no pictures in it: give a folder of photographs")
    return found


def check_rehearsed(folder: Path) -> None:
    """Raises NotARehearsal for a folder whose ledger is of real steel."""
    if (folder / NAME).exists():
        with Book.open(folder, read_only=True) as book:
            if not _rehearsed(book):
                raise NotARehearsal(folder)


def open_desk(folder: Path, clock: PretendedTime) -> Desk:
    """A desk on pretended time.  Raises NotARehearsal, and whatever opening a desk raises."""
    check_rehearsed(folder)
    return Desk.open(folder, counter=clock.counter, wall=clock.wall, rehearsal=True)


def _rehearsed(book: Book) -> bool:
    """Whether every line of a ledger was written by a rehearsal."""
    if any(line.kiosk != REHEARSAL for line in book.lines()):
        return False
    starts = [(line.id, line.entry.rehearsal) for line in book.lines() if isinstance(line.entry, KioskStarted)]
    return book.last_id == 0 or (starts[:1] == [(1, True)] and all(pretended for _, pretended in starts))


def play(desk: Desk, clock: PretendedTime, steps: list[Path]) -> Iterator[Played]:
    """Feeds the steps to the desk one by one.  Raises PictureError, StepFault and whatever the desk raises."""
    for path in steps:
        clock.forward(STEP_S)
        if path.suffix == ".txt":
            try:
                played = _instruction(desk, clock, path)
            except (ReadingFault, NotThere, ActRefused) as fault:
                raise StepFault(path, str(fault)) from fault
            yield played
            desk.tick()
            continue
        codes = tuple(dict.fromkeys(symbol.text for symbol in read(load(path), READ_MS).symbols))
        if not codes:
            yield Played(path.name, (), "unread", None, (Say("unread"),), hot=len(desk.heat.board()))
        for text in codes:
            yield _played(desk, path.name, codes, desk.scan(text))
        desk.tick()


def instruction(path: Path) -> list[str]:
    """The words of a step file, its numbers looked at.  Raises StepFault."""
    words = filing.take_text(path, MOST_STEP_BYTES).split()
    match words:
        case ["wait", amount, "s"]:
            if not 0 <= _number(path, amount) <= MOST_WAIT_S:
                raise StepFault(path, f"{amount} s is no wait from 0 to {MOST_WAIT_S:.0f} s")
        case ["touch", "reading", _, value]:
            _number(path, value)
        case ["touch", *_]:
            pass
        case _ if len("".join(words)) != 10:
            raise StepFault(path, _NO_STEP.format(" ".join(words)[:80]))
    return words


_NO_STEP = "{!r} is no step: ten characters, `wait N s`, or `touch ...`"


def held_in_hand(desk: Desk) -> HolderCard | None:
    """The holder that a reading is about: the one scanned just now, else the hottest; None: nothing is hot."""
    pending = desk.session.pending
    board = desk.heat.board()
    return pending.card if pending and isinstance(pending.card, HolderCard) else board[0] if board else None


def _instruction(desk: Desk, clock: PretendedTime, path: Path) -> Played:
    words = instruction(path)
    match words:
        case ["wait", amount, "s"]:
            wait_s = float(amount)
            wait(desk, clock, wait_s)
            said = Say("rehearsal.waited", (("wait_s", wait_s),))
            return Played(path.name, (), "waited", None, (said,), hot=len(desk.heat.board()))
        case ["touch", "undo"]:
            return _played(desk, path.name, (), desk.undo())
        case ["touch", "reading", where, value]:
            holder = held_in_hand(desk)
            if holder is None:
                raise StepFault(path, "nothing is hot, and no holder was scanned")
            taken = desk.heat.read(holder.holder.key, where, float(value))
            hot = len(desk.heat.board())
            return Played(path.name, (), "done", None, (taken.say,), taken.holder, hot)
        case ["touch", "audit", *place]:
            return _audit(desk, path, " ".join(place))
        case ["touch", "settle", holder, action, *reason]:
            return _touched(desk, path, settle_by_hand(desk, path, holder, action, " ".join(reason)))
        case ["touch", "close", "audit"]:
            return _touched(desk, path, desk.audits.close())
        case [*typed] if len("".join(typed)) == 10:
            return _played(desk, path.name, tuple(typed), desk.scan("".join(typed)))
    raise StepFault(path, _NO_STEP.format(" ".join(words)[:80]))


def _audit(desk: Desk, path: Path, name: str) -> Played:
    code = desk.session.cards.find_place(name)
    if code is None:
        raise StepFault(path, f"there is no place {name!r}")
    desk.audits.open(code)
    said = Say("rehearsal.audit", (("place", name),))
    return Played(path.name, (), "done", None, (said,), hot=len(desk.heat.board()))


def settle_by_hand(desk: Desk, path: Path, code: str, action: str, reason: str) -> Outcome:
    """Closes what an audit found about a holder, as a touch on the list of differences would.  Raises StepFault."""
    actions = {known.value: known for known in Action}
    card = desk.session.cards.subject(code)
    key = card.holder.key if isinstance(card, HolderCard) else code
    waiting = [each for each in desk.audits.status().differences if each.text == key] if desk.session.audit else []
    if not waiting or action not in actions:
        raise StepFault(path, f"no difference of {code} waits, or {action!r} is none of {', '.join(actions)}")
    return desk.audits.settle(waiting[0].key, actions[action], reason)


def _touched(desk: Desk, path: Path, outcome: Outcome) -> Played:
    return _played(desk, path.name, (), Scanned("", outcome, (), desk.session.now()))


def wait(desk: Desk, clock: PretendedTime, seconds: float) -> None:
    """Time goes by, and the kiosk ticks on meanwhile, as it would on the wall."""
    left = seconds
    while left > 0:
        clock.forward(min(left, 5.0))
        left -= 5.0
        desk.tick()


def _number(path: Path, text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise StepFault(path, f"{text[:40]!r} is not a number")
    return value


def _played(desk: Desk, step: str, read_: tuple[str, ...], scanned: Scanned) -> Played:
    outcome = scanned.outcome
    reason: str | None = None
    match outcome:
        case Done(say=said) | Wait(say=said):
            name = "done" if isinstance(outcome, Done) else "wait"
            says: tuple[Say, ...] = (said,)
        case Refused(reason=why):
            name, reason, says = "refused", why.value, (outcome.why, outcome.remedy)
    kinds = tuple(line.kind for line in scanned.lines)
    return Played(step, read_, name, reason, says, scanned.holder, len(desk.heat.board()), kinds)


def is_shift(folder: Path) -> bool:
    """Whether a folder of photographs has steps in it that are none: waits, keys, touches."""
    return folder.is_dir() and any(path.suffix == ".txt" for path in folder.iterdir())


def clock_for_now() -> PretendedTime:
    return PretendedTime(time.time())
