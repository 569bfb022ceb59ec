"""A newer version of the kiosk from a file, put beside the one that runs and meant from the next start on.

Nothing that runs is touched: the wheel and the list of its libraries are checked, a whole environment is made of them,
it must open a copy of the book with its own window, and only then one small file is replaced (`installed.py`).  What is
checked is that nothing was damaged or mistaken on the way; who made a wheel is known by whoever brought it.  It asks no
desk and takes minutes, so it belongs on a thread of its own; it may end anywhere.  Facts: the binary distribution
format (PEP 427), pip's hash-checking mode.
"""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import os
import re
import shutil
import subprocess
import sys
import tempfile
import venv
import zipfile
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from email.parser import HeaderParser
from enum import StrEnum
from pathlib import Path

from packaging.specifiers import InvalidSpecifier, SpecifierSet
from packaging.tags import sys_tags
from packaging.utils import InvalidWheelFilename, canonicalize_name, parse_wheel_filename
from packaging.version import InvalidVersion, Version

from kiosk import __version__, filing, installed
from kiosk.desk.inbox import Inbox, folder
from kiosk.desk.sticks import drives, entries
from kiosk.exchange.faults import english
from kiosk.rules.reasons import quoted, reason
from kiosk.rules.say import Say, Value, say

PROJECT = "holder-kiosk"
LIBRARIES = "libraries"  # a folder beside the wheel: then no network is needed
MOST_BYTES = 500_000_000  # of what a wheel unpacks to; ours has a fiftieth of it
ROOM_BYTES = 1_500_000_000  # an environment with its libraries takes half of it
_BUILD_S, _PROOF_S = 1800.0, 300.0
_WHY_LETTERS = 80  # of what another program said
_FOLDERS = re.compile(r"\S*/(?=\S)")


class UpdateRefused(RuntimeError):
    """The update is not made, and the kiosk stays as it is.  `why` says the reason and what to do."""

    def __init__(self, reason: str, **values: Value) -> None:
        self.why = say(f"update.refused.{reason}", **values)
        plain = {name: english(value) if isinstance(value, Say) else value for name, value in values.items()}
        told = ", ".join(f"{name} {value}" for name, value in plain.items())
        super().__init__(f"{reason.replace('_', ' ')}: {told}")


class Stage(StrEnum):
    """What an update is at, in the order of its stages."""

    CHECK = "check"
    UNPACK = "unpack"
    KEEP = "keep"
    PROVE = "prove"


@dataclass(frozen=True, slots=True)
class Wheel:
    """A wheel that is whole and ours.  libraries: the list of what it needs, every one with its hash."""

    path: Path
    version: Version
    libraries: Path


@dataclass(frozen=True, slots=True)
class Brought:
    """A file that may be a newer version.  drive: what it lies on, by name.  version: as its name says."""

    path: Path
    drive: str
    version: str


def brought(data: Path) -> tuple[Brought, ...]:
    """What is newer by its name, in the kiosk's own folder for it, on sticks and in shared folders; newest first."""
    places = [(folder(data, Inbox.UPDATES), Inbox.UPDATES.value), *((drive, drive.name) for drive in drives())]
    seen = [each for root, name in places for each in _brought(root, name)]
    return tuple(sorted(seen, key=lambda each: (Version(each.version), str(each.path)), reverse=True))


def _brought(root: Path, drive: str) -> Iterator[Brought]:
    inside = entries(root)
    for path in (*inside, *(deeper for each in inside if each.is_dir() for deeper in entries(each))):
        with suppress(InvalidWheelFilename):
            project, version, _, _ = parse_wheel_filename(path.name)
            if project == PROJECT and version > Version(__version__):
                yield Brought(path, drive, str(version))


def update(path: Path, data: Path, *, windowed: bool, at: Callable[[Stage], object] = lambda _: None) -> str:
    """Checks, builds, proves and only then means the newer version: which one that is.

    data: the data folder, whose book the newer one must open a copy of.  windowed: there is a display to open a window
    on.  at: told which stage begins.  Raises UpdateRefused.
    """
    at(Stage.CHECK)
    name = _make(look(path), at)
    at(Stage.PROVE)
    _prove(name, data, windowed)
    _mean(name)
    return name


def list_of(wheel: Path) -> Path:
    """Where the list of a wheel's libraries lies."""
    return wheel.with_name(f"{wheel.name.removesuffix('.whl')}.requirements.txt")


def look(path: Path) -> Wheel:
    """The wheel there, if it is one of this project, whole, newer and for this Python.  Raises UpdateRefused."""
    try:
        project, version, _, tags = parse_wheel_filename(path.name)
    except InvalidWheelFilename:
        raise UpdateRefused("no_version", file=path.name) from None
    if project != PROJECT:
        raise UpdateRefused("no_version", file=path.name)
    if not tags & frozenset(sys_tags()):
        raise UpdateRefused("other_system", file=path.name)
    libraries = list_of(path)
    try:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        listed = libraries.read_text("utf-8")
    except (OSError, UnicodeDecodeError):
        raise UpdateRefused("list_missing", file=path.name, list=libraries.name) from None
    if f"sha256:{digest}" not in listed:
        raise UpdateRefused("cut_short", file=path.name)
    _unpacked(path, version)
    if version <= Version(__version__):
        raise UpdateRefused("not_newer", version=str(version), now=__version__)
    return Wheel(path, version, libraries)


def _unpacked(path: Path, version: Version) -> None:
    """Raises UpdateRefused where the wheel's own list of its files, its name or its version is not true."""
    try:
        with zipfile.ZipFile(path) as archive:
            if sum(each.file_size for each in archive.infolist()) > MOST_BYTES:
                raise UpdateRefused("damaged", file=path.name, part="")
            (record,) = (name for name in archive.namelist() if name.endswith(".dist-info/RECORD"))
            for name, hashed, *_ in csv.reader(io.StringIO(archive.read(record).decode())):
                if hashed and hashed != _hash(archive.read(name)):
                    raise UpdateRefused("damaged", file=path.name, part=name)
            told = HeaderParser().parsestr(archive.read(record.replace("RECORD", "METADATA")).decode())
            same = canonicalize_name(told["Name"]) == PROJECT and Version(told["Version"]) == version
            python = SpecifierSet(told["Requires-Python"] or "")
    except (OSError, ValueError, KeyError, zipfile.BadZipFile, InvalidVersion, InvalidSpecifier, TypeError):
        raise UpdateRefused("damaged", file=path.name, part="") from None
    if not same:
        raise UpdateRefused("other_inside", file=path.name)
    if not python.contains(".".join(map(str, sys.version_info[:3]))):
        raise UpdateRefused("other_python", file=path.name, needs=str(python), has=sys.version.split()[0])


def _hash(data: bytes) -> str:
    return "sha256=" + base64.urlsafe_b64encode(hashlib.sha256(data).digest()).rstrip(b"=").decode()


def _make(wheel: Wheel, at: Callable[[Stage], object] = lambda _: None) -> str:
    """A whole environment of the wheel and its libraries: the name of its folder.  Raises UpdateRefused."""
    updates = installed.first() / installed.FOLDER
    meant = installed.current()
    name = str(wheel.version)
    home = updates / name
    try:
        updates.mkdir(exist_ok=True)
        for other in updates.iterdir():  # what was cut short, and what nobody goes back to
            if other.is_dir() and other.name not in (meant.name, meant.was, f"before-{meant.name}"):
                shutil.rmtree(other)
        if meant.name == name:
            raise UpdateRefused("in_place", version=name)
        if (free := shutil.disk_usage(updates).free) < ROOM_BYTES:
            raise UpdateRefused("no_room", needed=ROOM_BYTES / 1e9, free=free / 1e9)
        at(Stage.UNPACK)
        _fill(home, wheel)
        at(Stage.KEEP)
        filing.tree_to_disk(home)  # the mark must not outlive a power cut that a library does not
        filing.write(home / installed.WHOLE, name)
    except (OSError, subprocess.SubprocessError) as error:
        shutil.rmtree(home, ignore_errors=True)
        raise UpdateRefused("not_made", file=wheel.path.name, why=reason(error, _short(str(error)))) from None
    except UpdateRefused:
        if meant.name != name:
            shutil.rmtree(home, ignore_errors=True)
        raise
    return name


def _fill(home: Path, wheel: Wheel) -> None:
    """Puts interpreter, libraries and kiosk there.  Raises UpdateRefused, OSError, SubprocessError."""
    venv.create(home, with_pip=True, clear=True)
    offline = wheel.path.parent / LIBRARIES
    source = ["--no-index", "--find-links", str(offline.absolute())] if offline.is_dir() else []
    python = installed.python_of(home.name)
    environment = {key: value for key, value in os.environ.items() if not key.startswith(("PIP_", "PYTHON"))}
    done = subprocess.run(
        [str(python), "-I", "-m", "pip", "--disable-pip-version-check", "--no-input", "install", "--no-deps",
         "--require-hashes", "--only-binary", ":all:", *source, "-r", wheel.libraries.name],
        cwd=wheel.path.absolute().parent, env=environment, capture_output=True, text=True, timeout=_BUILD_S,
        check=False,
    )  # fmt: skip
    if done.returncode != 0:
        raise UpdateRefused("libraries", file=wheel.path.name, why=quoted(_last(done.stderr)))


def _prove(name: str, data: Path, windowed: bool) -> None:
    """The newer version opens and checks a copy of the book, with its window.  Raises UpdateRefused."""
    from kiosk.desk import copies
    from kiosk.ledger.book import NAME

    with tempfile.TemporaryDirectory(prefix="update-", dir=installed.first() / installed.FOLDER) as scratch:
        folder = Path(scratch) / "data"
        folder.mkdir(mode=0o700)
        if (data / NAME).exists():
            (made,) = copies.backup(data, (Path(scratch) / "copy",))
            if made.copy is None:
                raise UpdateRefused("no_copy", why=quoted(_short(made.why)))
            shutil.copy(made.copy.path, folder / NAME)
            for each in Path(scratch, "copy").glob("*.toml"):
                shutil.copy(each, folder / "settings.toml")
        if windowed:
            _ask(name, "open", "--prove", "--data", str(folder), "--camera", str(folder), "--size", "800x480")
        if windowed and (folder / NAME).exists():
            _ask(name, "check", "--data", str(folder))
        elif not windowed:
            _ask(name, "--version")


def _ask(name: str, *command: str) -> None:
    """Raises UpdateRefused where the newer version does not do that."""
    words = [str(installed.python_of(name)), "-P", "-m", "kiosk", *command]
    told = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")} | {installed.HOPPED: "1"}
    try:
        done = subprocess.run(words, env=told, capture_output=True, text=True, timeout=_PROOF_S, check=False)
    except subprocess.TimeoutExpired:
        raise UpdateRefused("too_slow", version=name) from None
    if done.returncode != 0:
        raise UpdateRefused("does_not_open", version=name, why=quoted(_last(done.stderr or done.stdout)))


def _last(said: str) -> str:
    """The last line of what a program said."""
    return _short((said.strip().splitlines() or ["–"])[-1])


def _short(said: str) -> str:
    """As much of it as a screen has room for, files without their folders."""
    said = _FOLDERS.sub("…/", said.removeprefix("ERROR: "))
    return said if len(said) <= _WHY_LETTERS else f"{said[: _WHY_LETTERS - 1]}…"


def _mean(name: str) -> None:
    meant = installed.current()
    try:
        installed.mean(installed.Current(name, meant.was if meant.trial else meant.name, trial=True))
    except OSError as error:
        raise UpdateRefused("not_made", file=name, why=reason(error, _short(str(error)))) from None
