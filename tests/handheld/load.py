"""Ten telephones at two frames a second beside a real window: how long its frames and its own scans take meanwhile.

    .venv/bin/python -m tests.handheld.load --phones 10 --seconds 20

Opens the window on a screen of its own, measures it alone, then with the telephones, and prints both.  Not a test:
its figures are the machine's, and are written down in DEVELOPERS.md.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

SHIFT = Path(__file__).parent.parent.parent / "demo_tags" / "shift"
PICTURES = ("010-holder.jpg", "018-bench.jpg", "014-holder.jpg", "019-holder.jpg")  # nothing hot: that has a screen


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--phones", type=int, default=10)
    parser.add_argument("--seconds", type=float, default=20.0)
    given = parser.parse_args()
    from tests.journeys.display import Display

    display = Display()
    try:
        environment = os.environ | {"DISPLAY": display.name, "SDL_AUDIODRIVER": "dummy"}
        code = "from tests.handheld.load import window; window()"
        wanted = json.dumps(vars(given))
        return subprocess.run([sys.executable, "-c", code, wanted], env=environment, check=False).returncode
    finally:
        display.close()


def window() -> None:
    """The window's own process; the telephones are another one, as they are in a shop."""
    given = json.loads(sys.argv[1])
    from kiosk.screens.app import run
    from kiosk.screens.options import Options

    with tempfile.TemporaryDirectory() as scratch:
        data = Path(scratch) / "data"
        data.mkdir()
        (data / "settings.toml").write_text('[phones]\nport = 18443\naddress = "127.0.0.1"\n')
        options = Options(data, True, str(SHIFT / "007-wait.txt"), size=(800, 480), phones=True)
        run(options, lambda app: threading.Thread(target=_measure, args=(app, given), daemon=True).start())


def _measure(app: Any, given: dict[str, Any]) -> None:
    from tests.handheld.served import JO

    ready = threading.Event()
    tokens: list[str] = []
    app.worker.ask(lambda desk: desk.scan(JO))
    while app.clerk.phones is None or app.clerk.phones._link.state != "serving":
        time.sleep(0.2)
    time.sleep(8.0)  # until nothing is loaded any more
    print(json.dumps({"alone": _figures(app, given["seconds"])}), flush=True)
    cookies: list[str] = []
    from tests.handheld.served import Telephone, read_code

    for _ in range(given["phones"]):
        app.worker.ask(app.clerk.phones.code, lambda code: (tokens.append(read_code(code.rows)), ready.set()))
        ready.wait(10)
        ready.clear()
        telephone = Telephone("https://127.0.0.1:18443/")
        assert telephone.post("/pair", {"token": tokens[-1].partition("#")[2]})[0] == 200
        cookies.append(telephone.cookie)
    wanted = json.dumps({"cookies": cookies, "seconds": given["seconds"] + 6})
    code = "from tests.handheld.load import telephones; telephones()"
    others = subprocess.Popen([sys.executable, "-c", code, wanted])
    time.sleep(3.0)
    print(json.dumps({"with telephones": _figures(app, given["seconds"])}), flush=True)
    others.wait()
    app.worker.post(app.stop)


def _figures(app: Any, seconds: float) -> dict[str, float]:
    """Gaps between turns of Kivy's loop that something was to be drawn in, and the time of the window's own scans."""
    from kivy.clock import Clock

    gaps: list[float] = []
    scans: list[float] = []
    last = [time.monotonic()]

    def turned(_: float) -> None:
        now = time.monotonic()
        gaps.append(now - last[0])
        last[0] = now

    tick = Clock.schedule_interval(turned, 0)
    texts = ("HV4T8BRJ3V", "P288TDN7B3")
    limit = time.monotonic() + seconds
    turn = 0
    while time.monotonic() < limit:
        began, answered = time.monotonic(), threading.Event()

        def scan(text: str = texts[turn % 2], answered: threading.Event = answered) -> None:
            app.worker.ask(lambda desk: desk.scan(text), lambda _: answered.set())

        app.worker.post(scan)
        answered.wait(10)
        scans.append(time.monotonic() - began)
        turn += 1
        time.sleep(0.5)
    tick.cancel()
    cut = statistics.quantiles(gaps, n=100)
    return {
        "frame_ms_median": round(statistics.median(gaps) * 1e3, 1), "frame_ms_99": round(cut[98] * 1e3, 1),
        "frame_ms_most": round(max(gaps) * 1e3, 1), "scan_ms_median": round(statistics.median(scans) * 1e3, 1),
        "scan_ms_most": round(max(scans) * 1e3, 1), "load": os.getloadavg()[0],
    }  # fmt: skip


def telephones() -> None:
    """Each sends two frames a second, and says how long its answers took."""
    given = json.loads(sys.argv[1])
    from tests.handheld.served import Telephone

    took: list[float] = []
    statuses: list[int] = []
    limit = time.monotonic() + given["seconds"]

    def phone(cookie: str, number: int) -> None:
        telephone = Telephone("https://127.0.0.1:18443/", cookie)
        connection = telephone.connect()
        turn = number
        while time.monotonic() < limit:
            picture = (SHIFT / PICTURES[turn // 4 % len(PICTURES)]).read_bytes()
            began = time.monotonic()
            connection.request("POST", "/frame", picture, {
                "origin": f"https://{telephone.host}", "content-type": "image/jpeg", "x-key": f"{number} frame {turn}",
                "cookie": f"__Host-phone={telephone.cookie}",
            })  # fmt: skip
            answer = connection.getresponse()
            answer.read()
            statuses.append(answer.status)
            took.append(time.monotonic() - began)
            turn += 1
            time.sleep(max(0.0, 0.5 - (time.monotonic() - began)))

    hands = [threading.Thread(target=phone, args=(cookie, at)) for at, cookie in enumerate(given["cookies"])]
    for hand in hands:
        hand.start()
    for hand in hands:
        hand.join()
    cut = statistics.quantiles(took, n=20)
    median_ms, most_ms = round(statistics.median(took) * 1e3), round(cut[18] * 1e3)
    told = {"frames": len(took), "answer_ms_median": median_ms, "answer_ms_95": most_ms, "read": statuses.count(200)}
    print(json.dumps({"telephones": told}), flush=True)


if __name__ == "__main__":
    raise SystemExit(main())
