"""Several kiosks on one book: the shop's server, joining it, who belongs to it, and leaving."""

from __future__ import annotations

import argparse
import os
import shutil
import socket
import subprocess
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

from kiosk.commands.output import DONE, WANTING, complain, data_folder, desk_to_write, print_json
from kiosk.desk import Desk
from kiosk.desk.beats import is_of_this_version
from kiosk.desk.joining import join as become
from kiosk.ledger.book import Book
from kiosk.ledger.restore import ASIDE
from kiosk.ledger.trouble import LedgerFault
from kiosk.link import address as addresses
from kiosk.link import calls, joining
from kiosk.link import server as administration
from kiosk.link.address import LONGEST_NAME, Address, Membership
from kiosk.link.border import Kiosk
from kiosk.link.connection import Connection, connect
from kiosk.link.faults import Cause, LinkFault

_LEVEL_S = 20.0  # within which a kiosk that has a network knows what the shop knows
_PREPARED = {
    administration.Prepared.MADE: "the shop's book was made on this server",
    administration.Prepared.RENEWED: "the shop's book is on this server; its functions are those of this version now",
    administration.Prepared.THERE: "the shop's book is on this server",
}
_ON_DEBIAN = "postgres"  # the administrator of its PostgreSQL, and the user of the machine it knows him by


def server(arguments: argparse.Namespace) -> int:
    """Makes the shop's book on a PostgreSQL server, or says whether it is whole."""
    try:
        address, values = _administrator(arguments.url)
        return _check(arguments, address, values) if arguments.what == "check" else _init(arguments, address, values)
    except LinkFault as fault:
        return complain(f"server: {fault}")


def _administrator(url: str) -> tuple[Address, dict[str, Any]]:
    """The book's address, and the administrator's login; without an address that of Debian's server on this machine."""
    address, user, password = addresses.administrator(url)
    values = address.values() | {"dbname": "postgres"}
    if not address.is_here:
        values.pop("channel_binding")  # an administrator may be let in by other means
    if user or not address.host:
        values |= {"user": user or _ON_DEBIAN}
    if password:
        values |= {"password": password}
    if not address.host and not user:
        values |= {administration.AS_USER: _ON_DEBIAN}
    return address, values


def _init(arguments: argparse.Namespace, address: Address, values: dict[str, Any]) -> int:
    made = administration.prepare(values, address)
    print(_PREPARED[made])
    if arguments.anew:
        administration.empty(values, address)
        print("it is empty now; the kiosks put back what they hold when they are next switched on")
    reached = address if address.host else Address("localhost", address.port, address.database)
    if arguments.network:
        names = [arguments.network] if arguments.network != "here" else _names_here()
        administration.protect(values, address, names)
        reached = Address(names[-1], address.port, address.database)  # tablets may know no names
        print("kiosks may come over the network, encrypted, as soon as the server was started again")
        if not _restarted():
            print("start it again now: sudo systemctl restart postgresql")
    if not arguments.anew:
        code = administration.invite_first(values, address)
        print(f"within a quarter of an hour, on the kiosk: holder-kiosk join {code}@{reached}")
    return DONE


def _names_here() -> list[str]:
    """Under what this machine is reached: its name, and its address on the network."""
    names = [socket.gethostname()]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # nothing is sent; an address for documents, RFC 5737
            names.append(str(probe.getsockname()[0]))
        except OSError:  # it has no network yet
            return names
    return names


def _restarted() -> bool:
    """Starts the machine's own server again, where root asked and the machine has one."""
    if os.name != "posix" or os.getuid() != 0 or shutil.which("systemctl") is None:
        return False
    return subprocess.run(["systemctl", "restart", "postgresql"], check=False, capture_output=True).returncode == 0


def _check(arguments: argparse.Namespace, address: Address, values: dict[str, Any]) -> int:
    found = 0
    for wrong in administration.examine(values, address):
        found += 1
        print_json(wrong) if arguments.json else print(f"line {wrong.n}: {wrong.problem}")
    if not found and not arguments.json:
        print("every line of the shop's book agrees")
    return WANTING if found else DONE


def join(arguments: argparse.Namespace) -> int:
    """Becomes a kiosk of a shop, with the code that another one shows; one whose book parted from it, anew."""
    folder = data_folder(arguments)
    known = (folder / addresses.NAME).exists()  # then it keeps the name it had
    name = " ".join((arguments.name or ("" if known else socket.gethostname())).split())
    if not (known and not arguments.name) and not (1 <= len(name) <= LONGEST_NAME and name.isprintable()):
        return complain(f"join: --name: a name has 1 to {LONGEST_NAME} letters")
    if arguments.code is None and not known:
        return complain("join: it needs what another kiosk shows: CODE@SERVER")
    try:
        address, code = addresses.invited(arguments.code) if arguments.code is not None else (None, "")
        if address is None and not known:
            return complain(f"join: {arguments.code!r} needs the server's address behind it: CODE@SERVER")
        before = _identity(folder)
        joined = become(folder, address, code, name)
    except LinkFault as fault:
        return complain(f"join: {fault}")
    print(f"{joined.name} belongs to the shop now; open the kiosk")
    if before is not None and before != joined.kiosk:
        print(f"it is a kiosk of its own: the book that was here lies in {folder / ASIDE}")
        print("lock out the kiosk it was, if no other tablet is that one: `holder-kiosk kiosks --lock-out NAME`")
    return DONE


def _identity(folder: Path) -> str | None:
    """Whose chain the book in a folder is; None: nobody's."""
    with suppress(LedgerFault), Book.open(folder, read_only=True) as book:
        return book.sharing.own if book.sharing else None
    return None


def kiosks(arguments: argparse.Namespace) -> int:
    """Who belongs to the shop, heard when; lets in one more, or locks one out."""
    try:
        member, connection = _as_member(data_folder(arguments))
        try:
            if arguments.invite:
                print(addresses.invitation(member.address, joining.invite(connection, member.address)))
                return DONE
            found = calls.kiosks(connection)
            if arguments.lock_out:
                return _locked_out(arguments, found)
        finally:
            connection.close()
    except LinkFault as fault:
        return complain(f"kiosks: {fault}")
    for each in found:
        print_json(_told(each)) if arguments.json else print(_line(each))
    return DONE


def _locked_out(arguments: argparse.Namespace, found: list[Kiosk]) -> int:
    from kiosk.commands.whose import at_work

    gone = [each for each in found if arguments.lock_out in (each.kiosk, each.name)]
    gone = [each for each in gone if not each.retired_n] or gone[-1:]
    if len(gone) != 1:
        return complain(f"kiosks: --lock-out: no kiosk of this shop is called {arguments.lock_out!r}")
    with desk_to_write(arguments) as desk:
        at_work(desk, arguments)
        desk.session.supervised()
        if gone[0].kiosk == _identity(data_folder(arguments)):
            return complain("kiosks: --lock-out: that is this kiosk itself; it goes with `holder-kiosk leave`")
        _level(desk)
        told = desk.lock_out(gone[0].kiosk)
    print(f"{told.name} is locked out; the shop's book has {told.shared} lines of it")
    if told.unshared:
        print(f"{told.unshared} more that it wrote were never shared: ask who worked there, and look")
    return DONE


def _level(desk: Desk) -> None:
    """Waits until this kiosk knows what the shop knows.  Raises LinkFault."""
    desk.begin_sharing()
    if desk.not_shared is not None:
        raise desk.not_shared
    until_s = time.monotonic() + _LEVEL_S
    while time.monotonic() < until_s:
        desk.tick()
        apart = desk.session.cards.apart
        if apart is None or (apart.caught_up and apart.admitted):
            return
        time.sleep(0.05)
    fault = desk.kiosks.standing().fault if desk.kiosks else None
    raise fault or LinkFault(Cause.SLOW)


def leave(arguments: argparse.Namespace) -> int:
    """Belongs to no shop any more; the book stays here as it is."""
    from kiosk.commands.whose import at_work

    folder = data_folder(arguments)
    try:
        member, connection = _as_member(folder)
        try:
            with desk_to_write(arguments) as desk:
                at_work(desk, arguments)
                _level(desk)
                desk.leave()
                calls.lock_out(connection, member.kiosk)
            addresses.forget(folder)
        finally:
            connection.close()
    except LinkFault as fault:
        return complain(f"leave: {fault}")
    print("this kiosk belongs to no shop with a server any more")
    return DONE


def _as_member(folder: Path) -> tuple[Membership, Connection]:
    member = addresses.here(folder)
    if member is None:
        raise LinkFault(Cause.ALONE)
    connection = connect(member.values(folder))
    calls.speaks_our_form(connection)
    return member, connection


def _told(each: Kiosk) -> dict[str, Any]:
    told = {name: getattr(each, name) for name in ("kiosk", "name", "ago_s", "waiting", "version", "clock_off_s")}
    return told | {"state": _state(each)}


def _state(each: Kiosk) -> str:
    if each.retired_n is not None:
        return "has yet to join again" if each.retired_n == 0 else "left"
    if each.ago_s is None:
        return "not here"
    known = "heard" if is_of_this_version(each) else "another version: update the older one"
    return known if each.ago_s < 10 else "not heard"


def _line(each: Kiosk) -> str:
    ago = "" if each.ago_s is None else f" {each.ago_s:.0f} s ago"
    return (
        f"{each.name:24} {_state(each)}{ago}, {each.waiting} waiting, version {each.version or 'unknown'}, "
        f"clock off by {each.clock_off_s:+.0f} s"
    )
