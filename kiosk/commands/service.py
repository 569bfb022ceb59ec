"""The kiosk as a service of whoever is logged in at the tablet: a systemd user unit, put in place and taken away.

Two files and a link: the unit (systemd.service(5)), what `systemctl --user enable` would link, and an entry of the
desktop's autostart, because not every desktop of Debian and Raspberry Pi OS reaches graphical-session.target.  Nothing
outside the home is touched and no root is needed.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

import platformdirs

from kiosk import filing
from kiosk.commands.output import DONE, complain

UNIT = "holder-kiosk.service"
SESSION = "graphical-session.target"
WATCHDOG_S = 30  # a window that says nothing for so long is started anew
STARTS, WITHIN_S = 10, 600  # more in less time are given up: what fails so often needs a person

_UNIT_LINES = (
    "# Written by `install-service`, which writes it anew; `uninstall-service` removes it.",
    "[Unit]",
    "Description=Holder Kiosk",
    f"PartOf={SESSION}",
    f"After={SESSION}",
    f"StartLimitIntervalSec={WITHIN_S}",
    f"StartLimitBurst={STARTS}",
    "",
    "[Service]",
    "Type=notify",
    "NotifyAccess=main",
    f"WatchdogSec={WATCHDOG_S}",
    "Restart=on-failure",
    "RestartSec=3",
    "TimeoutStartSec=300",
    "TimeoutStopSec=20",
    "LimitCORE=0",
    "ExecStart=:{command}",
    "",
    "[Install]",
    f"WantedBy={SESSION}",
    "",
)
# The desktop says by these where its screen is; a limit reached in an earlier session counts no more.
_AUTOSTART_LINES = (
    "[Desktop Entry]",
    "Type=Application",
    "Name=Holder Kiosk",
    "NoDisplay=true",
    'Exec=sh -c "systemctl --user import-environment DISPLAY WAYLAND_DISPLAY XAUTHORITY; '
    f'systemctl --user reset-failed {UNIT}; systemctl --user start --no-block {UNIT}"',
    "",
)


def install(arguments: argparse.Namespace) -> int:
    """Puts the service in place, over an older one too, and begins it where a desktop is there already."""
    if sys.platform != "linux":
        return complain("install-service: services are systemd's, and this is no Linux")
    if os.geteuid() == 0 and os.environ.get("SUDO_USER"):
        return complain("install-service: without sudo: the service is of the person who logs in at the tablet")
    command = _command(arguments)
    for part in command:
        if not part.isprintable():
            return complain(f"install-service: {part!a:.200}: a unit cannot say this name; give it a plainer one")
    unit = "\n".join(_UNIT_LINES).replace("{command}", " ".join(map(quoted, command)))
    for path, text in ((_unit(), unit), (_autostart(), "\n".join(_AUTOSTART_LINES))):
        path.parent.mkdir(parents=True, exist_ok=True)
        filing.write(path, text)
    link = _link()
    link.parent.mkdir(exist_ok=True)
    if not (link.is_symlink() and link.readlink() == _unit()):
        beside = link.with_name(f".{link.name}.part")
        beside.unlink(missing_ok=True)
        beside.symlink_to(_unit())
        beside.replace(link)
    print(f"{_unit()}\nThe kiosk opens whenever {_who()} logs in at the screen, and again when it fails.")
    if not _systemctl("daemon-reload"):
        print("The service manager of this login does not answer; at the next log in it knows the kiosk.")
    return DONE


def uninstall(_: argparse.Namespace) -> int:
    """Stops the service and removes all of it; harmless when there is none."""
    _systemctl("stop", UNIT)
    for path in (_link(), _autostart(), _unit()):
        path.unlink(missing_ok=True)
        _sweep(path.parent)
    _systemctl("daemon-reload")
    _systemctl("reset-failed", UNIT)
    print("The kiosk is no service any more; its data stays.")
    return DONE


def quoted(part: str) -> str:
    """One word of a command as a unit says it, systemd.service(5): its own signs mean themselves."""
    return '"' + part.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%") + '"'


def _command(arguments: argparse.Namespace) -> list[str]:
    """What the service runs: this very Python, and the window as the arguments say.

    -P: a folder `kiosk` in the home, where a service begins, is not taken for the program.
    """
    command = [sys.executable, "-P", "-m", "kiosk", "open", "--service"]
    if arguments.demo:
        command.append("--demo")
    if arguments.data is not None:
        command.append(f"--data={arguments.data.absolute()}")
    if arguments.camera is not None:
        path = Path(arguments.camera)
        command.append(f"--camera={path.absolute() if path.exists() else arguments.camera}")
    if arguments.at is not None:
        command.append(f"--at={arguments.at}")
    return command


def _home() -> Path:
    return platformdirs.user_config_path()


def _unit() -> Path:
    return _home() / "systemd" / "user" / UNIT


def _link() -> Path:
    return _unit().parent / f"{SESSION}.wants" / UNIT


def _autostart() -> Path:
    return _home() / "autostart" / "holder-kiosk.desktop"


def _who() -> str:
    return os.environ.get("USER") or os.environ.get("LOGNAME") or "this person"


def _sweep(folder: Path) -> None:
    """Removes folders nothing lies in, up to the home's own."""
    with suppress(OSError):
        while folder.is_relative_to(_home()):
            folder.rmdir()
            folder = folder.parent


def _systemctl(*words: str) -> bool:
    """Asks the service manager of this login; False: there is none."""
    try:
        done = subprocess.run(
            ["systemctl", "--user", "--quiet", *words], capture_output=True, timeout=60, check=False
        )
    except (OSError, subprocess.TimeoutExpired):
        return False
    return done.returncode == 0
