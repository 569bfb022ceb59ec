"""A real PostgreSQL for tests: made with initdb in a temporary folder, run as an unprivileged user, gone afterwards."""

from __future__ import annotations

import os
import secrets
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from kiosk.link.address import Address
from kiosk.link.connection import connect
from kiosk.link.faults import LinkFault

_AS = "postgres"  # Debian's package makes this user; PostgreSQL refuses to run as root
_UNPRIVILEGED: dict[str, Any] = {"user": _AS, "group": _AS, "extra_groups": []} if os.geteuid() == 0 else {}


def programs() -> Path:
    """The folder of the newest PostgreSQL there is, or of the one that `KIOSK_POSTGRES` names."""
    if (named := os.environ.get("KIOSK_POSTGRES")) is not None:
        return Path(named)
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    if found:
        return found[-1].parent
    other = shutil.which("initdb")
    assert other is not None, "these tests need PostgreSQL 15 or newer: ./tests/run installs it"
    return Path(other).parent


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


class Server:
    """A cluster of its own on a free port of this machine, and on a socket in its folder.

    firm: a line counts as written when the disk has it, as in a shop; in tests nobody cuts the machine's power.
    """

    def __init__(self, *, firm: bool = False) -> None:
        self.root = Path(tempfile.mkdtemp(prefix="kiosk-pg-"))
        self.data = self.root / "data"
        self.port = free_port()
        self.firm = firm
        if os.geteuid() == 0:
            shutil.chown(self.root, _AS)
            self.root.chmod(0o755)
        self._run("initdb", "--pgdata", str(self.data), "--auth", "trust", "--username", "boss", "--encoding", "UTF8",
                  "--no-locale", "--no-instructions", "--no-sync")  # fmt: skip
        rights = self.data / "pg_hba.conf"
        rights.write_text(
            "local all boss trust\nlocal all all scram-sha-256\nhost all all 127.0.0.1/32 scram-sha-256\n"
        )
        self.start()

    def _run(self, program: str, *arguments: str) -> None:
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

    def restart(self) -> None:
        self.stop()
        self.start()

    def kill(self) -> None:
        """As the kernel does when memory is gone: no process of it is asked."""
        asked = ["pgrep", "-P", str(self._process.pid)]
        children = [int(pid) for pid in subprocess.run(asked, capture_output=True, check=False).stdout.split()]
        for pid in [self._process.pid, *children]:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        self._process.wait(30)
        until = time.monotonic() + 20
        while any(map(_lives, children)):
            assert time.monotonic() < until, "the server outlives kill -9"
            time.sleep(0.01)

    def boss(self, database: str = "postgres") -> dict[str, Any]:
        """The administrator's login as libpq names it."""
        return {"host": str(self.root), "port": self.port, "dbname": database, "user": "boss"}

    def address(self, database: str) -> Address:
        return Address("127.0.0.1", self.port, database)

    def sql(self, database: str, sentence: str, *values: Any) -> list[tuple[Any, ...]]:
        """As the administrator, who may do anything, also what nobody should."""
        connection = connect(self.boss(database))
        try:
            return connection.ask(sentence, values, 60.0)
        finally:
            connection.close()

    def dump(self, database: str) -> Path:
        goal = self.root / f"copy-{secrets.token_hex(4)}"
        self._run("pg_dump", *self._as_boss(), "--format", "custom", "--file", str(goal), database)
        return goal

    def put_back(self, database: str, copy: Path) -> None:
        self._run("pg_restore", *self._as_boss(), "--clean", "--if-exists", "--dbname", database, str(copy))

    def small_disk(self, at: Path, mb: int) -> Path:
        """A folder of the server on a disk of its own; only root can make one.

        The server is started anew for it: a test that ran before in this process may have taken the process into a
        mount namespace of its own, and a server from before that would not see the disk.
        """
        if os.geteuid() != 0:
            pytest.skip("only root can make a small disk")
        at.mkdir()
        for folder in (at, *at.parents):
            if folder.is_relative_to(tempfile.gettempdir()) and folder != Path(tempfile.gettempdir()):
                folder.chmod(0o755)
        subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={mb}m", "tmpfs", str(at)], check=True)
        shutil.chown(at, _AS)
        self.restart()
        return at

    def _as_boss(self) -> tuple[str, ...]:
        return ("--host", str(self.root), "--port", str(self.port), "--username", "boss")

    def end(self) -> None:
        self.stop()
        shutil.rmtree(self.root)


def _lives(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    state = Path(f"/proc/{pid}/stat")
    return not state.exists() or state.read_text().rpartition(")")[2].split()[0] != "Z"
