"""Thermometers that are there already: a file the kernel writes, a serial line, a device that types.

What they say is a number with a unit or nothing; a line that cannot be read is nothing and never a zero.  Whether a
number can be is for the rules.  Sources: the kernel's w1_therm and hwmon documentation (millidegrees).
"""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Callable
from pathlib import Path

from kiosk import filing
from kiosk.exchange.ending import Ending
from kiosk.exchange.presetter import LONGEST_LINE, SerialLine, open_port
from kiosk.rules.shop_air import AGE_S, TYPED, AirReading, can_be, celsius

FILE, SERIAL = "file:", "serial:"
NUMBER = r"(-?\d{1,3}(?:[.,]\d+)?)\s*°?\s*([CF])?"
_MOST_BYTES = 4096
_POWER_ON_C = 85.0  # what a 1-wire sensor shows before it measured anything
_EVERY_S = 20.0
_MILLI = re.compile(r"(?:.*\bt=)?(-?\d{1,6})", re.DOTALL)
_FIGURE = re.compile(NUMBER)


def of_kernel(text: str) -> float | None:
    """°C of a file of the kernel: millidegrees alone, or behind `t=` after a checksum that says YES."""
    plain = text.strip()
    if "crc=" in plain and not plain.splitlines()[0].rstrip().endswith("YES"):
        return None
    found = _MILLI.fullmatch(plain)
    if found is None:
        return None
    value_c = int(found[1]) / 1000.0
    return None if value_c == _POWER_ON_C else value_c


def of_line(text: str, pattern: str = NUMBER) -> float | None:
    """°C of a line.  pattern: its first group is the number, its second, if it has one, C or F."""
    return celsius(re.search(pattern, text))


def typed(text: str) -> float | None:
    """°C of what a thermometer types like a keyboard: a number and perhaps its unit, nothing else."""
    return celsius(_FIGURE.fullmatch(text.strip()))


class Thermometer:
    """Asks a thermometer on a thread of its own, for a 1-wire sensor takes a second to answer.

    source: `file:` and a path, `serial:` and a port, or `typed:`, which is heard and not asked.  `latest` is the last
    reading that can be, on `clock`; `fits` says whether it can, after what was read before.
    """

    def __init__(
        self,
        source: str,
        pattern: str = NUMBER,
        baud: int = 9600,
        clock: Callable[[], float] = time.monotonic,
        every_s: float = _EVERY_S,
        fits: Callable[[AirReading, AirReading | None], bool] = can_be,
    ) -> None:
        self._source, self._pattern, self._baud = source, pattern, baud
        self._clock, self._every_s, self._fits = clock, every_s, fits
        self._ending = Ending()
        self.latest: AirReading | None = None
        self._odd: AirReading | None = None  # one that could not be, and may after all if the next says the same
        self._thread = threading.Thread(target=self._run, name="thermometer", daemon=True)

    def begin(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._ending.say()
        if self._thread.is_alive():
            self._thread.join(timeout=2.0)

    def now_s(self) -> float:
        return self._clock()

    def fresh(self) -> AirReading | None:
        """The last reading, where it is not too old."""
        found = self.latest
        return found if found is not None and self._clock() - found.at_s <= AGE_S else None

    def heard(self, value_c: float | None) -> None:
        """A reading came in, or none could be made out."""
        if value_c is None:
            return
        reading = AirReading(value_c, self._clock())
        if self._fits(reading, self.latest) or (self._odd is not None and self._fits(reading, self._odd)):
            self.latest, self._odd = reading, None
        elif self._fits(reading, None):
            self._odd = reading

    def _run(self) -> None:
        while not self._ending.came and not self._source.startswith(TYPED):
            try:
                if self._source.startswith(SERIAL):
                    self._listen()
                elif self._source.startswith(FILE):
                    self.heard(of_kernel(filing.take_text(Path(self._source[len(FILE) :]), _MOST_BYTES)))
            except OSError:
                pass  # it was pulled out: what it said gets old, and that is said
            self._ending.wait(self._every_s)

    def _listen(self) -> None:
        port = open_port(SerialLine(self._source[len(SERIAL) :], self._baud))
        with self._ending.reading(port):
            rest = b""
            while not self._ending.came:
                rest += port.read_until(b"\n", LONGEST_LINE)
                if rest.endswith((b"\n", b"\r")):
                    self.heard(of_line(rest.decode("ascii", "replace"), self._pattern))
                elif len(rest) < LONGEST_LINE:
                    continue
                rest = b""
