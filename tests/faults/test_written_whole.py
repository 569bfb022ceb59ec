"""Every file the product writes is written beside and then renamed: a full disk leaves the older one as it was."""

from __future__ import annotations

import ast
import errno
import os
import subprocess
import sys
import textwrap
from collections.abc import Iterator
from pathlib import Path

import pytest

import kiosk
from kiosk import filing, where
from kiosk import settings as shop_settings
from kiosk.cli import main
from kiosk.commands.output import DONE, WRONG
from tests.conftest import Shop

ROOT = Path(kiosk.__file__).parent
WRITING = frozenset({"write_text", "write_bytes", "copyfile", "copy2", "copytree", "mkstemp", "NamedTemporaryFile"})
MODES = frozenset("wax+")
# who may: the one helper; the lock, which is a file for its own sake; whole ledgers, which SQLite writes and a
# protocol of their own brings to their place; the log, which grows by a line at a time and is never whole
ALLOWED = frozenset({"filing.py", "ledger/lock.py", "ledger/restore.py", "logbook.py"})


def writings(tree: ast.AST) -> Iterator[int]:
    """Lines that write a file."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        given = (*node.args, *(keyword.value for keyword in node.keywords))
        texts = [each.value for each in given if isinstance(each, ast.Constant)]
        if name in WRITING or (
            name in ("open", "fdopen") and any(isinstance(t, str) and len(t) <= 3 and MODES & set(t) for t in texts)
        ):
            yield node.lineno


def test_no_file_is_written_but_by_the_one_helper() -> None:
    found = [
        f"{path.relative_to(ROOT)}:{line}"
        for path in ROOT.rglob("*.py")
        if path.relative_to(ROOT).as_posix() not in ALLOWED and path.relative_to(ROOT).parts[0] != "bench"
        for line in writings(ast.parse(path.read_text("utf-8")))
    ]
    assert not found


def test_the_look_for_writing_finds_it() -> None:
    samples = ("p.write_text('x')", "open('f', 'w')", "p.open(mode='ab')", "copyfile(a, b)", "os.fdopen(h, 'r+')")
    assert all(list(writings(ast.parse(sample))) for sample in samples)
    assert not list(writings(ast.parse("open('f'); p.open('rb'); book.open(folder)")))


def test_what_is_written_is_there_and_nothing_else(tmp_path: Path) -> None:
    goal = tmp_path / "list.csv"
    filing.write(goal, "first\r\nö")
    filing.write(goal, b"second")
    assert goal.read_bytes() == b"second"
    assert [each.name for each in tmp_path.iterdir()] == ["list.csv"]


@pytest.mark.parametrize("at", ["write_bytes", "to_disk", "replace"])
def test_a_fault_at_any_step_leaves_the_older_file(at: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    goal = tmp_path / "list.csv"
    filing.write(goal, b"older")

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(filing if at == "to_disk" else Path, at, full)
    with pytest.raises(OSError, match="No space"):
        filing.write(goal, b"newer")
    monkeypatch.undo()
    assert goal.read_bytes() == b"older"
    assert [each.name for each in tmp_path.iterdir()] == ["list.csv"]


def test_a_file_keeps_who_may_read_it_and_a_secret_one_is_never_open(tmp_path: Path) -> None:
    goal = tmp_path / "list.csv"
    filing.write(goal, b"x", mode=0o600)
    assert goal.stat().st_mode & 0o777 == 0o600
    filing.write(goal, b"y")
    assert goal.stat().st_mode & 0o777 == 0o600


def test_a_link_leads_where_it_led_and_a_pipe_stays_a_pipe(tmp_path: Path) -> None:
    real, link = tmp_path / "real.csv", tmp_path / "link.csv"
    real.write_bytes(b"older")
    link.symlink_to(real)
    filing.write(link, b"newer")
    assert link.is_symlink() and real.read_bytes() == b"newer"
    filing.write(Path("/dev/null"), b"gone")
    assert Path("/dev/null").is_char_device()


def test_what_a_killed_writer_left_is_swept_once_it_is_old(tmp_path: Path) -> None:
    goal = tmp_path / "list.csv"
    old, fresh, other = (tmp_path / name for name in (".list.csv.00000000.part", ".list.csv.11111111.part", ".a.part"))
    for each in (old, fresh, other):
        each.write_bytes(b"half")
    os.utime(old, (1, 1))
    os.utime(other, (1, 1))
    filing.write(goal, b"whole")
    assert not old.exists() and fresh.exists() and other.exists()


DEMO = where.demo_tags()
COMMANDS = {
    "csv": ["export", "--out", "{out}"],
    "assets": ["export", "--format", "mtconnect", "--out", "{out}"],
    "offsets": ["offsets", "Mill 1", "--template", str(DEMO / "templates" / "tool_table.txt"), "--out", "{out}"],
    "report": ["report", "shift", "--out", "{out}"],
    "labels": ["label", "--inside", "Cabinet A", "--out", "{out}"],
    "compare": ["compare", "Mill 2", str(DEMO / "controls" / "Mill 2 export.csv"), "--out", "{out}"],
}


@pytest.mark.parametrize("name", COMMANDS)
def test_a_full_disk_leaves_the_older_file_of_every_command(name: str, shop: Shop, tmp_path: Path) -> None:
    """The disk has room for 300 bytes more when the file is begun: the system itself cuts the writing."""
    shop.desk.close()
    out = tmp_path / f"older.{'pdf' if name in ('report', 'labels') else 'csv'}"
    out.write_bytes(b"o" * 200)
    line = [each.format(out=out) for each in COMMANDS[name]] + ["--data", str(shop.folder)]
    code = f"""
        import resource, signal, sys
        import kiosk.cli
        from kiosk import filing
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        filing._sweep = lambda goal: resource.setrlimit(resource.RLIMIT_FSIZE, (300, 300))
        sys.exit(kiosk.cli.main({line!r}))
    """
    run = subprocess.run([sys.executable, "-c", textwrap.dedent(code)], capture_output=True, text=True, check=False)
    assert run.returncode == WRONG and "File too large" in run.stderr, run
    assert "Traceback" not in run.stderr
    assert out.read_bytes() == b"o" * 200
    assert not list(tmp_path.glob(".*.part"))


def test_settings_and_the_shops_folder_survive_a_full_disk(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "settings.toml"
    shop_settings.changed(path, "kiosk", "name", "Hall 2")
    out = tmp_path / "shop"
    shop.desk.close()
    line = ["export", "--format", "shop", "--out", str(out), "--data", str(shop.folder)]
    assert main(line) == DONE
    before = {each.name: each.read_bytes() for each in (path, *out.iterdir())}

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(OSError, match="No space"):
        shop_settings.changed(path, "kiosk", "name", "Hall 3")
    assert main(line) == WRONG
    assert {each.name: each.read_bytes() for each in (path, *out.iterdir())} == before
