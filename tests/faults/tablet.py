"""A tablet that can be made to suffer: its clocks are pretended, its disk can be full, and it can be killed.

Everything is done from outside: the process's clocks, the connections and renames a program asks its system for, a
small file system of its own.  Nothing here knows how the kiosk keeps its book.
"""

from __future__ import annotations

import ctypes
import os
import shutil
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from types import FunctionType
from typing import Any
from unittest.mock import patch

_REAL_TIME, _REAL_CLOCK = time.time, time.clock_gettime
_NEW_NAMES, _PRIVATE_BELOW, _AGAIN = 0x20000, 0x4000 | 0x40000, 0x20
DISK_MB = 48


class Clocks:
    """True seconds that `forward` moves on; a boot-time counter that a boot starts anew; a wall clock to be set."""

    def __init__(self, wall_s: float) -> None:
        self.true_s = 0.0
        self._booted_s = -50.0
        self._wall_s = wall_s

    def forward(self, seconds: float) -> None:
        self.true_s += seconds

    def set_wall(self, by_s: float) -> None:
        self._wall_s += by_s

    def counter_jumps(self, seconds: float) -> None:
        """A machine that is at fault, or a person with a soldering iron: no time went by."""
        self._booted_s -= seconds

    def boot(self) -> None:
        self._booted_s = self.true_s - 3.0

    def counter(self) -> float:
        return self.true_s - self._booted_s

    def wall(self) -> float:
        return self._wall_s + self.true_s

    def _clock_gettime(self, which: int) -> float:
        return self.counter() if which == getattr(time, "CLOCK_BOOTTIME", None) else _REAL_CLOCK(which)

    @contextmanager
    def pretended(self) -> Iterator[None]:
        """Whatever the kiosk asks for the time is answered by these clocks, also where it kept `time.time` itself."""
        with ExitStack() as stack:
            stack.enter_context(patch.object(time, "time", self.wall))
            stack.enter_context(patch.object(time, "clock_gettime", self._clock_gettime))
            for function in _functions_of("kiosk"):
                kept = function.__defaults__
                if kept and _REAL_TIME in kept:
                    told = tuple(self.wall if value is _REAL_TIME else value for value in kept)
                    stack.enter_context(patch.object(function, "__defaults__", told))
            yield


def _functions_of(package: str) -> Iterator[FunctionType]:
    for name, module in list(sys.modules.items()):
        if name == package or name.startswith(f"{package}."):
            for value in list(vars(module).values()):
                if isinstance(value, FunctionType):
                    yield value
                elif isinstance(value, type) and value.__module__.startswith(package):
                    yield from (each for each in vars(value).values() if isinstance(each, FunctionType))


class Disk:
    """A folder that can be filled to the last page: a small file system where the system lets us mount one."""

    def __init__(self) -> None:
        memory = Path("/dev/shm")
        self.folder = Path(tempfile.mkdtemp(prefix="kiosk-", dir=memory if memory.is_dir() else None))
        self.small = sys.platform == "linux" and _mounted(self.folder)

    @contextmanager
    def full(self, room_pages: int) -> Iterator[None]:
        """So many pages are left, and no more; nothing happens where the disk is not ours."""
        if not self.small:
            yield
            return
        state = os.statvfs(self.folder)
        _sized(self.folder, (state.f_blocks - state.f_bavail + max(room_pages, 0)) * state.f_bsize)
        try:
            yield
        finally:
            _sized(self.folder, DISK_MB << 20)

    def gone(self) -> None:
        if self.small:
            ctypes.CDLL(None).umount2(os.fsencode(self.folder), 2)
        shutil.rmtree(self.folder, ignore_errors=True)


def _sized(folder: Path, size: int) -> None:
    """The file system has so many bytes from now on, those that are written included."""
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.mount(b"tmpfs", os.fsencode(folder), b"tmpfs", _AGAIN, f"size={size}".encode()) != 0:
        raise OSError(ctypes.get_errno(), os.strerror(ctypes.get_errno()), str(folder))


def _mounted(folder: Path) -> bool:
    """A file system in memory, in a namespace of this process alone: it is gone when the process is."""
    if os.geteuid() != 0:
        return False
    libc = ctypes.CDLL(None, use_errno=True)
    alone = libc.unshare(_NEW_NAMES) == 0 and libc.mount(b"none", b"/", None, _PRIVATE_BELOW, None) == 0
    return alone and libc.mount(b"tmpfs", os.fsencode(folder), b"tmpfs", 0, f"size={DISK_MB}m".encode()) == 0


class Power:
    """Cuts the power between two writes: at a step, what the disk has by then is copied aside.

    A step is a statement handed to SQLite, a rename, a deletion, a flush or a file copied (and the middle of that).
    The program goes on to its end, which nobody will know of: `cut` then puts the disk back as it was at that step.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        memory = Path("/dev/shm")  # never on the disk that may be full
        self._safe = Path(tempfile.mkdtemp(prefix="kiosk-cut-", dir=memory if memory.is_dir() else None))
        self._aside = self._safe / "data"
        self._left = 0
        self.where = ""

    def arm(self, steps: int) -> None:
        """The power goes at that step from now; 0: it stays."""
        self._left, self.where = 0, ""
        shutil.rmtree(self._aside, ignore_errors=True)
        self._left = steps

    def _step(self, what: str) -> None:
        if self._left:
            self._left -= 1
            if self._left == 0 and self._folder.exists():
                self.where = what
                shutil.copytree(self._folder, self._aside)

    @contextmanager
    def watched(self) -> Iterator[None]:
        """Every connection, rename, deletion, flush and copy from now on is a step."""
        connect = sqlite3.connect

        def connected(*args: Any, **options: Any) -> sqlite3.Connection:
            connection = connect(*args, **options)
            connection.set_trace_callback(lambda said: self._step(said[:60]))
            return connection

        with ExitStack() as stack:
            for module in (sqlite3, sqlite3.dbapi2):
                stack.enter_context(patch.object(module, "connect", connected))
            for name in ("replace", "rename", "unlink", "remove", "fsync", "truncate"):
                stack.enter_context(patch.object(os, name, self._before(name, getattr(os, name))))
            stack.enter_context(patch.object(shutil, "copyfile", self._copied(shutil.copyfile)))
            yield

    def _before(self, name: str, done: Callable[..., Any]) -> Callable[..., Any]:
        def stepped(*args: Any, **options: Any) -> Any:
            self._step(f"{name} {args[0]}")
            return done(*args, **options)

        return stepped

    def _copied(self, done: Callable[..., Any]) -> Callable[..., Any]:
        def stepped(source: Any, goal: Any, **options: Any) -> Any:
            self._step(f"copy {goal}")
            found = done(source, goal, **options)
            if self._left == 1:
                whole = Path(goal).read_bytes()
                Path(goal).write_bytes(whole[: len(whole) // 2])
                self._step(f"half a copy {goal}")
                Path(goal).write_bytes(whole)
            return found

        return stepped

    @property
    def is_cut(self) -> bool:
        return bool(self.where)

    def cut(self) -> None:
        """The disk is as it was at that step."""
        shutil.rmtree(self._folder)
        shutil.copytree(self._aside, self._folder)
        self.arm(0)

    def over(self) -> None:
        shutil.rmtree(self._safe, ignore_errors=True)
