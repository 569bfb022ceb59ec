"""A presetter's cable on a thread of its own: its lines as they come, and how they are cut into fields.

It only listens and keeps: what is measured is taken down by the desk, when that has time.  Of readings that come faster
than that, the last of each assembly is kept and those that are left out are counted.
"""

from __future__ import annotations

import logging
import threading
from collections import deque
from collections.abc import Callable, Sequence
from enum import Enum

from kiosk.exchange.ending import Ending
from kiosk.exchange.faults import Fault, FieldFault
from kiosk.exchange.presetter import (
    Bytes,
    LineFault,
    Port,
    PresetterMap,
    Reading,
    SerialLine,
    cells_of,
    heard,
    open_port,
    raw_lines,
)
from kiosk.exchange.tables_csv import number

AGAIN_S = 3.0  # after that a cable that was pulled is looked for again
MOST_WAITING, KEPT_WAITING = 400, 300  # readings: from the first on those left out are the older ones, to the second
MOST_FAULTS = 40
MOST_LINES = 12  # of those shown while the fields are chosen
_SURE = (";", "\t", "|")  # stand in a presetter's line for nothing else
_PACE_S = 0.03  # after each full read: 130 kB/s, more than any port sends, and other threads have their turn
_NUMBERS = 2  # a length and a diameter at least

log = logging.getLogger("kiosk.cable")


def separator_of(lines: Sequence[str]) -> str:
    """What parts the fields of these lines; empty: blanks.

    A comma parts them only where it cannot be a decimal comma in lines that blanks part.
    """
    for sign in _SURE:
        if _numbers(lines, sign) >= _NUMBERS:
            return sign
    tied = [cell for line in lines for cell in cells_of(line, "") if "," in cell]
    decimal = _numbers(lines, "") >= _NUMBERS and all(map(_is_number, tied))
    return "," if _numbers(lines, ",") >= _NUMBERS and not decimal else ""


def fields_of(lines: Sequence[str], prefix: str = "") -> tuple[str, tuple[str, ...]]:
    """What parts the fields of these lines, and the fields of the last of them that may be a measurement, else of the
    last.  prefix: what measurements begin with, which is no part of a field.
    """
    plain = [line.strip("\r\n\x00\x02\x03 ").removeprefix(prefix) for line in lines]
    sign = separator_of(plain)
    measured = [line for line in plain if _numbers([line], sign) >= _NUMBERS]
    return sign, cells_of((measured or plain or [""])[-1], sign)


def _numbers(lines: Sequence[str], sign: str) -> int:
    """The most fields of a line that are numbers, where `sign` parts them."""
    return max((sum(map(_is_number, cells_of(line, sign))) for line in lines), default=0)


def _is_number(text: str) -> bool:
    try:
        number(text, "", signed=True)
    except FieldFault:
        return False
    return True


class State(Enum):
    """How a cable is."""

    OPENS = "opens"
    LISTENS = "listens"
    GONE = "gone"
    TAKEN = "taken"  # by another program


class Cable:
    """Listens from `begin` to `stop`, and again where the cable was pulled.

    made: how lines are read; None: they are shown as they are (`lines`, the last ones with their number).  `state`;
    `left_out`: readings that came too fast and were followed by a later one of the same assembly, or could not wait.
    """

    def __init__(
        self,
        line: SerialLine,
        made: PresetterMap | None = None,
        opened: Callable[[SerialLine], Port] = open_port,
    ) -> None:
        self._line, self._made, self._opened = line, made, opened
        self._ending, self._turn = Ending(), threading.Lock()
        self._waiting: deque[Reading] = deque()
        self._faults: deque[Fault] = deque(maxlen=MOST_FAULTS)
        self._lines: deque[tuple[int, str]] = deque(maxlen=MOST_LINES)
        self.state = State.OPENS
        self.left_out = 0
        self._thread = threading.Thread(target=self._run, name="presetter", daemon=True)

    def begin(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """The port is free when this returns, but for a system that does not give it back.

        Lines that came before are kept.
        """
        self._ending.say()
        if self._thread.is_alive():
            self._thread.join(timeout=2.0)

    def lines(self) -> tuple[tuple[int, str], ...]:
        """The last lines with their numbers, the newest last."""
        with self._turn:
            return tuple(self._lines)

    def faults(self) -> tuple[Fault, ...]:
        """Lines that could not be read since this was last asked."""
        with self._turn:
            found = tuple(self._faults)
            self._faults.clear()
        return found

    def first(self) -> Reading | None:
        """The reading that waits longest; it is taken out, and what could not be written is put back (`again`)."""
        with self._turn:
            return self._waiting.popleft() if self._waiting else None

    def again(self, reading: Reading) -> None:
        with self._turn:
            self._waiting.appendleft(reading)

    def _run(self) -> None:
        while not self._ending.came:
            try:
                self._listen()
            except LineFault as fault:
                state = State.TAKEN if fault.taken else State.GONE
                if state is not self.state:
                    log.info("%s", fault)
                self.state = state
            except Exception as error:  # a driver's own: the next try may do
                log.warning("presetter at %s: %s", self._line.port, error, exc_info=True)
                self.state = State.GONE
            self._ending.wait(AGAIN_S)

    def _listen(self) -> None:
        port = self._opened(self._line)
        with self._ending.reading(port):
            self.state = State.LISTENS
            for came in raw_lines(_Paced(port, self._ending), self._line.port):
                with self._turn:
                    self._keep(came)
                if came is None and self._ending.came:
                    return

    def _keep(self, came: tuple[int, str] | Fault | None) -> None:
        if isinstance(came, tuple):
            if self._made is None:
                self._lines.append(came)
                return
            found = heard(*came, self._made)
        else:
            found = came
        if isinstance(found, Fault):
            self._faults.append(found)
        elif found is not None:
            self._waiting.append(found)
            if len(self._waiting) > MOST_WAITING:
                self._thin()

    def _thin(self) -> None:
        """The last of each assembly; where those are too many, the newer ones."""
        before = len(self._waiting)
        last = {reading.called: at for at, reading in enumerate(self._waiting)}
        kept = [reading for at, reading in enumerate(self._waiting) if last[reading.called] == at]
        self._waiting = deque(kept[-KEPT_WAITING:])
        self.left_out += before - len(self._waiting)


class _Paced:
    """A port of which no more is read than other threads can bear, and nothing once the end came."""

    def __init__(self, port: Bytes, ending: Ending) -> None:
        self._port, self._ending = port, ending

    def read(self, size: int = 1) -> bytes:
        if self._ending.came:
            return b""
        found = self._port.read(size)
        if len(found) >= size:
            self._ending.wait(_PACE_S)
        return found
