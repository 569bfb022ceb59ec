"""A network between a kiosk and its server that does what networks do: refuses, delays, cuts, swallows, hangs."""

from __future__ import annotations

import socket
import threading
import time
from contextlib import suppress


class Proxy:
    """Passes bytes on to `goal` from a port of its own; what it does to them is set from outside, at any time.

    delay_s: each piece waits so long.  swallow_up, swallow_down: what goes that way is lost without a word (up: to the
    server).  cut_up, cut_down: the connection is cut after so many more bytes that way; None: never.  refuse: nobody is
    let in, and who is in is thrown out.
    """

    def __init__(self, goal: tuple[str, int]) -> None:
        self.goal = goal
        self.delay_s = 0.0
        self.swallow_up = self.swallow_down = False
        self.cut_up: int | None = None
        self.cut_down: int | None = None
        self.passed_up = self.passed_down = 0
        self._refuse = False
        self._pairs: set[tuple[socket.socket, socket.socket]] = set()
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._door.getsockname()[1]
        threading.Thread(target=self._let_in, daemon=True).start()

    def heal(self) -> None:
        self.delay_s = 0.0
        self.swallow_up = self.swallow_down = False
        self.cut_up = self.cut_down = None
        self._refuse = False

    def refuse(self) -> None:
        self._refuse = True
        self.cut()

    def half_open(self) -> None:
        """Both ways swallow; both ends believe to be connected."""
        self.swallow_up = self.swallow_down = True

    def one_way(self) -> None:
        """What the server says is lost; it hears everything."""
        self.swallow_down = True

    def cut_after(self) -> None:
        """Whoever is connected is cut in the middle of what is said next, either way, and again and again."""
        self.cut_up = self.cut_down = 100

    def cut(self) -> None:
        for pair in list(self._pairs):
            self._end(pair)

    def close(self) -> None:
        self._door.close()
        self.cut()

    def _let_in(self) -> None:
        while True:
            try:
                kiosk, _ = self._door.accept()
            except OSError:
                return
            if self._refuse:
                kiosk.close()
                continue
            try:
                server = socket.create_connection(self.goal, 2)
            except OSError:
                kiosk.close()
                continue
            pair = (kiosk, server)
            for each in pair:
                each.settimeout(None)
                each.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._pairs.add(pair)
            threading.Thread(target=self._pass, args=(pair, kiosk, server, "up"), daemon=True).start()
            threading.Thread(target=self._pass, args=(pair, server, kiosk, "down"), daemon=True).start()

    def _pass(
        self, pair: tuple[socket.socket, socket.socket], here: socket.socket, there: socket.socket, way: str
    ) -> None:
        with suppress(OSError):
            while data := here.recv(65536):
                if self.delay_s:
                    time.sleep(self.delay_s)
                if getattr(self, f"swallow_{way}"):
                    continue
                left = getattr(self, f"cut_{way}")
                if left is not None and left <= len(data):
                    there.sendall(data[:left])
                    break
                there.sendall(data)
                if left is not None:
                    setattr(self, f"cut_{way}", left - len(data))
                setattr(self, f"passed_{way}", getattr(self, f"passed_{way}") + len(data))
        self._end(pair)

    def _end(self, pair: tuple[socket.socket, socket.socket]) -> None:
        self._pairs.discard(pair)
        for each in pair:
            with suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)
            each.close()
