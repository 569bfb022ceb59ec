"""A telephone's browser: Debian's chromium, headless, driven over its DevTools protocol, with a file as its camera.

What a person sees and touches is looked at and touched through the browser's own input; the file of the camera is
written by the test from the photographs of the demo shift.
"""

from __future__ import annotations

import base64
import itertools
import json
import shutil
import subprocess
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from websockets.sync.client import connect

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--mute-audio", "--no-first-run", "--disable-extensions",
    "--disable-background-networking", "--ignore-certificate-errors", "--use-fake-ui-for-media-stream",
    "--use-fake-device-for-media-stream", "--remote-debugging-port=0", "--disable-dev-shm-usage",
    "--autoplay-policy=no-user-gesture-required",
)  # fmt: skip


class Camera:
    """The file that the browser takes for its camera: shows one picture as long as nobody shows another."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self.show(None)

    def show(self, picture: Path | None) -> None:
        """From the next time the page opens the camera on; None: nothing but grey."""
        image = cv2.imread(str(picture)) if picture else np.full((720, 1280, 3), 110, np.uint8)
        height, width = image.shape[:2]
        scale = 720 / height
        image = cv2.resize(image, (int(width * scale) // 2 * 2, 720))
        height, width = image.shape[:2]
        planes = cv2.cvtColor(image, cv2.COLOR_BGR2YUV_I420).tobytes()
        head = f"YUV4MPEG2 W{width} H{height} F10:1 Ip A1:1 C420jpeg\n".encode()
        fresh = self.file.with_suffix(".part")
        fresh.write_bytes(head + (b"FRAME\n" + planes) * 3)
        fresh.replace(self.file)


class Browser:
    """One chromium.  Close it."""

    def __init__(self, folder: Path) -> None:
        assert CHROMIUM is not None
        self.camera = Camera(folder / "camera.y4m")
        self._process = subprocess.Popen(
            [
                CHROMIUM, *FLAGS, f"--user-data-dir={folder / 'profile'}",
                f"--use-file-for-fake-video-capture={self.camera.file}", "about:blank",
            ],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        told = folder / "profile" / "DevToolsActivePort"
        until(lambda: told.exists() and told.read_text().count("\n") >= 1, 30)
        port, path = told.read_text().split("\n")[:2]
        self._open = ExitStack()
        self._socket = self._open.enter_context(
            connect(f"ws://127.0.0.1:{port}{path}", max_size=None, open_timeout=20)
        )
        self._numbers = itertools.count(1)

    def call(self, method: str, session: str = "", **params: Any) -> dict[str, Any]:
        number = next(self._numbers)
        message: dict[str, Any] = {"id": number, "method": method, "params": params}
        if session:
            message["sessionId"] = session
        self._socket.send(json.dumps(message))
        while True:
            answer = json.loads(self._socket.recv(timeout=30))
            if answer.get("id") == number:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                return answer["result"]

    def page(self, width: int = 360, height: int = 640, light: bool = False) -> Page:
        """A telephone of its own: no cookie of another one."""
        context = self.call("Target.createBrowserContext")["browserContextId"]
        target = self.call("Target.createTarget", url="about:blank", browserContextId=context)["targetId"]
        session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        return Page(self, context, session, width, height, light)

    def close(self) -> None:
        self._open.close()
        self._process.terminate()
        self._process.wait(10)


class Page:
    """What one telephone shows."""

    def __init__(self, browser: Browser, context: str, session: str, width: int, height: int, light: bool) -> None:
        self._browser, self._context, self._session = browser, context, session
        self.call("Page.enable")
        self.call("Runtime.enable")
        self.call("DOM.enable")
        self.call("Emulation.setTouchEmulationEnabled", enabled=True)
        self.resize(width, height, light)

    def resize(self, width: int, height: int, light: bool = False) -> None:
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=True)
        scheme = [{"name": "prefers-color-scheme", "value": "light" if light else "dark"}]
        self.call("Emulation.setEmulatedMedia", features=scheme)

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        return self._browser.call(method, self._session, **params)

    def open(self, address: str) -> None:
        self.call("Page.navigate", url=address)

    def js(self, code: str) -> Any:
        """The value of an expression; a promise is waited for."""
        found = self.call("Runtime.evaluate", expression=code, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in found, found["exceptionDetails"]
        return found["result"].get("value")

    def sees(self, selector: str) -> bool:
        """Whether it is in sight."""
        there = "(e => !!e && e.checkVisibility() && e.getClientRects().length > 0)"
        code = f"{there}(document.querySelector({json.dumps(selector)}))"
        return bool(self.js(code))

    def text(self, selector: str) -> str:
        return str(self.js(f"document.querySelector({json.dumps(selector)})?.innerText ?? ''"))

    def comes(self, selector: str, text: str = "", limit_s: float = 10.0) -> str:
        """Waits until it is in sight with this text in it; gives all of its text."""

        def there() -> bool:
            return self.sees(selector) and text.casefold() in self.text(selector).casefold()

        try:
            until(there, limit_s)
        except TimeoutError:
            seen = self.js("document.body.innerText")
            raise AssertionError(f"{selector!r} with {text!r} never came; the page says: {seen}") from None
        return self.text(selector)

    def tap(self, selector: str, text: str = "") -> None:
        """A finger on the middle of what has this text."""
        code = f"""(() => {{
            const found = [...document.querySelectorAll({json.dumps(selector)})].filter((each) =>
                each.checkVisibility() && each.innerText.toLowerCase().includes({json.dumps(text.lower())}));
            if (!found.length) return null;
            found[0].scrollIntoView({{block: "center"}});
            const box = found[0].getBoundingClientRect();
            return [box.x + box.width / 2, box.y + box.height / 2];
        }})()"""
        until(lambda: self.js(code) is not None, 10)
        x, y = self.js(code)
        for kind in ("mousePressed", "mouseReleased"):
            self.call("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)

    def type(self, selector: str, text: str) -> None:
        self.js(f"document.querySelector({json.dumps(selector)}).focus()")
        self.call("Input.insertText", text=text)

    def take(self, selector: str, picture: Path) -> None:
        """A photograph is taken by the telephone's own camera."""
        root = self.call("DOM.getDocument")["root"]["nodeId"]
        node = self.call("DOM.querySelector", nodeId=root, selector=selector)["nodeId"]
        self.call("DOM.setFileInputFiles", nodeId=node, files=[str(picture.resolve())])

    def picture(self, file: Path) -> None:
        shot = self.call("Page.captureScreenshot", format="png")["data"]
        file.parent.mkdir(exist_ok=True)
        file.write_bytes(base64.b64decode(shot))

    def close(self) -> None:
        self._browser.call("Target.disposeBrowserContext", browserContextId=self._context)


def until(there: Callable[[], Any], limit_s: float) -> None:
    limit = time.monotonic() + limit_s
    while not there():
        if time.monotonic() > limit:
            raise TimeoutError
        time.sleep(0.05)
