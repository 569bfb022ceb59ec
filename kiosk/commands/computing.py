"""Commands that compute from files alone: codes in pictures, a cooling case, the benches."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from importlib import import_module

from kiosk import filing, words
from kiosk.bench import BENCHES
from kiosk.commands.output import DONE, WRONG, complain, print_json
from kiosk.reader.files import PictureError

MOST_CASE_BYTES = 1_000_000


def read_files(arguments: argparse.Namespace) -> int:
    from kiosk.reader import files
    from kiosk.reader.decode import read
    from kiosk.reader.wear import worn

    wanting = False
    for given in arguments.files:
        for path in files.pictures_in(given) if given.is_dir() else [given]:
            try:
                image = files.load(path)
                reading = read(image, arguments.budget_ms)
            except PictureError as error:
                complain(error)
                wanting = True
                continue
            if arguments.json:
                print(files.line(path, worn(image, reading)), flush=True)
                continue
            for symbol in reading.symbols:
                print(f"{path}: {words.grouped(symbol.text)} ({symbol.format})")
            if not reading.symbols:
                print(f"{path}: no code read, {len(reading.unread)} seen")
    return WRONG if wanting else DONE


def cooling(arguments: argparse.Namespace) -> int:
    from kiosk.rules.cooling.case import Case, case_report

    try:
        data = json.loads(filing.take_text(arguments.case, MOST_CASE_BYTES))
        case = Case.from_json(data.get("case", data) if isinstance(data, dict) else data)
    except json.JSONDecodeError as error:
        return complain(f"{arguments.case}: line {error.lineno}: {error.msg}")
    except RecursionError:
        return complain(f"{arguments.case}: lists within lists, deeper than any case is")
    except ValueError as error:  # of the case, or a number with more digits than Python reads
        return complain(f"{arguments.case}: {error}")
    report = case_report(case)
    if arguments.json:
        print_json(report)
        return DONE
    hold = words.clock(report.hold_s) if report.hold_s is not None else "only a reading ends it"
    print(f"safe to touch after  {words.clock(report.touch_safe_s)}  (as given)")
    print(f"hold                 {hold}  (99 % with what is not known)")
    print(f"ready to measure     {words.clock(report.measure_ready_s)}")
    print(f"mass                 {report.mass_kg:.2f} kg")
    return DONE


def bench(arguments: argparse.Namespace) -> int:
    """Ratios against other libraries on the same input in one run."""
    for name in [arguments.name] if arguments.name else BENCHES:
        module = import_module(f"kiosk.bench.{name}")
        more = {"photos": arguments.photos} if name == "reader" else {}
        for row in module.run(quick=arguments.quick, **more):
            if arguments.json:
                print_json(asdict(row))
            else:
                print(
                    f"{row.bench:8} {row.case:44} {row.ours:12.4g} {row.unit:12} "
                    f"{row.peer:28} {row.theirs:12.4g}  ratio {row.ratio:8.3g}",
                    flush=True,
                )
    return DONE
