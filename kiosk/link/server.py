"""Makes and looks after the shop's book on a PostgreSQL server: what its administrator runs, never a kiosk.

`prepare` makes database, roles, tables and functions, again as often as wanted, and puts functions of this version in
place of an older one's; `empty` begins the book anew, which the kiosks then refill; `protect` gives the server
certificates of our own and lets kiosks in over the network; `examine` recomputes every hash and says what is wrong.
Nothing of other databases on that server is touched.
"""

from __future__ import annotations

import datetime
import hashlib
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from enum import Enum
from typing import Any

from kiosk.link import calls, certificates, schema
from kiosk.link.address import Address, new_code, new_id
from kiosk.link.border import LINE_FORM
from kiosk.link.connection import Connection, connect
from kiosk.link.faults import Cause, LinkFault
from kiosk.rules.chain import EMPTY_BOOK, next_book

INVITED_S = 900
_SLOW_S = 60.0
_FETCHED = 2000
AS_USER = "as user"  # among libpq's names: the user of this machine that root becomes to connect
_FIRST_HEAD = "INSERT INTO book.head (form, writes, shop, certificate, standing) VALUES (%s, %s, %s, '', '')"


@dataclass(frozen=True)
class Found:
    """Something wrong with the book on a server.  n: at which line, 0 for none.  problem: in words."""

    n: int
    problem: str


def roles(database: str) -> dict[str, str]:
    """The three roles of a shop by what they are for; kiosks get one each, `kiosk_` and their id."""
    return {what: f"{database}_{what}" for what in ("owner", "kiosks", "join")}


class Prepared(Enum):
    """What `prepare` found, and left."""

    MADE = "made"
    RENEWED = "its functions are those of this version now"
    THERE = "there"


def prepare(values: Mapping[str, Any], address: Address) -> Prepared:
    """Database, roles, tables and functions, where they are not there; functions of an older version are replaced.

    values: an administrator's login as libpq names it, for any database of the server.  Raises LinkFault.
    """
    named = roles(address.database)
    with _as_administrator(values) as administrator:
        if not administrator.ask("SELECT rolsuper FROM pg_roles WHERE rolname = current_user")[0][0]:
            raise LinkFault(Cause.NOT_ALLOWED, "not a superuser")
        have = {row[0] for row in administrator.ask("SELECT rolname FROM pg_roles")}
        for what, rights in (("owner", "NOLOGIN CREATEROLE"), ("kiosks", "NOLOGIN"), ("join", "NOLOGIN")):
            if named[what] not in have:
                _run(administrator, f"CREATE ROLE {{}} {rights}", named[what])
        # The owner makes and ends kiosks' roles and sessions, and no others: it never logs in.
        _run(administrator, "GRANT {}, {} TO {} WITH ADMIN OPTION", named["kiosks"], named["join"], named["owner"])
        _run(administrator, "GRANT pg_signal_backend TO {}", named["owner"])
        if not administrator.ask("SELECT 1 FROM pg_database WHERE datname = %s", (address.database,)):
            _run(administrator, "CREATE DATABASE {} ENCODING 'UTF8' TEMPLATE template0", address.database)
        _run(administrator, "REVOKE ALL ON DATABASE {} FROM PUBLIC", address.database)
        grant = "GRANT CONNECT ON DATABASE {} TO {}, {}"
        _run(administrator, grant, address.database, named["kiosks"], named["join"])
    with _as_administrator({**values, "dbname": address.database}) as administrator:
        if administrator.ask("SELECT 1 FROM pg_namespace WHERE nspname = 'book'"):
            return _renew(administrator, named)
        _run(administrator, "GRANT CREATE ON DATABASE {} TO {}", address.database, named["owner"])
        with administrator.raw.transaction():
            administrator.ask(schema.tables(administrator, named), within_s=_SLOW_S)
            administrator.ask(schema.functions(administrator, named), within_s=_SLOW_S)
            administrator.ask(_FIRST_HEAD, (calls.FORM, LINE_FORM, new_id()))
            administrator.ask("UPDATE book.head SET standing = book.standing()")
        _run(administrator, "REVOKE CREATE ON DATABASE {} FROM {}", address.database, named["owner"])
    return Prepared.MADE


def _renew(administrator: Connection, named: Mapping[str, str]) -> Prepared:
    """The functions of this version in place of those of an older one, in one step: a kiosk is answered by either."""
    heads = administrator.ask("SELECT form FROM book.head")
    if not heads or heads[0][0] > calls.FORM:
        calls.refuse(heads[0][0] if heads else None)
    if heads[0][0] == calls.FORM and not schema.changed(administrator, named):
        return Prepared.THERE
    with administrator.raw.transaction():
        administrator.ask(schema.without_functions(administrator) + schema.functions(administrator, named), (), _SLOW_S)
        administrator.ask("UPDATE book.head SET form = %s", (calls.FORM,))
    return Prepared.RENEWED


def empty(values: Mapping[str, Any], address: Address) -> None:
    """Begins the book anew; who belongs to the shop stays.  The kiosks put back what they hold.  Raises LinkFault."""
    with _as_administrator({**values, "dbname": address.database}) as administrator, administrator.raw.transaction():
        administrator.ask("TRUNCATE book.entry, book.tip")
        administrator.ask("UPDATE book.head SET n = 0, book = '', standing = '', put_back = clock_timestamp()")
        if not administrator.ask("SELECT 1 FROM book.head"):
            administrator.ask(_FIRST_HEAD, (calls.FORM, LINE_FORM, new_id()))


def protect(values: Mapping[str, Any], address: Address, names: Sequence[str]) -> None:
    """Lets kiosks in over the network, encrypted, and vouches for the server with a certificate of our own.

    names: under which kiosks reach it.  The server must be started again for it.  Raises LinkFault.
    """
    made = certificates.make(names, datetime.datetime.now(datetime.UTC).year)
    with _as_administrator({**values, "dbname": address.database}) as administrator:
        (folder,), (rights,) = (
            administrator.ask("SELECT current_setting(%s)", (which,))[0] for which in ("data_directory", "hba_file")
        )
        for name, text in (("crt", made.server), ("key", made.key)):
            _put(administrator, text, f"umask 077 && cat > {_quoted(f'{folder}/holder-kiosk.{name}')}")
        (known,) = administrator.ask("SELECT pg_read_file(%s)", (rights,))[0]
        line = f'hostssl "{address.database}" all all scram-sha-256'
        if line not in known:
            _put(
                administrator,
                f"\n# kiosks of the shop, with a key of their own each\n{line}",
                f"cat >> {_quoted(rights)}",
            )
        for setting, value in (
            ("ssl", "on"),
            ("ssl_cert_file", "holder-kiosk.crt"),
            ("ssl_key_file", "holder-kiosk.key"),
            ("ssl_min_protocol_version", "TLSv1.2"),
            ("password_encryption", "scram-sha-256"),
            ("listen_addresses", "*"),
        ):
            administrator.ask(f"ALTER SYSTEM SET {setting} = '{value}'")
        administrator.ask("UPDATE book.head SET certificate = %s", (made.voucher,))
        administrator.ask("SELECT pg_reload_conf()")


def invite_first(values: Mapping[str, Any], address: Address) -> str:
    """A code for the first kiosk; later ones are shown by a kiosk.  Raises LinkFault."""
    code = new_code()
    with _as_administrator({**values, "dbname": address.database}) as administrator:
        verifier = verifier_of(administrator, code, roles(address.database)["join"])
        administrator.ask("SELECT book.open_door(%s, %s)", (verifier, INVITED_S))
    return code


def verifier_of(connection: Connection, secret: str, role: str) -> str:
    """What SCRAM keeps of a secret: the server never sees the secret itself."""
    made = connection.raw.pgconn.encrypt_password(secret.encode(), role.encode(), b"scram-sha-256")
    return made.decode()


def examine(values: Mapping[str, Any], address: Address) -> Iterator[Found]:
    """Everything that is wrong with the book, recomputed from its lines; nothing: it is whole.  Raises LinkFault."""
    with _as_administrator({**values, "dbname": address.database}) as administrator:
        calls.speaks_our_form(administrator)
        if other := schema.changed(administrator, roles(address.database)):
            yield Found(0, f"functions are not those of this version, run server init: {', '.join(other)}")
        heads = administrator.ask("SELECT n, book, standing <> book.standing() FROM book.head")
        tips: dict[str, tuple[int, str]] = {}
        members = {row[0] for row in administrator.ask("SELECT kiosk FROM book.member")}
        n, book, books = 0, EMPTY_BOOK, [EMPTY_BOOK]
        while rows := administrator.ask(
            "SELECT * FROM book.entry WHERE n > %s ORDER BY n LIMIT %s", (n, _FETCHED), _SLOW_S
        ):
            for at, kiosk, number, previous, digest, seen, seen_book, body, said in rows:
                if at != n + 1:
                    yield Found(n + 1, f"lines {n + 1} to {at - 1} are missing")
                    books += [""] * (at - n - 1)
                n = at
                if hashlib.sha256(body.encode()).hexdigest() != digest:
                    yield Found(n, "is not what its digest says: it was changed")
                last_number, last_digest = tips.get(kiosk, (0, ""))
                if (number, previous) != (last_number + 1, last_digest):
                    yield Found(n, f"does not follow line {last_number} of its kiosk")
                if kiosk not in members:
                    yield Found(n, "is of a kiosk that is no member")
                if seen >= n or (seen and books[seen] != seen_book):
                    yield Found(n, f"was written after another line {seen} than the one that stands here")
                tips[kiosk] = (number, digest)
                if (book := next_book(book, digest)) != said:
                    yield Found(n, "has another place in the order than its book hash says")
                book = said
                books.append(said)
        kept = {row[0]: (row[1], row[2]) for row in administrator.ask("SELECT * FROM book.tip")}
        for kiosk in sorted(kept.keys() | tips.keys()):
            if kept.get(kiosk, (0, "")) != tips.get(kiosk, (0, "")):
                yield Found(0, f"the chain of kiosk {kiosk} ends elsewhere than the table of ends says")
        if not heads or heads[0][:2] != (n, book):
            yield Found(n, "the order ends elsewhere than its row says: lines were taken off the end or added")
        elif heads[0][2]:
            yield Found(n, "these tables came out of a copy, and not every kiosk was heard since")


def _as_administrator(values: Mapping[str, Any]) -> _Closing:
    plain = dict(values)
    with _become(plain.pop(AS_USER, None)):
        return _Closing(connect(plain))


@contextmanager
def _become(user: str | None) -> Iterator[None]:
    """A server on this machine may know its administrator by who asks: root is that user while it connects."""
    if user is None or os.name != "posix" or os.geteuid() != 0:
        yield
        return
    import pwd

    import psycopg as psycopg

    try:
        number = pwd.getpwnam(user).pw_uid
    except KeyError:  # the server will say what it thinks of root
        yield
        return
    os.seteuid(number)
    try:
        yield
    finally:
        os.seteuid(0)


class _Closing:
    """A connection in a with statement."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def __enter__(self) -> Connection:
        return self._connection

    def __exit__(self, *_: object) -> None:
        self._connection.close()


def _run(connection: Connection, sentence: str, *names: str) -> None:
    from psycopg import sql

    composed = sql.SQL(sentence).format(*map(sql.Identifier, names)).as_string(connection.raw)
    connection.ask(composed, within_s=_SLOW_S)


def _put(connection: Connection, text: str, command: str) -> None:
    """Text into a file of the server, through its own shell: the one way that works wherever it runs."""
    from psycopg import sql

    lines = sql.Literal(text.rstrip("\n")).as_string(connection.raw)
    shell = sql.Literal(command).as_string(connection.raw)
    connection.ask(f"COPY (SELECT unnest(string_to_array({lines}, E'\\n'))) TO PROGRAM {shell}")


def _quoted(path: str) -> str:
    return "'" + path.replace("'", "'\\''") + "'"
