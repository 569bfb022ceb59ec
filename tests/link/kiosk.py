"""A kiosk for tests of the link: a ledger in memory, a real link, and a network of its own to the server."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import replace

from kiosk.link.address import Membership
from kiosk.link.link import Link, Standing
from kiosk.rules.link_state import LinkState
from tests.link.proxy import Proxy
from tests.link.shop import Ledger, Quiet, Shop

PATIENCE_S = 40.0


class LinkedKiosk:
    """Joined to a shop; `open` at once.  Its desk is a thread that applies what comes."""

    def __init__(self, shop: Shop, name: str, ledger: Ledger | None = None, member: Membership | None = None) -> None:
        self.shop = shop
        self.network = Proxy(("127.0.0.1", shop.server.port))
        self.member = member or shop.member(name)
        self.ledger = ledger or Ledger(self.member.kiosk)
        self.beats = Quiet(name)
        self.counter: Callable[[], float] = time.monotonic
        self.link: Link
        self.open()

    def open(self) -> None:
        values = replace(self.member, port=self.network.port).address.values()
        values |= {"user": f"kiosk_{self.member.kiosk}", "password": self.member.key}
        self.link = Link(values, self.member.shop, self.ledger, self.beats, counter=self.counter)
        self._works = True
        self._desk = threading.Thread(target=self._apply, daemon=True)
        self.link.start()
        self._desk.start()

    def _apply(self) -> None:
        while self._works:
            if lines := self.link.take(200):
                self.ledger.apply(lines)
                self.link.applied(*self.ledger.applied())
            else:
                time.sleep(0.005)

    def write(self, *texts: str) -> None:
        self.ledger.write(*texts)
        self.link.wrote(self.ledger.own_last())

    def standing(self) -> Standing:
        return self.link.standing()

    @property
    def state(self) -> LinkState:
        return self.standing().state

    def close(self) -> None:
        self.link.close()
        self._works = False
        self._desk.join()

    def end(self) -> None:
        self.close()
        self.network.close()


def until(what: Callable[[], object], within_s: float = PATIENCE_S) -> None:
    """Waits until that is so; fails where it does not become so.  On a busy machine others take their time."""
    end = time.monotonic() + within_s
    while not what():
        assert time.monotonic() < end, "it did not come to that"
        time.sleep(0.01)
