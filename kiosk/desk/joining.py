"""How a kiosk's own book becomes part of a shop's: the first chain, a fresh one, or the one it always had.

A book with work in it joins only a shop whose book is still empty: it becomes the first chain, as it stands.  One in
which nobody did anything yet is set aside, and the kiosk begins its chain with nothing.  Two books are never made one.
"""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from kiosk.ledger import anchor
from kiosk.ledger.book import NAME, Book
from kiosk.link import address as addresses
from kiosk.link import joining
from kiosk.link.address import Address, Membership
from kiosk.link.faults import LinkFault
from kiosk.rules.lines import KioskStarted, SettingChanged

ASIDE = "replaced"  # beside the ledger, where `ledger.restore` lays those that were replaced


def join(folder: Path, address: Address | None, code: str, name: str) -> Membership:
    """The kiosk of that folder becomes one of the shop's; it must not be open.

    address: None for the server it belonged to before.  Raises LinkFault, LedgerFault, InUse, NewerLedger, OSError.
    """
    before = addresses.read(folder)
    if address is None:
        address = before.address if before else Address("")
    with Book.open(folder) as book:
        kiosk = book.sharing.own if book.sharing else addresses.new_id()
        used = book.sharing is not None or _used(book)
        joined = joining.join(address, code, name, kiosk, has_lines=used)
        if used and book.sharing is None:
            book.share(kiosk)
    if not used:
        _set_aside(folder, kiosk)
        with Book.open(folder) as book:
            book.share(kiosk)
    addresses.keep(folder, joined)
    return joined


def share_again(book: Book) -> None:
    """A book from before its kiosk had others, put back into the folder of one that has, goes on as one of several.

    It knows nothing of what the others heat, so it must not work as if it were alone.  It is a past that parted from
    the shop's: the server tells the one from the other, and nothing counts as cool meanwhile.  Where the file that
    says who it is cannot be read, nothing is written: put right, or taken away, it leaves no trace.
    """
    with suppress(LinkFault, OSError):
        if member := addresses.read(book.path.parent):
            book.share(member.kiosk)


def _used(book: Book) -> bool:
    """Whether anybody did anything with it: a kiosk that was only opened has lines of its own making."""
    of_itself = (KioskStarted.kind, SettingChanged.kind)
    marks = ", ".join("?" for _ in of_itself)
    asked = f'SELECT 1 FROM "line" WHERE "kind" NOT IN ({marks}) LIMIT 1'
    return book.state.cursor.execute(asked, of_itself).fetchone() is not None


def _set_aside(folder: Path, kiosk: str) -> None:
    """The unused ledger goes beside the others that were replaced.  Raises OSError."""
    aside = folder / ASIDE
    aside.mkdir(exist_ok=True)
    (folder / NAME).rename(aside / f"unused-{kiosk}.db")
    (folder / anchor.NAME).unlink(missing_ok=True)
