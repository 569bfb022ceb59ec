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

import logging
import os

from kiosk import where
from kiosk.desk import Desk, inbox
from kiosk.desk.session import NotThere
from kiosk.exchange.shop import read_shop
from kiosk.ledger.clock import Counter, boot_counter_s
from kiosk.screens.options import Options


def run(options: Options) -> int:
    """Open the window and come back when it is closed.

    Raises what opening the data folder or the demo shop raises: LedgerFault, InUse, NewerLedger, SettingsFault,
    NotThere, ShopFault.
    """
    prepare_kivy(options.size)
    from kiosk.screens.window import KioskApp

    app = KioskApp(options, lambda: open_desk(options))
    try:
        app.open()
        app.run()
    finally:
        app.close()
    return 0


def prepare_kivy(size: tuple[int, int] | None) -> None:
    """Set Kivy up before its window module is read: our arguments are not Kivy's, and no file of its own counts."""
    os.environ.setdefault("KIVY_NO_ARGS", "1")
    os.environ.setdefault("KIVY_NO_CONFIG", "1")
    os.environ.setdefault("KIVY_NO_FILELOG", "1")
    os.environ.setdefault("KIVY_LOG_MODE", "PYTHON")  # one log for all rooms, and no banner
    logging.getLogger("kivy").setLevel(logging.WARNING)
    from kivy.config import Config

    Config.set("kivy", "exit_on_escape", "0")
    Config.set("kivy", "log_level", "warning")
    Config.set("input", "mouse", "mouse,disable_multitouch")
    Config.set("graphics", "window_state", "visible")
    if size is None:
        Config.set("graphics", "fullscreen", "auto")
    else:
        Config.set("graphics", "fullscreen", "0")
        Config.set("graphics", "position", "custom")
        Config.set("graphics", "left", "0")
        Config.set("graphics", "top", "0")
        Config.set("graphics", "width", str(size[0]))
        Config.set("graphics", "height", str(size[1]))


def open_desk(options: Options, counter: Counter = boot_counter_s, wall: Counter | None = None) -> Desk:
    """The desk of these options; the demo shop is put into a demo folder that is still empty.

    counter, wall: the clocks it lives by, seconds.
    """
    if not options.demo:
        return Desk.open(options.data_dir, at=options.at, counter=counter, wall=wall)
    desk = Desk.open(options.data_dir, counter=counter, wall=wall)
    try:
        if desk.shop.empty:
            desk.shop.load(read_shop(where.demo_tags()), where.demo_tags().name)
            inbox.fill(options.data_dir, where.demo_tags())
        if options.at:
            desk.session.here = desk.session.cards.find_place(options.at)
            if desk.session.here is None:
                raise NotThere("place", options.at)
    except BaseException:
        desk.close()
        raise
    return desk
