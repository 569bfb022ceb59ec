"""Certificates of our own for a shop's server: who vouches for it, and what it shows.

Made once, on the server, by `server init`.  The voucher's key is thrown away as soon as it has signed, so that nobody
can ever make another server this shop would take for its own; a server that needs new names gets both anew, and its
kiosks join again.
"""

from __future__ import annotations

import datetime
import ipaddress
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kiosk.link.address import new_id

if TYPE_CHECKING:
    from cryptography import x509

_YEARS = 25  # longer than any tablet; the clock of a tablet may also say 1970, see `_FROM`
_FROM = datetime.datetime(1970, 1, 1, tzinfo=datetime.UTC)


@dataclass(frozen=True)
class Certificates:
    """PEM texts: of the voucher, and certificate and key of the server."""

    voucher: str
    server: str
    key: str


def make(names: Sequence[str], year: int) -> Certificates:
    """names: under which the server is reached, names or addresses.  year: this one, for the end of validity."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    until = datetime.datetime(year + _YEARS, 1, 1, tzinfo=datetime.UTC)
    shop = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, f"Holder Kiosk {new_id()}")])
    server = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, names[0][:60])])
    voucher_key, server_key = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())

    def begun(subject: x509.Name, key: ec.EllipticCurvePrivateKey) -> x509.CertificateBuilder:
        builder = x509.CertificateBuilder().subject_name(subject).issuer_name(shop).public_key(key.public_key())
        builder = builder.serial_number(x509.random_serial_number())
        return builder.not_valid_before(_FROM).not_valid_after(until)

    voucher = (
        begun(shop, voucher_key)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(voucher_key.public_key()), critical=False)
        .sign(voucher_key, hashes.SHA256())
    )
    shown = (
        begun(server, server_key)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.SubjectAlternativeName([_named(name) for name in names]), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(voucher_key.public_key()), critical=False)
        .sign(voucher_key, hashes.SHA256())
    )
    pem = serialization.Encoding.PEM
    key = server_key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    return Certificates(voucher.public_bytes(pem).decode(), shown.public_bytes(pem).decode(), key.decode())


def _named(name: str) -> x509.GeneralName:
    from cryptography import x509

    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)
