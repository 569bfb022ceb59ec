"""`update`: a newer version of the kiosk from a file, while the kiosk runs (`kiosk/desk/updating.py`)."""

from __future__ import annotations

import argparse

from kiosk import __version__, words
from kiosk.commands.output import DONE, WANTING, complain, data_folder
from kiosk.screens import display


def update(arguments: argparse.Namespace) -> int:
    """Checks, builds, proves and only then means the newer version; says what the next start does."""
    from kiosk.desk.updating import UpdateRefused, update

    windowed = _seen()
    try:
        name = update(arguments.wheel, data_folder(arguments), windowed=windowed)
    except UpdateRefused as refused:
        complain(f"{words.say(refused.why)}  The kiosk stays as it is, version {__version__}.")
        return WANTING
    untried = "" if windowed else "; its window could not be tried, because there is no display here"
    print(f"Version {name} is in place{untried}")
    print("It opens at the next start of the kiosk; should it not get that far, this version comes back by itself")
    return DONE


def _seen() -> bool:
    """Whether a window can be opened from here."""
    try:
        display.demand()
    except display.NoDisplay:
        return False
    return True
