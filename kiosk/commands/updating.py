"""A newer version of the kiosk from a wheel, put beside the one that runs and meant from the next start on.

Nothing that runs is touched: the wheel and the list of its libraries are checked, a whole environment is made of them,
it must open a copy of the book with its own window, and only then one small file is replaced (`installed.py`).  What is
checked is that nothing was damaged or mistaken on the way; who made a wheel is known by whoever brought it.  Facts: the
binary distribution format (PEP 427), pip's hash-checking mode.
"""

from __future__ import annotations

import argparse
import base64
import csv
import hashlib
import io
import os
import shutil
import subprocess
import sys
import tempfile
import venv
import zipfile
from dataclasses import dataclass
from email.parser import HeaderParser
from pathlib import Path

from packaging.specifiers import InvalidSpecifier, SpecifierSet
from packaging.tags import sys_tags
from packaging.utils import InvalidWheelFilename, canonicalize_name, parse_wheel_filename
from packaging.version import InvalidVersion, Version

from kiosk import __version__, filing, installed
from kiosk.commands.output import DONE, WANTING, complain, data_folder
from kiosk.screens import display

PROJECT = "holder-kiosk"
LIBRARIES = "libraries"  # a folder beside the wheel: then no network is needed
MOST_BYTES = 500_000_000  # of what a wheel unpacks to; ours has a fiftieth of it
ROOM_BYTES = 1_500_000_000  # an environment with its libraries takes half of it
_BUILD_S, _PROOF_S = 1800.0, 300.0


class UpdateRefused(RuntimeError):
    """The update is not made, and the kiosk stays as it is.  The text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Wheel:
    """A wheel that is whole and ours.  libraries: the list of what it needs, every one with its hash."""

    path: Path
    version: Version
    libraries: Path


def update(arguments: argparse.Namespace) -> int:
    """Checks, builds, proves and only then means the newer version; says what the next start does."""
    data = data_folder(arguments)
    try:
        wheel = look(arguments.wheel)
        name = _make(wheel)
        proved = _prove(name, data)
        _mean(name)
    except UpdateRefused as why:
        complain(f"{why}; the kiosk stays as it is, version {__version__}")
        return WANTING
    untried = "" if proved else "; its window could not be tried, because there is no display here"
    print(f"Version {wheel.version} is in place{untried}")
    print("It opens at the next start of the kiosk; should it not get that far, this version comes back by itself")
    return DONE


def list_of(wheel: Path) -> Path:
    """Where the list of a wheel's libraries lies."""
    return wheel.with_name(f"{wheel.name.removesuffix('.whl')}.requirements.txt")


def look(path: Path) -> Wheel:
    """The wheel there, if it is one of this project, whole, newer and for this Python.  Raises UpdateRefused."""
    try:
        project, version, _, tags = parse_wheel_filename(path.name)
    except InvalidWheelFilename:
        raise UpdateRefused(f"{path.name} is no wheel by its name") from None
    if project != PROJECT:
        raise UpdateRefused(f"{path.name} is {project}, not {PROJECT}")
    if not tags & frozenset(sys_tags()):
        raise UpdateRefused(f"{path.name} is for another system than this one")
    libraries = list_of(path)
    try:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        listed = libraries.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        missing = f"{libraries.name}, the list of its libraries, must lie beside it"
        raise UpdateRefused(f"{error}; {missing}") from None
    if f"sha256:{digest}" not in listed:
        raise UpdateRefused(f"{path.name} is not the one that {libraries.name} names: it was cut short or changed")
    _unpacked(path, version)
    if version <= Version(__version__):
        raise UpdateRefused(f"{path.name} is not newer than what runs here")
    return Wheel(path, version, libraries)


def _unpacked(path: Path, version: Version) -> None:
    """Raises UpdateRefused where the wheel's own list of its files, its name or its version is not true."""
    try:
        with zipfile.ZipFile(path) as archive:
            if sum(each.file_size for each in archive.infolist()) > MOST_BYTES:
                raise UpdateRefused(f"{path.name} is larger than any of ours")
            (record,) = (name for name in archive.namelist() if name.endswith(".dist-info/RECORD"))
            for name, hashed, *_ in csv.reader(io.StringIO(archive.read(record).decode())):
                if hashed and hashed != _hash(archive.read(name)):
                    raise UpdateRefused(f"{path.name}: {name} is damaged")
            told = HeaderParser().parsestr(archive.read(record.replace("RECORD", "METADATA")).decode())
            same = canonicalize_name(told["Name"]) == PROJECT and Version(told["Version"]) == version
            python = SpecifierSet(told["Requires-Python"] or "")
    except (OSError, ValueError, KeyError, zipfile.BadZipFile, InvalidVersion, InvalidSpecifier, TypeError) as error:
        raise UpdateRefused(f"{path.name} cannot be unpacked: {error}") from None
    if not same:
        raise UpdateRefused(f"{path.name} says another name or version inside")
    if not python.contains(".".join(map(str, sys.version_info[:3]))):
        raise UpdateRefused(f"{path.name} needs Python {python}, and this is {sys.version.split()[0]}")


def _hash(data: bytes) -> str:
    return "sha256=" + base64.urlsafe_b64encode(hashlib.sha256(data).digest()).rstrip(b"=").decode()


def _make(wheel: Wheel) -> str:
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
            raise UpdateRefused(f"version {name} is in place already")
        if (free := shutil.disk_usage(updates).free) < ROOM_BYTES:
            needed = f"{ROOM_BYTES / 1e9:g} GB are needed and {free / 1e9:.1f} GB are free"
            raise UpdateRefused(f"{updates}: {needed}; make room, then do it again")
        _fill(home, wheel)
        filing.tree_to_disk(home)  # the mark must not outlive a power cut that a library does not
        filing.write(home / installed.WHOLE, name)
    except (OSError, subprocess.SubprocessError) as error:
        shutil.rmtree(home, ignore_errors=True)
        raise UpdateRefused(f"no environment could be made of {wheel.path.name}: {error}") from None
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
        last = (done.stderr.strip().splitlines() or ["pip said nothing"])[-1]
        raise UpdateRefused(f"the libraries of {wheel.path.name} could not be installed: {last}")


def _prove(name: str, data: Path) -> bool:
    """The newer version opens and checks a copy of the book; whether with its window.  Raises UpdateRefused."""
    from kiosk.desk import copies
    from kiosk.ledger.book import NAME

    with tempfile.TemporaryDirectory(prefix="update-", dir=installed.first() / installed.FOLDER) as scratch:
        folder = Path(scratch) / "data"
        folder.mkdir(mode=0o700)
        if (data / NAME).exists():
            (made,) = copies.backup(data, (Path(scratch) / "copy",))
            if made.copy is None:
                raise UpdateRefused(f"the book could not be copied: {made.why}")
            shutil.copy(made.copy.path, folder / NAME)
            for each in Path(scratch, "copy").glob("*.toml"):
                shutil.copy(each, folder / "settings.toml")
        windowed = _seen()
        if windowed:
            _ask(name, "open", "--prove", "--data", str(folder), "--camera", str(folder), "--size", "800x480")
        if windowed and (folder / NAME).exists():
            _ask(name, "check", "--data", str(folder))
        elif not windowed:
            _ask(name, "--version")
    return windowed


def _seen() -> bool:
    """Whether a window can be opened from here."""
    try:
        display.demand()
    except display.NoDisplay:
        return False
    return True


def _ask(name: str, *command: str) -> None:
    """Raises UpdateRefused where the newer version does not do that."""
    words = [str(installed.python_of(name)), "-P", "-m", "kiosk", *command]
    told = os.environ | {installed.HOPPED: "1"}
    try:
        done = subprocess.run(words, env=told, capture_output=True, text=True, timeout=_PROOF_S, check=False)
    except subprocess.TimeoutExpired:
        raise UpdateRefused(f"the newer version does not come to an end of `{command[0]}`") from None
    if done.returncode != 0:
        last = (done.stderr.strip().splitlines() or done.stdout.strip().splitlines() or ["it said nothing"])[-1]
        raise UpdateRefused(f"the newer version does not do `{command[0]}`: {last}")


def _mean(name: str) -> None:
    meant = installed.current()
    try:
        installed.mean(installed.Current(name, meant.was if meant.trial else meant.name, trial=True))
    except OSError as error:
        raise UpdateRefused(str(error)) from None
