"""Two windows on one server: joined by touch, hot at one is hot at the other, the network pulled between two scans."""

from __future__ import annotations

import re
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import cv2
import numpy as np
import pytest
import qrcode

from kiosk import where
from kiosk.desk import Desk
from kiosk.desk.joining import join
from kiosk.exchange.shop import read_shop
from kiosk.ledger.book import NAME
from kiosk.link import address as addresses
from kiosk.link import server as administration
from kiosk.link.address import Address
from tests.journeys.display import Display
from tests.journeys.window import Window
from tests.link.postgres import Server
from tests.link.proxy import Proxy
from tests.link.shop import Shop

SIZE = (800, 480)
CODE = re.compile(r"[0-9A-Z]{10}")


class Kiosk:
    """A window with a screen, a folder and a network of its own."""

    def __init__(self, shop: Shop, folder: Path) -> None:
        self.shop = shop
        self.folder = folder
        self.network = Proxy(("127.0.0.1", shop.server.port))
        self.display = Display(SIZE)
        self.window = Window(self.display, SIZE, folder, demo=False)

    @property
    def address(self) -> str:
        """The server's, through this kiosk's own network."""
        return f"localhost:{self.network.port}/{self.shop.address.database}"

    def shown_code(self) -> str:
        """The ten characters beside the square."""
        return next(text[0] for text in self.window.screen()["texts"] if CODE.fullmatch(str(text[0])))

    def close(self) -> None:
        self.window.close()
        self.display.close()
        self.network.close()


def shown(said: str, path: Path) -> Path:
    """What the camera sees of another kiosk's screen."""
    symbol = qrcode.QRCode(box_size=7, border=4)
    symbol.add_data(said)
    symbol.make()
    dark = np.where(np.array(symbol.get_matrix()), 20, 235).astype(np.uint8)
    dark = np.kron(dark, np.ones((7, 7), np.uint8))
    frame = np.full((480, 640), 110, np.uint8)
    top, left = (480 - dark.shape[0]) // 2, (640 - dark.shape[1]) // 2
    frame[top : top + dark.shape[0], left : left + dark.shape[1]] = dark
    cv2.imwrite(str(path), cv2.cvtColor(frame, cv2.COLOR_GRAY2BGR))
    return path


def typed(window: Window, word: str) -> None:
    """On the keys of the screen."""
    for letter in word:
        found = [each for each in (letter.upper(), letter) if any(t[0] == each for t in window.screen()["touches"])]
        window.touch_key(found[0])


def holds_up_the_square(other: Kiosk, mine: Kiosk, path: Path) -> None:
    """The square that the other kiosk shows, with the way through this one's own network; then a name is asked for."""
    host, _, rest = mine.address.partition(":")
    port, _, database = rest.partition("/")
    said = addresses.invitation(Address(host, int(port), database), other.shown_code())
    mine.window.hold_up_picture(shown(said, path))
    mine.window.sees("What is this kiosk called?")
    mine.window.put_away()


def hashes(ledger: Path) -> set[str]:
    """Of all lines in a ledger."""
    with closing(sqlite3.connect(ledger)) as database:
        return {digest for (digest,) in database.execute('SELECT "hash" FROM "line"')}


@pytest.fixture(scope="module")
def shop() -> Iterator[Shop]:
    server = Server()
    yield Shop(server)
    server.end()


@pytest.fixture(scope="module")
def kiosks(shop: Shop, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Kiosk, Kiosk]]:
    folder = tmp_path_factory.mktemp("kiosks")
    with Desk.open(folder / "station") as desk:
        desk.shop.load(read_shop(where.demo_tags()))
    code = administration.invite_first(shop.server.boss(), shop.address)
    addresses.keep(folder / "station", join(folder / "station", shop.address, code, "Station"))
    both = Kiosk(shop, folder / "station"), Kiosk(shop, folder / "cabinet")
    yield both
    for kiosk in both:
        kiosk.close()


def test_a_kiosk_joins_by_the_square_that_another_one_shows(kiosks: tuple[Kiosk, Kiosk], tmp_path: Path) -> None:
    station, cabinet = (kiosk.window for kiosk in kiosks)
    station.sees("shared")
    station.open_screen("kiosks")
    station.touch("Let a kiosk join")
    station.shows_badge("kim")
    for asked in ("choose a PIN", "repeat the PIN"):
        station.sees(asked)
        for figure in "2580":
            station.touch_key(figure)
        station.touch("Open")
    station.sees("Good once, for a quarter of an hour")
    station.picture("two-kiosks-code")
    cabinet.open_screen("kiosks")
    cabinet.touch("Join a shop")
    cabinet.sees("The square of another kiosk")
    cabinet.picture("two-kiosks-code-here")
    kiosks[1].display.type("0BCDEFGHJK")  # not the code that is shown
    cabinet.sees("The server's name")
    kiosks[1].display.type(kiosks[1].address)
    cabinet.sees("What is this kiosk called?")
    kiosks[1].display.type("Cab")
    cabinet.sees("The server knows neither this code nor this kiosk")
    cabinet.picture("two-kiosks-wrong-code")
    cabinet.touch("Join a shop")
    holds_up_the_square(*kiosks, tmp_path / "square.png")
    typed(cabinet, "Cab")
    cabinet.picture("two-kiosks-name")
    cabinet.touch("forward")
    cabinet.sees("This kiosk belongs to the shop now")
    cabinet.touch("To the kiosks")
    cabinet.sees("Station", "Cab", "heard")
    station.touch("back")
    station.sees("Cab", "heard")
    station.picture("two-kiosks-list")
    for window in (station, cabinet):
        window.open_screen("scan")


def test_a_heating_at_the_station_is_red_at_the_cabinet(kiosks: tuple[Kiosk, Kiosk]) -> None:
    station, cabinet = (kiosk.window for kiosk in kiosks)
    cabinet.sees("shared")
    station.scan(station.holder("T001"))
    station.scan(station.place("Shrink station"))
    station.sees("1 hot")
    cabinet.sees("1 hot")
    cabinet.picture("two-kiosks-hot-here-too")


def test_the_network_is_pulled_between_two_scans_and_the_kiosk_says_how_far_it_can_be_relied_on(
    kiosks: tuple[Kiosk, Kiosk],
) -> None:
    station, cabinet = (kiosk.window for kiosk in kiosks)
    holder, bench = cabinet.holder("T002"), cabinet.place("Bench 2")

    def moved() -> bool:
        """Scanned again, as a hand does, where the others were not heard in time."""
        if cabinet.where("T002") != "Bench 2":
            cabinet.scan(holder)
            cabinet.scan(bench)
            time.sleep(2.0)
        return station.where("T002") == "Bench 2"

    cabinet.waits_for(moved, "the station to know")
    cabinet.sees("Bench 2")
    holder, slot = cabinet.holder("T002"), cabinet.place("Bench 1")
    cabinet.scan(holder)
    cabinet.sees("Where to")
    kiosks[1].network.refuse()
    cabinet.sees("alone since")
    cabinet.scan(holder)
    cabinet.scan(slot)
    cabinet.sees("Not verified")
    cabinet.picture("two-kiosks-not-verified")
    brought_by_others = cabinet.holder("T001")
    cabinet.open_screen("find")
    cabinet.open_screen("kiosks")
    cabinet.sees("not heard")
    cabinet.picture("two-kiosks-alone")
    station.scan(station.holder("T002"))
    station.scan(station.place("Shrink station"))
    station.sees("2 hot")
    assert brought_by_others and cabinet.hot() == ["T001"]
    cabinet.open_screen("scan")
    kiosks[1].network.heal()
    cabinet.sees("was heated while", "Bench 1")
    cabinet.picture("two-kiosks-alarm")
    station.sees("was heated while", "Cab")
    station.picture("two-kiosks-alarm-at-the-station")


def test_a_stolen_one_is_locked_out_in_two_touches(kiosks: tuple[Kiosk, Kiosk]) -> None:
    station, cabinet = (kiosk.window for kiosk in kiosks)
    for window in (station, cabinet):
        if any("Understood" in str(touch[0]) for touch in window.screen()["touches"]):
            window.touch("Understood")
    station.open_screen("kiosks")
    station.touch("Cab")
    station.picture("two-kiosks-one")
    station.touch("Lock out")
    station.sees("Cab is locked out")
    station.picture("two-kiosks-locked-out")
    cabinet.sees("locked out")
    cabinet.picture("two-kiosks-is-locked-out")


def test_a_kiosk_that_was_locked_out_joins_anew_by_touch_loses_no_line_and_knows_what_is_hot(
    kiosks: tuple[Kiosk, Kiosk], tmp_path: Path
) -> None:
    station, cabinet = (kiosk.window for kiosk in kiosks)
    folder = kiosks[1].folder
    lines = hashes(folder / NAME)
    station.touch("To the kiosks")
    station.touch("Let a kiosk join")
    station.sees("Good once, for a quarter of an hour")
    cabinet.open_screen("kiosks")
    cabinet.sees("Join anew")
    cabinet.picture("two-kiosks-join-anew")
    cabinet.touch("Join anew")
    cabinet.sees("PIN")
    for figure in "2580":
        cabinet.touch_key(figure)
    cabinet.touch("Open")
    cabinet.sees("The square of another kiosk")
    holds_up_the_square(*kiosks, tmp_path / "square.png")
    typed(cabinet, "Cab")
    cabinet.touch("forward")
    if "T002" in station.hot():
        cabinet.sees("was heated while", "Bench 1")  # it has learnt of it again, and that comes before all else
        cabinet.picture("two-kiosks-joined-anew-alarm")
        cabinet.touch("Understood")
    else:
        cabinet.sees("This kiosk belongs to the shop as one of its own")
        cabinet.picture("two-kiosks-joined-anew")
    cabinet.open_screen("kiosks")
    cabinet.sees("Station", "heard")
    cabinet.picture("two-kiosks-list-anew")
    (aside,) = (folder / "replaced").glob("parted-*.db")
    assert lines <= hashes(aside), "laid aside whole"
    shared = lines & hashes(kiosks[0].folder / NAME)
    assert len(shared) > 0.9 * len(lines)
    cabinet.waits_for(lambda: shared <= hashes(folder / NAME), "all that it had shared to be in its new book")
    cabinet.waits_for(lambda: set(cabinet.hot()) == set(station.hot()), "what is hot to be known at both")
    for window in (station, cabinet):
        window.open_screen("scan")
    cabinet.sees("shared")
