"""Commands for a job: what a setup sheet needs, the round to fetch it, the change plan, a presetter's cable."""

from __future__ import annotations

import argparse
import sys

from kiosk import words
from kiosk.commands.output import DONE, WANTING, complain, data_folder, print_json
from kiosk.desk import Desk
from kiosk.exchange.faults import Fault
from kiosk.exchange.presetter import listen, open_port, read_presetter_map
from kiosk.exchange.sheet import read_sheet
from kiosk.exchange.tables_csv import decoded
from kiosk.rules.magazine_plan import Aim, ChangePlan, Doing
from kiosk.rules.setup_sheet import Met, Supply, assemblies, pick_round


def setup(arguments: argparse.Namespace) -> int:
    """A setup sheet against the book, and on request the change plan for the machine."""
    if arguments.plan and not arguments.machine:
        return complain("setup: --plan needs --machine")
    name = arguments.file.name
    data = sys.stdin.buffer.read() if name == "-" else arguments.file.read_bytes()
    read = read_sheet(decoded(data, name), name, arguments.machine or "")
    for fault in read.faults:
        complain(fault)
    if read.faults and not arguments.good_rows:
        return complain("setup: nothing was looked up; --good-rows takes the lines that can be read")
    with Desk.open(data_folder(arguments), read_only=True) as desk:
        codes = {machine.name: machine.code for machine in desk.handover.machines()}
        if arguments.machine and arguments.machine not in codes:
            return complain(f"setup: there is no machine {arguments.machine!r}; there are: {', '.join(codes)}")
        found = desk.papers.setup(read.good)
        for met in found:
            if arguments.json:
                print_json(met)
            else:
                print(f"{_wish(met):28}  {words.say(met.say)}")
        stops = pick_round(found).stops
        if stops and not arguments.json:
            print()
            for stop in stops:
                print(f"[ ] {stop.place}  {words.grouped(stop.code)}  {stop.name}")
        if arguments.plan:
            wanted = assemblies(found, arguments.machine)
            _tell(desk.handover.plan(codes[arguments.machine], wanted, report=_seeking), as_json=arguments.json)
    ready = all(met.supply in (Supply.IN_MACHINE, Supply.IN_CABINET, Supply.ELSEWHERE) for met in found)
    return DONE if ready and not read.faults else WANTING


def _wish(met: Met) -> str:
    need = met.need
    data = (("DC", need.dc_mm), ("RE", need.re_mm), ("LU", need.lu_mm), ("ZEFP", need.zefp))
    return " ".join([need.name, *(f"{symbol}={value:g}" for symbol, value in data if value is not None)]).strip()


def _seeking(aim: Aim, done: float) -> None:
    if sys.stderr.isatty():
        print(words.t(f"plan.aim_{aim.value}"), file=sys.stderr, flush=True)


def _tell(plan: ChangePlan, *, as_json: bool) -> None:
    if as_json:
        print_json(plan)
        return
    print()
    for step in plan.steps:
        way = " → ".join(str(pocket) for pocket in (step.origin, step.goal) if pocket is not None)
        way = way if step.doing is not Doing.LEAVE else str(step.goal)
        print(f"{words.t(f'plan.{step.doing.value}'):12}  {way:>9}  {step.assembly.name}")
    for unplaced in plan.unplaced:
        print(words.t("plan.no_room", name=unplaced.assembly.name))
        for obstacle in unplaced.obstacles:
            print(f"    {words.t(obstacle.message_id, **obstacle.values)}")
    worst = max(proof.gap for proof in plan.proofs)
    print(words.t("plan.proven") if plan.proven else words.t("plan.not_proven", gap_percent=100 * worst))


def hear(arguments: argparse.Namespace) -> int:
    """Measurements from a presetter's cable, taken down as they come, until interrupted."""
    made = read_presetter_map(arguments.map.read_text("utf-8"), arguments.map.name)
    if made.line is None:
        return complain(f"{arguments.map.name}: [line] is missing: it names the port and its speed")
    port = open_port(made.line)
    try:
        with Desk.open(data_folder(arguments)) as desk:
            for heard in listen(port, made):
                desk.tick()
                if isinstance(heard, Fault):
                    complain(heard)
                elif heard is not None:
                    (result,) = desk.papers.presettings([heard])
                    if result.taken is None:
                        complain(f"{heard.tool}: {result.refused}")
                    else:
                        values = result.taken.values
                        print(f"{heard.tool}: {values.length_mm:.3f} x {values.diameter_mm:.3f} mm", flush=True)
    finally:
        port.close()
    return DONE
