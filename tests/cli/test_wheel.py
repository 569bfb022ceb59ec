"""A wheel built from the project runs outside the checkout, with its assets and its demo shop."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def run(*command: str | Path, cwd: Path) -> subprocess.CompletedProcess[str]:
    environment = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    done = subprocess.run(
        [str(word) for word in command], cwd=cwd, env=environment, capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, f"{command}\n{done.stdout}\n{done.stderr}"
    return done


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built by what the environment holds: no network."""
    out = tmp_path_factory.mktemp("wheel")
    run(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", out, ROOT, cwd=out)
    (made,) = out.glob("*.whl")
    return made


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Python of a new environment that holds the wheel; libraries come from this one, the checkout does not."""
    home = tmp_path_factory.mktemp("elsewhere")
    run(sys.executable, "-m", "venv", "--without-pip", home, cwd=home)
    python = home / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    site = Path(run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=home).stdout.strip())
    run(
        sys.executable, "-m", "pip", "--disable-pip-version-check", "install", "--no-deps", "--no-index",
        "--quiet", "--target", site, wheel, cwd=home,
    )  # fmt: skip
    # a plain path line: the .pth files over there, which lead back to the checkout, are not followed
    (site / "libraries.pth").write_text(sysconfig.get_path("purelib") + "\n")
    return python


def test_the_wheel_carries_fonts_words_demo_shop_and_screens_but_nothing_that_serves_a_checkout(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    for folder in ("assets", "demo_tags"):
        kept = {
            f"kiosk/{path.relative_to(ROOT).as_posix()}"
            for path in (ROOT / folder).rglob("*")
            if path.is_file() and "__pycache__" not in path.parts
        }
        assert kept
        assert kept <= names
    layouts = {path.relative_to(ROOT).as_posix() for path in (ROOT / "kiosk").rglob("*.kv")}
    assert layouts <= names
    assert "kiosk/py.typed" in names
    assert not names & {"kiosk/start", "kiosk/prepare", "kiosk/requirements.lock"}
    assert not [name for name in names if name.startswith(("tests/", "assets/", "demo_tags/"))]


def test_the_installed_kiosk_finds_its_files_inside_itself(installed: Path, tmp_path: Path) -> None:
    script = (
        "import json, kiosk; from kiosk import where;"
        "print(json.dumps([kiosk.__file__, str(where.assets()), str(where.demo_tags())]))"
    )
    package, assets, demo = json.loads(run(installed, "-c", script, cwd=tmp_path).stdout)
    package_folder = Path(package).parent
    assert not package_folder.is_relative_to(ROOT)
    assert Path(assets) == package_folder / "assets"
    assert Path(demo) == package_folder / "demo_tags"


def test_the_installed_kiosk_takes_in_the_demo_shop_reads_its_pictures_and_prints_its_labels(
    installed: Path, tmp_path: Path
) -> None:
    where = run(installed, "-c", "from kiosk import where; print(where.demo_tags())", cwd=tmp_path)
    demo = Path(where.stdout.strip())
    data = ("--data", tmp_path / "data")
    assert "lines written" in run(installed, "-m", "kiosk", "import", demo, "--write", *data, cwd=tmp_path).stdout
    with (demo / "operators.csv").open(encoding="utf-8", newline="") as file:
        badge = next(csv.DictReader(file))
    picture = demo / "shift" / "001-badge.jpg"
    read = json.loads(run(installed, "-m", "kiosk", "read", picture, "--json", cwd=tmp_path).stdout)
    assert [code["text"] for code in read["codes"]] == [badge["code"]]
    printed = tmp_path / "badge.pdf"
    run(installed, "-m", "kiosk", "label", badge["code"], "--size", "60x30", "--out", printed, *data, cwd=tmp_path)
    assert printed.read_bytes().startswith(b"%PDF")
    run(installed, "-m", "kiosk", "check", *data, cwd=tmp_path)


def test_the_installed_command_has_a_name_of_its_own(installed: Path, tmp_path: Path) -> None:
    script = "from importlib.metadata import entry_points as e; print([x.value for x in e(name='holder-kiosk')])"
    assert run(installed, "-c", script, cwd=tmp_path).stdout.strip() == "['kiosk.cli:main']"
    assert "rehearse" in run(installed, "-m", "kiosk", "--help", cwd=tmp_path).stdout
