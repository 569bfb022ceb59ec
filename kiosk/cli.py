"""The command line: every command and what may be said with it; what each does is a thin call in `commands`.

Only `open` imports the window, and each command only what it needs.  Exit codes: 0 done, 1 refused or found
wanting, 2 wrong use or a thing that cannot be used; errors go to stderr and name file, line and field.  `--json`
output is a contract (README).
"""

from __future__ import annotations

import argparse
import io
import os
import sys
from collections.abc import Callable, Sequence
from importlib import import_module
from pathlib import Path

from kiosk import __version__, installed
from kiosk.bench import BENCHES
from kiosk.commands import DONE, WRONG
from kiosk.commands.arguments import (
    LARGEST,
    Parser,
    WrongArgument,
    asks_badge,
    asks_pin,
    figure,
    measure,
    whole,
    window_size,
)


def main(argv: Sequence[str] | None = None) -> int:
    """Runs one command; the value is the exit code."""
    given = list(argv if argv is not None else sys.argv[1:])
    if not given or (given[0].startswith("-") and given[0] not in ("-h", "--help", "--version")):
        given.insert(0, "open")  # the default command
    try:
        if argv is None and installed.updated():  # first: a newer version may know words that this one does not
            installed.start(given, lambda: _opens_in(given))
        arguments = _parser().parse_checked(given)
    except WrongArgument as wrong:
        from kiosk.commands.output import complain

        return complain(wrong)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal without some letter shows its number instead
            stream.reconfigure(errors="backslashreplace")
    try:
        return command_of(arguments.run)(arguments)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except KeyboardInterrupt:
        return WRONG
    except Exception as fault:
        from kiosk.commands.failing import told
        from kiosk.commands.output import default_folder

        return told(fault, getattr(arguments, "data", None) or default_folder())


def _opens_in(given: list[str]) -> Path:
    """The data folder of a window that is to be opened.  Raises WrongArgument."""
    from kiosk.commands.output import default_folder

    arguments = _parser().parse_checked(given)
    own: Path | None = arguments.data
    return own or (default_folder() / "demo" if arguments.demo else default_folder())


def command_of(run: str) -> Callable[[argparse.Namespace], int]:
    """The function in `kiosk.commands` that a command is, `asking.find`; what it needs is loaded only now."""
    module, _, name = run.partition(".")
    found: Callable[[argparse.Namespace], int] = getattr(import_module(f"kiosk.commands.{module}"), name)
    return found


def _parser() -> Parser:
    parser = Parser(
        prog="holder-kiosk",
        description="Where each cutter holder is, whether it is still hot, and where it may go next. "
        "An aid, not a safety device.",
    )
    parser.add_argument("--version", action="version", version=__version__)
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")

    def command(name: str, run: str, tells: str) -> argparse.ArgumentParser:
        sub = commands.add_parser(name, help=tells, description=tells)
        sub.set_defaults(run=run)
        return sub

    for add in (_running, _computing, _asking, _labelling, _correcting, _auditing, _files, _jobs, _sharing):
        add(command)
    return parser


Add = Callable[[str, str, str], argparse.ArgumentParser]


def _data(sub: argparse.ArgumentParser, *, json: bool = False) -> argparse.ArgumentParser:
    sub.add_argument("--data", type=Path, default=None, help="folder of the ledger and settings")
    if json:
        sub.add_argument("--json", action="store_true", help="one object a line")
    return sub


def _running(command: Add) -> None:
    opened = _data(command("open", "running.open_window", "the window (the default)"))
    opened.add_argument("--demo", action="store_true", help="the demo shop, in a folder of its own")
    opened.add_argument("--camera", metavar="N|FILE|FOLDER", help="camera number, video, picture or folder")
    opened.add_argument("--at", metavar="PLACE", help="the place this kiosk stands at: one scan moves a holder")
    opened.add_argument("--size", metavar="WxH", type=window_size, help="window size, e.g. 800x480")
    opened.add_argument("--phones", action="store_true", help="telephones on, whatever the settings say")
    opened.add_argument("--service", action="store_true", help="how install-service opens it: kept open and watched")
    opened.add_argument("--own", type=Path, metavar="DIR", help="of the demo shop: the folder its way back leads to")
    opened.add_argument("--prove", action="store_true", help="close again once window and book are there")
    update = _data(command("update", "updating.update", "a newer version, and back by itself where it does not open"))
    update.add_argument("wheel", type=Path, metavar="WHEEL", help="beside it lies the list of its libraries")
    again = "opens the kiosk at every log in, and again when it fails (systemd)"
    install = _data(command("install-service", "service.install", again))
    install.add_argument("--demo", action="store_true", help="the demo shop")
    install.add_argument("--camera", metavar="N|FILE|FOLDER", help="as for open")
    install.add_argument("--at", metavar="PLACE", help="as for open")
    command("uninstall-service", "service.uninstall", "removes all that install-service put in place")
    rehearse = _data(
        command("rehearse", "running.rehearse", "feed pictures in name order as if scanned, print each outcome"),
        json=True,
    )
    rehearse.add_argument("folder", type=Path)


def _computing(command: Add) -> None:
    read = command("read", "computing.read_files", "codes in pictures or folders")
    read.add_argument("files", nargs="+", type=Path, metavar="FILE")
    read.add_argument("--budget-ms", type=measure(1, 600_000), default=400.0)
    read.add_argument("--json", action="store_true", help="one object a line")
    cooling = command("cooling", "computing.cooling", "a case file: when it is safe to touch and ready to measure")
    cooling.add_argument("case", type=Path)
    cooling.add_argument("--json", action="store_true")
    bench = command("bench", "computing.bench", "ratios against other libraries")
    bench.add_argument("name", nargs="?", choices=BENCHES)
    bench.add_argument("--quick", action="store_true", help="smaller inputs")
    bench.add_argument("--photos", type=Path, metavar="DIR", help="photographs with truth.json, for the reader")
    bench.add_argument("--json", action="store_true", help="one object a line")


def _asking(command: Add) -> None:
    _data(command("hot", "asking.hot", "what is hot and until when"), json=True)
    find = _data(command("find", "asking.find", "where a thing is, soonest usable first"), json=True)
    find.add_argument("text", nargs="+", metavar="TEXT", help="e.g. 12 R0.5, or: free holder for a 12 mm shank")
    find.add_argument("--count", type=whole(1, 1_000_000), default=20)
    history = _data(command("history", "asking.history", "what happened to a holder, place or person"), json=True)
    history.add_argument("code", metavar="CODE", help="a label's text, or the name of a place or person")
    history.add_argument("--count", type=whole(1, 1_000_000), default=100)
    history.add_argument("--at", metavar="WHEN", help="where it was at a time, e.g. 2026-11-24T14:05")
    unread = "labels nobody could read, or that were refused: where their pictures lie"
    unread_given = _data(command("unread", "kept.unread", unread), json=True)
    unread_given.add_argument("--clear", action="store_true", help="remove them all")
    check = _data(command("check", "asking.check", "verify the whole ledger and say what is wrong"), json=True)
    check.add_argument(
        "--line", type=whole(1, LARGEST), metavar="N", help="instead: is this line the one a report or copy names"
    )
    check.add_argument("--hash", metavar="HASH", help="and the hash that stands there, twelve signs or more")


def _labelling(command: Add) -> None:
    label = _data(command("label", "labelling.label", "labels to PDF, PNG or a print queue"))
    label.add_argument("codes", nargs="*", metavar="CODE")
    label.add_argument("--all", dest="kind", choices=("holders", "places", "badges", "commands"))
    label.add_argument("--inside", metavar="PLACE", help="a place and everything in it: a cabinet, a machine")
    label.add_argument("--from-csv", type=Path, metavar="FILE")
    label.add_argument("--hot-tag", action="store_true", help="hot tags of the holders named")
    label.add_argument("--size", help="e.g. 25x25, 12x12, \"tape 9 mm\" (default: the kiosk's setting)")
    label.add_argument("--dpi", type=whole(1, 10_000))
    label.add_argument(
        "--module-dots", type=whole(1, 1000), metavar="N", help="no more printer dots a module than this"
    )
    label.add_argument("--wrap-mm", type=measure(1, 1000), metavar="D", help="diameter it will be wrapped round")
    label.add_argument(
        "--first", type=whole(1, 1_000_000), default=1, help="go on with this label of the batch after a jam"
    )
    label.add_argument("--copies", type=whole(1, 999), default=1)
    label.add_argument("--media", metavar="NAME", help="the queue's own name for the stock")
    label.add_argument("--sheet", choices=("A4", "Letter"))
    label.add_argument("--start", type=whole(1, 10_000), default=1, help="first free label of a half-used sheet")
    label.add_argument("--rows", type=whole(1, 1000))
    label.add_argument("--columns", type=whole(1, 1000))
    for name in ("left", "top", "gap"):
        label.add_argument(f"--{name}-mm", type=measure(0, 1000))
    goes = label.add_mutually_exclusive_group()
    goes.add_argument("--out", type=Path, metavar="FILE.pdf|FILE.png")
    goes.add_argument("--queue", metavar="NAME")


def _correcting(command: Add) -> None:
    correct = _data(command("correct", "correcting.correct", "set right what the book says of a holder"))
    correct.add_argument("code", metavar="CODE", help="its label, key or name")
    correct.add_argument("--bore", type=measure(0.1, 1000), metavar="MM", help="bore, or collet's largest")
    correct.add_argument("--nose", type=measure(0.1, 1000), metavar="MM", help="diameter at the nose")
    correct.add_argument("--reach", type=measure(0.1, 2000), metavar="MM", help="gauge line to nose")
    correct.add_argument("--name", metavar="TEXT", help="what the bare holder is called")
    goes = correct.add_mutually_exclusive_group()
    goes.add_argument("--place", metavar="PLACE", help="where it stands")
    goes.add_argument("--nowhere", action="store_true", help="nobody knows where it is")
    retire_label = "a holder's label is lost or spoilt: it is read no more"
    label = _data(command("retire-label", "correcting.retire_label", retire_label))
    label.add_argument("code", metavar="CODE", help="the label's text, or the holder's name")
    retire = _data(command("retire", "correcting.retire", "a holder is gone for good"))
    retire.add_argument("code", metavar="CODE", help="its label, key or name")
    for sub in (correct, label, retire):
        sub.add_argument("--reason", default="", help="why; it stays in the book")
        asks_pin(sub)
    pin = _data(command("pin", "correcting.pin", "a supervisor's PIN, the first or another"))
    pin.add_argument("name", metavar="NAME", help="the supervisor")
    pin.add_argument("--new-pin-file", metavar="FILE|-", help="read the new PIN from here; -: from standard input")
    asks_pin(pin)


def _auditing(command: Add) -> None:
    audit = _data(command("audit", "auditing.audit", "open, go on with, look at or close an audit"), json=True)
    audit.add_argument("place", nargs="?", metavar="PLACE", help="a cabinet, machine or bench; or: hot")
    audit.add_argument("pictures", nargs="*", type=Path, metavar="PICTURE", help="photographs of its drawers")
    asks_badge(audit)
    audit.add_argument("--close", action="store_true")
    report = _data(command("report", "auditing.report", "an audit or a shift as PDF or CSV, or printed"))
    report.add_argument("what", choices=("audit", "shift"))
    report.add_argument("key", nargs="?", help="an audit's key (default: the last one)")
    report.add_argument(
        "--hours", type=measure(0.1, 24 * 366), help="length of the shift that ends now (default: the setting shift_h)"
    )
    goes = report.add_mutually_exclusive_group(required=True)
    goes.add_argument("--out", type=Path, metavar="FILE.pdf|FILE.csv")
    goes.add_argument("--queue", metavar="NAME", help="print it on this queue of CUPS or Windows")
    report.add_argument("--sheet", choices=("A4", "Letter"), help="paper (default: what the queue has)")


def _files(command: Add) -> None:
    bring = _data(command("import", "files.bring_in", "shop data in: shows what would change"), json=True)
    bring.add_argument("paths", nargs="*", type=Path, metavar="FOLDER|FILE.csv")
    bring.add_argument("--write", action="store_true", help="write it, all or nothing")
    make = "first make codes for rows that have none, and write them into these tables"
    bring.add_argument("--make-codes", action="store_true", help=make)
    undo = "take back the import that ended with this line"
    bring.add_argument("--undo", type=whole(1, LARGEST), metavar="LINE", help=undo)
    bring.add_argument("--reason", default="", help="why it is taken back")
    asks_pin(bring)
    shop = command("shop", "shop_files.shop", "a shop's folder: begun, or one thing added to it with codes made")
    shop.add_argument("act", choices=("new", "add"))
    shop.add_argument("folder", type=Path, metavar="FOLDER")
    kinds = ("bench", "shrink_station", "cooling", "presetter", "out", "cabinet", "machine", "cutter", "holder")
    shop.add_argument("kind", nargs="?", choices=(*kinds, "setter", "supervisor"), metavar="KIND")
    shop.add_argument("fields", nargs="*", metavar="FIELD=VALUE", help="e.g. drawers=4,4 or kind=chain pockets=24")
    preset = _data(command("presetter", "files.presetter", "measurements in from a presetter's list"))
    preset.add_argument("file", type=Path)
    preset.add_argument("--map", type=Path, required=True, help="the shop's column map (TOML)")
    preset.add_argument("--good-rows", action="store_true", help="take the rows that can be read")
    out = _data(command("export", "files.take_out", "records out"))
    out.add_argument("--format", choices=("csv", "mtconnect", "shop"), default="csv")
    out.add_argument("--semicolon", action="store_true", help="semicolons and decimal commas")
    out.add_argument("--out", type=Path, required=True, metavar="FILE|FOLDER")
    offsets = _data(command("offsets", "files.offsets", "what to type at a control, by the shop's template"))
    offsets.add_argument("machine")
    offsets.add_argument("--template", type=Path, required=True)
    offsets.add_argument("--out", type=Path)
    compare = _data(command("compare", "files.compare", "a control's own list against the book"), json=True)
    compare.add_argument("machine")
    compare.add_argument("file", type=Path)
    compare.add_argument("--map", type=Path, help="the shop's column map (TOML); without it columns are guessed")
    compare.add_argument("--save-map", type=Path, metavar="MAP", help="write the map that was used, to be mended")
    compare.add_argument("--out", type=Path, metavar="FILE.csv")
    backup = _data(command("backup", "files.backup", "copy the ledger while it runs, and verify the copy"))
    backup.add_argument("target", nargs="?", type=Path)
    restore = _data(command("restore", "files.restore", "put a copy back"))
    restore.add_argument("file", type=Path)


def _jobs(command: Add) -> None:
    setup = _data(command("setup", "jobs.setup", "a setup sheet: what is there, hot, or to be built"), json=True)
    setup.add_argument("file", type=Path, metavar="FILE|-", help="a CSV or a plain list; - reads what is typed in")
    setup.add_argument("--machine", metavar="NAME", help="for lines that name none")
    setup.add_argument("--plan", action="store_true", help="the change plan for that machine's magazine")
    setup.add_argument("--good-rows", action="store_true", help="take the lines that can be read")
    balance = _data(command("balance", "jobs.balance", "whether an unbalance keeps a grade at a speed"), json=True)
    balance.add_argument("code", metavar="CODE")
    balance.add_argument("--rpm", type=measure(0, 1_000_000), required=True, help="the speed it is to run at, 1/min")
    balance.add_argument("--grade", type=figure("Unbalance", "grade"), help="G by ISO 21940-11 (the shop's)")
    number = _data(command("number", "jobs.number", "what the controls call the assembly in a holder"))
    number.add_argument("code", metavar="CODE")
    told = "none: it has no number any more"
    number.add_argument("number", type=figure("ToolNumbered", "number", counted=True), nargs="?", help=told)
    asks_badge(number)
    pocket = _data(command("pocket", "jobs.pocket", "a pocket that is kept for one holder"))
    pocket.add_argument("place", metavar="PLACE", help="the pocket, e.g. \"Mill 1 · pocket 07\"")
    pocket.add_argument("code", metavar="CODE", nargs="?", help="whose it is; none: nobody's any more")
    asks_badge(pocket)
    reground = _data(command("reground", "jobs.reground", "a cutter came back from regrinding"))
    reground.add_argument("cutter", metavar="CUTTER", help="the cutter's key")
    for name, field, tells in (("dc", "dc_mm", "cutting diameter"), ("oal", "oal_mm", "overall length")):
        taken = figure("CutterReground", field)
        reground.add_argument(f"--{name}", type=taken, metavar="MM", help=f"{tells} now")
    asks_badge(reground)
    heard = _data(command("listen", "jobs.hear", "measurements from a presetter's cable, as they come"))
    heard.add_argument("--map", type=Path, required=True, help="the shop's map with its [line] (TOML)")


def _sharing(command: Add) -> None:
    server = command("server", "sharing.server", "the book of a shop with several kiosks, on PostgreSQL 15 to 17")
    server.add_argument("what", choices=("init", "check"), help="init: make it, again as often as wanted")
    here = "the server and who may administer it, postgresql://NAME@HOST/DATABASE; none: the one of this machine"
    server.add_argument("--url", default="", metavar="URL", help=here)
    network = "let kiosks in over the network, with certificates of our own; NAME: how they reach the server"
    server.add_argument("--network", nargs="?", const="here", metavar="NAME", help=network)
    server.add_argument("--anew", action="store_true", help="empty the book there; the kiosks put back what they hold")
    server.add_argument("--json", action="store_true", help="one object a line")
    join = _data(command("join", "sharing.join", "become a kiosk of a shop with a server"))
    shown = "what another kiosk shows, or `server init`; none: a kiosk that was copied or put back joins anew"
    join.add_argument("code", nargs="?", metavar="CODE@SERVER", help=shown)
    join.add_argument("--name", metavar="NAME", help="how this kiosk is called, e.g. Cabinet; else the machine's name")
    kiosks = _data(command("kiosks", "sharing.kiosks", "the kiosks of the shop: heard when, lines waiting"), json=True)
    kiosks.add_argument("--invite", action="store_true", help="show a code with which one more can join")
    kiosks.add_argument("--lock-out", metavar="NAME", help="end a stolen kiosk's work here, at once and for good")
    asks_pin(kiosks)
    asks_pin(_data(command("leave", "sharing.leave", "this kiosk belongs to the shop no more; its book stays here")))
