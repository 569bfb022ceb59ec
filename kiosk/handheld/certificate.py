"""The certificate by which a telephone knows this kiosk again: made here once, kept beside the book, its owner's alone.

Nobody vouches for it, which a browser says at the first visit; so its fingerprint stands on the kiosk's screen and on
the page, to be compared.  Elliptic curve P-256, because every telephone's browser takes it.
"""

from __future__ import annotations

import ipaddress
import socket
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from kiosk import filing

FOLDER = "phones"
CERTIFICATE, KEY = "certificate.pem", "key.pem"
DAYS = 825  # browsers that are told to trust it take no longer ones
RENEW_DAYS = 30  # with fewer left a new one is made


@dataclass(frozen=True, slots=True)
class Certificate:
    """Files of a certificate and its key, and the SHA-256 fingerprint in groups of two."""

    certificate: Path
    key: Path
    fingerprint: str


def kept(data_dir: Path, utc_s: float) -> Certificate:
    """The kiosk's certificate; made where there is none, where it runs out, or where it cannot be read.

    Raises OSError where the folder takes no file.
    """
    folder = data_dir / FOLDER
    folder.mkdir(mode=0o700, exist_ok=True)
    found = Certificate(folder / CERTIFICATE, folder / KEY, "")
    now = datetime.fromtimestamp(utc_s, UTC)
    try:
        read = x509.load_pem_x509_certificate(filing.take(found.certificate, 20_000))
        if not _fits(read, filing.take(found.key, 20_000)) or read.not_valid_after_utc - now < timedelta(RENEW_DAYS):
            raise ValueError
    except (OSError, ValueError, filing.FileUnusable):
        read = _made(found, now)
    digits = read.fingerprint(hashes.SHA256()).hex().upper()
    grouped = ":".join(digits[at : at + 2] for at in range(0, len(digits), 2))
    return Certificate(found.certificate, found.key, grouped)


def _fits(certificate: x509.Certificate, key_pem: bytes) -> bool:
    """Whether this key is the certificate's.  Raises ValueError for no key at all."""
    ours = serialization.load_pem_private_key(key_pem, None).public_key()
    return ours == certificate.public_key()


def _made(files: Certificate, now: datetime) -> x509.Certificate:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Holder Kiosk")])
    names = [*(x509.DNSName(each) for each in own_names()), *(x509.IPAddress(each) for each in own_addresses())]
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=DAYS))
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )
    pem, nobody = serialization.Encoding.PEM, serialization.NoEncryption()
    filing.write(files.key, key.private_bytes(pem, serialization.PrivateFormat.PKCS8, nobody))
    files.key.chmod(0o600)
    filing.write(files.certificate, made.public_bytes(pem))
    return made


def own_names() -> tuple[str, ...]:
    """What this machine is called."""
    name = socket.gethostname()
    safe = name if name and name.isascii() and all(sign.isalnum() or sign in "-." for sign in name) else ""
    return tuple(dict.fromkeys(each for each in (safe, f"{safe}.local" if safe else "", "localhost") if each))


def own_addresses() -> tuple[ipaddress.IPv4Address, ...]:
    """The addresses of this machine: the one the shop's network knows it by first, its own last."""
    found: list[str] = []
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:  # nothing is sent
        probe.connect(("192.0.2.1", 9))
        found.append(probe.getsockname()[0])
    with suppress(OSError):  # a name nobody resolves
        found += [str(info[4][0]) for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    return tuple(dict.fromkeys(ipaddress.IPv4Address(each) for each in (*found, "127.0.0.1")))
