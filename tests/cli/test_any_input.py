"""No argument and no file stops a command: the code is 0, 1 or 2, and 2 comes with a line that names what is wrong.

Commands and what they take are asked of the parser itself, so that a new command is tried without being named here.
The net under `main` for mistakes of the program is taken away: what would fall into it fails these tests.
"""

from __future__ import annotations

import argparse
import itertools
import json
import shutil
import subprocess
import sys
import types
from collections.abc import Callable, Iterator
from dataclasses import fields
from functools import partial
from pathlib import Path

import pytest
import tomlkit

from kiosk import cli, where
from kiosk import settings as shop_settings
from kiosk.commands import computing, failing, jobs, running, service
from kiosk.desk import Desk
from kiosk.exchange.control_list import read_map
from kiosk.exchange.faults import FileFaults
from kiosk.exchange.presetter import read_presetter_map
from kiosk.exchange.shop import read_shop
from kiosk.rules.cooling.case import Case
from kiosk.rules.cooling.stand import CoolingError
from kiosk.rules.outline import OutlineError
from tests.cli import nasty

CASE = {
    "case": {
        "name": "slim 12",
        "ambient_c": 23.0,
        "limit_c": 43.0,
        "holder": [{"length_mm": 60.0, "od_start_mm": 24.0, "od_end_mm": 30.0, "bore_mm": 12.0}],
        "tool": {"material": "carbide", "shank_mm": 12.0, "insert_mm": 36.0, "stickout_mm": 40.0},
        "heat": {"temp_c": 330.0, "length_mm": 40.0},
        "stages": [{"method": "free_air", "start_s": 0.0}],
    }
}
LINE_MAP = """delimiter = ","
[fields]
tool = "1"
length = "2"
diameter = "3"
[line]
port = "/nowhere/cable"
baud = 9600
"""
TURNED = 60  # good files with one value turned, at most
WORDS = {"machine": "Mill 1", "place": "Cabinet A", "what": "shift", "cutter": "C001", "name": "ledger", "text": "12"}


class Kiosk:
    """A data folder, a good file for every argument that takes one, and commands run against copies of both."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.data = folder / "made"
        with Desk.open(self.data) as desk:
            desk.shop.load(read_shop(where.demo_tags()))
            self.code = desk.session.holder("T001").code
            desk.copies.backup(folder / "copies")
        demo = where.demo_tags()
        shop = folder / "shop"
        shop.mkdir()
        for name in ("shop.toml", "operators.csv", "cutters.csv", "holders.csv"):
            shutil.copyfile(demo / name, shop / name)
        step = folder / "steps"
        step.mkdir()
        (step / "01-keys.txt").write_text(self.code)
        (step / "02-wait.txt").write_text("wait 20 s")
        case = folder / "case.json"
        case.write_text(json.dumps(CASE))
        cable = folder / "cable.toml"
        cable.write_text(LINE_MAP)
        labels = folder / "labels.csv"
        labels.write_text(f"code,name\n{self.code},\n")
        picture = folder / "picture.png"
        picture.write_bytes(nasty.png(60, 40))
        presetter, control = demo / "presetter", demo / "controls"
        self.files: dict[tuple[str, str], Path] = {
            ("rehearse", "folder"): step,
            ("read", "files"): picture,
            ("cooling", "case"): case,
            ("label", "from_csv"): labels,
            ("label", "out"): folder / "labels.pdf",
            ("audit", "pictures"): picture,
            ("report", "out"): folder / "shift.csv",
            ("import", "paths"): shop,
            ("presetter", "file"): presetter / "Morning.csv",
            ("presetter", "map"): presetter / "presetter.toml",
            ("export", "out"): folder / "book.csv",
            ("offsets", "template"): next((demo / "templates").iterdir()),
            ("compare", "file"): control / "Mill 1 tool table.csv",
            ("compare", "map"): control / "Mill 1.toml",
            ("restore", "file"): next((folder / "copies").glob("*.db")),
            ("setup", "file"): demo / "setups" / "Pump cover.csv",
            ("listen", "map"): cable,
        }

    def good(self, command: str, action: argparse.Action) -> str:
        """A value the command can work with."""
        if action.type is Path:
            return str(self.files.get((command, action.dest), self.folder / "given"))
        if action.choices:
            return str(WORDS.get(action.dest, next(iter(action.choices))))
        if action.type is not None:
            return "800x480" if action.dest == "size" else "1"
        return WORDS.get(action.dest, self.code)

    def words(self, command: str, action: argparse.Action, value: str) -> list[str]:
        """An argument as it is typed."""
        return [f"{action.option_strings[-1]}={value}"] if action.option_strings else ["--", value]

    def line(self, command: str, actions: list[argparse.Action], action: argparse.Action, value: str) -> list[str]:
        """A command with everything it needs, and one argument as given."""
        options: list[str] = []
        positional: list[str] = []
        for each in actions:
            if each is action:
                (options if each.option_strings else positional).extend(self.words(command, each, value)[-1:])
            elif each.required or (each.dest, command) in (("number", "number"),) or _companion(command, action, each):
                good = self.good(command, each)
                (options if each.option_strings else positional).extend(self.words(command, each, good)[-1:])
        if any(each.dest == "data" for each in actions) and action.dest != "data":
            options.append(f"--data={self.data}")
        return [command, *options, *(["--", *positional] if positional else [])]


def _companion(command: str, action: argparse.Action, each: argparse.Action) -> bool:
    """What an argument means nothing without."""
    pairs = {("label", "codes"), ("label", "out"), ("import", "paths"), ("presetter", "map"), ("check", "hash"),
             ("audit", "place")}  # fmt: skip
    return (command, each.dest) in pairs and not (command == "label" and action.dest == "queue" and each.dest == "out")


def commands() -> dict[str, list[argparse.Action]]:
    """Every command with its arguments, from the parser."""
    parser = cli._parser()
    (choice,) = [each for each in parser._actions if isinstance(each, argparse._SubParsersAction)]
    return {
        name: [each for each in sub._actions if not isinstance(each, argparse._HelpAction)]
        for name, sub in choice.choices.items()
    }


def flag(action: argparse.Action) -> bool:
    return action.nargs == 0


ARGUMENTS = [(name, each.dest) for name, actions in commands().items() for each in actions if not flag(each)]
FILES = [(name, each.dest) for name, actions in commands().items() for each in actions if each.type is Path]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Kiosk:
    return Kiosk(tmp_path_factory.mktemp("kiosk"))


@pytest.fixture
def kiosk(made: Kiosk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Kiosk:
    """The data in a fresh copy, no window, no bench, no cable, no service, and no net under `main`.

    What a command writes lies in a folder of this test's own, so that no test reads what another left there.
    """
    mine = types.SimpleNamespace()
    mine.__dict__.update(made.__dict__)
    mine.data = tmp_path / "data"
    shutil.copytree(made.data, mine.data)
    mine.folder = tmp_path / "written"
    mine.folder.mkdir()
    mine.files = {
        (command, dest): mine.folder / path.name if dest == "out" else path
        for (command, dest), path in made.files.items()
    }
    window = types.ModuleType("kiosk.screens.app")
    window.run = lambda options: 0  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "kiosk.screens.app", window)
    monkeypatch.setattr(running, "_has_display", lambda: True)
    monkeypatch.setattr(service, "_systemctl", lambda *words: False)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("PGHOST", "/nowhere")  # the machine may have a server of its own
    monkeypatch.setattr(computing, "import_module", lambda name: types.SimpleNamespace(run=lambda **_: []))
    monkeypatch.chdir(tmp_path)
    copied = object.__new__(Kiosk)
    copied.__dict__.update(mine.__dict__)
    return copied


class Fell(AssertionError):
    """A command met something it was not made for."""


def outcome(line: list[str], capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    """Exit code and stderr of a command."""

    def fell(fault: Exception) -> int:
        raise Fell(f"{line!r:.400}") from fault

    capsys.readouterr()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(failing, "unforeseen", fell)
        code = cli.main(line)
    return code, capsys.readouterr().err


def wrong_with(line: list[str], capsys: pytest.CaptureFixture[str], more: tuple[str, ...] = ()) -> list[str]:
    """What a command did that none may do."""
    try:
        code, err = outcome(line, capsys)
    except Fell as fell:
        cause = fell.__cause__
        return [f"{fell}: {type(cause).__name__}: {cause!s:.200}"]
    said = f"{line!r:.300}: {code}, {err:.300}"
    if code not in (0, 1, 2) or "Traceback" in err or "Error(" in err:
        return [said]
    if code == 2 and not (err.startswith("holder-kiosk: ") and any(name in err for name in (*names_in(line), *more))):
        return [f"names nothing: {said}"]
    return []


def action_of(command: str, dest: str) -> tuple[list[argparse.Action], argparse.Action]:
    actions = commands()[command]
    return actions, next(each for each in actions if each.dest == dest)


def names_in(line: list[str]) -> Iterator[str]:
    """What a complaint may call an argument: its name, or what was given, the command itself where that is blank."""
    for word in line:
        option, _, value = word.partition("=") if word.startswith("--") else ("", "", word)
        if option not in ("", "--"):
            yield option
        if not value.strip():
            yield from (f"{line[0]}:", "''", "'.'", ".:", ". ends")
        for shown in (value.encode("utf-8", "backslashreplace").decode(), repr(value)[1:-1], ascii(value)[1:-1]):
            if len(shown) > 2:
                yield from (shown[:40], *(part[:40] for part in Path(shown.replace("\0", "")).parts[-2:]))
            else:
                yield from (f"{shown}:", f"'{shown}'", f"{shown} ends")


@pytest.mark.parametrize(("command", "dest"), ARGUMENTS)
def test_no_argument_stops_a_command(
    command: str, dest: str, kiosk: Kiosk, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    actions, action = action_of(command, dest)
    if action.type is Path:
        good = Path(kiosk.good(command, action))
        values: Iterator[str] = (str(path) for _, path in nasty.awkward_paths(tmp_path / "awkward", good))
        values = itertools.chain(values, nasty.TEXTS)
    else:
        values = iter((*nasty.NUMBERS, *nasty.TEXTS))
    more = (dest, f"{command}:", str(action.metavar), "print server", "presetter at")
    lines = [kiosk.line(command, actions, action, value) for value in values]
    assert not [each for line in lines for each in wrong_with(line, capsys, more)]


def contents(good: Path, data: bytes = b"") -> list[bytes]:
    """Wrong files, and good ones with one value turned: of these a spread, since there are thousands."""
    data = data or (good.read_bytes() if good.is_file() else b"")
    turned = [content for _, content in nasty.turned(data, good.suffix)]
    return [content for _, content in nasty.whole_files(data[:20_000])] + turned[:: len(turned) // TURNED + 1]


@pytest.mark.parametrize(("command", "dest"), FILES)
def test_no_file_stops_a_command(
    command: str, dest: str, kiosk: Kiosk, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    actions, action = action_of(command, dest)
    good = Path(kiosk.good(command, action))
    if dest == "data":
        return  # its files: the next test
    found: list[str] = []
    if good.is_dir():
        for inside in sorted(good.iterdir()):
            given = tmp_path / "given"
            for content in contents(inside):
                shutil.rmtree(given, ignore_errors=True)
                shutil.copytree(good, given)
                (given / inside.name).write_bytes(content)
                found += wrong_with(kiosk.line(command, actions, action, str(given)), capsys, (inside.name,))
        assert not found
        return
    given = tmp_path / f"given{good.suffix}"
    for content in contents(good):
        given.write_bytes(content)
        found += wrong_with(kiosk.line(command, actions, action, str(given)), capsys, (f"{command}:", "presetter at"))
    assert not found


def _shop(name: str, folder: Path, content: bytes) -> None:
    for other in ("shop.toml", "operators.csv", "cutters.csv", "holders.csv"):
        (folder / other).write_bytes(content if other == name else (where.demo_tags() / other).read_bytes())
    read_shop(folder)


def _settings(folder: Path, content: bytes) -> None:
    (folder / "settings.toml").write_bytes(content)
    shop_settings.load(folder / "settings.toml")


SETTINGS = tomlkit.dumps({
    group.name: {each.name: getattr(getattr(shop_settings.Settings(), group.name), each.name) for each in fields(kind)}
    for group in fields(shop_settings.Settings)
    if (kind := type(getattr(shop_settings.Settings(), group.name)))
}).encode()  # fmt: skip
DEMO = where.demo_tags()
READERS: dict[str, tuple[bytes, str, Callable[[Path, bytes], object]]] = {
    **{
        name: ((DEMO / name).read_bytes(), Path(name).suffix, partial(_shop, name))
        for name in ("shop.toml", "operators.csv", "cutters.csv", "holders.csv")
    },
    "settings": (SETTINGS, ".toml", _settings),
    "control's map": (
        (DEMO / "controls" / "Mill 1.toml").read_bytes(),
        ".toml",
        lambda _, data: read_map(data.decode(), "m"),
    ),
    "presetter's map": (LINE_MAP.encode(), ".toml", lambda _, data: read_presetter_map(data.decode(), "m")),
    "case": (json.dumps(CASE).encode(), ".json", lambda _, data: Case.from_json(json.loads(data).get("case"))),
}


@pytest.mark.parametrize("name", READERS)
def test_every_value_of_a_file_may_be_anything(name: str, tmp_path: Path) -> None:
    """All of them, where the commands above meet a spread."""
    good, suffix, read = READERS[name]
    read(tmp_path, good)
    for at, content in nasty.turned(good, suffix):
        try:
            read(tmp_path, content)
        except (FileFaults, shop_settings.SettingsFault, CoolingError, OutlineError):
            continue
        except Exception as fault:
            raise AssertionError(f"{name}: {at}: {type(fault).__name__}: {fault}") from fault


DATA_FILES = ("settings.toml", "ledger.db", "lock")


@pytest.mark.parametrize("name", DATA_FILES)
def test_nothing_in_the_data_folder_stops_a_command(
    name: str, kiosk: Kiosk, capsys: pytest.CaptureFixture[str]
) -> None:
    good = kiosk.data / name
    data = good.read_bytes() if good.exists() else b'[kiosk]\nname = "Hall 2"\n[backup]\nsecond_folder = ""\n'
    line = ["hot", "--data", str(kiosk.data)]
    found: list[str] = []
    for content in contents(good, data):
        good.write_bytes(content)
        found += wrong_with(line, capsys)
    good.unlink()
    good.mkdir()
    assert not found + wrong_with(line, capsys)


def test_the_net_under_a_command_says_one_line(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise TypeError("of our own making")

    monkeypatch.setattr(jobs, "read_sheet", broken)
    assert cli.main(["setup", str(where.demo_tags() / "setups" / "Pump cover.csv")]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1 and "a mistake in the program (TypeError: of our own making" in err


@pytest.mark.parametrize(
    "given",
    [
        ["number", "{code}", "99999999999999999999"],
        ["report", "shift", "--out", "x.csv", "--hours", "nan"],
        ["label", "{code}", "--sheet", "A4", "--gap-mm", "nan", "--out", "x.pdf"],
        ["read", "/dev/null"],
        ["setup", "/dev/zero"],
        ["find", b"\xff\xfe"],
        ["history", b"\xff"],
    ],
)
def test_a_process_of_its_own_ends_with_two_and_one_line(given: list[str | bytes], kiosk: Kiosk) -> None:
    line = [each.format(code=kiosk.code) if isinstance(each, str) else each for each in given]
    more = [] if given[0] == "read" else ["--data", str(kiosk.data)]
    command = [sys.executable, "-m", "kiosk", *line, *more]
    run = subprocess.run(command, capture_output=True, text=True, check=False, cwd=where.assets().parent)
    assert run.returncode == 2, run
    assert run.stderr.count("\n") == 1 and run.stderr.startswith("holder-kiosk: "), run
