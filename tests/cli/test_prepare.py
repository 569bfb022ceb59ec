"""kiosk/prepare on machines that are missing something: it says what, and what to do, and stops with 2.

Each test gives the script a small checkout of its own and a folder of tools as its whole PATH, some of them
pretended, so that nothing is installed on the machine that runs the test.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TOOLS = "awk bash cat chmod cp cut df dirname env flock grep id mkdir mktemp readlink rm sed stat tail tee uname"

NO_NETWORK = {"PIP_INDEX_URL": "http://127.0.0.1:9/simple", "PIP_RETRIES": "1", "PIP_CONFIG_FILE": os.devnull}

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="kiosk/prepare is for Debian")


@dataclass
class Machine:
    """A checkout at `home` and the programs that exist around it."""

    home: Path
    programs: Path

    def program(self, name: str, script: str) -> None:
        """A pretended program: a shell script under that name."""
        path = self.programs / name
        path.unlink(missing_ok=True)
        path.write_text(f"#!{shutil.which('bash')}\n{script}\n")
        path.chmod(0o755)

    def prepare(self, *arguments: str, **more: str) -> subprocess.CompletedProcess[str]:
        environment = NO_NETWORK | {"PATH": str(self.programs), "HOME": str(self.home), "TMPDIR": str(self.home)} | more
        return subprocess.run(
            [self.home / "kiosk/prepare", *arguments],
            env=environment, capture_output=True, text=True, timeout=120, stdin=subprocess.DEVNULL,
        )  # fmt: skip


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    """A machine with root, every system package, this Python and no network."""
    home, programs = tmp_path / "checkout", tmp_path / "programs"
    (home / "kiosk").mkdir(parents=True)
    (home / "tests").mkdir()
    programs.mkdir()
    shutil.copy(ROOT / "kiosk/prepare", home / "kiosk/prepare")
    shutil.copy(ROOT / "pyproject.toml", home)
    for lock in ("kiosk/requirements.lock", "tests/requirements.lock"):
        (home / lock).write_text(f"six==1.17.0 --hash=sha256:{'0' * 64}\n")
    for tool in TOOLS.split():
        found = shutil.which(tool)
        assert found, f"{tool} is needed to test kiosk/prepare"
        (programs / tool).symlink_to(found)
    made = Machine(home, programs)
    made.program("apt-get", "echo apt-get $* >> apt-calls; exit 100")
    made.program("dpkg-query", 'for name in "${@:4}"; do echo "installed $name"; done')
    made.program("python3", f'exec {sys.executable} "$@"')
    return made


def refusal(done: subprocess.CompletedProcess[str]) -> str:
    assert done.returncode == 2, done.stderr
    assert done.stdout == ""
    return done.stderr


def test_the_checkout_that_runs_the_tests_is_prepared_and_a_second_run_has_nothing_to_say() -> None:
    first = subprocess.run([ROOT / "kiosk/prepare", "--tests"], capture_output=True, text=True, timeout=600)
    assert first.returncode == 0, first.stderr
    stamps = {path: path.stat().st_mtime_ns for path in (ROOT / ".venv").glob("prepared-*")}
    assert stamps
    for arguments in ((), ("--tests",)):
        again = subprocess.run([ROOT / "kiosk/prepare", *arguments], capture_output=True, text=True, timeout=60)
        assert (again.returncode, again.stdout, again.stderr) == (0, "", "")
    assert {path: path.stat().st_mtime_ns for path in (ROOT / ".venv").glob("prepared-*")} == stamps


def test_without_root_or_sudo_it_says_what_someone_else_must_install(machine: Machine) -> None:
    machine.program("dpkg-query", "")
    machine.program("id", "[[ $1 == -un ]] && echo setter || echo 1000")
    said = refusal(machine.prepare())
    assert "neither root nor sudo" in said
    assert "apt-get install" in said
    assert "libzbar0" in said
    assert not (machine.home / "apt-calls").exists()


def test_only_the_packages_that_are_missing_are_asked_of_apt(machine: Machine) -> None:
    machine.program(
        "dpkg-query",
        'for name in "${@:4}"; do case $name in libgl1 | libgl1t64 | libmtdev1 | xvfb | xvfbt64) ;; '
        '*) echo "installed $name" ;; esac; done',
    )
    refusal(machine.prepare("--tests"))
    calls = (machine.home / "apt-calls").read_text().splitlines()
    assert calls[0] == "apt-get update"
    # libmtdev1 is there under the name it has with 64-bit time
    assert calls[1].split()[-2:] == ["libgl1", "xvfb"]
    assert "libmtdev1" not in calls[1]


def test_a_package_server_out_of_reach_is_told_from_other_trouble(machine: Machine) -> None:
    machine.program("dpkg-query", "")
    machine.program("apt-get", "echo \"E: Failed to fetch: Temporary failure resolving 'deb.example'\"; exit 100")
    said = refusal(machine.prepare())
    assert "cannot be reached" in said
    assert "Connect this machine" in said


def test_a_library_server_out_of_reach_leaves_an_environment_that_the_next_run_goes_on_with(machine: Machine) -> None:
    said = refusal(machine.prepare())
    assert "the package servers cannot be reached" in said
    assert "making .venv" in said
    again = refusal(machine.prepare())
    assert "making .venv" not in again


def test_a_download_that_is_not_the_pinned_file_is_refused(machine: Machine) -> None:
    machine.program(
        "python3",
        'if [[ $* == *" venv "* ]]; then mkdir -p .venv/bin && cp "$0" .venv/bin/python; exit; fi\n'
        'if [[ $* == *"pip --version"* || $* == *ensurepip* ]]; then exit 0; fi\n'
        '[[ $1 == -V ]] && echo Python 3.11.2 && exit\n'
        'echo "ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE."; exit 1',
    )  # fmt: skip
    assert "is not the one that kiosk/requirements.lock pins" in refusal(machine.prepare())


def test_a_python_that_is_too_old_is_named_with_the_way_out(machine: Machine) -> None:
    machine.program("python3", "[[ $1 == -V ]] && echo Python 3.9.2; exit 1")
    said = refusal(machine.prepare())
    assert "3.11, 3.12 or 3.13" in said
    assert "Python 3.9.2" in said
    assert not (machine.home / ".venv").exists()


def test_too_little_room_on_the_disk_is_said_before_anything_is_fetched(machine: Machine) -> None:
    machine.program("df", "echo head; echo '/dev/x 1000 800 200000 80% /'")
    said = refusal(machine.prepare())
    assert "Only 200 MB are free" in said
    assert "need about 1 GB" in said
    assert not (machine.home / ".venv").exists()


def test_a_full_disk_in_the_middle_is_named(machine: Machine) -> None:
    machine.program("dpkg-query", "")
    machine.program("apt-get", "echo 'dpkg: error: failed to write: No space left on device'; exit 1")
    assert "the disk is full" in refusal(machine.prepare())


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can act as another user")
def test_a_checkout_of_another_user_is_not_written_to(machine: Machine) -> None:
    for folder in (machine.home, *machine.home.parents):
        if folder.is_relative_to(Path("/tmp")) and folder != Path("/tmp"):
            folder.chmod(0o755)
    done = subprocess.run(
        [machine.home / "kiosk/prepare"],
        env={"PATH": str(machine.programs), "TMPDIR": "/tmp"}, capture_output=True, text=True, timeout=60, user=65534,
    )  # fmt: skip
    said = refusal(done)
    assert "cannot be written by" in said
    assert "Run it as its owner, root" in said


def test_an_unknown_option_is_refused(machine: Machine) -> None:
    assert "'--test'" in refusal(machine.prepare("--test"))
