"""Where a shop's server is and who this kiosk is there, and the one file that keeps it: `server.json` in its folder.

The file holds the kiosk's key and is readable for its owner only.  It never holds anything of another kiosk, and no
key that could make others: who has the file is this kiosk and nobody else, until it is locked out.
"""

from __future__ import annotations

import secrets
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, quote, unquote, urlsplit

import msgspec

from kiosk import filing
from kiosk.link.faults import Cause, LinkFault
from kiosk.link.home import home_of, is_at_home
from kiosk.rules.codes import ALPHABET

NAME = "server.json"
BEGUN = "joining.json"
CERTIFICATE = "server.crt"
DATABASE = "holder_kiosk"
CODE_LENGTH = 10
LONGEST_NAME = 60  # of a kiosk, as `book.sql` has it
_PORT = 5432
_HERE = ("", "localhost", "127.0.0.1", "::1")


@dataclass(frozen=True)
class Address:
    """A database on a server.  host: a name, an address, or the folder of a socket; empty: this machine's socket."""

    host: str
    port: int = _PORT
    database: str = DATABASE

    @property
    def is_here(self) -> bool:
        """Whether what is said there never leaves this machine."""
        return self.host in _HERE or self.host.startswith("/")

    def __str__(self) -> str:
        port = "" if self.port == _PORT else f":{self.port}"
        database = "" if self.database == DATABASE else f"/{self.database}"
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{host}{port}{database}"

    def values(self) -> dict[str, Any]:
        """As libpq names it, with as much protection as the way there needs.

        Over a network the server must prove over the encrypted channel itself that it knows the login's secret (SCRAM
        with channel binding), so that nobody in between can be mistaken for it, whatever certificate it shows.
        """
        safe = {} if self.is_here else {"sslmode": "require", "channel_binding": "require"}
        where = {"host": self.host} if self.host else {}
        return {**where, "port": self.port, "dbname": self.database, **safe}


@dataclass(frozen=True)
class Membership:
    """This kiosk in its shop.

    kiosk: its random id.  key: its secret.  shop: random id of the shop.  certificate: of whoever vouches for the
    server, PEM; empty where nobody of ours does.  home: where it was kept (`link.home`); empty: nobody knows.
    """

    host: str
    port: int
    database: str
    kiosk: str
    name: str
    key: str
    shop: str
    certificate: str = ""
    home: str = field(default="", compare=False)

    @property
    def address(self) -> Address:
        return Address(self.host, self.port, self.database)

    def values(self, folder: Path) -> dict[str, Any]:
        """As libpq names it.  folder: where the membership is kept, and the certificate beside it."""
        values = self.address.values() | {"user": f"kiosk_{self.kiosk}", "password": self.key}
        if self.certificate and not self.address.is_here:
            values |= {"sslmode": "verify-ca", "sslrootcert": str(folder / CERTIFICATE)}
        return values


def new_id() -> str:
    return secrets.token_hex(8)


def read(folder: Path) -> Membership | None:
    """What is kept in a kiosk's folder; None: it belongs to no shop with a server.  Raises LinkFault."""
    path = folder / NAME
    if not path.exists():
        return None
    try:
        return msgspec.json.decode(filing.take(path, 100_000), type=Membership)
    except (msgspec.MsgspecError, filing.FileUnusable, OSError) as error:
        raise LinkFault(Cause.UNNAMED, f"{path}: {error}") from error


def here(folder: Path) -> Membership | None:
    """The same, where this is the folder that joined; of a copy it raises LinkFault."""
    member = read(folder)
    if member is not None and not is_at_home(folder, member.home):
        raise LinkFault(Cause.COPIED)
    return member


def keep(folder: Path, membership: Membership) -> None:
    """Writes it down, whole or not at all.  Raises OSError."""
    folder.mkdir(parents=True, exist_ok=True)
    if membership.certificate:
        filing.write(folder / CERTIFICATE, membership.certificate.encode())
    membership = replace(membership, home=home_of(folder))
    filing.write(folder / NAME, msgspec.json.format(msgspec.json.encode(membership)), 0o600)
    (folder / BEGUN).unlink(missing_ok=True)


def forget(folder: Path) -> None:
    """The kiosk belongs to no shop with a server from now on.  Raises OSError."""
    (folder / NAME).unlink(missing_ok=True)
    (folder / CERTIFICATE).unlink(missing_ok=True)


@dataclass(frozen=True)
class _Begun:
    """Under which identity a folder joins.  home: which folder (`link.home`)."""

    kiosk: str
    home: str


def begin(folder: Path, *, anew: bool = False) -> str:
    """The identity under which the kiosk of a folder joins, on its disk before a server is asked.

    Whoever was killed in the middle of joining comes back as the kiosk that the server may know by now, and not as one
    more beside it that nobody ever hears.  anew: the one that was begun is of no use.  Raises OSError.
    """
    with suppress(msgspec.MsgspecError, OSError):
        begun = msgspec.json.decode(filing.take(folder / BEGUN, 10_000), type=_Begun)
        if not anew and is_at_home(folder, begun.home):
            return begun.kiosk
    folder.mkdir(parents=True, exist_ok=True)
    begun = _Begun(new_id(), home_of(folder))
    filing.write(folder / BEGUN, msgspec.json.encode(begun), 0o600)
    return begun.kiosk


def parsed(text: str) -> Address:
    """`host`, `host:port`, `host:port/database` or a `postgresql://` URL.  Raises LinkFault."""
    address, user, _ = administrator(text)
    if user:
        raise LinkFault(Cause.ADDRESS, "give the address without a name in it")
    return address


def administrator(text: str) -> tuple[Address, str, str]:
    """An address, with login and password where the text names them.  Raises LinkFault."""
    text = text.strip()
    try:
        parts = urlsplit(text if "://" in text else f"postgresql://{text}")
        asked = parse_qs(parts.query)
        host = unquote(parts.hostname or "") or asked.get("host", [""])[0]
        port = parts.port or int(asked.get("port", [str(_PORT)])[0])
        if parts.scheme not in ("postgresql", "postgres") or set(asked) - {"host", "port"} or "\0" in unquote(text):
            raise ValueError("is no address of a PostgreSQL server, like postgresql://name@host:5432/holder_kiosk")
        database = unquote(parts.path.strip("/")) or DATABASE
        return Address(host, port, database), unquote(parts.username or ""), unquote(parts.password or "")
    except ValueError as error:
        raise LinkFault(Cause.ADDRESS, str(error)) from error


def new_code() -> str:
    """Ten characters that are good once and for a quarter of an hour."""
    return "".join(secrets.choice(ALPHABET) for _ in range(CODE_LENGTH))


def invitation(address: Address, code: str) -> str:
    """What the QR on the other kiosk's screen says: everything a new kiosk needs."""
    return f"HKJOIN:{code}@{quote(str(address), safe='/:[]')}"


def invited(text: str) -> tuple[Address | None, str]:
    """Address and code of what was scanned or typed; None: only the code was typed.  Raises LinkFault."""
    text = text.strip().removeprefix("HKJOIN:")
    code, at, host = text.partition("@")
    code = "".join(code.upper().split())
    if len(code) != CODE_LENGTH or set(code) - set(ALPHABET):
        raise LinkFault(Cause.NOT_INVITED, f"a code is {CODE_LENGTH} of the characters {ALPHABET}")
    return (parsed(unquote(host)) if at else None), code
