"""One PostgreSQL for all tests of this folder that share a process; each test gets a shop of its own on it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

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
