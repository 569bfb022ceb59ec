"""Files in and out, the one way for every room: read within limits, written whole or not at all.

A file that is written stands beside its goal under another name until the disk has all of it, and only then takes the
name: a full disk or a cut cable leaves the older file as it was.  A file that is read is measured first, so that no
file, however large or strange, stops the kiosk.  Nothing here knows what a file says.  What a disk may do: SQLite's
document on atomic commit.
"""

from __future__ import annotations

import errno
import os
import re
import secrets
import stat
import tempfile
import time
import tomllib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, BinaryIO

MOST_TEXT_BYTES = 32_000_000  # a table of a hundred thousand holders has half of it
MOST_TOML_BYTES = 2_000_000  # the largest shop's places and machines are a tenth of it
DEEPEST = 32  # tables within tables; no file of ours has more than four
_LONGEST_KEY = 100  # parts

_PART = ".part"
_ABANDONED_S = 3600.0


class FileUnusable(OSError):
    """A file that is not looked into.  `path`, `why` in words, `line` from 1 or 0 for the whole file."""

    def __init__(self, path: Path, why: str, line: int = 0) -> None:
        super().__init__(errno.EINVAL, why, str(path))
        self.path = path
        self.why = why
        self.line = line

    def __str__(self) -> str:
        return f"{self.path}, line {self.line}: {self.why}" if self.line else f"{self.path}: {self.why}"


class TomlFault(ValueError):
    """Text that is no TOML.  `why` in words; it says line and column where they are known."""

    def __init__(self, why: str) -> None:
        super().__init__(why)
        self.why = why


def take(path: Path, most_bytes: int = MOST_TEXT_BYTES) -> bytes:
    """A file's bytes.  Raises FileUnusable for a folder, a name no system knows or more than `most_bytes`; OSError."""
    try:
        if path.is_dir():
            raise FileUnusable(path, "is a folder, not a file")
        with path.open("rb") as file:
            if stat.S_ISREG(os.fstat(file.fileno()).st_mode) and os.fstat(file.fileno()).st_size > most_bytes:
                raise FileUnusable(path, _too_large(most_bytes))
            data = file.read(most_bytes + 1)
    except ValueError:  # a NUL in the name
        raise FileUnusable(path, "is no name a file can have") from None
    if len(data) > most_bytes:
        raise FileUnusable(path, _too_large(most_bytes))
    return data


def _too_large(most_bytes: int) -> str:
    return f"is larger than {most_bytes / 1e6:g} MB, which no such file is"


def take_text(path: Path, most_bytes: int = MOST_TEXT_BYTES) -> str:
    """A file's text, UTF-8 with or without a byte order mark.  Raises FileUnusable as `take`, and naming the line."""
    return as_text(take(path, most_bytes), path)


def as_text(data: bytes, path: Path) -> str:
    """UTF-8 as text.  Raises FileUnusable naming the line."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise FileUnusable(path, "is not UTF-8 text; save it as UTF-8", line) from None
    if (at := text.find("\0")) >= 0:
        line = text.count("\n", 0, at) + 1
        raise FileUnusable(path, "has signs that are no text; save it as UTF-8", line)
    return text


# A key of many parts builds as many tables.  Possessive and anchored, so that looking costs one pass.
_LONG_KEY = re.compile(rf"(?<![\w.-])(?:(?:[\w-]++|\"[^\"\n]*+\"|'[^'\n]*+')[ \t]*+\.[ \t]*+){{{_LONGEST_KEY}}}")


def toml_values(text: str) -> dict[str, Any]:
    """What TOML text says.  Raises TomlFault, also for tables within tables deeper than `DEEPEST`."""
    if len(text) > MOST_TOML_BYTES:
        raise TomlFault(_too_large(MOST_TOML_BYTES))
    if found := _LONG_KEY.search(text):
        raise TomlFault(f"line {text.count(chr(10), 0, found.start()) + 1}: a key of more than {_LONGEST_KEY} parts")
    try:
        values = tomllib.loads(text)
    except RecursionError:
        raise TomlFault(f"tables or lists within each other more than {DEEPEST} deep") from None
    except ValueError as error:  # TOMLDecodeError, and a number of more digits than Python reads
        raise TomlFault(str(error)) from None
    _measure(values)
    return values


def _measure(values: dict[str, Any]) -> None:
    """Refuses what is too deep for whoever walks it, and numbers no computer counts with."""
    level: list[object] = [values]
    for _ in range(DEEPEST):
        if not level:
            return
        inner: list[object] = []
        for each in level:
            inner += each.values() if isinstance(each, dict) else each if isinstance(each, list) else ()
        if any(isinstance(each, int) and abs(each) >= 2**63 for each in inner):
            raise TomlFault("a whole number of more than 64 bits")
        level = inner
    raise TomlFault(f"tables or lists within each other more than {DEEPEST} deep")


@contextmanager
def beside(goal: Path, mode: int | None = None) -> Iterator[Path]:
    """A file to write into, which takes the name of `goal` when the block ends well, and vanishes when it does not.

    mode: who may read it, from its first byte on; None: as the older file, or the system's custom.  A link keeps
    leading where it led; what is no file (a pipe, a terminal) gets the bytes and keeps its name.
    Raises OSError, and then `goal` is as it was.
    """
    try:
        real = Path(os.path.realpath(goal))
        there = real.stat() if os.path.lexists(real) else None  # a link in a circle is told by the system
    except ValueError:
        raise FileUnusable(goal, "is no name a file can have") from None
    if there and stat.S_ISDIR(there.st_mode):
        raise IsADirectoryError(errno.EISDIR, "is a folder, not a file", str(goal))
    if there and not stat.S_ISREG(there.st_mode):
        with tempfile.TemporaryDirectory() as folder:
            yield Path(folder) / real.name
            with real.open("wb") as pipe:
                pipe.write((Path(folder) / real.name).read_bytes())
        return
    if mode is None and there:
        mode = stat.S_IMODE(there.st_mode)
    _sweep(real)
    part = real.with_name(f"{_lead(real)}{secrets.token_hex(4)}{_PART}")
    try:
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666 if mode is None else mode)
        os.close(handle)
        if mode is not None:
            part.chmod(mode)
        yield part
        to_disk(part)
        part.replace(real)
    except BaseException as error:
        with suppress(OSError):
            part.unlink()
        if isinstance(error, OSError) and error.filename in (None, part, str(part)):
            error.filename, error.filename2 = str(goal), None  # nobody knows the other name, and some have none
        raise
    with suppress(OSError):  # some systems cannot do this for a folder
        to_disk(real.parent)


def _lead(goal: Path) -> str:
    return f".{goal.name[:60]}."


def _sweep(goal: Path) -> None:
    """Removes what a writer left that was killed: nobody writes one file for an hour."""
    with suppress(OSError), os.scandir(goal.parent) as found:
        for each in found:
            if each.name.startswith(_lead(goal)) and each.name.endswith(_PART):
                with suppress(OSError):
                    if time.time() - each.stat().st_mtime > _ABANDONED_S:
                        os.unlink(each.path)


def write(goal: Path, content: str | bytes, mode: int | None = None) -> Path:
    """Writes a file, whole or not at all; text as UTF-8 with its line ends as they are.  See `beside`."""
    with beside(goal, mode) as part:
        part.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return goal


def write_pieces(goal: Path, pieces: Iterable[bytes], mode: int | None = None) -> Path:
    """Writes a file a piece at a time, whole or, where the pieces end in an error, not at all.  See `beside`."""
    with beside(goal, mode) as part, part.open("wb") as file:
        for piece in pieces:
            file.write(piece)
    return goal


def copy(source: Path, goal: Path, mode: int | None = None) -> Path:
    """Copies a file, whole or not at all.  See `beside`."""
    return write(goal, source.read_bytes(), mode)


def own_output() -> BinaryIO:
    """This process's standard output as a pipe for its caller alone: whatever else prints goes to standard error."""
    pipe = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    return pipe


def tree_to_disk(folder: Path) -> None:
    """Waits until the disk has every file and folder in it, and its name.  Raises OSError.

    What a link leads to is somebody else's.  Windows keeps no folders by themselves and cannot force what may only
    be read; no file of a library is like that there.
    """
    for inside, _, names in os.walk(folder):
        for name in names:
            path = Path(inside, name)
            if not path.is_symlink():
                to_disk(path)
        if os.name != "nt":
            to_disk(Path(inside))
    if os.name != "nt":
        to_disk(folder.parent)


def to_disk(path: Path) -> None:
    """Waits until the disk has it.  Raises OSError."""
    handle = os.open(path, os.O_RDWR if os.name == "nt" else os.O_RDONLY)  # what only may be read can be forced, too
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
