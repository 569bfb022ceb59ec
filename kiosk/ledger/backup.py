"""Backups, as the rest of the kiosk asks for them: copies made (`copying.py`) and put back (`restore.py`)."""

from kiosk.ledger.copying import Copy, CopyFault, copies, copy, look, owner_of, rotate
from kiosk.ledger.restore import RestoreDone, restore

__all__ = ["Copy", "CopyFault", "RestoreDone", "copies", "copy", "look", "owner_of", "restore", "rotate"]
