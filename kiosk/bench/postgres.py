"""A PostgreSQL of this machine for benches and tests: made with initdb in a temporary folder, run as an unprivileged
user, gone afterwards.  Never touches one that runs already.
"""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any

from kiosk.link.address import Address
from kiosk.link.connection import connect
from kiosk.link.faults import LinkFault

AS = "postgres"  # Debian's package makes this user; PostgreSQL refuses to run as root
_UNPRIVILEGED: dict[str, Any] = {"user": AS, "group": AS, "extra_groups": []} if os.geteuid() == 0 else {}


def programs() -> Path:
    """The folder of the newest PostgreSQL there is, or of the one that `KIOSK_POSTGRES` names."""
    if (named := os.environ.get("KIOSK_POSTGRES")) is not None:
        return Path(named)
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    if found:
        return found[-1].parent
    other = shutil.which("initdb")
    if other is None:
        raise SystemExit("there is no PostgreSQL 15 or newer on this machine: ./tests/run installs it")
    return Path(other).parent


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


class Cluster:
    """A cluster of its own on a free port of this machine, and on a socket in its folder.

    firm: a line counts as written when the disk has it, as in a shop; in tests nobody cuts the machine's power.
    """

    def __init__(self, *, firm: bool = False) -> None:
        self.root = Path(tempfile.mkdtemp(prefix="kiosk-pg-"))
        self.data = self.root / "data"
        self.port = free_port()
        self.firm = firm
        if os.geteuid() == 0:
            shutil.chown(self.root, AS)
            self.root.chmod(0o755)
        self.run("initdb", "--pgdata", str(self.data), "--auth", "trust", "--username", "boss", "--encoding", "UTF8",
                  "--no-locale", "--no-instructions", "--no-sync")  # fmt: skip
        rights = self.data / "pg_hba.conf"
        rights.write_text(
            "local all boss trust\nlocal all all scram-sha-256\nhost all all 127.0.0.1/32 scram-sha-256\n"
        )
        self.start()

    def run(self, program: str, *arguments: str) -> None:
        done = subprocess.run(
            [programs() / program, *arguments], cwd="/", capture_output=True, text=True, timeout=60, check=False,
            **_UNPRIVILEGED,
        )  # fmt: skip
        assert done.returncode == 0, f"{program}: {done.stderr}{done.stdout}{self.log()}"

    def log(self) -> str:
        path = self.root / "log"
        return path.read_text(errors="replace")[-3000:] if path.exists() else ""

    def start(self) -> None:
        settings: dict[str, object] = {
            "port": self.port,
            "unix_socket_directories": self.root,
            "listen_addresses": "127.0.0.1,127.0.0.2",
            "max_connections": 60,
            "fsync": "on" if self.firm else "off",
        }
        with (self.root / "log").open("ab") as log:
            self._process = subprocess.Popen(
                [programs() / "postgres", "-D", self.data, *(f"--{name}={value}" for name, value in settings.items())],
                cwd="/", stdout=log, stderr=log, **_UNPRIVILEGED,
            )  # fmt: skip
        until = time.monotonic() + 50
        while True:
            try:
                return connect(self.boss()).close()
            except LinkFault:
                assert self._process.poll() is None and time.monotonic() < until, self.log()
                time.sleep(0.02)

    def stop(self, how: signal.Signals = signal.SIGINT) -> None:
        """In order, its connections cut (SIGINT), or at once as it would after a fault (SIGQUIT)."""
        self._process.send_signal(how)
        self._process.wait(30)

    def boss(self, database: str = "postgres") -> dict[str, Any]:
        """The administrator's login as libpq names it."""
        return {"host": str(self.root), "port": self.port, "dbname": database, "user": "boss"}

    def address(self, database: str) -> Address:
        return Address("127.0.0.1", self.port, database)

    def close(self) -> None:
        self.stop()
        shutil.rmtree(self.root)
