"""Wheels as whoever brings an update may have them, and environments that hold them, made in seconds."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import os
import subprocess
import sys
import sysconfig
import zipfile
from collections.abc import Callable
from pathlib import Path

from kiosk import __version__
from kiosk.desk import updating

ROOT = Path(__file__).resolve().parents[2]
Change = Callable[[str, str], str]
NEWER = "99.1"


def run(*command: str | Path, cwd: Path, **more: str) -> subprocess.CompletedProcess[str]:
    hidden = ("PYTHON", "DISPLAY", "WAYLAND")
    environment = {name: value for name, value in os.environ.items() if not name.startswith(hidden)} | more
    words = [str(word) for word in command]
    return subprocess.run(words, cwd=cwd, env=environment, capture_output=True, text=True, timeout=200, check=False)


def build(out: Path) -> Path:
    """This tree's own wheel, built there."""
    done = run(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", out, ROOT, cwd=out)
    assert done.returncode == 0, done.stderr
    (made,) = out.glob("*.whl")
    return made


def _hash(data: bytes) -> str:
    return "sha256=" + base64.urlsafe_b64encode(hashlib.sha256(data).digest()).rstrip(b"=").decode()


def anew(built: Path, folder: Path, version: str = NEWER, change: Change = lambda name, text: text) -> Path:
    """The wheel as another version, with changed files; its libraries are those of this environment."""
    folder.mkdir(exist_ok=True)
    path = folder / f"holder_kiosk-{version}-py3-none-any.whl"
    record = io.StringIO()
    with zipfile.ZipFile(built) as old, zipfile.ZipFile(path, "w") as new:
        files = {name: old.read(name) for name in old.namelist() if not name.endswith("/RECORD")}
        files["libraries.pth"] = f"{sysconfig.get_path('purelib')}\n".encode()
        for name, data in files.items():
            if name.endswith((".py", "/METADATA")):
                text = change(name, data.decode())
                text = text.replace(f"Version: {__version__}", f"Version: {version}", 1)
                data = text.replace(f'__version__ = "{__version__}"', f'__version__ = "{version}"').encode()
            told = name.replace(f"holder_kiosk-{__version__}.", f"holder_kiosk-{version}.")
            new.writestr(told, data)
            csv.writer(record).writerow((told, _hash(data), len(data)))
        new.writestr(f"holder_kiosk-{version}.dist-info/RECORD", record.getvalue())
    lists(path)
    return path


def lists(wheel: Path) -> None:
    digest = hashlib.sha256(wheel.read_bytes()).hexdigest()
    updating.list_of(wheel).write_text(f"./{wheel.name} --hash=sha256:{digest}\n")


def environment(wheel: Path, home: Path) -> Path:
    """An environment that holds the wheel, made in a second; its interpreter."""
    run(sys.executable, "-m", "venv", "--without-pip", home, cwd=home.parent)
    python = home / "bin" / "python"
    site = run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=home).stdout.strip()
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(site)
    return python
