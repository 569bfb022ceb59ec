"""The commands of a shop with several kiosks, on a real server, from nothing to a kiosk that was locked out."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from kiosk import cli, where
from kiosk.commands import sharing
from kiosk.desk import Desk
from kiosk.exchange.shop import read_shop
from kiosk.link import address as addresses
from kiosk.link import calls
from tests.link.shop import LINE_FORM, Ledger, Server, Shop, linked


class Commands:
    """Commands run one after another; `said` is what the last one said, on both streams."""

    def __init__(self, server: Server, capsys: pytest.CaptureFixture[str]) -> None:
        self.url = f"postgresql://boss@/holder_kiosk?host={server.root}&port={server.port}"
        self.reached = f"127.0.0.1:{server.port}"
        self._capsys = capsys
        self.said = ""

    def __call__(self, *words: str) -> int:
        self._capsys.readouterr()
        code = cli.main(words)
        out = self._capsys.readouterr()
        self.said = out.out + out.err
        return code

    def code(self) -> str:
        """The ten characters the last command showed."""
        return next(word.partition("@")[0] for word in self.said.split() if "@" in word)


@pytest.fixture
def run(server: Server, on_server: Shop, capsys: pytest.CaptureFixture[str]) -> Commands:
    on_server.sql("DROP SCHEMA book CASCADE")
    return Commands(server, capsys)


def test_from_an_empty_server_to_two_kiosks_and_back_to_one(run: Commands, tmp_path: Path) -> None:
    first, second = (str(tmp_path / name) for name in ("first", "second"))
    assert run("server", "init", "--url", run.url) == 0, run.said
    code = run.code()
    assert run("join", f"{code}@{run.reached}", "--name", "Presetter", "--data", first) == 0, run.said
    assert run("kiosks", "--invite", "--data", first) == 0, run.said
    assert run("join", run.said.strip(), "--name", "Cabinet", "--data", second) == 0, run.said
    assert run("kiosks", "--json", "--data", second) == 0
    assert [json.loads(line)["name"] for line in run.said.splitlines()] == ["Presetter", "Cabinet"]
    assert run("server", "check", "--url", run.url) == 0, run.said
    assert run("kiosks", "--lock-out", "nobody", "--data", first) == 2 and "nobody" in run.said
    assert run("kiosks", "--lock-out", "Presetter", "--data", first) == 2 and "holder-kiosk leave" in run.said
    assert run("kiosks", "--lock-out", "Cabinet", "--data", first) == 0, run.said
    assert run("kiosks", "--data", second) == 2 and "locked out" in run.said
    assert run("leave", "--data", first) == 0, run.said
    assert run("kiosks", "--data", first) == 2 and "belongs to no shop" in run.said


def test_locking_out_takes_a_supervisor_where_there_is_one(run: Commands, tmp_path: Path) -> None:
    folder = tmp_path / "kiosk"
    with Desk.open(folder) as desk:
        desk.shop.load(read_shop(where.demo_tags()))
        boss = next(card for card in desk.people.operators() if card.role == "supervisor")
        desk.people.first_pin(boss.key, "271828", by_owner=True)
    run("server", "init", "--url", run.url)
    assert run("join", f"{run.code()}@{run.reached}", "--name", "A", "--data", str(folder)) == 0, run.said
    for command in (("kiosks", "--lock-out", "A"), ("leave",)):
        assert run(*command, "--data", str(folder)) == 1 and "supervisor" in run.said
    pin = tmp_path / "pin"
    pin.write_text("271828\n")
    assert run("leave", "--data", str(folder), "--supervisor", boss.name, "--pin-file", str(pin)) == 0, run.said
    assert addresses.read(folder) is None


def test_check_says_what_a_hand_changed(run: Commands, on_server: Shop) -> None:
    run("server", "init", "--url", run.url)
    member = on_server.member()
    calls.push(linked(member), Ledger(member.kiosk).write("a", "b"), LINE_FORM)
    on_server.sql("UPDATE book.entry SET body = 'other' WHERE n = 2")
    assert run("server", "check", "--url", run.url, "--json") == 1
    assert json.loads(run.said.splitlines()[0])["n"] == 2


def test_begun_anew_the_members_stay_and_the_book_is_empty(run: Commands, on_server: Shop) -> None:
    run("server", "init", "--url", run.url)
    member = on_server.member()
    calls.push(linked(member), Ledger(member.kiosk).write("a", "b"), LINE_FORM)
    assert run("server", "init", "--anew", "--url", run.url) == 0
    assert calls.pull(linked(member), 0, 10) == []


def test_over_the_network_the_server_is_reached_by_the_name_that_was_given(
    run: Commands, server: Server, tmp_path: Path
) -> None:
    assert run("server", "init", "--url", run.url, "--network", "127.0.0.2") == 0, run.said
    assert "start it again" in run.said
    server.restart()
    assert run("join", f"{run.code()}@127.0.0.2:{server.port}", "--data", str(tmp_path)) == 0, run.said
    member = addresses.read(tmp_path)
    assert member is not None and member.certificate
    assert run("kiosks", "--data", str(tmp_path)) == 0, run.said
    server.sql("postgres", "ALTER SYSTEM RESET ALL")
    server.restart()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("join", "0123456789"), "CODE@SERVER"),
        (("join", "short@127.0.0.1"), "a code is 10"),
        (("join", "0123456789@127.0.0.1:1", "--name", ""), "does not answer"),
        (("join", "0123456789@127.0.0.1:1", "--name", "x" * 61), "--name"),
        (("leave",), "belongs to no shop"),
        (("kiosks",), "belongs to no shop"),
        (("server", "check", "--url", "http://x"), "no address"),
        (("server", "init", "--url", "postgresql://me@127.0.0.1:1/x"), "does not answer"),
    ],
)
def test_what_is_wrong_is_said_in_a_line(run: Commands, tmp_path: Path, words: tuple[str, ...], said: str) -> None:
    data = () if words[0] == "server" else ("--data", str(tmp_path))
    assert run(*words, *data) == 2
    assert run.said.startswith(f"holder-kiosk: {words[0]}: ") and said in run.said


def test_the_kiosks_are_told_with_what_a_person_looks_for(on_server: Shop) -> None:
    member = on_server.member("Cabinet")
    (told,) = map(sharing._line, calls.kiosks(linked(member)))
    assert told == f"{'Cabinet':24} not here, 0 waiting, version 0.1.0, clock off by +0 s"
