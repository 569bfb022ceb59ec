"""What a disk or a damaged book said, in words for the person at the kiosk, with what to do next.

Errors of the operating system and of the database speak English and to engineers; the few causes a person can act on
(`ledger/trouble.py` tells them apart) get a sentence of their own here.  What an error came from is loaded by then.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from kiosk.rules.bounds import OutOfBounds
from kiosk.words import t

if TYPE_CHECKING:
    from kiosk.ledger.trouble import Cause


def cause_words(error: BaseException) -> str | None:
    """The sentence for a cause that a person can act on; None: this is no such error."""
    from kiosk.desk.session import Locked, NeedsReason, NotThere, StillHot

    if isinstance(error, NotThere):
        return t("fault.not_there", thing=error.key)
    if isinstance(error, StillHot):
        return t("fault.still_hot", name=error.name)
    if isinstance(error, OutOfBounds):
        least, most, unit, _ = error.bound
        return t("pad.bounds", least=float(least), most=float(most), unit=unit)
    if isinstance(error, Locked):
        return t("fault.locked")
    if isinstance(error, NeedsReason):
        return t("fault.needs_reason")
    if (met := getattr(error, "cause", None)) is not None and type(error).__name__ == "LinkFault":
        return t(f"fault.link_{met.value}")  # what speaks to servers is loaded only where there is one
    cause = _cause(error)
    return t(f"fault.{cause.value}") if cause else None


def _cause(error: BaseException) -> Cause | None:
    from msgspec import MsgspecError

    from kiosk.ledger.book import Broken
    from kiosk.ledger.trouble import Cause, cause_of

    if isinstance(error, MsgspecError | Broken):
        return Cause.DAMAGED  # a line or a table that no longer reads as what was written
    return cause_of(error)
