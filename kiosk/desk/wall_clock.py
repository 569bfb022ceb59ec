"""What the system says of its own clock: whether the network sets it, how far off it may be, and its zone.

Nothing is counted by this clock; it is for people.  Facts: adjtimex(2) of Linux, whose error grows until the network
sets the clock again, the file of systemd-timesyncd that is touched whenever it does, and tzset(3).  Elsewhere than on
Linux nothing is said.
"""

from __future__ import annotations

import ctypes
import os
import sys
import time
from contextlib import suppress
from pathlib import Path

_UNSYNCHRONISED = 0x40  # STA_UNSYNC, linux/timex.h
_TOUCHED = tuple(Path(root) / "systemd/timesync/clock" for root in ("/var/lib", "/var/lib/private"))
_ZONE_FILES = Path("/etc/localtime"), Path("/etc/timezone")


class _Timex(ctypes.Structure):
    """struct timex as far as it is read here, with room for the rest."""

    _fields_ = (
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror_us", ctypes.c_long),
        ("esterror_us", ctypes.c_long),
        ("status", ctypes.c_int),
        ("rest", ctypes.c_byte * 512),
    )


def network_time() -> tuple[bool, float] | None:
    """Whether the network sets the clock, and how far off it may be at most, seconds; None: the system does not say."""
    if sys.platform != "linux":
        return None
    told = _Timex()  # modes 0: nothing is set
    try:
        if ctypes.CDLL(None, use_errno=True).adjtimex(ctypes.byref(told)) < 0:
            return None
    except (OSError, AttributeError):
        return None
    return not told.status & _UNSYNCHRONISED, told.maxerror_us / 1e6


def set_by_network_utc_s() -> float | None:
    """When the network set the clock last, seconds since the epoch; None: nobody wrote it down."""
    found = []
    for path in _TOUCHED:
        with suppress(OSError):
            found.append(path.stat().st_mtime)
    return max(found, default=None)


def zone(utc_s: float) -> str:
    """The zone by which this program tells the time at a moment: `Europe/Berlin, UTC+01:00`."""
    minutes = round((time.localtime(utc_s).tm_gmtoff or 0) / 60)
    offset = f"UTC{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02}:{abs(minutes) % 60:02}"
    name = _zone_name() or time.localtime(utc_s).tm_zone
    return f"{name}, {offset}" if name else offset


def _zone_name() -> str:
    if told := os.environ.get("TZ", "").removeprefix(":"):
        return told
    linked, named = _ZONE_FILES
    with suppress(OSError):
        _, known, name = str(linked.resolve(strict=True)).partition("zoneinfo/")
        if known and name != "localtime":
            return name
    with suppress(OSError, UnicodeDecodeError):
        return named.read_text("utf-8").strip()
    return ""
