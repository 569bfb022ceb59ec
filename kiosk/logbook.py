"""What happened to the kiosk itself, in sentences, in a file beside the book: for whoever looks after it.

Who did what with which holder stands in the book and never here.  A line is one event; what is a secret (a PIN, a
badge, a code to join with, a password in an address) is left out whoever writes it.  The file begins anew before it
grows large, and a disk that takes nothing more stops nothing.  Facts: `logging.handlers`, RFC 3986 (user information).
"""

from __future__ import annotations

import io
import logging
import os
import re
import sys
from contextlib import suppress
from datetime import datetime
from logging.handlers import RotatingFileHandler
from pathlib import Path

from kiosk.rules.codes import ALPHABET, CodeFault, CodeKind, parse

FOLDER, NAME = "log", "kiosk.log"
MOST_BYTES, KEPT = 500_000, 4  # of one file, and how many older ones stay: some years of a quiet kiosk
BEGUN, CLOSED = "The kiosk was opened", "The kiosk was closed in order"

log = logging.getLogger("kiosk.logbook")

_ONE, _GAP = f"[{ALPHABET}]", "[ \u00a0-]?"
_CODE = re.compile(rf"(?<!\w){_ONE}{{4}}{_GAP}{_ONE}{{4}}{_GAP}{_ONE}{{2}}(?!\w)", re.I)
_IN_ADDRESS = re.compile(r"(\b[a-z][a-z0-9+.-]*://)[^/\s@]*@", re.I)
_NAMED = re.compile(
    r"(\b\w*(?:password|passwd|passphrase|secret|token|key|pins?)\b['\"]?\s*(?:[=:]|\bis\b)\s*)(?:'[^']*'|\"[^\"]*\"|\S+)",
    re.I,
)
_HIDDEN = "…"
_SAID = frozenset({CodeKind.HOLDER, CodeKind.PLACE, CodeKind.COMMAND})  # on a label that everybody sees


def without_secrets(text: str) -> str:
    """The same text with an ellipsis where a secret stood."""
    text = _IN_ADDRESS.sub(rf"\1{_HIDDEN}@", text)
    text = _NAMED.sub(rf"\1{_HIDDEN}", text)
    return _CODE.sub(_code, text)


def _code(found: re.Match[str]) -> str:
    with suppress(CodeFault):
        if parse(found[0].replace("-", "")).kind in _SAID:
            return found[0]
    return _HIDDEN


class _Sentences(logging.Formatter):
    """When, by the clock on the wall and its zone; who says it; what.  Ways through the program where asked for."""

    def __init__(self, *, ways: bool) -> None:
        super().__init__()
        self._ways = ways

    def format(self, record: logging.LogRecord) -> str:
        at = datetime.fromtimestamp(record.created).astimezone().isoformat(" ", "seconds")
        said = " ".join(record.getMessage().split())
        grave = "" if record.levelno < logging.WARNING else "! "
        line = f"{at}  {grave}{record.name.removeprefix('kiosk.')}: {said}"
        if self._ways and record.exc_info:
            way = self.formatException(record.exc_info)
            line += "".join(f"\n    {each}" for each in way.splitlines())
        return without_secrets(line)


class _File(RotatingFileHandler):
    """The file, its owner's alone.  What cannot be written is lost: there is nobody to tell it to."""

    def _open(self) -> io.TextIOWrapper:
        flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND
        return io.TextIOWrapper(os.fdopen(os.open(self.baseFilename, flags, 0o600), "ab"), "utf-8", "backslashreplace")

    def handleError(self, record: logging.LogRecord) -> None:
        """Called by `logging` where a line was not written."""


def _wanted(record: logging.LogRecord) -> bool:
    """A tablet has no clipboard of a desktop, and Kivy says so at every start."""
    return not (record.name.startswith("kivy") and record.getMessage().startswith("Cutbuffer"))


def begin(data: Path) -> bool:
    """From now on everything is written there; False: it cannot be.  Once begun it goes on in the same file.

    data: the data folder.  Says first whether the last time ended in order.
    """
    root = logging.getLogger()
    if any(isinstance(each, _File) for each in root.handlers):
        return True
    path = data / FOLDER / NAME
    try:
        path.parent.mkdir(mode=0o700, exist_ok=True)
        left_open = not _ended(path)
        file = _File(path, maxBytes=MOST_BYTES, backupCount=KEPT, encoding="utf-8")
    except (OSError, ValueError):
        return False
    file.setLevel(logging.INFO)  # Kivy lets every library's own talk through until it has read its settings
    terminal = logging.StreamHandler(sys.stderr)  # the service manager's journal, where there is one
    terminal.setLevel(logging.WARNING)
    for handler, ways in ((file, True), (terminal, False)):
        handler.setFormatter(_Sentences(ways=ways))
        handler.addFilter(_wanted)
        root.addHandler(handler)
    logging.getLogger("kiosk").setLevel(logging.INFO)
    if left_open:
        log.warning("The last time ended without being closed: a power cut, or it was ended from outside, or it froze")
    return True


def end() -> None:
    """The kiosk is closed in order; nothing more is written."""
    root = logging.getLogger()
    for handler in [each for each in root.handlers if isinstance(each, _File)]:
        log.info(CLOSED)
        root.removeHandler(handler)
        with suppress(OSError):  # a disk that is full says so once more
            handler.close()


def _ended(path: Path) -> bool:
    """Whether the last line says so; where nothing was ever written, nothing was left open."""
    if not path.exists():
        return True
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - 400))
        last = file.read(400).decode("utf-8", "replace").splitlines()
    return not last or CLOSED in last[-1]
