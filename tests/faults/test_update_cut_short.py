"""An update that loses its power at any change of the disk: the old version or the whole new one opens, never else.

Every call that changes something on the disk is a place to die.  A child process counts them and ends at the Nth as the
power would: what was written and not forced to the disk by then is empty afterwards.  Interpreters are scripts that
write down who was called, so that hundreds of updates cost seconds; real wheels and books: `tests/cli/test_update.py`.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pytest
from packaging.version import Version

from kiosk import installed
from kiosk.desk import updating

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="needs a child process to kill, and /proc")

OLD, NEW = "", "99.1"
_CHANGES = frozenset(
    {"os.rename", "os.link", "os.symlink", "os.remove", "os.rmdir", "os.mkdir", "os.chmod", "os.truncate",
     "subprocess.Popen"}
)  # fmt: skip
# An interpreter: says who it is; a broken one knows only its version; `backup` copies what the data folder has.
_PYTHON = """#!/bin/sh
echo "{name} $*" >> "{log}"
case "$4" in
--version) exit 0;;
backup) mkdir -p "$5" && cp "$7/ledger.db" "$5/copy.db";;
check) test "$(cat "$6/ledger.db")" = old-form || exit 2;;
restore) cp "$5" "$7/ledger.db";;
esac
"""


class Power:
    """Goes at the Nth change of the disk.  `changes` counts them; `firm` are the files the disk has, by inode."""

    def __init__(self, at: int, under: Path) -> None:
        self.at, self.under = at, str(under)
        self.changes = 0
        self.firm: set[int] = set()
        self.on = False

    def watch(self, patch: pytest.MonkeyPatch) -> None:
        """From now on every change counts."""
        forced = os.fsync

        def fsync(handle: int) -> None:
            self.step()
            forced(handle)
            self.firm.add(os.fstat(handle).st_ino)

        patch.setattr(os, "fsync", fsync)
        sys.addaudithook(self._heard)
        self.on = True

    def _heard(self, event: str, values: tuple[Any, ...]) -> None:
        if not self.on:
            return
        if event == "open" and isinstance(values[2], int) and values[2] & (os.O_WRONLY | os.O_RDWR | os.O_CREAT):
            if isinstance(values[0], str | Path) and os.path.lexists(values[0]) and values[2] & os.O_TRUNC:
                self.firm.discard(os.stat(values[0]).st_ino)
            if str(values[0]).startswith(self.under):
                self.step()
        elif event in _CHANGES:
            self.step()

    def step(self) -> None:
        self.changes += 1
        if self.changes >= self.at:
            self.goes()

    def goes(self) -> None:
        """What the disk was not told to keep is empty."""
        self.on = False
        for folder, _, names in os.walk(self.under):
            for name in names:
                path = os.path.join(folder, name)
                copied = "/before-" in path  # by a command of its own, which forces its copy to the disk
                if not copied and not os.path.islink(path) and os.stat(path).st_ino not in self.firm:
                    os.truncate(path, 0)
        os.kill(os.getpid(), signal.SIGKILL)


class Kiosk:
    """A folder with the first version, its data, and a log of who was called."""

    def __init__(self, home: Path) -> None:
        self.first, self.data, self.log = home / "env", home / "data", home / "log"
        self.log.parent.mkdir(parents=True, exist_ok=True)
        interpreter(self.first, "old", self.log)
        self.data.mkdir()
        (self.data / "ledger.db").write_text("old-form")
        self.updates = self.first / installed.FOLDER

    def called(self) -> list[str]:
        """Who was called since this was last asked."""
        lines = self.log.read_text().splitlines() if self.log.exists() else []
        self.log.write_text("")
        return lines

    def opens(self) -> str:
        """Starts the window, as the service would: which version it was."""
        self.called()
        start(self)
        opened = [line for line in self.called() if " open" in line]
        return opened[-1].split()[0] if opened else "old"  # the first one was there already and went on


def interpreter(home: Path, name: str, log: Path) -> None:
    python = home / "bin" / "python"
    python.parent.mkdir(parents=True)
    python.write_text(_PYTHON.format(name=name, log=log))
    python.chmod(0o755)
    (home / "lib").mkdir()
    for number in range(3):
        (home / "lib" / f"part{number}.py").write_text(f"whole {name} {number}")
    (home / "lib" / "link").symlink_to("part0.py")


def whole(home: Path, name: str) -> bool:
    parts = [(home / "lib" / f"part{number}.py").read_text() == f"whole {name} {number}" for number in range(3)]
    return all(parts) and bool((home / "bin" / "python").read_text())


@pytest.fixture
def kiosk(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[], Kiosk]]:
    memory = "/dev/shm" if Path("/dev/shm").is_dir() else None
    with tempfile.TemporaryDirectory(dir=memory) as folder:
        made = 0

        def make() -> Kiosk:
            nonlocal made
            made += 1
            one = Kiosk(Path(folder) / str(made))
            monkeypatch.setattr(installed, "first", lambda: one.first)
            monkeypatch.setattr(sys, "prefix", str(one.first))
            wheel = updating.Wheel(Path(folder) / "w.whl", Version(NEW), Path(folder) / "w.requirements.txt")
            monkeypatch.setattr(updating, "look", lambda _: wheel)
            monkeypatch.setattr(updating, "_fill", lambda home, _: interpreter(home, "new", one.log))
            monkeypatch.setattr(updating.shutil, "disk_usage", lambda _: argparse.Namespace(free=10**12))
            return one

        yield make


def update(one: Kiosk) -> str:
    """The book is copied and proved by others (`tests/cli/test_update.py`): here the data folder has none to copy."""
    empty = one.data.parent / "empty"
    empty.mkdir(exist_ok=True)
    return updating.update(Path("w.whl"), empty, windowed=False)


def start(one: Kiosk) -> None:
    """`installed.start` in a child, which the version that is meant takes the place of."""
    child = os.fork()
    if child == 0:
        os.environ.pop(installed.HOPPED, None)
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
        try:
            installed.start(["open"], lambda: one.data)
        finally:
            os._exit(0)
    os.waitpid(child, 0)


def dies(act: Callable[[], object], power: Power, patch: pytest.MonkeyPatch) -> bool:
    """Whether the power went before it came to its end."""
    child = os.fork()
    if child == 0:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        os.dup2(1, 2)
        try:
            power.watch(patch)
            act()
        finally:
            os._exit(0)
    return os.WIFSIGNALED(os.waitpid(child, 0)[1])


def firm_now(power: Power, one: Kiosk) -> None:
    """What was there before is on the disk."""
    for folder, _, names in os.walk(one.first):
        power.firm.update(os.stat(os.path.join(folder, name)).st_ino for name in names)


def cuts(
    one_at: Callable[[], Kiosk], act: Callable[[Kiosk], object], patch: pytest.MonkeyPatch
) -> Iterator[tuple[int, Kiosk]]:
    """The kiosk after `act` lost its power at each of its changes."""
    for at in range(1, 10_000):
        one = one_at()
        power = Power(at, one.first)
        firm_now(power, one)
        died = dies(lambda one=one: act(one), power, patch)  # type: ignore[misc]
        yield at, one
        shutil.rmtree(one.first.parent)
        if not died:
            assert at > 10, "this hardly changed anything"
            return
    raise AssertionError("it never came to an end")


def test_an_update_that_loses_its_power_anywhere_leaves_a_version_that_opens(
    kiosk: Callable[[], Kiosk], monkeypatch: pytest.MonkeyPatch
) -> None:
    opened = []
    for at, one in cuts(kiosk, update, monkeypatch):
        meant = installed.current()
        home = one.updates / meant.name if meant.name else one.first
        assert whole(home, "new" if meant.name else "old"), f"cut {at} left half of what is meant"
        opened.append(one.opens())
        if opened[-1] == "old":
            assert update(one) == NEW, "and the next one goes through"
            assert whole(one.updates / NEW, "new") and one.opens() == "new"
    assert opened == sorted(opened, reverse=True) and set(opened) == {"old", "new"}, "one step from old to new"


def test_a_second_update_that_loses_its_power_anywhere_leaves_the_one_that_works(
    kiosk: Callable[[], Kiosk], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The version that works was an update itself, and one that failed lies beside it."""

    def updated() -> Kiosk:
        one = kiosk()
        for name in ("98.1", "98.7", NEW):  # the last was left by a way back
            interpreter(one.updates / name, "old" if name == "98.1" else "new", one.log)
            (one.updates / name / installed.WHOLE).write_text(name)
        (one.updates / installed.NAME).write_text(json.dumps({"name": "98.1", "was": "", "trial": False}))
        monkeypatch.setattr(sys, "prefix", str(one.updates / "98.1"))
        return one

    for at, one in cuts(updated, update, monkeypatch):
        meant = installed.current()
        assert meant.name in ("98.1", NEW), f"cut {at} lost the version that works"
        assert whole(one.updates / meant.name, "new" if meant.name == NEW else "old"), f"cut {at}"
        assert whole(one.updates / "98.1", "old"), "the way back is still there"


def trial(make: Callable[[], Kiosk], *, tried: bool, newer_form: bool = False) -> Callable[[], Kiosk]:
    def on_trial() -> Kiosk:
        one = make()
        interpreter(one.updates / NEW, "new", one.log)
        (one.updates / NEW / installed.WHOLE).write_text(NEW)
        said = installed.Current(NEW, OLD, trial=True)
        if tried:
            copy = one.updates / f"before-{NEW}" / "copy.db"
            copy.parent.mkdir()
            copy.write_text("old-form")
            said = installed.Current(NEW, OLD, trial=True, tried=True, copy=str(copy), data=str(one.data))
        if newer_form:
            (one.data / "ledger.db").write_text("newer-form")
        (one.updates / installed.NAME).write_text(json.dumps(asdict(said)))
        return one

    return on_trial


def begin(one: Kiosk) -> None:
    os.environ.pop(installed.HOPPED, None)
    installed.start(["open"], lambda: one.data)


@pytest.mark.parametrize("newer_form", [False, True])
def test_the_way_back_that_loses_its_power_anywhere_goes_back_at_the_next_start(
    kiosk: Callable[[], Kiosk], monkeypatch: pytest.MonkeyPatch, newer_form: bool
) -> None:
    """The trial failed, the book brought to a newer form or not, and the power goes while the old one comes back."""
    make = trial(kiosk, tried=True, newer_form=newer_form)
    for at in range(1, 40):
        one = make()
        power = Power(at, one.first)
        firm_now(power, one)
        died = dies(lambda one=one: begin(one), power, monkeypatch)  # type: ignore[misc]
        assert one.opens() == "old", f"cut {at} opened the one that failed"
        assert installed.current() == installed.Current(OLD, failed=NEW)
        assert (one.data / "ledger.db").read_text() == "old-form", "the older one can read its book"
        if not died:
            return
    raise AssertionError("it never came to an end")


def test_a_trial_that_loses_its_power_anywhere_is_tried_or_left_and_its_copy_is_there(
    kiosk: Callable[[], Kiosk], monkeypatch: pytest.MonkeyPatch
) -> None:
    make = trial(kiosk, tried=False)
    for at in range(1, 40):
        one = make()
        power = Power(at, one.first)
        firm_now(power, one)
        died = dies(lambda one=one: begin(one), power, monkeypatch)  # type: ignore[misc]
        meant = installed.current()
        if meant.tried:
            assert Path(meant.copy).read_text() == "old-form", "whoever goes back finds the book"
        first, then = one.opens(), one.opens()
        assert (first, then) in {("new", "old"), ("old", "old")}, f"cut {at}"
        if not died:
            return
    raise AssertionError("it never came to an end")


def test_a_version_whose_files_were_lost_gives_way_to_the_one_before_it_and_not_to_the_first(
    kiosk: Callable[[], Kiosk],
) -> None:
    """The first one may be years older and cannot read the book."""
    one = kiosk()
    for name in ("98.1", NEW):
        interpreter(one.updates / name, name, one.log)
        (one.updates / name / installed.WHOLE).write_text(name)
    (one.updates / installed.NAME).write_text(json.dumps({"name": NEW, "was": "98.1"}))
    assert installed.current().name == NEW
    (one.updates / NEW / installed.WHOLE).unlink()
    assert installed.current() == installed.Current("98.1")
    (one.updates / "98.1" / installed.WHOLE).unlink()
    assert installed.current() == installed.Current("")


def test_the_mark_of_a_whole_version_comes_when_the_disk_has_every_file_of_it(
    kiosk: Callable[[], Kiosk], monkeypatch: pytest.MonkeyPatch
) -> None:
    one = kiosk()
    forced: set[str] = set()
    fsync, write = os.fsync, updating.filing.write

    def noted(handle: int) -> None:
        forced.add(os.readlink(f"/proc/self/fd/{handle}"))
        fsync(handle)

    def marks(goal: Path, *rest: Any, **more: Any) -> Path:
        if goal.name == installed.WHOLE:
            files = {str(path) for path in (one.updates / NEW).rglob("*") if not path.is_symlink()}
            assert files | {str(one.updates / NEW), str(one.updates)} <= forced
        return write(goal, *rest, **more)

    monkeypatch.setattr(os, "fsync", noted)
    monkeypatch.setattr(updating.filing, "write", marks)
    assert update(one) == NEW
    assert subprocess.run([one.updates / NEW / "bin" / "python", "-P", "-m", "kiosk"], check=False).returncode == 0
