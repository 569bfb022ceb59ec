"""What may go wrong in a command, and how it is told; loaded only when something did.

Two families: the shop says no (code 1), and a thing that cannot be used (code 2).  Anything else is a mistake of ours,
said in one line and never part of how a command works.
"""

from __future__ import annotations

from kiosk.commands.output import complain, refused, unforeseen
from kiosk.desk.build import BuildRefused
from kiosk.desk.intake import ImportRefused
from kiosk.desk.people import PinRefused
from kiosk.desk.session import ActRefused, Locked, NeedsReason, NotThere, StillHot
from kiosk.exchange.faults import FileFaults
from kiosk.labels.faults import LabelError
from kiosk.ledger.backup import CopyFault
from kiosk.ledger.book import LedgerFault
from kiosk.ledger.derive import Broken
from kiosk.ledger.lock import InUse
from kiosk.ledger.upgrade import NewerLedger
from kiosk.reader.files import PictureError
from kiosk.rules.bounds import OutOfBounds
from kiosk.settings import SettingsFault

FAULTS = (
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
    OutOfBounds,
    Broken,
    OSError,
)
REFUSED = (ActRefused, BuildRefused, Locked, NeedsReason, PinRefused, StillHot)


def told(fault: Exception) -> int:
    """Say on stderr what went wrong; the value is the exit code."""
    if isinstance(fault, REFUSED):
        return refused(fault)
    return complain(fault) if isinstance(fault, FAULTS) else unforeseen(fault)
