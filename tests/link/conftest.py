"""One PostgreSQL for all tests of this folder that share a process; each test gets a shop of its own on it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from kiosk.link import link as link_module
from tests.link.kiosk import LinkedKiosk
from tests.link.making import Make
from tests.link.postgres import Server
from tests.link.shop import Shop


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    server = Server()
    yield server
    server.end()


@pytest.fixture
def on_server(server: Server) -> Shop:
    return Shop(server)


@pytest.fixture
def make(on_server: Shop, monkeypatch: pytest.MonkeyPatch) -> Iterator[Make]:
    """Makes linked kiosks of that shop, which end with the test."""
    monkeypatch.setattr(link_module, "_STOPPED_S", 0.5)
    monkeypatch.setattr(link_module, "_RETRIES_S", (0.2,))
    made: list[LinkedKiosk] = []

    def one(name: str, **given: object) -> LinkedKiosk:
        made.append(LinkedKiosk(on_server, name, **given))
        return made[-1]

    yield one
    for kiosk in made:
        kiosk.end()
