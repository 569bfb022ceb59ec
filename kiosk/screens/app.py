"""The window: opens the desk, the camera and the screens, and lets them talk.

Kivy's thread only draws (`window.py`).  Everything that takes time happens on another thread, and what comes of
it is handed over through the worker's one queue.  It decides nothing, and only the `open` command imports it.

How a screen is made
--------------------
One module and one layout of the same name in the folder of its place of work (`find/place.py`, `find/place.kv`),
one class, entered in `pages.py`.  The class is a `View`: it has a `name`, the destination of the `rail` it belongs
to, and Kivy properties for everything it shows.  The layout binds parts to these properties.  `shown`, `tick`,
`scanned` and `came` tell the screen what happens.  Through `self.clerk` it asks the desk one of the questions of
its place (`clerk.ask(asks.way(key), then, failed)`, in `questions/`; nothing else behind the clerk is known to it),
goes elsewhere (`clerk.go("hot", key=…)`, `clerk.back()`) and plays a sound.  Lengths, colours and font sizes are
`look`'s; words are `t("scan.idle")`, with the words in `assets/translations`.
"""

from __future__ import annotations

import faulthandler
import logging
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kiosk import __version__, settings
from kiosk.screens.display import NoDisplay, demand, named, x_screen_px
from kiosk.screens.options import Options
from kiosk.sd_notify import ServiceManager

if TYPE_CHECKING:
    from kiosk.desk import Desk
    from kiosk.rehearsal import PretendedTime
    from kiosk.screens.window import KioskApp


log = logging.getLogger("kiosk.window")


def run(options: Options, watched: Callable[[KioskApp], Any] | None = None) -> int:
    """Open the window and come back when it is closed.  `watched(app)` is called before anything is drawn.

    Raises what reading the settings and opening the data folder or the demo shop raises: SettingsFault, LedgerFault,
    InUse, NewerLedger, NotThere, ShopFault; and NoDisplay.  Whatever speaks against the desk has then closed the window
    again; a damaged book does so only once somebody closes the window instead of putting a copy back.
    """
    demand()
    manager = ServiceManager.of(os.environ) if options.service else None
    if manager is not None:
        faulthandler.enable()  # where a window froze that the manager ends stands in its journal
    found = settings.load(options.data_dir / settings.NAME)
    prepare_kivy(options.size, hidden=options.prove)
    from kivy.core.window import Window

    if Window is None:
        raise NoDisplay(named())
    from kiosk.screens.window import KioskApp
    from kiosk.screens.worker import Worker

    clock: PretendedTime | None = None
    if options.shift:
        from kiosk.rehearsal import RunningTime

        clock = RunningTime()
    worker = Worker(lambda: _open_desk(options, clock))
    app = KioskApp(options, worker, found, clock)
    try:
        if manager is not None:
            app.be_kept(manager)
        if watched is not None:
            watched(app)
        app.open()
        app.run()
    except BaseException as error:
        log.critical("The window ended by a fault", exc_info=error)
        raise
    finally:
        app.close()
    if worker.refusal is not None:
        raise worker.refusal
    from kiosk import logbook

    logbook.end()
    if app.beginning.goes_to is not None:
        if manager is not None:
            manager.hand_on(os.environ)
        open_instead(options, app.beginning.goes_to)
    return 0


def open_instead(options: Options, folder: Path) -> None:
    """This program anew: with this folder, with the demo shop, or with the shop's own again; never comes back.

    A newer version that was put in place begins so: which one that is `installed.py` finds out.
    """
    given = ["--data", str(folder)]
    same = folder == options.data_dir
    if same and options.demo:
        given += ["--demo", *(["--own", str(options.own)] if options.own else [])]
    elif not same and options.own is None:
        given += ["--demo", "--own", str(options.data_dir)]
    if same and options.phones:
        given.append("--phones")
    for name, value in (("--camera", options.camera), ("--at", options.at if same or options.own else None)):
        given += [name, value] if value else []
    if options.size is not None:
        given += ["--size", f"{options.size[0]}x{options.size[1]}"]
    if options.service:
        given.append("--service")
    sys.stdout.flush()
    safe = ["-P"] if sys.flags.safe_path else []  # a folder `kiosk` where the service begins is not the program
    os.execv(sys.executable, [sys.executable, *safe, "-m", "kiosk", "open", *given])


def _open_desk(options: Options, clock: PretendedTime | None) -> Desk:
    """On the desk's thread: what the desk needs is read there too.  The log begins once the folder is this kiosk's."""
    from kiosk import logbook
    from kiosk.ledger.lock import InUse
    from kiosk.screens.opening import open_desk

    try:
        desk = open_desk(options) if clock is None else open_desk(options, clock.counter, clock.wall)
    except InUse:
        raise  # the log is the other's who has the book
    except Exception as refusal:
        if options.data_dir.is_dir() and logbook.begin(options.data_dir):
            log.info("The kiosk could not be opened: %s", refusal)
        raise
    if logbook.begin(options.data_dir):
        log.info("%s: version %s, %d lines", logbook.BEGUN, __version__, desk.session.book.last_id)
    return desk


def prepare_kivy(size: tuple[int, int] | None, *, hidden: bool = False) -> None:
    """Set Kivy up before its window module is read: our arguments are not Kivy's, and no file of its own counts."""
    os.environ.setdefault("KIVY_NO_ARGS", "1")
    os.environ.setdefault("KIVY_NO_CONFIG", "1")
    os.environ.setdefault("KIVY_NO_FILELOG", "1")
    os.environ.setdefault("KIVY_LOG_MODE", "PYTHON")  # one log for all rooms, and no banner
    os.environ.setdefault("KIVY_WINDOW", "sdl2")
    logging.getLogger("kivy").setLevel(logging.WARNING)
    from kivy.config import Config

    Config.set("kivy", "exit_on_escape", "0")
    Config.set("kivy", "log_level", "warning")
    Config.set("input", "mouse", "mouse,disable_multitouch")
    Config.set("graphics", "window_state", "hidden" if hidden else "visible")
    if not draws_itself():
        Config.set("graphics", "multisamples", "0")  # smoother edges cost a processor more than all the rest
    Config.set("graphics", "fullscreen", "auto" if size is None else "0")
    if size is None:
        size = x_screen_px()
    if size is not None:
        Config.set("graphics", "position", "custom")
        Config.set("graphics", "left", "0")
        Config.set("graphics", "top", "0")
        Config.set("graphics", "width", str(size[0]))
        Config.set("graphics", "height", str(size[1]))


def draws_itself() -> bool:
    """Whether a graphics card draws.  Only Linux says so beforehand: without a node of a driver its processor does."""
    return sys.platform != "linux" or any(Path("/dev/dri").glob("renderD*"))
