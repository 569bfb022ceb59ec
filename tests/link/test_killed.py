"""Killed at a named step of joining or before a push is marked; `python -m tests.link.killed` tries every step."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.link.killed import Runner
from tests.link.killed_checks import JOURNEYS, Stage
from tests.link.postgres import Server


@pytest.fixture
def run(server: Server, tmp_path: Path) -> Iterator[Runner]:
    def killed() -> None:
        server.kill()
        server.start()

    run = Runner(tmp_path, killed)
    yield run
    run.close()


def test_killed_while_it_joins_a_kiosk_joins_once_more_and_the_shop_has_it_once(
    server: Server, run: Runner, tmp_path: Path
) -> None:
    stage = Stage(server, tmp_path / "joining", run, JOURNEYS["joining"](), of_server=False)
    for stop in ("before commit 1", "after join_shop 1", "before os.rename server.json 1"):
        assert stop in stage.steps
        assert stage.dies(stop) == []


def test_killed_before_it_knows_that_the_server_took_its_line_the_book_has_it_once(
    server: Server, run: Runner, tmp_path: Path
) -> None:
    stage = Stage(server, tmp_path / "working", run, JOURNEYS["working"](), of_server=False)
    assert "after push 4" in stage.steps
    assert stage.dies("after push 4") == []
