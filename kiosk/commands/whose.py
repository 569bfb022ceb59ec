"""Whose work a command is: a badge where the shop asks for one, a supervisor's PIN where a correction takes it.

A PIN is asked for without showing it, or read from a file; it never stands in a command's own words, which a shell
keeps and every program of the machine can read.
"""

from __future__ import annotations

import argparse
import getpass
import sys
from pathlib import Path

from kiosk import filing
from kiosk.desk import Desk
from kiosk.desk.session import NotThere
from kiosk.rules import tries
from kiosk.rules.cards import OperatorCard

_LONGEST_PIN = 100


def at_work(desk: Desk, arguments: argparse.Namespace) -> None:
    """Signs in and unlocks as the arguments say.  Raises NotThere, PinRefused, OSError."""
    if arguments.badge:
        card = desk.session.cards.subject(arguments.badge)
        if not isinstance(card, OperatorCard) or card.retired:
            raise NotThere("badge in use", arguments.badge)
        desk.scan(arguments.badge)
    if getattr(arguments, "supervisor", None):
        desk.people.unlock(_key(desk, arguments.supervisor), _pin(arguments.pin_file))


def _key(desk: Desk, said: str) -> str:
    """The person somebody means by a name or a key."""
    wanted = said.strip().casefold()
    for card in desk.people.operators():
        if not card.retired and wanted in (card.key.casefold(), card.name.casefold()):
            return card.key
    raise NotThere("supervisor", said)


def supervisor_named(desk: Desk, said: str) -> str:
    """The key of a supervisor by name or key.  Raises NotThere."""
    key = _key(desk, said)
    if not any(card.key == key and card.role == "supervisor" for card in desk.people.operators()):
        raise NotThere("supervisor", said)
    return key


def new_pin(file: str | None) -> str | None:
    """A PIN that is chosen: asked for twice without showing it, or from a file.  None: too short, or not the same."""
    first = _pin(file, "New PIN: ")
    again = first if file is not None else _pin(None, "Once more: ")
    return first if first == again and tries.may_be_pin(first) else None


def _pin(file: str | None, asks: str = "PIN: ") -> str:
    if file is None:
        try:
            return getpass.getpass(asks)
        except EOFError:  # nobody is there to type one
            return ""
    text = sys.stdin.readline(_LONGEST_PIN) if file == "-" else filing.take_text(Path(file))[:_LONGEST_PIN]
    return text.strip()
