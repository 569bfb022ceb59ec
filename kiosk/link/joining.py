"""How a kiosk comes to a shop, and how it leaves.

A code of ten characters is good once and for a quarter of an hour; it is the password of a login that may do one thing
only: become a kiosk.  The new kiosk makes its key itself and tells the server what SCRAM keeps of it, so that neither
the server nor another kiosk ever has it.
"""

from __future__ import annotations

import secrets

from kiosk import __version__
from kiosk.link import calls
from kiosk.link.address import Address, Membership, new_code
from kiosk.link.border import LINE_FORM
from kiosk.link.connection import Connection, connect
from kiosk.link.server import INVITED_S, roles, verifier_of


def invite(connection: Connection, address: Address) -> str:
    """Opens the door for one new kiosk; the code that is shown for it.  Raises LinkFault."""
    code = new_code()
    verifier = verifier_of(connection, code, roles(address.database)["join"])
    connection.ask("SELECT book.invite(%s, %s)", (verifier, INVITED_S))
    return code


def join(address: Address, code: str, name: str, kiosk: str, *, has_lines: bool) -> Membership:
    """Becomes a kiosk of the shop there.  Raises LinkFault.

    kiosk: its random id.  has_lines: its book is not empty.
    """
    key = secrets.token_urlsafe(32)
    door = connect(address.values() | {"user": roles(address.database)["join"], "password": code})
    try:
        calls.speaks_our_form(door)
        verifier = verifier_of(door, key, f"kiosk_{kiosk}")
        asked = "SELECT * FROM book.join_shop(%s, %s, %s, %s, %s, %s)"
        ((shop, certificate, _),) = door.ask(asked, (kiosk, name, verifier, __version__, LINE_FORM, has_lines))
    finally:
        door.close()
    return Membership(address.host, address.port, address.database, kiosk, name, key, shop, certificate)
