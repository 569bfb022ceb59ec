"""A real PostgreSQL for tests, which can be killed, restored from a dump, and filled to the last page."""

from __future__ import annotations

import os
import secrets
import shutil
import signal
import subprocess
import tempfile
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from kiosk.bench.postgres import AS, Cluster, free_port, programs
from kiosk.link.connection import connect

__all__ = ["Server", "free_port"]


class Server(Cluster):
    """A cluster of its own with what goes wrong with one."""

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
        self._process.wait(40)
        until = time.monotonic() + 40
        while any(map(_lives, children)):
            assert time.monotonic() < until, "the server outlives kill -9"
            time.sleep(0.01)

    def sql(self, database: str, sentence: str, *values: Any) -> list[tuple[Any, ...]]:
        """As the administrator, who may do anything, also what nobody should."""
        connection = connect(self.boss(database))
        try:
            return connection.ask(sentence, values, 60.0)
        finally:
            connection.close()

    def dump(self, database: str) -> Path:
        if not (programs() / "pg_dump").exists():
            pytest.skip("this PostgreSQL came without pg_dump")
        goal = self.root / f"copy-{secrets.token_hex(4)}"
        self.run("pg_dump", *self._as_boss(), "--format", "custom", "--file", str(goal), database)
        return goal

    def put_back(self, database: str, copy: Path) -> None:
        self.run("pg_restore", *self._as_boss(), "--clean", "--if-exists", "--dbname", database, str(copy))

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
        shutil.chown(at, AS)
        self.restart()
        return at

    def _as_boss(self) -> tuple[str, ...]:
        return ("--host", str(self.root), "--port", str(self.port), "--username", "boss")

    def end(self) -> None:
        self.close()


def _lives(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    state = Path(f"/proc/{pid}/stat")
    return not state.exists() or state.read_text().rpartition(")")[2].split()[0] != "Z"
