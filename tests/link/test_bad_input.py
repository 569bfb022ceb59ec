"""What a hand may give wrong, and what stands at the other end of a wrong address: each its own sentence."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from kiosk.link import address as addresses
from kiosk.link import calls, joining
from kiosk.link import server as administration
from kiosk.link.address import Address, Membership, invitation, invited, new_id, parsed
from kiosk.link.connection import connect
from kiosk.link.faults import _SAID, Cause, LinkFault
from tests.link.postgres import free_port
from tests.link.shop import LINE_FORM, Ledger, Server, Shop, linked
from tests.link.test_server import refused


def logged_in(member: Membership, folder: Path) -> None:
    addresses.keep(folder, member)
    connection = connect(member.values(folder))
    calls.speaks_our_form(connection)
    connection.close()


def test_every_cause_says_what_is_and_what_to_do() -> None:
    for cause in Cause:
        fault = LinkFault(cause)
        assert len(fault.why) > 10 and len(fault.remedy) > 10
    assert len({why for why, _ in _SAID.values()}) == len(_SAID), "two causes say the same"


@pytest.mark.parametrize(
    ("port", "cause"), [(None, Cause.UNREACHABLE), (70_000, Cause.ADDRESS), (0, Cause.ADDRESS)], ids=str
)
def test_nobody_listens_there(port: int | None, cause: Cause) -> None:
    with refused(cause):
        joining.join(
            Address("127.0.0.1", free_port() if port is None else port), "C" * 10, "new", new_id(), has_lines=False
        )


def test_a_name_that_no_server_has() -> None:
    with refused(Cause.ADDRESS):
        joining.join(Address("no-such-server.invalid"), "C" * 10, "new", new_id(), has_lines=False)


@pytest.mark.parametrize(
    "text", ["http://shop", "postgresql://shop:port", "postgresql://a b:99999999", "host?sslmode=disable", "\0"]
)
def test_a_text_that_is_no_address(text: str) -> None:
    with refused(Cause.ADDRESS):
        parsed(text)


@pytest.fixture
def mute() -> Iterator[int]:
    """Somebody listens and never says a word."""
    door = socket.create_server(("127.0.0.1", 0))
    yield door.getsockname()[1]
    door.close()


def test_something_else_listens_there_and_says_nothing(mute: int) -> None:
    with refused(Cause.SLOW):
        joining.join(Address("127.0.0.1", mute), "C" * 10, "new", new_id(), has_lines=False)


def test_something_else_listens_there_and_says_other_things() -> None:
    door = socket.create_server(("127.0.0.1", 0))

    def answer() -> None:
        there, _ = door.accept()
        there.recv(100)
        there.sendall(b"HTTP/1.1 400 Bad Request\r\n\r\n")
        there.close()

    threading.Thread(target=answer, daemon=True).start()
    with pytest.raises(LinkFault):
        joining.join(Address("127.0.0.1", door.getsockname()[1]), "C" * 10, "new", new_id(), has_lines=False)
    door.close()


def test_a_server_without_this_shops_database(server: Server) -> None:
    with refused(Cause.PASSWORD):  # a stranger is not told which databases there are
        joining.join(server.address("elsewhere"), "C" * 10, "new", new_id(), has_lines=False)
    with refused(Cause.NO_BOOK):
        list(administration.examine(server.boss(), server.address("elsewhere")))
    with refused(Cause.NO_BOOK):
        list(administration.examine(server.boss(), server.address("postgres")))


def test_a_wrong_code(on_server: Shop) -> None:
    administration.invite_first(on_server.server.boss(), on_server.address)
    with refused(Cause.PASSWORD):
        joining.join(on_server.address, "C" * 10, "new", new_id(), has_lines=False)


def test_a_code_is_good_once(on_server: Shop) -> None:
    code = administration.invite_first(on_server.server.boss(), on_server.address)
    joining.join(on_server.address, code, "first", new_id(), has_lines=False)
    with refused(Cause.PASSWORD):
        joining.join(on_server.address, code, "second", new_id(), has_lines=False)


def test_a_code_grows_old(on_server: Shop) -> None:
    code = administration.invite_first(on_server.server.boss(), on_server.address)
    on_server.sql("ALTER ROLE holder_kiosk_join VALID UNTIL '2020-01-01'")
    with refused(Cause.PASSWORD):
        joining.join(on_server.address, code, "late", new_id(), has_lines=False)


def test_a_kiosk_shows_the_code_for_the_next(on_server: Shop) -> None:
    code = joining.invite(linked(on_server.member()), on_server.address)
    assert linked(joining.join(on_server.address, code, "next", new_id(), has_lines=False))


def test_a_name_taken_twice_keeps_the_code_good(on_server: Shop) -> None:
    on_server.member("Cabinet")
    code = administration.invite_first(on_server.server.boss(), on_server.address)
    with refused(Cause.NAME_TAKEN):
        joining.join(on_server.address, code, "cabinet", new_id(), has_lines=False)
    joining.join(on_server.address, code, "Presetter", new_id(), has_lines=False)


def test_a_book_is_never_mixed_with_another(on_server: Shop) -> None:
    first = on_server.member("first", has_lines=True)  # an existing book becomes the first chain
    ledger, kiosk = Ledger(first.kiosk), linked(first)
    with refused(Cause.PUT_BACK):  # nobody writes before the lines it brings along are there
        calls.push(kiosk, ledger.write("old"), LINE_FORM)
    calls.beat(kiosk, calls.Said("run", 1, 0, 1, 0.0, "", "9", LINE_FORM))
    calls.push(kiosk, ledger.own, LINE_FORM)
    with refused(Cause.NOT_EMPTY):
        on_server.member("second", has_lines=True)
    on_server.member("second")
    on_server.member("first", kiosk=first.kiosk, has_lines=True)  # it comes back with its own


def test_two_kiosks_cannot_join_with_one_code_at_once(on_server: Shop) -> None:
    code = administration.invite_first(on_server.server.boss(), on_server.address)
    joined: list[Membership] = []

    def try_it(name: str) -> None:
        try:
            joined.append(joining.join(on_server.address, code, name, new_id(), has_lines=False))
        except LinkFault:
            return

    both = [threading.Thread(target=try_it, args=(name,)) for name in ("one", "two")]
    for each in both:
        each.start()
    for each in both:
        each.join()
    assert len(joined) == 1


def test_a_wrong_key(on_server: Shop, tmp_path: Path) -> None:
    with refused(Cause.PASSWORD):
        logged_in(replace(on_server.member(), key="wrong"), tmp_path)


def test_a_newer_and_an_older_form_of_the_book(on_server: Shop) -> None:
    member = on_server.member()
    for form, cause in ((calls.FORM + 1, Cause.NEWER_SERVER), (calls.FORM - 1, Cause.OLDER_SERVER)):
        on_server.sql("UPDATE book.head SET form = %s", form)
        with refused(cause):
            calls.speaks_our_form(linked(member))


def test_init_asks_for_an_administrator(on_server: Shop) -> None:
    on_server.sql("DROP ROLE IF EXISTS nobody_much")
    on_server.sql("CREATE ROLE nobody_much LOGIN PASSWORD 'x'")
    login = {"host": "127.0.0.1", "port": on_server.server.port, "dbname": "postgres"}
    with refused(Cause.NOT_ALLOWED):
        administration.prepare(login | {"user": "nobody_much", "password": "x"}, on_server.address)


def test_init_again_changes_nothing(on_server: Shop) -> None:
    member = on_server.member()
    before = on_server.sql("SELECT * FROM book.head")
    assert administration.prepare(on_server.server.boss(), on_server.address) is administration.Prepared.THERE
    assert on_server.sql("SELECT * FROM book.head") == before
    calls.speaks_our_form(linked(member))


def test_a_membership_is_kept_for_its_owner_only_and_read_back(tmp_path: Path) -> None:
    member = Membership("192.168.1.5", 5433, "holder_kiosk", new_id(), "Cabinet", "key", new_id(), "PEM")
    assert addresses.read(tmp_path) is None
    addresses.keep(tmp_path, member)
    assert addresses.read(tmp_path) == member
    assert (tmp_path / addresses.NAME).stat().st_mode & 0o077 == 0
    (tmp_path / addresses.NAME).write_text("{}")
    with refused(Cause.UNNAMED):
        addresses.read(tmp_path)
    addresses.forget(tmp_path)
    assert addresses.read(tmp_path) is None


@pytest.mark.parametrize("host", ["shop-server", "192.168.1.5", "::1", "fe80::1"])
@pytest.mark.parametrize("port", [5432, 6000])
@pytest.mark.parametrize("database", ["holder_kiosk", "second shop"])
def test_what_the_qr_says_is_read_back(host: str, port: int, database: str) -> None:
    address = Address(host, port, database)
    assert invited(invitation(address, "0123456789")) == (address, "0123456789")
    assert invited(" 01234 56789 ") == (None, "0123456789")


@pytest.mark.parametrize("text", ["", "12345", "01234567890", "ABCDEFGHIJ", "0123456789@", "0123456789@http://x"])
def test_what_is_no_code_is_said_to_be_none(text: str) -> None:
    if text == "0123456789@":
        assert invited(text) == (Address(""), "0123456789")  # the socket of this machine
        return
    with pytest.raises(LinkFault):
        invited(text)


def test_over_a_network_nothing_is_said_without_encryption_and_only_to_this_shops_server(
    on_server: Shop, tmp_path: Path
) -> None:
    server, away = on_server.server, Address("127.0.0.2", on_server.server.port)
    code = administration.invite_first(server.boss(), on_server.address)
    with refused(Cause.NO_ENCRYPTION):
        joining.join(away, code, "far", new_id(), has_lines=False)
    administration.protect(server.boss(), on_server.address, ["127.0.0.2", "shop-server"])
    server.restart()
    member = joining.join(away, code, "far", new_id(), has_lines=False)
    assert "BEGIN CERTIFICATE" in member.certificate
    logged_in(member, tmp_path)
    administration.protect(server.boss(), on_server.address, ["127.0.0.2"])  # as a server of somebody else would
    server.restart()
    with refused(Cause.OTHER_CERTIFICATE):
        logged_in(member, tmp_path)
    server.sql("postgres", "ALTER SYSTEM RESET ALL")
    server.restart()
    with refused(Cause.NO_ENCRYPTION):
        logged_in(member, tmp_path)
