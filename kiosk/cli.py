"""The command line: each command is a thin call into a room.

Only `open` imports the window.  Exit codes: 0 done, 1 refused or found wanting, 2 wrong use or a thing that
cannot be used; errors go to stderr and name file, line and field.  `--json` output is a contract (README).
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import asdict, is_dataclass, replace
from pathlib import Path
from typing import Any

import platformdirs

from kiosk import __version__, where, words
from kiosk.desk import Desk
from kiosk.desk.session import NotThere
from kiosk.exchange.shop import ShopFault, read_shop
from kiosk.labels.content import LabelContent
from kiosk.ledger.book import LedgerFault
from kiosk.ledger.derive import Broken
from kiosk.ledger.lock import InUse
from kiosk.ledger.upgrade import NewerLedger
from kiosk.reader.files import PictureError
from kiosk.rules.cards import HolderCard
from kiosk.rules.codes import Code
from kiosk.rules.cooling import CoolingError
from kiosk.rules.outline import OutlineError
from kiosk.settings import SettingsFault

DONE, WANTING, WRONG = 0, 1, 2
FAULTS = (
    LedgerFault,
    InUse,
    NewerLedger,
    SettingsFault,
    ShopFault,
    PictureError,
    NotThere,
    Broken,
    OSError,
)


def default_folder() -> Path:
    """Where this machine keeps its ledger when --data is not given."""
    return Path(platformdirs.user_data_dir("holder-kiosk", appauthor=False))


def main(argv: Sequence[str] | None = None) -> int:
    """Runs one command; the value is the exit code."""
    given = list(argv if argv is not None else sys.argv[1:])
    if not given or (given[0].startswith("-") and given[0] not in ("-h", "--help", "--version")):
        given.insert(0, "open")  # the default command
    arguments = _parser().parse_args(given)
    run: Callable[[argparse.Namespace], int] = arguments.run
    try:
        return run(arguments)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except FAULTS as fault:
        print(f"holder-kiosk: {fault}", file=sys.stderr)
        return WRONG
    except KeyboardInterrupt:
        return WRONG


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="holder-kiosk",
        description="Where each cutter holder is, whether it is still hot, and where it may go next. "
        "An aid, not a safety device.",
    )
    parser.add_argument("--version", action="version", version=__version__)
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")

    def command(name: str, run: Callable[[argparse.Namespace], int], tells: str) -> argparse.ArgumentParser:
        sub = commands.add_parser(name, help=tells, description=tells)
        sub.set_defaults(run=run)
        sub.add_argument("--data", type=Path, default=None, help="folder of the ledger and settings")
        return sub

    opened = command("open", _open, "the window (the default)")
    opened.add_argument("--demo", action="store_true", help="the demo shop, in a folder of its own")
    opened.add_argument("--camera", metavar="N|FILE|FOLDER", help="camera number, video, picture or folder")
    opened.add_argument("--at", metavar="PLACE", help="the place this kiosk stands at: one scan moves a holder")
    opened.add_argument("--size", metavar="WxH", help="window size, e.g. 800x480")

    rehearse = command("rehearse", _rehearse, "feed pictures in name order as if scanned, print each outcome")
    rehearse.add_argument("folder", type=Path)
    rehearse.add_argument("--json", action="store_true")

    read = command("read", _read, "codes in pictures, videos or folders")
    read.add_argument("files", nargs="+", type=Path, metavar="FILE")
    read.add_argument("--budget-ms", type=float, default=400.0)
    read.add_argument("--json", action="store_true")

    cooling = command("cooling", _cooling, "a case file: when it is safe to touch and ready to measure")
    cooling.add_argument("case", type=Path)
    cooling.add_argument("--json", action="store_true")

    label = command("label", _label, "labels to PDF, PNG or a print queue")
    label.add_argument("codes", nargs="*", metavar="CODE")
    label.add_argument("--all", dest="kind", choices=("holders", "places", "badges", "commands"))
    label.add_argument("--inside", metavar="PLACE", help="a place and everything in it: a cabinet, a machine")
    label.add_argument("--from-csv", type=Path, metavar="FILE")
    label.add_argument("--hot-tag", action="store_true", help="hot tags of the holders named")
    label.add_argument("--size", help="e.g. 25x25, 12x12, tape9 (default: the kiosk's setting)")
    label.add_argument("--dpi", type=int)
    label.add_argument("--sheet", choices=("A4", "Letter"))
    label.add_argument("--start", type=int, default=1, help="first free label of a half-used sheet")
    label.add_argument("--first", type=int, default=1, help="go on with this label of the batch after a jam")
    label.add_argument("--wrap-mm", type=float, metavar="D", help="diameter it will be wrapped round")
    goes = label.add_mutually_exclusive_group()
    goes.add_argument("--out", type=Path, metavar="FILE.pdf|FILE.png")
    goes.add_argument("--queue", metavar="NAME")

    hot = command("hot", _hot, "what is hot and until when")
    hot.add_argument("--json", action="store_true")

    check = command("check", _check, "verify the whole ledger and say what is wrong")
    check.add_argument("--json", action="store_true")
    return parser


def _folder(arguments: argparse.Namespace) -> Path:
    return arguments.data or default_folder()


def _print_json(value: Any) -> None:
    print(json.dumps(value, ensure_ascii=False, default=_plain))


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    if isinstance(value, frozenset | set):
        return sorted(value, key=str)
    return getattr(value, "value", None) or str(value)


def _open(arguments: argparse.Namespace) -> int:
    if not _has_display():
        print("There is no display here, so the kiosk rehearses the demo shift from photographs instead.\n")
        shift = argparse.Namespace(folder=where.demo_tags() / "shift", data=None, json=False)
        return _rehearse(shift)
    from kiosk.screens.app import Options, run

    size = None
    if arguments.size:
        try:
            width, height = arguments.size.lower().split("x")
            size = (int(width), int(height))
        except ValueError:
            print(f"holder-kiosk: --size: {arguments.size!r} is not WIDTHxHEIGHT, e.g. 800x480", file=sys.stderr)
            return WRONG
    folder = arguments.data or (default_folder() / "demo" if arguments.demo else default_folder())
    code: int = run(Options(folder, arguments.demo, arguments.camera, arguments.at, size))
    return code


def _has_display() -> bool:
    if sys.platform != "linux":
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def _rehearse(arguments: argparse.Namespace) -> int:
    from kiosk.rehearsal import StepFault, clock_for_now, play, steps_in

    steps = steps_in(arguments.folder)
    clock = clock_for_now()
    with tempfile.TemporaryDirectory() as scratch:
        folder = arguments.data or Path(scratch)
        with Desk.open(folder, counter=clock.counter, wall=clock.wall) as desk:
            shop = arguments.folder.resolve().parent
            if desk.shop.empty and (shop / "shop.toml").exists():
                desk.shop.load(read_shop(shop))
            try:
                for played in play(desk, clock, steps):
                    said = [words.say(message) for message in played.says]
                    if arguments.json:
                        _print_json(
                            {
                                "step": played.step,
                                "read": played.read,
                                "outcome": played.outcome,
                                "reason": played.reason,
                                "message": played.says[0].key,
                                "says": said,
                                "holder": played.holder.code if played.holder else None,
                                "place": _place(played.holder),
                                "hot": played.hot,
                                "lines": played.lines,
                            }
                        )
                    else:
                        name = f"{played.holder.name}: " if played.holder else ""
                        print(f"{played.step:28} {played.outcome.upper():8} {name}{'. '.join(said)}")
            except StepFault as fault:
                print(f"holder-kiosk: {fault}", file=sys.stderr)
                return WRONG
            if not arguments.json:
                _print_screens(desk)
            return WANTING if desk.session.book.check() else DONE


def _place(holder: HolderCard | None) -> str | None:
    return holder.place.name if holder and holder.place else None


def _print_screens(desk: Desk) -> None:
    """What the screens would show now."""
    board = desk.heat.board()
    print(f"\nHot strip:  {len(board)} hot" if board else "\nHot strip:  nothing hot here")
    for card in board:
        print(f"  {_hot_line(card)}")


def _hot_line(card: HolderCard) -> str:
    hold = card.hold
    assert hold is not None  # the board holds only such
    left = words.clock(hold.remaining_s) if hold.remaining_s is not None else "only a reading ends it"
    place = _place(card) or "nowhere known"
    return f"{card.name} ({card.code})  {place}  about {hold.hottest_c:.0f} °C  safe in {left}"


def _read(arguments: argparse.Namespace) -> int:
    from kiosk.reader import files
    from kiosk.reader.decode import read

    wanting = False
    for given in arguments.files:
        for path in files.pictures_in(given) if given.is_dir() else [given]:
            try:
                reading = read(files.load(path), arguments.budget_ms)
            except PictureError as error:
                print(f"holder-kiosk: {error}", file=sys.stderr)
                wanting = True
                continue
            if arguments.json:
                print(files.line(path, reading), flush=True)
                continue
            for symbol in reading.symbols:
                print(f"{path}: {words.grouped(symbol.text)} ({symbol.format})")
            if not reading.symbols:
                print(f"{path}: no code read, {len(reading.unread)} seen")
    return WRONG if wanting else DONE


def _cooling(arguments: argparse.Namespace) -> int:
    from kiosk.rules.cooling_case import Case, case_report

    try:
        data = json.loads(arguments.case.read_text("utf-8"))
        case = Case.from_json(data.get("case", data) if isinstance(data, dict) else data)
    except json.JSONDecodeError as error:
        print(f"holder-kiosk: {arguments.case}: line {error.lineno}: {error.msg}", file=sys.stderr)
        return WRONG
    except (CoolingError, OutlineError) as error:
        print(f"holder-kiosk: {arguments.case}: {error}", file=sys.stderr)
        return WRONG
    report = case_report(case)
    if arguments.json:
        _print_json(report)
        return DONE
    hold = words.clock(report.hold_s) if report.hold_s is not None else "only a reading ends it"
    print(f"safe to touch after  {words.clock(report.touch_safe_s)}  (as given)")
    print(f"hold                 {hold}  (99 % with what is not known)")
    print(f"ready to measure     {words.clock(report.measure_ready_s)}")
    print(f"mass                 {report.mass_kg:.2f} kg")
    return DONE


def _label(arguments: argparse.Namespace) -> int:
    from kiosk.labels.command import SheetWish
    from kiosk.labels.faults import LabelError
    from kiosk.labels.lists import read_list

    def progress(done: int, total: int) -> None:
        if sys.stderr.isatty():
            print(f"\r{done} of {total} labels", end="" if done < total else "\n", file=sys.stderr, flush=True)

    with Desk.open(_folder(arguments), read_only=True) as desk:
        labels = desk.labels

        def known(code: Code) -> LabelContent | None:
            try:
                return labels.content(code.text)
            except NotThere:
                return None

        try:
            contents = [labels.content(code) for code in arguments.codes]
            if arguments.hot_tag:
                subjects = [desk.session.cards.subject(code) for code in arguments.codes]
                contents = [labels.hot_tag(card.holder.key) for card in subjects if isinstance(card, HolderCard)]
            if arguments.kind:
                contents += labels.all_of(arguments.kind)
            if arguments.inside:
                place = desk.session.cards.find_place(arguments.inside)
                if place is None:
                    raise NotThere("place", arguments.inside)
                contents += labels.inside(place)
            if arguments.from_csv:
                contents += read_list(arguments.from_csv, known)
            request = labels.request(
                contents,
                size=arguments.size,
                dpi=arguments.dpi,
                out=arguments.out,
                queue=arguments.queue,
                wrap_mm=arguments.wrap_mm,
                first=arguments.first,
            )
            if arguments.sheet:
                request = replace(request, sheet=SheetWish(arguments.sheet, arguments.start))
            made = labels.make(request, progress=progress)
        except LabelError as fault:
            print(f"holder-kiosk: {fault}", file=sys.stderr)
            return WRONG
    if made.advice and not made.advice.ok:
        print(f"holder-kiosk: {made.advice}", file=sys.stderr)
    where_to = f"job {made.job.number} on {made.job.queue}" if made.job else ", ".join(map(str, made.files))
    print(f"{made.labels} labels: {where_to}")
    return DONE


def _hot(arguments: argparse.Namespace) -> int:
    with Desk.open(_folder(arguments), read_only=True) as desk:
        for card in desk.heat.board():
            if arguments.json:
                _print_json({"code": card.code, "name": card.name, "place": _place(card), "hold": card.hold})
            else:
                print(_hot_line(card))
    return DONE


def _check(arguments: argparse.Namespace) -> int:
    def progress(done: int, total: int) -> None:
        if sys.stderr.isatty():
            print(f"\r{done} of {total} lines", end="", file=sys.stderr, flush=True)

    with Desk.open(_folder(arguments), read_only=True) as desk:
        found = desk.session.book.check(progress)
        total = desk.session.book.last_id
    for wrong in found:
        if arguments.json:
            _print_json(wrong)
        else:
            print(f"{wrong.where}: {wrong.what}")
    if not found and not arguments.json:
        print(f"{total} lines and every table agree")
    return WANTING if found else DONE
