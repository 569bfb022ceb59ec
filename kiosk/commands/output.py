"""What every command shares: exit codes, the data folder, JSON and errors on the right stream."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from dataclasses import asdict, is_dataclass
from pathlib import Path
from typing import Any

import platformdirs

from kiosk import words
from kiosk.commands import DONE as DONE
from kiosk.commands import WANTING as WANTING
from kiosk.commands import WRONG as WRONG
from kiosk.rules.cards import HolderCard


def faults() -> tuple[type[Exception], ...]:
    """What may go wrong in a command and is told in a line; anything else is a mistake of ours."""
    from kiosk.desk.intake import ImportRefused
    from kiosk.desk.session import NotThere
    from kiosk.exchange.faults import FileFaults
    from kiosk.labels.faults import LabelError
    from kiosk.ledger.backup import CopyFault
    from kiosk.ledger.book import LedgerFault
    from kiosk.ledger.derive import Broken
    from kiosk.ledger.lock import InUse
    from kiosk.ledger.upgrade import NewerLedger
    from kiosk.reader.files import PictureError
    from kiosk.settings import SettingsFault

    return (
        LedgerFault,
        InUse,
        NewerLedger,
        SettingsFault,
        FileFaults,
        PictureError,
        LabelError,
        CopyFault,
        ImportRefused,
        NotThere,
        Broken,
        OSError,
    )


def default_folder() -> Path:
    """Where this machine keeps its ledger when --data is not given."""
    return Path(platformdirs.user_data_dir("holder-kiosk", appauthor=False))


def data_folder(arguments: argparse.Namespace) -> Path:
    return arguments.data or default_folder()


def print_json(value: Any) -> None:
    """One object a line."""
    print(json.dumps(value, ensure_ascii=False, default=_plain), flush=True)


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    if isinstance(value, frozenset | set):
        return sorted(value, key=str)
    return getattr(value, "value", None) or str(value)


def complain(what: object) -> int:
    """Says what is wrong on stderr; the value is the exit code."""
    print(f"holder-kiosk: {what}", file=sys.stderr)
    return WRONG


def counting(what: str) -> Callable[[int, int], None]:
    """Progress on a terminal's stderr, silent elsewhere."""

    def tell(done: int, total: int) -> None:
        if sys.stderr.isatty():
            print(f"\r{done} of {total} {what}", end="" if done < total else "\n", file=sys.stderr, flush=True)

    return tell


def place_of(card: HolderCard | None) -> str | None:
    return card.place.name if card and card.place else None


def hot_line(card: HolderCard) -> str:
    """A hot holder as one line."""
    hold = card.hold
    assert hold is not None  # asked for hot ones only
    left = words.clock(hold.remaining_s) if hold.remaining_s is not None else "unknown"
    ends = "a reading ends it, likely in" if hold.needs_reading else "safe in"
    where = place_of(card) or "nowhere known"
    return f"{card.name} ({card.code})  {where}  about {hold.hottest_c:.0f} °C  {ends} {left}"
