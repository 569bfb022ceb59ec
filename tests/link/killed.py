"""A kiosk, or its shop's server, is killed at one named step: between a commit, a push and a mark, and at each other.

    nice -n 10 python -m tests.link.killed [JOURNEY ...] [--server] [--every N]

Steps are every commit of the ledger, every question to the server and its answer, every mark beside the ledger and
every file that takes a name.  A journey is gone through once to learn them, and then once for each; whoever dies there
is started again, goes through the journey anew as a hand would, and what was acknowledged before is what
`killed_checks` believes.  Exits with 1 where an invariant does not hold.
"""

from __future__ import annotations

import json
import os
import re
import select
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import peewee

from kiosk import cli
from kiosk.desk import Desk, together
from kiosk.desk import kiosks as slices
from kiosk.ledger import tables as T
from kiosk.ledger.anchor import Anchor
from kiosk.ledger.book import Written, rows
from kiosk.link import connection as network
from kiosk.link import link as link_module
from kiosk.rules.codes import CodeKind
from kiosk.rules.lines import PlaceAdded
from kiosk.rules.outcomes import Refused
from kiosk.rules.places import Kind, Place
from tests.link.kiosk_process import SHOP

_FUNCTION = re.compile(r"book\.(\w+)\(")
_FILES = frozenset({"os.rename", "os.remove"})
LEVEL_S = 40.0


class Steps:
    """Counts the steps of this process by name, and stops at one.  goes: what happens there."""

    def __init__(self, stop: str, goes: Callable[[], None], under: str) -> None:
        self.found: Counter[str] = Counter()
        self._stop = stop
        self._goes = goes
        self._under = under
        self._lock = threading.Lock()  # the link's thread comes here too

    def at(self, name: str) -> None:
        with self._lock:
            self.found[name] += 1
            here = f"{name} {self.found[name]}" == self._stop
        if here:
            self._goes()

    def watch(self) -> None:
        commits, asks, marks = peewee.Database.commit, network.Connection.ask, Anchor.write

        def commit(database: Any) -> None:
            self.at("before commit")
            commits(database)
            self.at("after commit")

        def ask(connection: Any, sentence: str, *values: Any) -> Any:
            found = _FUNCTION.search(sentence)
            name = found.group(1) if found else sentence.split()[0]
            self.at(f"before {name}")
            answer = asks(connection, sentence, *values)
            self.at(f"after {name}")
            return answer

        def mark(anchor: Any, *values: Any, **named: Any) -> None:
            self.at("before mark")
            marks(anchor, *values, **named)
            self.at("after mark")

        peewee.Database.commit, network.Connection.ask, Anchor.write = commit, ask, mark
        sys.addaudithook(self._file)

    def _file(self, event: str, values: tuple[Any, ...]) -> None:
        if event in _FILES and str(values[0]).startswith(self._under):
            name = Path(str(values[1] if event == "os.rename" else values[0])).name
            self.at(f"before {event} {re.sub(r'[0-9a-f]{16}', 'ID', name)}")


# ------------------------------------------------------------------ in a process of its own


class Said:
    """Tells whoever asked, a line at a time, past everything that a kill could keep back."""

    def __init__(self, path: Path) -> None:
        self._handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND)

    def __call__(self, **told: Any) -> None:
        os.write(self._handle, json.dumps(told).encode() + b"\n")

    def lines(self, written: tuple[Written, ...]) -> None:
        self(lines=[[line.kiosk, line.hash] for line in written])


def _opened(folder: Path) -> Desk:
    desk = Desk.open(folder)
    desk.begin_sharing()
    return desk


def _level(desk: Desk, *, works: bool = True) -> None:
    """Waits until all that is known is here and all of this kiosk's is shared.  works: and until it may work."""
    end_s = time.monotonic() + LEVEL_S
    while time.monotonic() < end_s:
        assert desk.kiosks is not None and desk._together is not None
        while desk.kiosks.take():
            pass
        desk._together.heard()  # and no more: to work out a hold after each line takes longer than all else
        apart = desk.session.cards.apart
        assert apart is not None
        if (apart.admitted or not works) and apart.caught_up and desk.kiosks.standing().waiting == 0:
            return
        time.sleep(0.01)
    raise AssertionError(f"not level: {desk.kiosks.standing() if desk.kiosks else desk.not_shared}")


def work(folder: Path, said: Said, *_: str) -> None:
    """Opens, takes what came, writes, shares, heats, shares, and is closed in order."""
    with _opened(folder) as desk:
        _level(desk)
        for _ in range(2):
            code = desk.session.fresh_code(CodeKind.PLACE)
            said.lines(desk.session.write(PlaceAdded(Place(code.text, code.text, Kind.CABINET))))
            _level(desk)
        for label in ("steel-1", "at-station"):
            scanned = desk.scan(label)
            said.lines(scanned.lines)
            refused = isinstance(scanned.outcome, Refused)
        said(heated=not refused)
        _level(desk)


def shop(folder: Path, said: Said, *_: str) -> None:
    """The shop's first lines."""
    with _opened(folder) as desk:
        _level(desk)
        said.lines(desk.session.write(*SHOP))
        _level(desk)


def command(folder: Path, said: Said, *words: str) -> None:
    """One command, as a hand types it."""
    said(code=cli.main([*words, "--data", str(folder)]))


def looks(folder: Path, said: Said, *_: str) -> None:
    """Opens, waits until it is level, and tells what it holds."""
    with _opened(folder) as desk:
        if desk.kiosks is not None:
            _level(desk, works=False)  # another may be off that was not closed in order
        heat = rows(T.Holder.select(T.Holder.heat).where(T.Holder.key == "H1"))
        said(
            kiosk=desk.session.book.kiosk,
            shared=desk.kiosks is not None,
            why=str(desk.not_shared) if desk.not_shared else None,
            wrong=[f"{wrong.where}: {wrong.what}" for wrong in desk.session.book.check()],
            heat=heat[0]["heat"] if heat else None,
        )


JOURNEYS = {each.__name__: each for each in (work, shop, command, looks)}


def _child(asked: dict[str, Any]) -> None:
    said = Said(Path(asked["said"]))
    link_module._RETRIES_S, link_module._STOPPED_S, link_module.BEAT_S = (0.1,), 0.2, 0.2
    together._REST_S = 20.0  # on a busy machine one that is closed is to be at rest all the same
    slices.SLICE_S = 0.0  # each line that comes is a commit of its own

    def goes() -> None:
        if not asked["server"]:
            os.kill(os.getpid(), signal.SIGKILL)
        said(server=True)
        while not Path(asked["said"] + ".killed").exists():
            time.sleep(0.01)

    steps = Steps(asked["stop"], goes, str(Path(asked["folder"]).parent))
    steps.watch()
    try:
        JOURNEYS[asked["journey"]](Path(asked["folder"]), said, *asked["words"])
    except BaseException as error:
        said(failed=f"{type(error).__name__}: {error}")
        raise
    finally:
        said(steps=dict(steps.found))


def _serve() -> None:
    """Forks a child for each line that asks for one, so that nothing is loaded twice."""
    for line in sys.stdin:
        child = os.fork()
        if not child:
            code = 1
            try:
                os.dup2(2, 1)
                _child(json.loads(line))
                code = 0
            finally:
                os._exit(code)
        os.waitpid(child, 0)
        os.write(1, b".\n")


# ------------------------------------------------------------------ beside it


class Runner:
    """Goes through journeys in processes that end.  kills_server: told when the server is to be killed."""

    def __init__(self, home: Path, kills_server: Callable[[], None]) -> None:
        self._home = home
        self._kills_server = kills_server
        self._count = 0
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.link.killed", "serve"], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            stderr=(home / "errors").open("ab"), text=True,
        )  # fmt: skip

    def __call__(self, journey: str, folder: Path, *words: str, stop: str = "", server: bool = False) -> list[Any]:
        """What was said; at `stop` the kiosk dies, or the server."""
        self._count += 1
        path = self._home / f"said-{self._count}"
        asked = {
            "journey": journey, "folder": str(folder), "words": words, "stop": stop, "server": server,
            "said": str(path),
        }  # fmt: skip
        assert self._process.stdin is not None and self._process.stdout is not None
        print(json.dumps(asked), file=self._process.stdin, flush=True)
        killed = False
        while not select.select([self._process.stdout], [], [], 0.02)[0]:
            if server and not killed and path.exists() and '"server"' in path.read_text():
                killed = True
                self._kills_server()
                Path(f"{path}.killed").touch()
        assert self._process.stdout.readline(), "the process that forks ended"
        told = path.read_text().splitlines() if path.exists() else []
        return [json.loads(line) for line in told]

    def close(self) -> None:
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait(40)


if __name__ == "__main__":
    if sys.argv[1:] == ["serve"]:
        _serve()
    else:
        from tests.link.killed_checks import main

        main()
