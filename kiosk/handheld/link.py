"""The pipe to the process that serves telephones: starts it, hears it, speaks to it, and starts it again when it dies.

A process of its own, and with less of the processor than the window, because pictures and TLS would hold the lock that
Kivy's thread needs; and because what a network can reach should hold no ledger.  It writes on a thread of its own, so
that a server that stands still never holds the desk.
"""

from __future__ import annotations

import json
import logging
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import msgspec

from kiosk import where
from kiosk.handheld import messages as M
from kiosk.handheld.certificate import kept, own_addresses, own_names

log = logging.getLogger("kiosk.handheld")

AGAIN_S = 2.0  # after it died
STOP_S = 2.0
MOST_WAITING = 2000  # messages; a server that takes none for so long is ended and started again


@dataclass(frozen=True, slots=True)
class Serves:
    """Where: the data folder, the port, and the name or address by which the shop's network knows this machine.

    port 0: any that is free.  address empty: found out.
    """

    data_dir: Path
    port: int
    address: str = ""


class Link:
    """`came` is called on the link's thread with what the server asks.  `state`: starting, serving, failed."""

    def __init__(self, serves: Serves, came: Callable[[M.Asked | M.Pair | M.Serving], None]) -> None:
        self._serves = serves
        self._came = came
        self._out: queue.SimpleQueue[M.FromKiosk | None] = queue.SimpleQueue()
        self._process: subprocess.Popen[bytes] | None = None
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="phones", daemon=True)
        self.state, self.why = "starting", ""
        self.address = self.fingerprint = ""
        self.listening = 0

    def start(self) -> None:
        self._thread.start()

    def say(self, message: M.FromKiosk) -> None:
        """Send something; never waits."""
        if self._out.qsize() < MOST_WAITING:
            self._out.put(message)
        elif self._process is not None:
            self._process.kill()

    def stop(self) -> None:
        """Tell the pages that the kiosk closes, then end the server."""
        self._stopping.set()
        self._out.put(M.Closing())
        self._thread.join(STOP_S)
        if self._process is not None and self._process.poll() is None:
            self._process.kill()

    def _run(self) -> None:
        while not self._stopping.is_set():
            try:
                self._serve()
            except Exception as error:
                log.exception("telephones cannot be served")
                self.state, self.why = "failed", str(error)
            self.listening = 0
            self._stopping.wait(AGAIN_S)

    def _serve(self) -> None:
        """One life of the server's process."""
        found = kept(self._serves.data_dir, time.time())
        names = [*map(str, own_addresses()), *own_names()]
        address = self._serves.address or names[0]
        self.fingerprint = found.fingerprint
        given = {
            "certificate": str(found.certificate), "key": str(found.key), "port": self._serves.port,
            "hosts": [address, *names], "fingerprint": found.fingerprint, "assets": str(where.assets()),
        }  # fmt: skip
        process = subprocess.Popen(
            [sys.executable, "-m", "kiosk.handheld.serving", json.dumps(given)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip
        self._process = process
        with suppress(queue.Empty):  # what an earlier server was to be told
            while not self._stopping.is_set():
                self._out.get_nowait()
        writer = threading.Thread(target=self._write, args=(process,), name="phones-out", daemon=True)
        writer.start()
        assert process.stdout is not None
        try:
            while (data := M.take(process.stdout)) is not None:  # type: ignore[arg-type]
                self._hear(M.to_kiosk.decode(data), address)
        except msgspec.MsgspecError:
            log.exception("the telephones' server said what it never says")
        finally:
            self._out.put(None)
            process.kill()
            process.wait()
            writer.join(STOP_S)
            if self.state == "serving":
                self.state = "starting"

    def _hear(self, message: M.FromServer, address: str) -> None:
        match message:
            case M.Serving(port=port):
                self.address = f"https://{address}:{port}/"
                self.state, self.why = "serving", ""
                self._came(message)
            case M.CannotServe(why=why):
                self.state, self.why = "failed", why
            case M.Listening(pages=pages):
                self.listening = pages
            case M.Asked() | M.Pair():
                self._came(message)

    def _write(self, process: subprocess.Popen[bytes]) -> None:
        assert process.stdin is not None
        while (message := self._out.get()) is not None:
            try:
                M.put(process.stdin, message)  # type: ignore[arg-type]
            except OSError:
                return
            if isinstance(message, M.Closing):
                with suppress(OSError):
                    process.stdin.close()
                return
