"""Where a kiosk is at home: the machine and the folder it joined in, so that a copy of the folder is told from it.

A copy has the kiosk's key and its lines.  Opened without a network nobody could tell it from the kiosk itself, and what
the one heats the other does not know.  Of the machine its own number is looked at, of the folder the number that its
file system gave it: a copy has another, a folder that was renamed the same.
"""

from __future__ import annotations

import hashlib
import uuid
from contextlib import suppress
from pathlib import Path

_MACHINE = ("/etc/machine-id", "/var/lib/dbus/machine-id")  # systemd's, and D-Bus's before
_MOUNTS = Path("/proc/mounts")
_NUMBERED_ANEW = ("vfat", "exfat", "msdos", "fuse", "9p", "ntfs")  # file systems that give numbers each time they mount
_NO_MAC = 1 << 40  # `uuid.getnode` drew a number, because no network card told one


def home_of(folder: Path) -> str:
    """The machine and the folder, as kept with a membership; a part that cannot be known is empty."""
    return f"{_machine()}:{_number(folder)}"


def is_at_home(folder: Path, home: str) -> bool:
    """Whether this is that folder on that machine, as far as both are known."""
    kept, now = home.partition(":"), home_of(folder).partition(":")
    return all(not kept[at] or not now[at] or kept[at] == now[at] for at in (0, 2))


def _machine() -> str:
    for path in _MACHINE:
        with suppress(OSError, UnicodeDecodeError):
            if found := Path(path).read_text("ascii").strip():
                return _hashed(found)
    number = uuid.getnode()
    return "" if number & _NO_MAC else _hashed(str(number))


def _hashed(number: str) -> str:
    """What is the machine's own is told to nobody."""
    return hashlib.sha256(f"holder-kiosk {number}".encode()).hexdigest()[:16]


def _number(folder: Path) -> str:
    try:
        return "" if _kind_of_disk(folder).startswith(_NUMBERED_ANEW) else str(folder.stat().st_ino)
    except OSError:
        return ""


def _kind_of_disk(folder: Path) -> str:
    """The file system a folder is on, as Linux calls it; empty elsewhere."""
    with suppress(OSError, UnicodeDecodeError):
        mounts = [line.split() for line in _MOUNTS.read_text().splitlines()]
        there = [each for each in mounts if len(each) > 2 and folder.resolve().is_relative_to(Path(each[1]))]
        if there:
            return max(there, key=lambda each: len(each[1]))[2]
    return ""
