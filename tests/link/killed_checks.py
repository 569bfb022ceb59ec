"""What must hold after a kiosk or its server was killed at a step of a journey; see `killed`."""

from __future__ import annotations

import argparse
import shutil
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from kiosk.link import server as administration
from tests.link.killed import Runner
from tests.link.postgres import Server
from tests.link.shop import Shop

_HERE = frozenset({"commit", "mark", "os.rename", "os.remove"})  # steps of which the server knows nothing
Told = list[dict[str, Any]]


def last(told: Told, name: str, default: Any = None) -> Any:
    return next((each[name] for each in reversed(told) if name in each), default)


class Scene:
    """A shop with a kiosk that dies and one that watches, made anew for each death."""

    def __init__(self, server: Server, home: Path, run: Runner) -> None:
        self.shop = Shop(server)
        self.run = run
        self.home, self.kept = home / "here", home / "kept"
        self.home.mkdir(parents=True)
        self.a, self.b, self.c = (self.home / name for name in "ABC")
        self.acknowledged: list[tuple[str, str]] = []

    def save(self) -> None:
        """Keeps this moment, to be put back by `again`."""
        self._known = [*self.acknowledged]
        logins = "SELECT rolname, rolpassword FROM pg_authid WHERE rolname LIKE 'kiosk\\_%%'"
        self._logins = dict(self.shop.sql(logins))
        shutil.copytree(self.home, self.kept)
        self._as_template("kept", self.shop.database)

    def again(self) -> None:
        """That moment once more, each folder in its place, and the server's logins."""
        self.acknowledged = [*self._known]
        for folder in self.home.iterdir():
            if not (self.kept / folder.name).exists():
                shutil.rmtree(folder)
                continue
            for path in folder.iterdir():
                shutil.rmtree(path) if path.is_dir() else path.unlink()
            shutil.copytree(self.kept / folder.name, folder, dirs_exist_ok=True)
        self._as_template(self.shop.database, "kept")
        for name, gone in self.shop.sql("SELECT kiosk, retired_n IS NOT NULL FROM book.member"):
            verifier = self._logins[f"kiosk_{name}"]
            self.shop.sql(f"ALTER ROLE kiosk_{name} {'NO' if gone else ''}LOGIN PASSWORD '{verifier}'")

    def _as_template(self, made: str, of: str) -> None:
        boss = self.shop.server.sql
        boss("postgres", f"DROP DATABASE IF EXISTS {made} WITH (FORCE)")
        boss("postgres", "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s", of)
        boss("postgres", f"CREATE DATABASE {made} TEMPLATE {of}")

    def died(self) -> None:
        """Long enough ago that the server takes no kiosk for its copy."""
        self.shop.sql("UPDATE book.member SET beat_at = beat_at - interval '7 s'")

    def code(self) -> str:
        server = self.shop.server
        return f"{administration.invite_first(server.boss(), self.shop.address)}@127.0.0.1:{server.port}"

    def tell(self, journey: str, folder: Path, *words: str, stop: str = "", server: bool = False) -> Told:
        told = self.run(journey, folder, *words, stop=stop, server=server)
        for each in told:
            self.acknowledged += [(kiosk, digest) for kiosk, digest in each.get("lines", ())]
        return told

    def done(self, journey: str, folder: Path, *words: str) -> Told:
        """The same, and nothing dies."""
        told = self.tell(journey, folder, *words)
        assert last(told, "failed") is None and not last(told, "code", 0), (journey, words, told)
        return told

    def joins(self, folder: Path, name: str) -> None:
        self.done("command", folder, "join", self.code(), "--name", name)

    def two(self) -> None:
        self.joins(self.a, "A")
        self.done("shop", self.a)
        self.joins(self.b, "B")
        self.done("looks", self.b)

    def wrong(self, *folders: Path) -> list[str]:
        """What does not hold; the kiosks of these folders belong to the shop and are closed."""
        looks = {folder: self.done("looks", folder) for folder in folders}
        found = [f"server: {each}" for each in self.shop.examine()]
        there = Counter(self.shop.sql("SELECT kiosk, digest FROM book.entry"))
        found += [f"acknowledged, and {there[one]} times there: {one}" for one in self.acknowledged if there[one] != 1]
        for folder, told in looks.items():
            found += [f"{folder.name}: {each}" for each in last(told, "wrong")]
            if not last(told, "shared"):
                found.append(f"{folder.name} shares nothing: {last(told, 'why')}")
        return found


class Journey:
    """What happens before, what is died in, and what must be so afterwards."""

    def before(self, scene: Scene) -> None:
        scene.two()

    def goes(self, scene: Scene, stop: str = "", *, server: bool = False) -> Told:
        raise NotImplementedError

    def after(self, scene: Scene) -> list[str]:
        """Goes on as a hand would; what is wrong then."""
        raise NotImplementedError


class Working(Journey):
    """Opens, takes what came, writes, shares, heats, is closed."""

    def before(self, scene: Scene) -> None:
        super().before(scene)
        scene.done("work", scene.b)

    def goes(self, scene: Scene, stop: str = "", *, server: bool = False) -> Told:
        return scene.tell("work", scene.a, stop=stop, server=server)

    def after(self, scene: Scene) -> list[str]:
        wrong = scene.wrong(scene.a, scene.b)
        heat = last(scene.done("looks", scene.a), "heat")
        return wrong if heat == "held" else [*wrong, "what B heated is not held at A"]


class Joining(Journey):
    """A fresh folder joins a shop."""

    name = "C"

    def goes(self, scene: Scene, stop: str = "", *, server: bool = False) -> Told:
        return scene.tell("command", scene.c, "join", scene.code(), "--name", self.name, stop=stop, server=server)

    def after(self, scene: Scene) -> list[str]:
        told = scene.tell("command", scene.c, "join", scene.code(), "--name", self.name)
        wrong = [] if last(told, "code") in (0, None) else [f"joining once more is refused: {told}"]
        names = [name for (name,) in scene.shop.sql("SELECT name FROM book.member WHERE retired_n IS NULL")]
        if sorted(names) != ["A", "B", self.name]:
            wrong.append(f"the shop has {sorted(names)}")
        return wrong + scene.wrong(scene.a, scene.b, scene.c)


class Leaving(Journey):
    """A kiosk that heated leaves."""

    def before(self, scene: Scene) -> None:
        super().before(scene)
        scene.done("work", scene.a)

    def goes(self, scene: Scene, stop: str = "", *, server: bool = False) -> Told:
        return scene.tell("command", scene.a, "leave", stop=stop, server=server)

    def after(self, scene: Scene) -> list[str]:
        return _out(scene, "leave")


class JoiningAnew(Journey):
    """A kiosk that heated, was locked out and comes again."""

    def before(self, scene: Scene) -> None:
        super().before(scene)
        scene.done("work", scene.a)
        scene.done("command", scene.b, "kiosks", "--lock-out", "A")

    def goes(self, scene: Scene, stop: str = "", *, server: bool = False) -> Told:
        return scene.tell("command", scene.a, "join", scene.code(), "--name", "A", stop=stop, server=server)

    def after(self, scene: Scene) -> list[str]:
        told = scene.tell("command", scene.a, "join", scene.code(), "--name", "A")
        wrong = [] if last(told, "code") == 0 else [f"joining anew once more is refused: {told}"]
        names = [name for (name,) in scene.shop.sql("SELECT name FROM book.member WHERE retired_n IS NULL")]
        if sorted(names) != ["A", "B"]:
            wrong.append(f"the shop has {sorted(names)}")
        return wrong + scene.wrong(scene.a, scene.b)


class LockingOut(Journey):
    """A supervisor locks another kiosk out."""

    def goes(self, scene: Scene, stop: str = "", *, server: bool = False) -> Told:
        return scene.tell("command", scene.b, "kiosks", "--lock-out", "A", stop=stop, server=server)

    def after(self, scene: Scene) -> list[str]:
        told = scene.tell("command", scene.b, "kiosks", "--lock-out", "A")
        wrong = [] if last(told, "code") == 0 else [f"locking out once more is refused: {told}"]
        return wrong + scene.wrong(scene.b)


def _out(scene: Scene, how: str) -> list[str]:
    """A kiosk that left, or was leaving when it died: the words lead back in, and nothing is cool by it."""
    told = scene.tell("command", scene.a, how)
    wrong = []
    gone = scene.shop.sql("SELECT 1 FROM book.member WHERE name = 'A' AND retired_n IS NOT NULL")
    if last(told, "code") != 0 and not gone:
        wrong.append(f"to {how} once more is refused: {told}")
    if last(told, "code") == 0 and not gone:
        wrong.append("it left, and the server does not know")
    told = scene.tell("command", scene.a, "join", scene.code(), "--name", "again")
    if last(told, "code") != 0:
        wrong.append(f"it does not come back: {told}")
    wrong += scene.wrong(scene.a, scene.b)
    heat = last(scene.done("looks", scene.b), "heat")
    return wrong if heat == "held" else [*wrong, f"what A heated is {heat} at B"]


JOURNEYS: dict[str, type[Journey]] = {
    "working": Working,
    "joining": Joining,
    "leaving": Leaving,
    "joining-anew": JoiningAnew,
    "locking-out": LockingOut,
}


def points(told: Told, *, server: bool) -> list[str]:
    """Each step that a journey went through; for a server only those at which it is asked."""
    found: dict[str, int] = last(told, "steps", {})
    asked = [name for name in found if not server or name.split()[1] not in _HERE]
    return [f"{name} {nth}" for name in asked for nth in range(1, found[name] + 1)]


class Stage:
    """A journey at the moment before it begins, as often as somebody is to die in it.  steps: those it goes through."""

    def __init__(self, server: Server, home: Path, run: Runner, journey: Journey, *, of_server: bool) -> None:
        self._journey = journey
        self._of_server = of_server
        self._scene = Scene(server, home, run)
        journey.before(self._scene)
        self._scene.save()
        self.steps = points(journey.goes(self._scene), server=of_server)

    def dies(self, stop: str) -> list[str]:
        """What is wrong after a death at that step."""
        scene = self._scene
        scene.again()
        try:
            self._journey.goes(scene, stop, server=self._of_server)
            scene.died()
            return self._journey.after(scene)
        except AssertionError as error:
            return [f"stopped: {error}"]


@contextmanager
def with_server(home: Path) -> Iterator[tuple[Server, Runner]]:
    server = Server()

    def killed() -> None:
        server.kill()
        server.start()

    run = Runner(home, killed)
    try:
        yield server, run
    finally:
        run.close()
        server.end()


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("journeys", nargs="*", choices=[*JOURNEYS, []], default=list(JOURNEYS))
    parser.add_argument("--server", action="store_true", help="the server dies, not the kiosk")
    parser.add_argument("--every", type=int, default=1, help="only every Nth step")
    parser.add_argument("--at", help="only steps whose name has this in it")
    asked = parser.parse_args()
    found = 0
    with tempfile.TemporaryDirectory(prefix="kiosk-killed-") as folder, with_server(Path(folder)) as (server, run):
        for name in asked.journeys:
            stage = Stage(server, Path(folder) / name, run, JOURNEYS[name](), of_server=asked.server)
            steps = [step for step in stage.steps[:: asked.every] if not asked.at or asked.at in step]
            began_s = time.monotonic()
            for stop in steps:
                if wrong := stage.dies(stop):
                    found += len(wrong)
                    print(f"{name}, {stop}:", *wrong, sep="\n    ", flush=True)
            print(f"{name}: {len(steps)} steps, {time.monotonic() - began_s:.0f} s", flush=True)
    print(f"{found} wrong")
    raise SystemExit(bool(found))
