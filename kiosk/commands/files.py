"""Commands that bring files in, take them out, and copy the ledger."""

from __future__ import annotations

import argparse
from pathlib import Path

from kiosk import filing, words
from kiosk.commands.arguments import shown
from kiosk.commands.output import DONE, WANTING, complain, counting, data_folder, desk_read, desk_to_write, print_json
from kiosk.commands.whose import at_work
from kiosk.desk import copies as desk_copies
from kiosk.desk.build import BuildRefused
from kiosk.desk.papers import Presetting
from kiosk.exchange.control_list import ListMap, comparison_csv, comparison_text, guess_columns, read_map, write_map
from kiosk.exchange.presetter import read_measurements, read_presetter_map
from kiosk.exchange.tables_csv import PLAIN, Dialect, decoded, read_table
from kiosk.rules.offsets import CardFault


def bring_in(arguments: argparse.Namespace) -> int:
    """Shop data: shows what would change, and writes it only with --write."""
    with desk_to_write(arguments) as desk:
        if arguments.undo or arguments.write:
            at_work(desk, arguments)
        if arguments.undo:
            undone = desk.intake.undo(arguments.undo, arguments.reason)
            print(f"taken back by {len(undone.lines)} lines; kept, because it was worked with: {len(undone.kept)}")
            return DONE
        if not arguments.paths:
            return complain("import: give a shop folder or CSV files, or --undo LINE")
        if arguments.make_codes:
            _make_codes(arguments.paths)
        plan = desk.intake.plan(*arguments.paths)
        for change in plan.changes:
            if arguments.json:
                print_json(change)
            else:
                why = f": {words.say(change.why)}" if change.why else ""
                print(f"{change.how.value:10} {change.what} {change.key}{why}")
        if plan.conflicts:
            several = ", ".join(f"{each.what} {each.key}" for each in plan.conflicts[:5])
            more = ", ..." if len(plan.conflicts) > 5 else ""
            return complain(f"import: {len(plan.conflicts)} conflicts: nothing was written: {several}{more}")
        if not arguments.write:
            print(f"{len(plan.lines)} lines would be written; add --write to write them")
            return DONE
        written = desk.intake.take(plan, ", ".join(map(shown, arguments.paths)))
        print(f"{len(written)} lines written" + (f"; undo with: import --undo {written[-1].id}" if written else ""))
    return DONE


def _make_codes(paths: list[Path]) -> None:
    """Codes for the rows that have none, in the tables themselves."""
    from kiosk.exchange.missing_codes import fill

    tables = [each for path in paths for each in (sorted(path.glob("*.csv")) if path.is_dir() else [path])]
    made = {table.name: fill(table) for table in tables if table.suffix.lower() == ".csv"}
    for name, count in made.items():
        if count:
            print(f"{name}: {count} codes made")


def why_not(result: Presetting) -> str:
    """Why a measurement was not taken down, in words."""
    refused = result.refused
    return words.say(refused.why) if isinstance(refused, BuildRefused) else str(refused)


def presetter(arguments: argparse.Namespace) -> int:
    """Measurements out of a presetter's list."""
    made = read_presetter_map(filing.take_text(arguments.map), arguments.map.name)
    read = read_measurements(filing.take(arguments.file), arguments.file.name, made)
    for fault in read.faults:
        complain(fault)
    if read.faults and not arguments.good_rows:
        return complain("nothing was taken down; --good-rows takes the rows that can be read")
    with desk_to_write(arguments) as desk:
        results = desk.papers.presettings(read.good)
    for result in results:
        name = result.reading.called
        if result.taken is None:
            complain(f"{arguments.file.name}, line {result.reading.line}: {why_not(result)}")
        else:
            warning = f"  {words.say(result.taken.warning)}" if result.taken.warning else ""
            print(f"{name}: {result.taken.values.length_mm:.3f} x {result.taken.values.diameter_mm:.3f} mm{warning}")
    return DONE if all(result.taken for result in results) and not read.faults else WANTING


def take_out(arguments: argparse.Namespace) -> int:
    """Everything as tables, the holders as one table, or as CuttingTool assets."""
    out: Path = arguments.out
    dialect = Dialect(delimiter=";", decimal=",") if arguments.semicolon else PLAIN
    with desk_read(arguments) as desk:
        if arguments.format == "mtconnect":
            filing.write(out, desk.papers.as_mtconnect())
        elif arguments.format == "shop":
            for path in desk.intake.export(out, dialect):
                print(path)
            for _, name in desk.intake.kept_back():
                complain(f"{name}'s badge is left out: it would choose the shop's first PIN; choose one at the kiosk")
            return DONE
        else:
            filing.write(out, desk.papers.as_csv(dialect))
    print(out)
    return DONE


def offsets(arguments: argparse.Namespace) -> int:
    """What to type at a control: a machine's list written by the shop's own template."""
    template = arguments.template
    with desk_read(arguments) as desk:
        try:
            data = desk.papers.offsets(arguments.machine, filing.take_text(template), template.name)
        except CardFault as fault:
            return complain(f"offsets: {words.say(fault.reason)}. {words.say(fault.remedy)}")
    if arguments.out:
        filing.write(arguments.out, data)
        print(arguments.out)
    else:
        print(data.decode("utf-8", "replace"), end="")
    return DONE


def compare(arguments: argparse.Namespace) -> int:
    """A control's own list against the book."""
    data = filing.take(arguments.file)
    if arguments.map:
        made = read_map(filing.take_text(arguments.map), arguments.map.name)
    else:
        header = read_table(decoded(data, arguments.file.name), arguments.file.name).columns
        made = ListMap(guess_columns(header))
    if arguments.save_map:
        filing.write(arguments.save_map, write_map(made))
    with desk_read(arguments) as desk:
        result = desk.papers.compare(arguments.machine, data, arguments.file.name, made)
    if arguments.out:
        filing.write(arguments.out, comparison_csv(result, words.say))
    if arguments.json:
        for line in result.lines:
            print_json(line)
    else:
        print(comparison_text(result, words.say))
    return DONE if result.agrees else WANTING


def backup(arguments: argparse.Namespace) -> int:
    """Copies the ledger, while a kiosk may be running, and verifies the copy."""
    with desk_read(arguments) as desk:
        made = desk.copies.backup(arguments.target, counting("lines"))
    for copy in made:
        if copy.copy is None:
            complain(f"{copy.folder}: {copy.why}")
        else:
            print(f"{copy.copy.path}  {copy.copy.lines} lines, last {copy.copy.hash[:12]}")
    return DONE if all(copy.copy for copy in made) else WANTING


def restore(arguments: argparse.Namespace) -> int:
    """Puts a copy back; what was heated within a day counts as hot until read."""
    done = desk_copies.restore(data_folder(arguments), arguments.file, counting("lines"))
    if done.aside:
        print(f"the ledger that was here lies in {done.aside}")
    print(f"restored up to line {done.line}")
    for name in done.holders:
        print(f"hot until read: {name}")
    for name in done.unsure:
        print(f"temperature not known: {name}")
    return DONE
