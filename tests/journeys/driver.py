"""The real window in a process of its own, with a line to the test: what is on the screen, and what time it is.

Started by `window.py`.  Everything a person could do (touch, hold up a label, scan with a scanner) is done from
outside through the X server or the camera; this side only looks, and moves the pretended clock.
"""

from __future__ import annotations

import json
import os
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from kiosk import settings
from kiosk.desk import sticks
from kiosk.exchange.report_shift import FIGURES
from kiosk.reader.sources import Shot, SourceError, Trouble
from kiosk.rehearsal import PretendedTime
from kiosk.rules.codes import CodeKind
from kiosk.screens.app import open_instead, prepare_kivy
from kiosk.screens.opening import open_desk
from kiosk.screens.options import Options
from kiosk.sd_notify import ServiceManager

FELT: list[int] = []  # touches that have reached the window
REPLIES = os.fdopen(os.dup(1), "w", buffering=1)
os.dup2(2, 1)  # whatever else prints must not get between the replies


class Held:
    """A camera in front of which pictures are held.  lost: it is unplugged, and is not there to be opened either."""

    live = False

    def __init__(self) -> None:
        self.name = "held"
        self.lost = False
        self.shown: tuple[Any, int] = (np.full((480, 640, 3), 96, np.uint8), 0)

    def open(self) -> None:
        if self.lost:
            raise SourceError(self.name, Trouble.MISSING, "no such camera is plugged in")

    def close(self) -> None:
        pass

    def grab(self) -> Any:
        time.sleep(0.05)
        if self.lost:
            raise SourceError(self.name, Trouble.LOST, "unplugged")
        picture, take = self.shown
        return Shot(picture.copy(), take)


def main() -> None:
    given = json.loads(sys.argv[1])
    options = Options(
        Path(given["data"]),
        given.get("demo", True),
        given.get("camera"),
        given.get("at"),
        tuple(given["size"]),
        given.get("shift", False),
        phones=given.get("phones", False),
        own=Path(given["own"]) if "own" in given else None,
    )
    if "media" in given:
        plug_in(Path(given["media"]))
    clock = PretendedTime(1_790_000_000.0)
    prepare_kivy(options.size)
    from kivy.config import Config

    Config.set("graphics", "maxfps", "60")  # the graphics card is a processor that others share
    from kiosk.screens.window import KioskApp
    from kiosk.screens.worker import Worker

    worker = Worker(lambda: open_desk(options, clock.counter, clock.wall))
    found = settings.load(options.data_dir / settings.NAME)
    app = KioskApp(options, worker, found, clock if options.shift else None)
    if given.get("service"):
        app.be_kept(ServiceManager.of(os.environ))
    app.dwell_s = given.get("dwell_s", 0.0)
    held = Held()
    listening: list[Any] = []
    threading.Thread(target=serve, args=(app, clock, held, listening), daemon=True).start()
    began = threading.Thread(target=pass_time, args=(clock,), daemon=True)
    began.start()
    try:
        app.open()
        if options.shift:
            from tests.journeys.listening import Listening

            listening.append(Listening(app, clock, lambda: [text[0] for text in on_screen(app)["texts"]]))
        app.run()
    finally:
        app.close()
    if app.beginning.goes_to is not None and given.get("goes_on"):
        del os.environ["PYTHONPATH"]  # what is installed opens now, not this tree
        open_instead(options, app.beginning.goes_to)


def plug_in(media: Path) -> None:
    """Every folder in there is a stick."""
    sticks.MOUNTED_UNDER = (media,)
    os.path.ismount = lambda path: Path(path).parent == media


def pass_time(clock: PretendedTime) -> None:
    """The pretended clock also goes by itself."""
    while True:
        time.sleep(0.1)
        clock.forward(0.1)


def serve(app: Any, clock: PretendedTime, held: Held, listening: list[Any]) -> None:
    released = threading.Event()
    for line in sys.stdin:
        asked = json.loads(line)
        if asked["do"] == "forward":
            clock.forward(asked["s"])
            reply({})
        elif asked["do"] == "hold":
            held.shown = (cv2.imread(asked["path"]), held.shown[1] + 1)
            reply({})
        elif asked["do"] == "desk":
            app.worker.ask(QUESTIONS[asked["what"]](asked), reply, lambda error: reply({"error": str(error)}))
        elif asked["do"] == "look":
            app.worker.post(lambda: looks_through(app, held))
            reply({})
        elif asked["do"] == "lose":
            held.lost = asked["lost"]
            reply({})
        elif asked["do"] == "hang":
            if asked["hung"]:
                released.clear()
                app.worker.ask(lambda desk: released.wait())
                reply({})
            else:  # what hands and scanners did before comes to the window by another way: it is taken first
                app.worker.post(lambda: drawn(lambda: (released.set(), reply({}))))
        elif asked["do"] == "block":
            app.worker.post(lambda seconds=asked["s"]: time.sleep(seconds))
            reply({})
        elif asked["do"] == "copies":  # what it does by itself every ten minutes
            app.worker.post(app._copying.look)
            reply({})
        elif asked["do"] == "go":
            app.worker.post(lambda name=asked["name"]: app.clerk.go(name))
            reply({})
        elif asked["do"] == "understood":
            app.worker.post(lambda: (app.clerk.view.understood(), drawn(lambda: reply({}))))
        elif asked["do"] == "pass":
            app.worker.post(lambda s=asked["s"]: passes(app, clock, s))
        elif asked["do"] == "read":
            app.worker.post(lambda text=asked["text"]: app.clerk.scanned(text))
            reply({})
        elif asked["do"] == "played":
            app.worker.post(lambda: reply({each: getattr(listening[0], each) for each in ("began", "told", "said")}))
        elif asked["do"] == "stop":
            app.worker.post(app.stop)
        else:
            app.worker.post(lambda: drawn(lambda: reply(on_screen(app))))


def looks_through(app: Any, held: Held) -> None:
    """It is the kiosk's camera from now on, also when it is looked for again."""
    from kiosk.screens import camera

    camera.source = lambda *_: held  # type: ignore[assignment]
    app.eye.look(held, app.settings_now.camera)


def passes(app: Any, clock: PretendedTime, seconds: float) -> None:
    """Time goes by, and the window hears of it at once instead of with its next second."""
    from kiosk.screens.pulse import pulse

    def later(now: Any) -> None:
        app.clerk.beat(now)
        clock.forward(seconds)
        app.worker.ask(pulse, lambda now: (app.clerk.beat(now), drawn(lambda: reply(on_screen(app)))))

    app.worker.ask(pulse, later)


QUESTIONS: dict[str, Callable[[dict[str, Any]], Callable[[Any], Any]]] = {
    "data": lambda asked: lambda desk: str(desk.session.book.path.parent),
    "place": lambda asked: lambda desk: desk.session.cards.find_place(asked["name"]),
    "holder": lambda asked: lambda desk: desk.session.holder(asked["key"]).code,
    "badge": lambda asked: lambda desk: desk.shop.code_of(asked["key"]),
    "name": lambda asked: lambda desk: desk.session.holder(asked["key"]).name,
    "where": lambda asked: lambda desk: _name(desk.session.holder(asked["key"]).at),
    "hot": lambda asked: lambda desk: [card.holder.key for card in desk.heat.board()],
    "shift": lambda asked: lambda desk: _figures(desk.records.shift(asked["since"], asked["until"])),
    "history": lambda asked: lambda desk: [row.kind for row in desk.records.history(asked["key"])],
    "replace_label": lambda asked: lambda desk: _replaced(desk, asked["key"]),
    "waiting_label": lambda asked: lambda desk: _waiting_label(),
    "scans": lambda asked: lambda desk: [desk.scan(code).text for code in asked["codes"]],
    "builds": lambda asked: lambda desk: desk.build.build(asked["key"], asked["cutter"]).name,
    "waits": lambda asked: lambda desk: desk.waiting() is not None,
    "undoable": lambda asked: lambda desk: desk.undoable()[1],
    "check": lambda asked: lambda desk: [str(found) for found in desk.session.book.check()],
}


def _waiting_label() -> str:
    """The code of a holder's label that was printed and not scanned on it yet."""
    from kiosk.ledger import tables
    from kiosk.ledger.book import rows

    return str(rows(tables.Printed.select().where(tables.Printed.what == "holder"))[0]["text"])


def _replaced(desk: Any, key: str) -> str:
    """A holder gets a new label; the code of the one before."""
    old = desk.session.holder(key).code
    desk.shop.replace_label(key, desk.session.fresh_code(CodeKind.HOLDER).text)
    return str(old)


def _name(place: Any) -> str | None:
    return place.name if place else None


def _figures(report: Any) -> dict[str, int]:
    """A shift's figures as its CSV names them: `issued`, `refused/hot`, `steps/jo`."""
    counts = report.counts
    plain = {name: getattr(counts, name) for name in FIGURES}
    plain |= {f"refused/{name}": count for name, count in counts.refusals}
    plain |= {f"difference/{name}": count for name, count in counts.differences}
    plain |= {f"steps/{each.operator or ''}": each.steps for each in counts.people}
    return plain | {f"refused_to/{each.operator or ''}": each.refusals for each in counts.people}


def reply(value: Any) -> None:
    REPLIES.write(json.dumps(value) + "\n")
    REPLIES.flush()


def drawn(then: Callable[[], None]) -> None:
    """A person sees what was laid out and drawn: two ticks from now."""
    from kivy.clock import Clock

    Clock.schedule_once(lambda _: Clock.schedule_once(lambda _: then(), 0), 0)


def on_screen(app: Any) -> dict[str, Any]:
    """Every text and everything touchable that is seen, with its box from the window's upper left corner.

    cut: the texts of which less is drawn.
    """
    from kivy.core.window import Window
    from kivy.uix.label import Label
    from kivy.uix.textinput import TextInput

    from kiosk.screens.parts.touch import Touchable

    texts: list[Any] = []
    touches: list[Any] = []
    cut: list[str] = []
    if not FELT:
        FELT.append(0)
        Window.bind(on_touch_down=lambda *_: FELT.__setitem__(0, FELT[0] + 1))

    def walk(widget: Any, within: str) -> None:
        if widget.opacity == 0 or widget.width < 1 or widget.height < 1:
            return
        x, y = widget.to_window(widget.x, widget.y)
        box = [x, Window.height - y - widget.height, widget.width, widget.height]
        if isinstance(widget, Label | TextInput) and widget.text:
            texts.append([widget.text, *box])
            if isinstance(widget, Label) and widget.shorten:
                cut.append(widget.text)
        if isinstance(widget, Touchable) and not widget.disabled:
            inside = [label for label in widget.walk(restrict=True) if isinstance(label, Label)]
            said = " ".join(label.text for label in inside if label.text)
            touches.append([said or getattr(widget, "icon", ""), *box])
        for child in reversed(widget.children):
            walk(child, within)

    for child in Window.children:
        walk(child, "")
    view = app.clerk.view
    return {"texts": texts, "touches": touches, "view": view.name if view else "", "felt": FELT[0], "cut": cut}


if __name__ == "__main__":
    main()
