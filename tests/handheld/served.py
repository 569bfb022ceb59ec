"""A demo shop whose telephones are served by the real process, with a desk on a thread of its own and no window.

`Served` is the kiosk, `Telephone` a client that speaks HTTPS like a page does.
"""

from __future__ import annotations

import http.client
import json
import queue
import ssl
import threading
import time
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any

from kiosk import where, words
from kiosk.desk import Desk
from kiosk.exchange.shop import read_shop
from kiosk.handheld.asks import Alarm
from kiosk.handheld.link import Serves
from kiosk.handheld.phones import Phones
from kiosk.rehearsal import PretendedTime

JO = "BSXD5X3637"  # a badge of the demo shop


class DeskThread:
    """The worker of a window, without the window."""

    def __init__(self, opened: Callable[[], Desk]) -> None:
        self._questions: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, args=(opened,), name="desk", daemon=True)
        self._thread.start()

    def ask(self, question: Any, then: Any = None, failed: Any = None) -> None:
        self._questions.put((question, then, failed))

    def do(self, question: Callable[[Desk], Any]) -> Any:
        """Ask and wait."""
        answered: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self.ask(question, lambda answer: answered.put((answer, None)), lambda error: answered.put((None, error)))
        answer, error = answered.get(timeout=30)
        if error is not None:
            raise error
        return answer

    def stop(self) -> None:
        self._questions.put(None)
        self._thread.join(20)

    def _run(self, opened: Callable[[], Desk]) -> None:
        desk = opened()
        while (asked := self._questions.get()) is not None:
            question, then, failed = asked
            try:
                answer = question(desk)
            except Exception as error:
                if failed:
                    failed(error)
            else:
                if then:
                    then(answer)
        desk.close()


class Served:
    """A kiosk with telephones on, Jo signed in, in its third month."""

    def __init__(self, folder: Path, language: str = "en") -> None:
        words.speak(language)
        self.folder = folder
        self.clock = PretendedTime(1_790_000_000.0)
        self.alarms: list[Alarm] = []
        self.desk = DeskThread(self._opened)
        self.phones = self.desk.do(
            lambda _: Phones(self.desk, self.alarms.append, Serves(folder, 0, "127.0.0.1"))
        )
        self.phones.start()
        self._beating = threading.Event()
        threading.Thread(target=self._beat, daemon=True).start()
        limit = time.monotonic() + 30
        while self.seen().state != "serving":
            assert time.monotonic() < limit, self.seen()
            time.sleep(0.05)

    def _opened(self) -> Desk:
        desk = Desk.open(self.folder, counter=self.clock.counter, wall=self.clock.wall)
        if desk.shop.empty:
            desk.shop.load(read_shop(where.demo_tags()))
        self.clock.forward(65 * 86400.0)
        desk.scan(JO)
        return desk

    def _beat(self) -> None:
        """The window's second, and the pretended clock's."""
        while not self._beating.wait(0.5):
            self.clock.forward(0.5)
            self.desk.ask(Desk.tick)
            self.phones.beat()

    def seen(self) -> Any:
        return self.desk.do(self.phones.look)

    def place(self, name: str) -> str:
        return str(self.desk.do(lambda desk: desk.session.cards.find_place(name)))

    def holder(self, key: str) -> str:
        return str(self.desk.do(lambda desk: desk.session.holder(key).code))

    def token(self) -> str:
        """What the code on the kiosk's screen says, read as a camera would."""
        code = self.desk.do(self.phones.code)
        return read_code(code.rows).partition("#")[2]

    @property
    def address(self) -> str:
        return str(self.seen().address)

    def telephone(self) -> Telephone:
        """One that is signed in."""
        telephone = Telephone(self.address)
        status, _ = telephone.post("/pair", {"token": self.token()})
        assert status == 200
        return telephone

    def close(self) -> None:
        self._beating.set()
        self.phones.stop()
        self.desk.stop()
        words.speak("en")


def read_code(rows: Any) -> str:
    """The text of a symbol drawn from its modules."""
    import numpy as np
    import zxingcpp

    modules = np.array(rows, bool)
    picture = np.where(np.kron(modules, np.ones((6, 6), bool)), 0, 255).astype(np.uint8)
    return str(zxingcpp.read_barcode(picture).text)


class Telephone:
    """A client with a cookie.  Every request is one connection, as after a sleep."""

    def __init__(self, address: str, cookie: str = "") -> None:
        self.host = address.removeprefix("https://").rstrip("/")
        self.cookie = cookie
        self.answered: http.client.HTTPMessage | None = None

    def post(
        self, path: str, body: Any, key: str = "", kind: str = "application/json", **headers: str | None
    ) -> tuple[int, dict[str, Any]]:
        data = body if isinstance(body, bytes) else json.dumps(body).encode()
        said = {
            "content-type": kind, "origin": f"https://{self.host}", "x-key": key or uuid.uuid4().hex,
            "sec-fetch-site": "same-origin",
        }  # fmt: skip
        status, found = self.request("POST", path, data, **(said | headers))  # type: ignore[arg-type]
        return status, json.loads(found) if found else {}

    def get(self, path: str, **headers: str) -> tuple[int, bytes]:
        return self.request("GET", path, b"", **headers)

    def ask(self, name: str, key: str = "", **values: Any) -> dict[str, Any]:
        status, body = self.post("/ask", {"ask": name, **values}, key)
        assert status in (200, 409), (status, body)
        return body

    def request(self, method: str, path: str, data: bytes, **headers: str | None) -> tuple[int, bytes]:
        connection = self.connect()
        said = {name.replace("_", "-"): value for name, value in headers.items() if value is not None}
        if self.cookie:
            said["cookie"] = f"__Host-phone={self.cookie}"
        try:
            connection.request(method, path, data or None, said)
            answer = connection.getresponse()
            self.answered = answer.headers
            given = answer.headers.get("set-cookie", "")
            if given:
                self.cookie = given.partition("=")[2].partition(";")[0]
            return answer.status, answer.read()
        finally:
            connection.close()

    def connect(self) -> http.client.HTTPSConnection:
        blind = ssl.create_default_context()
        blind.check_hostname, blind.verify_mode = False, ssl.CERT_NONE
        return http.client.HTTPSConnection(self.host, timeout=20, context=blind)
