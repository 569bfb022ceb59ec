"""Opens the desk of what the command line asked for, on the desk's own thread.

Read there and not before: the rooms behind the desk come in while the window's first frame is made.
"""

from __future__ import annotations

from kiosk import where
from kiosk.desk import Desk
from kiosk.desk.session import NotThere
from kiosk.ledger.clock import SecondsSource, boot_counter_s
from kiosk.screens.options import Options


def open_desk(options: Options, counter: SecondsSource = boot_counter_s, wall: SecondsSource | None = None) -> Desk:
    """The desk of these options; the demo shop is put into a demo folder that is still empty.

    counter, wall: the clocks it lives by, seconds.
    """
    if not options.demo:
        desk = Desk.open(options.data_dir, at=options.at, counter=counter, wall=wall)
        try:
            desk.begin_sharing()
        except BaseException:
            desk.close()
            raise
        return desk
    desk = Desk.open(options.data_dir, counter=counter, wall=wall, rehearsal=options.shift)
    try:
        if desk.shop.empty and desk.session.book.sharing is None:  # else the other kiosks have the shop
            _fill(desk, options)
        if not options.shift:
            desk.begin_sharing()
        if options.at:
            desk.session.here = desk.session.cards.find_place(options.at)
            if desk.session.here is None:
                raise NotThere("place", options.at)
    except BaseException:
        desk.close()
        raise
    return desk


def _fill(desk: Desk, options: Options) -> None:
    """Put the demo shop in, and its papers into the folders they are taken from."""
    from kiosk.desk import inbox
    from kiosk.exchange.shop import read_shop

    desk.shop.load(read_shop(where.demo_tags()), where.demo_tags().name)
    inbox.fill(options.data_dir, where.demo_tags())
