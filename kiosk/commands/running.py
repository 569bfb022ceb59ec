"""Commands that run the kiosk: the window, and a shift rehearsed from a folder."""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from kiosk import where, words
from kiosk.commands.output import DONE, WANTING, complain, default_folder, hot_line, place_of, print_json

if TYPE_CHECKING:  # the window is there before the desk is loaded
    from kiosk.desk import Desk


def open_window(arguments: argparse.Namespace) -> int:
    if not _has_display():
        if arguments.service:
            from kiosk.screens.display import NoDisplay

            return complain(NoDisplay(""))
        print("There is no display here, so the kiosk rehearses the demo shift from photographs instead.\n")
        shift = argparse.Namespace(folder=where.demo_tags() / "shift", data=None, json=False)
        return rehearse(shift)
    from kiosk.rehearsal import is_shift
    from kiosk.screens.app import run
    from kiosk.screens.options import Options

    shown = arguments.demo and arguments.camera and not arguments.service and is_shift(Path(arguments.camera))
    if shown:
        return _show_shift(arguments)
    folder = arguments.data or (default_folder() / "demo" if arguments.demo else default_folder())
    options = Options(
        folder, arguments.demo, arguments.camera, arguments.at, arguments.size, service=arguments.service,
        own=arguments.own, phones=arguments.phones, prove=arguments.prove,
    )  # fmt: skip
    code: int = run(options)
    return code


def _show_shift(arguments: argparse.Namespace) -> int:
    """A shift is shown from its beginning, in a ledger of its own that pretends time."""
    from kiosk.rehearsal import NotARehearsal, check_rehearsed
    from kiosk.screens.app import run
    from kiosk.screens.options import Options

    with tempfile.TemporaryDirectory() as scratch:
        folder = arguments.data or Path(scratch)
        try:
            check_rehearsed(folder)
        except NotARehearsal as refused:
            return complain(refused)
        code: int = run(Options(folder, True, arguments.camera, arguments.at, arguments.size, shift=True))
        return code


def _has_display() -> bool:
    if sys.platform != "linux":
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def rehearse(arguments: argparse.Namespace) -> int:
    from kiosk.exchange.shop import read_shop
    from kiosk.rehearsal import NotARehearsal, StepFault, clock_for_now, open_desk, play, steps_in

    steps = steps_in(arguments.folder)
    clock = clock_for_now()
    with tempfile.TemporaryDirectory() as scratch:
        try:
            opened = open_desk(arguments.data or Path(scratch), clock)
        except NotARehearsal as refused:
            return complain(refused)
        with opened as desk:
            shop = arguments.folder.resolve().parent
            if desk.shop.empty and (shop / "shop.toml").exists():
                desk.shop.load(read_shop(shop))
            try:
                for played in play(desk, clock, steps):
                    said = [words.say(message) for message in played.says]
                    if arguments.json:
                        print_json(
                            {
                                "step": played.step,
                                "read": played.read,
                                "outcome": played.outcome,
                                "reason": played.reason,
                                "message": played.says[0].key,
                                "says": said,
                                "holder": played.holder.code if played.holder else None,
                                "place": place_of(played.holder),
                                "hot": played.hot,
                                "lines": played.lines,
                            }
                        )
                    else:
                        told = played.holder is None or any(played.holder.name in sentence for sentence in said)
                        name = "" if told or played.holder is None else f"{played.holder.name}: "
                        print(f"{played.step:28} {played.outcome.upper():8} {name}{'. '.join(said)}")
            except StepFault as fault:
                return complain(fault)
            if not arguments.json:
                _print_screens(desk)
            return WANTING if desk.session.book.check() else DONE


def _print_screens(desk: Desk) -> None:
    """What the screens would show now."""
    board = desk.heat.board()
    print(f"\nHot strip:  {len(board)} hot" if board else "\nHot strip:  nothing hot here")
    for card in board:
        print(f"  {hot_line(card)}")
