"""The anchor: a small file beside the ledger that says how far the ledger has come.

A hash chain shows what was changed inside it, but not that its end is gone, nor that it was written anew from some
line on: what is left is a whole chain.  So the last line's number and hash, and the watched time, stand in a second
file as well, written after every commit and before it is acknowledged.  A ledger that does not have the anchor's
line has lost something, and is treated so (`book.Book.lost`).

Two places of 512 bytes are written by turns, so that a power cut in the middle of one leaves the other.  It is
forced to the disk for lines about heat, at every beat and on closing; between those a power cut can leave an older
anchor, which accuses nobody.  What no anchor here can show: ledger and anchor both put back to the same older state,
or both written anew, by somebody who may write in the folder.  Copies elsewhere and printed reports still show it.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import msgspec

from kiosk.ledger.disk import FILE_MODE, make_private, to_disk
from kiosk.ledger.lineform import HASH_BEFORE_ANY_LINE

NAME = "ledger.anchor"
_SLOT = 512


@dataclass(frozen=True, slots=True)
class Mark:
    """What an anchor says: the ledger has line `line` with `hash`, and watched at least `watched_s`.

    folder: a random name of this data folder, the same for as long as it is there.  next_line, next_hash: a restore
    was about to put a ledger with that end in its place, so that one is right too.
    """

    folder: str
    line: int = 0
    hash: str = HASH_BEFORE_ANY_LINE
    watched_s: float = 0.0
    next_line: int | None = None
    next_hash: str = ""
    turn: int = 0

    def stands_in(self, hash_of: Callable[[int], str | None]) -> bool:
        """Whether a ledger has this line.  hash_of: the hash of one of its lines, None where it has no such line."""
        if self.line == 0 and self.hash == HASH_BEFORE_ANY_LINE:
            return True
        if self.next_line is not None and hash_of(self.next_line) == self.next_hash:
            return True
        return hash_of(self.line) == self.hash


class Anchor:
    """The anchor of a data folder, open for writing; `mark` is what it says.  Raises OSError."""

    def __init__(self, folder: Path, mark: Mark) -> None:
        """mark: what `read` found in it."""
        self.path = folder / NAME
        self.mark = mark
        self._handle = os.open(self.path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), FILE_MODE)
        make_private(self.path)

    @classmethod
    def begin(cls, folder: Path, mark: Mark) -> Anchor:
        """An anchor where there was none, or none that can be read."""
        begun = cls(folder, mark)
        begun._write()
        begun._write()  # both places, so that nothing older is read out of the other
        os.fsync(begun._handle)
        to_disk(folder)
        return begun

    def write(self, line: int, line_hash: str, watched_s: float, *, firm: bool) -> None:
        """The ledger ends with this line now.  firm: waits until the disk has it.  Raises OSError."""
        self._say(replace(self.mark, line=line, hash=line_hash, watched_s=watched_s, next_line=None), firm)

    def expect(self, line: int, line_hash: str) -> None:
        """A ledger that ends with this line is about to take the place of the one there is.  Raises OSError."""
        self._say(replace(self.mark, next_line=line, next_hash=line_hash), True)

    def _say(self, mark: Mark, firm: bool) -> None:
        self.mark = mark
        self._write()
        if firm:
            os.fsync(self._handle)

    def _write(self) -> None:
        self.mark = replace(self.mark, turn=self.mark.turn + 1)
        text = msgspec.json.encode([_digest(self.mark), self.mark])
        place = self.mark.turn % 2 * _SLOT
        os.lseek(self._handle, place, os.SEEK_SET)
        os.write(self._handle, text.ljust(_SLOT - 1) + b"\n")

    def close(self) -> None:
        os.close(self._handle)


def read(folder: Path) -> Mark | None:
    """What the anchor of a data folder says; None: there is none, or nothing in it can be believed."""
    try:
        data = (folder / NAME).read_bytes()
    except OSError:
        return None
    found = [mark for at in (0, _SLOT) if (mark := _mark(data[at : at + _SLOT]))]
    return max(found, key=lambda mark: mark.turn, default=None)


def disagreement(mark: Mark | None, last: int) -> str:
    """What is wrong with a ledger that ends at line `last`, beside an anchor that says otherwise."""
    if mark is None:
        return f"{NAME} beside it is missing or was changed, so nobody knows whether lines are lost"
    if mark.line > last:
        return f"is line {last}, but {NAME} beside it knows line {mark.line}: lines are lost"
    return f"goes on otherwise than {NAME} beside it (line {mark.line}) or the newest copy: it is another past"


def _mark(data: bytes) -> Mark | None:
    try:
        said: Any
        digest, said = msgspec.json.decode(data, type=tuple[str, Mark])
    except msgspec.MsgspecError:
        return None
    mark: Mark = said
    return mark if digest == _digest(mark) else None


def _digest(mark: Mark) -> str:
    return hashlib.sha256(msgspec.json.encode(mark)).hexdigest()[:16]
