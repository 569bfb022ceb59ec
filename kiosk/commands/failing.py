"""What may go wrong in a command, and how it is told; loaded only when something did.

Two families: the shop says no (code 1), and a thing that cannot be used (code 2).  Anything else is a mistake of ours,
said in one line and never part of how a command works.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

from msgspec import MsgspecError
from peewee import PeeweeException

from kiosk.commands.output import complain, in_words, refused, unforeseen
from kiosk.desk.build import BuildRefused
from kiosk.desk.intake import ImportRefused
from kiosk.desk.people import PinRefused
from kiosk.desk.session import ActRefused, Locked, NeedsReason, NotThere, StillHot
from kiosk.exchange.faults import FileFaults
from kiosk.labels.faults import LabelError
from kiosk.ledger.backup import CopyFault
from kiosk.ledger.book import NAME, LedgerFault
from kiosk.ledger.derive import Broken
from kiosk.ledger.lock import InUse
from kiosk.ledger.trouble import REMEDY, Cause, cause_of, fault_of
from kiosk.ledger.upgrade import NewerLedger
from kiosk.link.faults import LinkFault
from kiosk.reader.files import PictureError
from kiosk.rules.bounds import OutOfBounds
from kiosk.settings import SettingsFault

FAULTS = (
    LedgerFault,
    InUse,
    NewerLedger,
    LinkFault,
    SettingsFault,
    FileFaults,
    PictureError,
    LabelError,
    CopyFault,
    ImportRefused,
    NotThere,
    OutOfBounds,
    Broken,
    OSError,
)
REFUSED = (ActRefused, BuildRefused, Locked, NeedsReason, PinRefused, StillHot)


def told(fault: Exception, folder: Path) -> int:
    """Say on stderr what went wrong; the value is the exit code.  folder: where the ledger of the command lies."""
    if isinstance(fault, REFUSED):
        return refused(fault)
    if isinstance(fault, PeeweeException | sqlite3.Error):
        fault = fault_of(folder / NAME, fault)
    elif isinstance(fault, MsgspecError):  # a line or a table that no longer reads as what was written
        fault = LedgerFault(folder / NAME, str(fault), cause=Cause.DAMAGED)
    elif isinstance(fault, OSError) and cause_of(fault) is Cause.FULL:
        return complain(f"{in_words(fault)}; {REMEDY[Cause.FULL]}")
    return complain(fault) if isinstance(fault, FAULTS) else unforeseen(fault)
