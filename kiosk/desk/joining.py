"""How a kiosk's own book becomes part of a shop's: the first chain, a fresh one, or the one it always had.

A book with work in it joins only a shop whose book is still empty: it becomes the first chain, as it stands.  One in
which nobody did anything yet is set aside, and the kiosk begins its chain with nothing.  Two books are never made one.

A kiosk whose chain the shop does not take any more (its folder was copied or put back, it was locked out, or nobody
knows who it is) joins anew: under an identity of its own, with its book laid aside (`ledger.laid_aside`).
"""

from __future__ import annotations

import time
from contextlib import suppress
from pathlib import Path

from kiosk import __version__
from kiosk.ledger.book import Book
from kiosk.ledger.laid_aside import OF_ITSELF, lay_aside, may_lay_aside
from kiosk.ledger.shared_copy import SharedCopy
from kiosk.link import address as addresses
from kiosk.link import calls, joining
from kiosk.link.address import Address, Membership
from kiosk.link.border import LINE_FORM
from kiosk.link.connection import connect
from kiosk.link.faults import Cause, LinkFault

_NAMES = 9  # "Cabinet", "Cabinet 2" and so on, where the one it had is still taken
_TWICE_S = 6.5  # so long after its last beat the server takes one that was killed for running
_PARTED = frozenset({Cause.FORKED, Cause.TWICE, Cause.LOCKED_OUT, Cause.COPIED})


def join(folder: Path, address: Address | None, code: str, name: str) -> Membership:
    """The kiosk of that folder becomes one of the shop's; it must not be open.

    address: None for the server it belonged to before.  code: empty where it may let itself in anew, because the
    server knows its key.  name: empty for the one it had.  Raises LinkFault, LedgerFault, InUse, NewerLedger, OSError.
    """
    before = _before(folder)
    if address is None:
        address = before.address if before else Address("")
    with Book.open(folder) as book:
        own = book.sharing.own if book.sharing else None
        left = _is_gone(book)
        used = own is not None or _used(book)
        if own is None:
            if not code:
                raise LinkFault(Cause.NOT_INVITED)
            kiosk, joined = _as_begun(folder, address, code, name, has_lines=used)
            if used:
                book.share(kiosk)
    if own is not None:
        return _joins_again(folder, address, code, name, own, before, left=left)
    if not used:
        lay_aside(folder, kiosk, owes=False)
        with Book.open(folder) as book:
            book.share(kiosk)
    addresses.keep(folder, joined)
    return joined


def _as_begun(folder: Path, address: Address, code: str, name: str, *, has_lines: bool) -> tuple[str, Membership]:
    """Becomes a kiosk the shop did not have, or the one that this folder was about to become when it was killed."""
    kiosk = addresses.begin(folder)
    try:
        return kiosk, joining.join(address, code, name, kiosk, has_lines=has_lines)
    except LinkFault as fault:
        if fault.cause is not Cause.LOCKED_OUT:
            raise
    kiosk = addresses.begin(folder, anew=True)
    return kiosk, joining.join(address, code, name, kiosk, has_lines=has_lines)


def share_again(book: Book) -> None:
    """A book from before its kiosk had others, put back into the folder of one that has, goes on as one of several.

    It knows nothing of what the others heat, so it must not work as if it were alone.  It is a past that parted from
    the shop's: the server tells the one from the other, and nothing counts as cool meanwhile.  Where the file that
    says who it is cannot be read, nothing is written: put right, or taken away, it leaves no trace.
    """
    with suppress(LinkFault):
        if member := addresses.here(book.path.parent):
            book.share(member.kiosk)


def _is_gone(book: Book) -> bool:
    """Whether a line says that this kiosk belongs to the shop no more."""
    if book.sharing is None:
        return False
    mine = book.sharing.members().get(book.sharing.own)
    return mine is not None and mine.gone


def _before(folder: Path) -> Membership | None:
    """Who the kiosk was, from a copied folder too; None: nobody, or nobody knows."""
    try:
        return addresses.read(folder)
    except LinkFault:
        return None


def _joins_again(
    folder: Path, address: Address, code: str, name: str, own: str, before: Membership | None, *, left: bool
) -> Membership:
    """One that had others: as itself where its chain still is its own and the shop's, else anew."""
    known = before if before is not None and before.kiosk == own else None
    if known is not None and not left and _is_here(folder) and not _parted(folder, known):
        if not code:
            raise LinkFault(Cause.NOT_INVITED, "it belongs to the shop already")
        joined = joining.join(address, code, name or known.name, own, has_lines=_has_lines(folder, own))
        addresses.keep(folder, joined)
        return joined
    itself = _as_itself(folder, address, code, name, own) if known is None and code else None
    if itself is not None:
        addresses.keep(folder, itself)
        if not _has_lines(folder, own) or not _others_there(folder, itself):
            return itself
        known, code = itself, ""
    return _anew(folder, address, code, name, known)


def _is_here(folder: Path) -> bool:
    try:
        return addresses.here(folder) is not None
    except LinkFault:
        return False


def _parted(folder: Path, member: Membership) -> bool:
    """Whether the shop does not take this kiosk's lines any more; a server that cannot say so has not said so."""
    for _ in range(2):
        fault = _refusal(folder, member)
        if fault is not Cause.TWICE:  # else it may only have been closed a moment ago, and not in order
            break
        time.sleep(_TWICE_S)
    return fault in _PARTED


def _refusal(folder: Path, member: Membership) -> Cause | None:
    """Why the server would take no line of this kiosk; None: it would."""
    copy = SharedCopy(folder, member.kiosk)
    try:
        connection = connect(member.values(folder))
        try:
            calls.speaks_our_form(connection)
            run, (applied, _), last = addresses.new_id(), copy.applied(), copy.own_last()
            said = calls.Said(run, int(time.time()), applied, 0, time.time(), "", __version__, LINE_FORM)
            answer = calls.beat(connection, said)
            calls.rest(connection, run)
            if answer.shop != member.shop:
                return Cause.OTHER_SHOP
            if answer.own_number > last:
                return Cause.FORKED
            if answer.own_number:
                calls.push(connection, copy.own_after(answer.own_number - 1, 1), LINE_FORM)
            return None
        finally:
            connection.close()
    except LinkFault as fault:
        return fault.cause
    finally:
        copy.close()


def _has_lines(folder: Path, own: str) -> bool:
    """Whether its own chain has any; one that joined and was never opened has none."""
    copy = SharedCopy(folder, own)
    try:
        return copy.own_last() > 0
    finally:
        copy.close()


def _as_itself(folder: Path, address: Address, code: str, name: str, own: str) -> Membership | None:
    """With the identity its book says; None: this one was locked out there, and the code is still good.

    On a server that lost everything it puts its book back.  Anywhere else another tablet may be that kiosk, so that it
    only lets itself in anew with this.
    """
    try:
        return joining.join(address, code, name or own[:4], own, has_lines=_has_lines(folder, own))
    except LinkFault as fault:
        if fault.cause is Cause.LOCKED_OUT:
            return None
        raise


def _others_there(folder: Path, member: Membership) -> bool:
    """Whether the shop's book has lines."""
    connection = connect(member.values(folder))
    try:
        return bool(calls.pull(connection, 0, 1))
    finally:
        connection.close()


def _anew(folder: Path, address: Address, code: str, name: str, known: Membership | None) -> Membership:
    """Under a new identity, with a code or, where the server knows its key, by a code it shows itself."""
    if not code and known is None:
        raise LinkFault(Cause.UNNAMED)
    if not code:
        assert known is not None
        address = known.address
        connection = connect(known.values(folder))
        try:
            code = joining.invite(connection, address)
        finally:
            connection.close()
    may_lay_aside(folder)  # before the shop has one more
    kiosk, joined = _with_a_name(folder, address, code, name or (known.name if known else ""))
    lay_aside(folder, known.kiosk if known else kiosk)
    with Book.open(folder) as book:
        book.share(kiosk)
    addresses.keep(folder, joined)
    return joined


def _with_a_name(folder: Path, address: Address, code: str, name: str) -> tuple[str, Membership]:
    for again in range(1, _NAMES + 1):
        called = name if again == 1 else f"{name[: addresses.LONGEST_NAME - 2]} {again}"
        try:
            return _as_begun(folder, address, code, called or "anew", has_lines=False)
        except LinkFault as fault:
            if fault.cause is not Cause.NAME_TAKEN or again == _NAMES:
                raise
    raise AssertionError("one way or the other returned or raised")


def _used(book: Book) -> bool:
    """Whether anybody did anything with it: a kiosk that was only opened has lines of its own making."""
    marks = ", ".join("?" for _ in OF_ITSELF)
    asked = f'SELECT 1 FROM "line" WHERE "kind" NOT IN ({marks}) LIMIT 1'
    return book.state.cursor.execute(asked, OF_ITSELF).fetchone() is not None
