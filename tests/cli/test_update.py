"""An update leaves the old version or the new one working, whatever the wheel is like and whenever it is cut short."""

from __future__ import annotations

import json
import shutil
import sqlite3
import subprocess
import sys
import time
import zipfile
from contextlib import closing
from pathlib import Path

import pytest

from kiosk import __version__, installed, words
from kiosk.desk import Desk, updating
from kiosk.desk.updating import UpdateRefused, look
from kiosk.ledger.upgrade import VERSION
from kiosk.rehearsal import PretendedTime
from kiosk.rules.assembly import Clamping
from kiosk.rules.cards import Heat
from kiosk.rules.finding import Usable
from kiosk.rules.outcomes import Refused
from tests.cli.wheels import NEWER, ROOT, anew, build, environment, lists, run

DAY_S = 86400.0


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build(tmp_path_factory.mktemp("wheel"))


@pytest.fixture
def base(built: Path, tmp_path: Path) -> Path:
    """The version that was installed first, as its interpreter."""
    return environment(anew(built, tmp_path / "first", __version__), tmp_path / "base")


def on_trial(base: Path, wheel: Path, version: str = NEWER) -> None:
    """Put a version beside it as `update` does when everything was right."""
    home = base.parent.parent / installed.FOLDER / version
    home.parent.mkdir(exist_ok=True)
    environment(wheel, home)
    (home / installed.WHOLE).write_text(version)
    (home.parent / installed.NAME).write_text(json.dumps({"name": version, "trial": True}))


def says(base: Path, *words: str | Path, **more: str) -> subprocess.CompletedProcess[str]:
    return run(base, "-P", "-m", "kiosk", *words, cwd=base.parent, **more)


def meant(base: Path) -> dict[str, object]:
    return json.loads((base.parent.parent / installed.FOLDER / installed.NAME).read_text())  # type: ignore[no-any-return]


@pytest.fixture(scope="module")
def imported(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with the demo shop, written once."""
    data = tmp_path_factory.mktemp("imported") / "data"
    done = run(
        *(sys.executable, "-P", "-m", "kiosk", "import", ROOT / "demo_tags", "--write", "--data", data), cwd=ROOT
    )
    assert done.returncode == 0, done.stderr
    return data


@pytest.fixture
def data(imported: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(imported, tmp_path / "data"))


def holders(data: Path) -> dict[str, dict[str, object]]:
    """All that the book says of every holder now, by key."""
    with closing(sqlite3.connect(data / "ledger.db")) as book:
        book.row_factory = sqlite3.Row
        return {row["key"]: dict(row) for row in book.execute("select * from holder")}


def found(base: Path, data: Path) -> dict[str, dict[str, object]]:
    """What `find` answers for every holder with a 12 in it, by key."""
    lines = says(base, "find", "12", "--json", "--data", data).stdout.splitlines()
    return {each["key"]: each for each in map(json.loads, lines)}


def heated(data: Path) -> float:
    """Heats T001 after nine days of watching and lays it to cool: how long its hold still was a while later, s.

    By the clock on the wall that was a month ago.
    """
    clock = PretendedTime(time.time() - 30 * DAY_S)
    with Desk.open(data, counter=clock.counter, wall=clock.wall) as desk:
        for _ in range(9):
            clock.forward(DAY_S)
            desk.tick()
        place = desk.session.cards.find_place
        holder = desk.session.holder("T001").code
        for code in (holder, place("Shrink station"), holder, place("Rack 1")):
            assert code is not None
            desk.scan(code)
        clock.forward(300.0)
        desk.tick()
        hold = desk.session.holder("T001").hold
        assert hold is not None and hold.remaining_s > 600.0
        return hold.remaining_s


# What is refused -------------------------------------------------------------------------------------------------


def refused(path: Path) -> str:
    with pytest.raises(UpdateRefused) as why:
        look(path)
    return words.say(why.value.why)


def test_a_whole_newer_wheel_of_ours_is_taken(built: Path, tmp_path: Path) -> None:
    assert str(look(anew(built, tmp_path / "w")).version) == NEWER


def test_a_wheel_that_was_cut_short_anywhere_is_refused(built: Path, tmp_path: Path) -> None:
    wheel = anew(built, tmp_path / "w")
    whole = wheel.read_bytes()
    for keeps in (0, 100, len(whole) // 2, len(whole) - 1):
        wheel.write_bytes(whole[:keeps])
        assert "cut short" in refused(wheel)
        lists(wheel)  # and where its list was made of the damaged one
        assert "is damaged" in refused(wheel)
        wheel.write_bytes(whole)
        lists(wheel)


def test_a_file_inside_that_is_not_what_the_wheel_says_is_refused(built: Path, tmp_path: Path) -> None:
    wheel = anew(built, tmp_path / "w")
    with zipfile.ZipFile(wheel) as old:
        files = {name: old.read(name) for name in old.namelist()}
    files["kiosk/rules/checkin.py"] += b"\n# anybody\n"
    with zipfile.ZipFile(wheel, "w") as new:
        for name, data in files.items():
            new.writestr(name, data)
    lists(wheel)
    assert "is damaged" in refused(wheel) and "checkin.py" in refused(wheel)


def test_an_older_one_the_same_one_another_project_and_another_system_are_refused(built: Path, tmp_path: Path) -> None:
    for version in ("0.0.9", __version__, f"{__version__}.dev1"):
        assert "not newer" in refused(anew(built, tmp_path / "w", version))
    wheel = anew(built, tmp_path / "w")
    for name, why in (
        ("requests-99.1-py3-none-any.whl", "no version of this kiosk"),
        ("holder_kiosk-99.1-cp27-cp27m-win32.whl", "another system"),
        ("holder_kiosk-99.2-py3-none-any.whl", "another name or version"),
        ("holder-kiosk.zip", "no version of this kiosk"),
    ):
        other = wheel.with_name(name)
        other.write_bytes(wheel.read_bytes())
        lists(other)
        assert why in refused(other)


def test_one_without_its_list_or_for_another_python_is_refused(built: Path, tmp_path: Path) -> None:
    def later(name: str, text: str) -> str:
        return text.replace("Requires-Python: <3.14,>=3.11", "Requires-Python: >=4.2")

    assert "made for another computer than this one (Python >=4.2" in refused(anew(built, tmp_path / "w", change=later))
    wheel = anew(built, tmp_path / "v")
    updating.list_of(wheel).unlink()
    assert "must lie beside" in refused(wheel)


def test_a_full_disk_leaves_nothing_behind_and_the_old_version_meant(
    built: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(installed, "first", lambda: tmp_path / "env")
    (tmp_path / "env").mkdir()
    wheel = look(anew(built, tmp_path / "w"))

    def full(home: Path, _: object) -> None:
        home.mkdir()
        (home / "half").write_text("half")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(updating, "_fill", full)
    with pytest.raises(UpdateRefused, match=r"not made.*the disk is full"):
        updating._make(wheel)
    assert list((tmp_path / "env" / installed.FOLDER).iterdir()) == [] and installed.current().name == ""
    monkeypatch.setattr(updating, "ROOM_BYTES", 1e18)
    with pytest.raises(UpdateRefused, match="no room"):
        updating._make(wheel)


# What comes of it ------------------------------------------------------------------------------------------------


def test_what_cannot_be_read_or_is_not_whole_means_the_first_version(base: Path, built: Path, tmp_path: Path) -> None:
    on_trial(base, anew(built, tmp_path / "w"))
    current = base.parent.parent / installed.FOLDER / installed.NAME
    whole = json.dumps({"name": NEWER})
    current.write_text(whole)
    assert says(base, "--version").stdout.strip() == NEWER
    for said in ("", "{", "[]", '{"name": 1}', '{"name": "98"}', '{"nobody": "knows"}', whole[:-3]):
        current.write_text(said)
        assert says(base, "--version").stdout.strip() == __version__, said
    current.write_text(whole)
    (current.parent / NEWER / installed.WHOLE).unlink()  # cut short while it was made
    assert says(base, "--version").stdout.strip() == __version__


def test_a_version_that_crashes_at_its_start_is_left_by_itself_and_the_book_is_as_it_was(
    base: Path, built: Path, data: Path, tmp_path: Path
) -> None:
    lines = says(base, "check", "--data", data).stdout

    def crashes(name: str, text: str) -> str:
        return "raise RuntimeError('broken')\n" if name == "kiosk/commands/running.py" else text

    on_trial(base, anew(built, tmp_path / "w", change=crashes))
    assert "a mistake in the program" in says(base, "open", "--service", "--data", data).stderr
    assert meant(base)["tried"] and meant(base)["copy"]
    back = says(base, "open", "--service", "--data", data)
    assert "the version before it is back" in back.stderr and "display" in back.stderr
    assert meant(base)["name"] == "" and says(base, "--version").stdout.strip() == __version__
    assert says(base, "check", "--data", data).stdout == lines


def test_a_version_that_brought_the_book_to_a_newer_form_and_then_failed_gives_back_a_book_the_older_one_reads(
    base: Path, built: Path, data: Path, tmp_path: Path
) -> None:
    heated(data)
    before, answered = holders(data), found(base, data)
    shrunk = {key for key, row in before.items() if row["clamping"] == Clamping.SHRINK_FIT.value} - {"T001"}
    assert len(answered) > len(answered.keys() & shrunk) > 0
    assert {key for key, row in before.items() if row["heat"] != Heat.COOL.value} == {"T001"}

    def upgrades(name: str, text: str) -> str:
        if name == "kiosk/commands/running.py":
            opens = ("from kiosk.desk import Desk", "Desk.open(arguments.data).close()", "raise RuntimeError('broken')")
            return "def open_window(arguments):\n" + "".join(f"    {line}\n" for line in opens)
        if name == "kiosk/ledger/upgrade.py":
            assert f"VERSION = {VERSION}" in text
            text = text.replace(f"VERSION = {VERSION}", f"VERSION = {VERSION + 1}")
            return text.replace("STEPS: Mapping[int, Step] = {", f"STEPS = {{\n    {VERSION}: lambda _: None,", 1)
        return text

    on_trial(base, anew(built, tmp_path / "w", change=upgrades))
    assert "a mistake in the program" in says(base, "open", "--service", "--data", data).stderr
    assert says(base, "check", "--data", data, **{installed.HOPPED: "1"}).returncode == 2
    assert says(base, "open", "--service", "--data", data).returncode == 2  # no display here, and nothing worse
    assert meant(base)["name"] == ""
    assert says(base, "check", "--data", data).returncode == 0
    assert any((data / "replaced").iterdir())
    # The older version cannot read what was written since the copy, so that nobody knows what was heated since then.
    unknown = {key: row | {"heat": Heat.UNKNOWN.value} for key, row in before.items() if key in shrunk}
    assert holders(data) == before | unknown
    hotter = {key: {"usable": int(Usable.UNPROVEN)} for key in shrunk}
    assert found(base, data) == {key: each | hotter.get(key, {}) for key, each in answered.items()}


def test_an_update_under_a_hold_and_the_way_back_count_only_what_was_watched(
    base: Path, built: Path, data: Path, tmp_path: Path
) -> None:
    remaining_s = heated(data)

    def opens(name: str, text: str) -> str:
        if name == "kiosk/commands/running.py":
            works = "import kiosk.installed; from kiosk.desk import Desk; Desk.open(arguments.data).close()"
            return f"def open_window(arguments):\n    {works}\n    kiosk.installed.reached()\n    return 0\n"
        return text

    def crashes(name: str, text: str) -> str:
        return opens(name, text).replace("kiosk.installed.reached()", "raise RuntimeError('broken')")

    for version, change in ((NEWER, opens), ("99.2", crashes)):
        on_trial(base, anew(built, tmp_path / "w", version, change), version)
        says(base, "open", "--service", "--data", data)
        if change is crashes:
            assert meant(base)["tried"]
            says(base, "open", "--service", "--data", data)
        clock = PretendedTime(time.time())
        with Desk.open(data, counter=clock.counter, wall=clock.wall) as desk:
            hold = desk.session.holder("T001").hold
            assert hold is not None and remaining_s - 30.0 < hold.remaining_s <= remaining_s, version
            desk.scan(desk.session.holder("T001").code)
            place = desk.session.cards.find_place("Cabinet A · 1-01")
            assert place is not None and isinstance(desk.scan(place).outcome, Refused)


def test_a_start_whose_copy_cannot_be_made_is_no_trial(base: Path, built: Path, data: Path, tmp_path: Path) -> None:
    on_trial(base, anew(built, tmp_path / "w"))
    (base.parent.parent / installed.FOLDER / f"before-{NEWER}").write_text("in the way")
    assert "stays as it was" in says(base, "open", "--service", "--data", data).stderr
    assert meant(base)["name"] == ""
