"""Two windows on one server: what is hot at one is hot at the other, also after the network was away for a while."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from kiosk import where
from kiosk.desk import Desk
from kiosk.desk.joining import join
from kiosk.exchange.shop import read_shop
from kiosk.link import address as addresses
from kiosk.link import server as administration
from tests.journeys.display import Display
from tests.journeys.window import Window
from tests.link.postgres import Server
from tests.link.proxy import Proxy
from tests.link.shop import Shop

SIZE = (800, 480)


class Kiosk:
    """A window with a screen, a folder and a network of its own."""

    def __init__(self, shop: Shop, folder: Path, name: str) -> None:
        self.network = Proxy(("127.0.0.1", shop.server.port))
        code = administration.invite_first(shop.server.boss(), shop.address)
        member = join(folder, shop.address, code, name)
        addresses.keep(folder, replace(member, port=self.network.port))
        self.display = Display(SIZE)
        self.window = Window(self.display, SIZE, folder)

    def close(self) -> None:
        self.window.close()
        self.display.close()
        self.network.close()


@pytest.fixture(scope="module")
def kiosks(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Kiosk, Kiosk]]:
    server = Server()
    folder = tmp_path_factory.mktemp("kiosks")
    with Desk.open(folder / "station") as desk:
        desk.shop.load(read_shop(where.demo_tags()))
    shop = Shop(server)
    both = Kiosk(shop, folder / "station", "Station"), Kiosk(shop, folder / "cabinet", "Cabinet")
    yield both
    for kiosk in both:
        kiosk.close()
    server.end()


def test_a_heating_at_the_station_is_red_at_the_cabinet(kiosks: tuple[Kiosk, Kiosk]) -> None:
    station, cabinet = (kiosk.window for kiosk in kiosks)
    station.sees("shared")
    cabinet.sees("shared")
    station.scan(station.holder("T001"))
    station.scan(station.place("Shrink station"))
    station.sees("1 hot")
    cabinet.sees("1 hot")
    cabinet.picture("two-kiosks-hot-here-too")


def test_cut_off_a_kiosk_says_so_and_catches_up_afterwards(kiosks: tuple[Kiosk, Kiosk]) -> None:
    station, cabinet = (kiosk.window for kiosk in kiosks)
    kiosks[1].network.refuse()
    cabinet.sees("alone since")
    cabinet.picture("two-kiosks-alone")
    station.scan(station.holder("T002"))
    station.scan(station.place("Shrink station"))
    station.sees("2 hot")
    assert cabinet.hot() == ["T001"]
    kiosks[1].network.heal()
    cabinet.sees("2 hot", "shared")
    cabinet.touch("Shop")
    cabinet.touch("Kiosks")
    cabinet.sees("Station", "heard")
    cabinet.picture("two-kiosks-list")
