"""Settings whose values a kiosk can look for by itself: a stick for copies, a printer, a thermometer at a port.

Nothing here asks the desk but `data`; looking may take seconds and belongs on a `Press`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from kiosk.desk import Desk
from kiosk.desk.copies import newest_in, takes_copies
from kiosk.desk.sticks import drives
from kiosk.exchange.thermometers import FILE, SERIAL
from kiosk.labels.queue import system_printing
from kiosk.rules.shop_air import TYPED
from kiosk.screens.questions import Question

SECOND_FOLDER = "backup.second_folder"
_PORTS = Path("/dev/serial/by-id")  # udev's custom: the name says what is plugged in, whichever socket it is in
_WIRES = Path("/sys/bus/w1/devices")


def data() -> Question[Path]:
    """The folder of the book."""
    return lambda desk: _data(desk)


def _data(desk: Desk) -> Path:
    return desk.session.book.path.parent


def _folders() -> tuple[str, ...]:
    return tuple(str(drive / "holder-kiosk") for drive in drives())


def _queues() -> tuple[str, ...]:
    return tuple(queue.name for queue in system_printing().queues())


def serial_ports() -> tuple[str, ...]:
    """What is plugged in at a serial port, by the names that udev gives."""
    return tuple(map(str, sorted(_PORTS.glob("*"))))


def _ports() -> tuple[str, ...]:
    return tuple(f"{SERIAL}{port}" for port in serial_ports())


def _thermometers() -> tuple[str, ...]:
    wires = tuple(f"{FILE}{wire}" for wire in sorted(_WIRES.glob("28-*/w1_slave")))
    return (*wires, *_ports(), TYPED)


LOOKED_UP: Mapping[str, Callable[[], tuple[str, ...]]] = {
    SECOND_FOLDER: _folders,
    "labels.queue": _queues,
    "thermometer.source": _thermometers,
    "thermometer.probe": _ports,
}


def found(key: str) -> tuple[str, ...]:
    """What there is now for a setting.  Raises LabelError where the system's printing does not answer."""
    return LOOKED_UP[key]()


def newest_copy(data: Path, folder: str) -> float | None:
    """When the newest copy of this book in a folder was made, epoch seconds; None: there is none, or no folder."""
    return newest_in(data, Path(folder)) if folder else None


def try_folder(folder: str) -> None:
    """Writes into a folder as a copy would, and takes it away again.  Raises OSError."""
    if folder:
        takes_copies(Path(folder))
