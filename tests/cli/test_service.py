"""The kiosk as a service: what is put in place, what is left when it is taken away, and what the manager is told."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from kiosk import cli
from kiosk.commands import service
from kiosk.sd_notify import ServiceManager

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="services are systemd's")
AWKWARD = 'Mill "1" 100 % $HOME \\ ä'


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A home with nothing in it, and a login without a service manager."""
    home = tmp_path / "home"
    home.mkdir()
    monkeypatch.setenv("HOME", str(home))
    for name in ("XDG_CONFIG_HOME", "SUDO_USER"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(service, "_systemctl", lambda *words: False)
    return home


def in_folder(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if not path.is_dir())


def unit(home: Path) -> Path:
    return home / ".config/systemd/user/holder-kiosk.service"


def test_what_is_put_in_place_is_the_unit_its_link_and_the_autostart(home: Path) -> None:
    assert cli.main(["install-service"]) == 0
    assert in_folder(home) == [
        ".config/autostart/holder-kiosk.desktop",
        ".config/systemd/user/graphical-session.target.wants/holder-kiosk.service",
        ".config/systemd/user/holder-kiosk.service",
    ]
    link = unit(home).parent / "graphical-session.target.wants" / unit(home).name
    assert link.resolve() == unit(home).resolve()
    said = unit(home).read_text("utf-8")
    for line in ("Type=notify", "Restart=on-failure", "WatchdogSec=30", "StartLimitBurst=10", "NotifyAccess=main"):
        assert line in said.splitlines(), line


def test_installing_again_changes_nothing_and_another_place_is_taken_over(home: Path) -> None:
    cli.main(["install-service", "--at", "Bench 1"])
    before = {name: (home / name).read_bytes() for name in in_folder(home)}
    assert cli.main(["install-service", "--at", "Bench 1"]) == 0
    assert {name: (home / name).read_bytes() for name in in_folder(home)} == before
    cli.main(["install-service", "--at", "Bench 2"])
    assert '"--at=Bench 2"' in unit(home).read_text("utf-8") and "Bench 1" not in unit(home).read_text("utf-8")
    assert in_folder(home) == sorted(before)


def test_what_is_taken_away_leaves_nothing_but_what_was_there(home: Path) -> None:
    cli.main(["install-service"])
    assert cli.main(["uninstall-service"]) == 0
    assert list(home.iterdir()) == []
    assert cli.main(["uninstall-service"]) == 0  # there is none
    kept = home / ".config/autostart/other.desktop"
    kept.parent.mkdir(parents=True)
    kept.write_text("[Desktop Entry]\n")
    cli.main(["install-service"])
    cli.main(["uninstall-service"])
    assert in_folder(home) == [".config/autostart/other.desktop"]


def test_a_name_a_unit_cannot_say_is_refused_and_nothing_is_written(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["install-service", "--at", "Bench\nExecStartPre=/bin/false"]) == 2
    assert "Bench" in capsys.readouterr().err and in_folder(home) == []


def test_root_for_somebody_else_is_refused(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    monkeypatch.setenv("SUDO_USER", "setter")
    assert cli.main(["install-service"]) == 2 and in_folder(home) == []


def test_signs_a_unit_would_take_for_its_own_are_said_as_themselves(home: Path) -> None:
    cli.main(["install-service", "--at", AWKWARD])
    assert r'"--at=Mill \"1\" 100 %% $HOME \\ ä"' in unit(home).read_text("utf-8")


def test_systemd_itself_finds_nothing_wrong_with_the_unit(home: Path) -> None:
    if shutil.which("systemd-analyze") is None:
        pytest.skip("systemd-analyze is not installed here")
    cli.main(["install-service", "--data", str(home / AWKWARD), "--at", AWKWARD])
    runtime = home / "run"
    runtime.mkdir(mode=0o700)
    done = subprocess.run(
        ["systemd-analyze", "verify", "--user", "--man=no", str(unit(home))],
        capture_output=True,
        text=True,
        timeout=60,
        env=os.environ | {"HOME": str(home), "XDG_RUNTIME_DIR": str(runtime)},
        check=False,
    )
    assert (done.returncode, [line for line in done.stderr.splitlines() if "holder-kiosk" in line]) == (0, [])


def test_without_a_display_the_service_says_so_and_fails_and_rehearses_nothing(tmp_path: Path) -> None:
    for display in ({}, {"DISPLAY": ":987"}, {"WAYLAND_DISPLAY": "wayland-987"}):
        environment = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")} | display
        done = subprocess.run(
            [sys.executable, "-m", "kiosk", "open", "--service", "--data", str(tmp_path / "data")],
            capture_output=True,
            text=True,
            timeout=120,
            env=environment,
            check=False,
        )
        assert done.returncode == 2, display
        (sentence,) = done.stderr.splitlines()
        assert "display" in sentence and "log in" in sentence and done.stdout == ""
    assert not (tmp_path / "data").exists()


# ---------------------------------------------------------------------------------------------------------------------


def test_the_manager_hears_what_is_said_on_either_kind_of_socket(tmp_path: Path) -> None:
    for address in (str(tmp_path / "notify"), f"@kiosk-test-{os.getpid()}"):
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ear:
            ear.bind(f"\0{address[1:]}" if address.startswith("@") else address)
            ear.settimeout(5)
            environment = {"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "30000000", "PATH": "/bin"}
            manager = ServiceManager.of(environment)
            assert environment == {"PATH": "/bin"}  # what the kiosk starts does not speak for it
            manager.hand_on(environment)  # but what takes its place does, or the manager would end it for its silence
            assert environment == {"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "30000000", "PATH": "/bin"}
            manager.ready()
            manager.alive()
            manager.stopping()
            assert [ear.recv(100) for _ in range(3)] == [b"READY=1", b"WATCHDOG=1", b"STOPPING=1"]


@pytest.mark.parametrize(
    ("environment", "pulse_s"),
    [
        ({"NOTIFY_SOCKET": "/run/x", "WATCHDOG_USEC": "30000000"}, 10.0),
        ({"NOTIFY_SOCKET": "/run/x", "WATCHDOG_USEC": "30000000", "WATCHDOG_PID": str(os.getpid())}, 10.0),
        ({"NOTIFY_SOCKET": "/run/x", "WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "1"}, None),
        ({"NOTIFY_SOCKET": "/run/x"}, None),
        ({"NOTIFY_SOCKET": "/run/x", "WATCHDOG_USEC": "0"}, None),
        ({"NOTIFY_SOCKET": "/run/x", "WATCHDOG_USEC": "soon"}, None),
        ({"NOTIFY_SOCKET": "vsock:2:1", "WATCHDOG_USEC": "30000000"}, None),
        ({"WATCHDOG_USEC": "30000000"}, None),
        ({}, None),
    ],
)
def test_alive_is_said_well_within_half_the_watchdogs_period_where_this_process_is_watched(
    environment: dict[str, str], pulse_s: float | None
) -> None:
    assert ServiceManager.of(environment).pulse_s == pulse_s


def test_a_manager_that_is_gone_or_does_not_listen_stops_nothing(tmp_path: Path) -> None:
    ServiceManager().alive()
    ServiceManager(str(tmp_path / "nowhere")).alive()
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as deaf:
        deaf.bind(str(tmp_path / "deaf"))
        manager = ServiceManager(str(tmp_path / "deaf"))
        for _ in range(2000):  # more than any queue of datagrams holds
            manager.alive()
