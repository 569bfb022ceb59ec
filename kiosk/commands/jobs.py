"""Commands for a job: a setup sheet with its round and change plan, a presetter's cable, balance at a speed."""

from __future__ import annotations

import argparse
import sys

from kiosk import filing, words
from kiosk.commands.files import why_not
from kiosk.commands.output import DONE, WANTING, complain, desk_read, desk_to_write, print_json
from kiosk.commands.whose import at_work
from kiosk.desk.session import NotThere
from kiosk.exchange.faults import Fault
from kiosk.exchange.presetter import listen, open_port, read_presetter_map
from kiosk.exchange.sheet import read_sheet
from kiosk.exchange.tables_csv import decoded
from kiosk.rules.fitting.balance import Asked, judge
from kiosk.rules.fitting.change_plan import Aim, ChangePlan, Doing
from kiosk.rules.fitting.setup_sheet import Met, Supply, assemblies, pick_round


def setup(arguments: argparse.Namespace) -> int:
    """A setup sheet against the book, and on request the change plan for the machine."""
    if arguments.plan and not arguments.machine:
        return complain("setup: --plan needs --machine")
    name = arguments.file.name
    data = sys.stdin.buffer.read(filing.MOST_TEXT_BYTES) if name == "-" else filing.take(arguments.file)
    read = read_sheet(decoded(data, name), name, arguments.machine or "")
    for fault in read.faults:
        complain(fault)
    if read.faults and not arguments.good_rows:
        return complain("setup: nothing was looked up; --good-rows takes the lines that can be read")
    with desk_read(arguments) as desk:
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
        print(words.say(unplaced.say))
        for obstacle in unplaced.obstacles:
            print(f"    {words.t(obstacle.message_id, **obstacle.values)}")
    worst = max(proof.gap for proof in plan.proofs)
    print(words.t("plan.proven") if plan.proven else words.t("plan.not_proven", gap_percent=100 * worst))


def balance(arguments: argparse.Namespace) -> int:
    """Whether a holder's measured unbalance keeps a grade at a speed, and up to which speed it would."""
    with desk_read(arguments) as desk:
        card = desk.session.holder(desk.records.subject(arguments.code))
        built = card.assembly
        said = built.unbalance if built else None
        if built is None or said is None:
            return complain(
                f"balance: no unbalance was measured for {arguments.code}; measure it on the balancer first"
            )
        wanted = desk.balancing.demand(card, built, Asked(arguments.grade, arguments.rpm))
    if wanted.mass_kg is None:
        return complain(f"balance: the mass of {arguments.code}'s holder is not known; weigh it and enter it")
    try:
        answer = judge(said.residual_gmm, wanted.mass_kg, arguments.rpm, wanted.grade)
    except ValueError as error:
        return complain(f"balance: {error}")
    if arguments.json:
        print_json(answer)
    else:
        print(f"G {answer.grade:.2f} at {arguments.rpm:g} 1/min; asked for is G {wanted.grade:g}")
        permitted = f"{answer.permissible_gmm:.2f} g mm permitted ({wanted.mass_kg:.3f} kg)"
        print(f"{answer.residual_gmm:.2f} g mm left, {permitted}")
        print(f"G {wanted.grade:g} is kept up to {answer.rpm_max:.0f} 1/min")
    return DONE if answer.ok else WANTING


def number(arguments: argparse.Namespace) -> int:
    """What the controls call the assembly in a holder."""
    with desk_to_write(arguments) as desk:
        at_work(desk, arguments)
        desk.build.number(desk.records.subject(arguments.code), arguments.number)
    return DONE


def pocket(arguments: argparse.Namespace) -> int:
    """Whose own a pocket is: nothing else is proposed for it."""
    with desk_to_write(arguments) as desk:
        at_work(desk, arguments)
        place = desk.session.cards.find_place(arguments.place)
        if place is None:
            raise NotThere("place", arguments.place)
        desk.handover.assign(place, desk.records.subject(arguments.code) if arguments.code else None)
    return DONE


def reground(arguments: argparse.Namespace) -> int:
    """A cutter came back from regrinding."""
    with desk_to_write(arguments) as desk:
        at_work(desk, arguments)
        try:
            cutter = desk.build.reground(arguments.cutter, arguments.dc, arguments.oal)
        except ValueError as fault:
            return complain(f"reground: {arguments.cutter}: {fault}")
    print(f"{cutter.name}: diameter {cutter.dc_mm:g} mm, length {cutter.oal_mm:g} mm")
    return DONE


def hear(arguments: argparse.Namespace) -> int:
    """Measurements from a presetter's cable, taken down as they come, until interrupted."""
    made = read_presetter_map(filing.take_text(arguments.map), arguments.map.name)
    if made.line is None:
        return complain(f"{arguments.map.name}: [line] is missing: it names the port and its speed")
    port = open_port(made.line)
    try:
        with desk_to_write(arguments) as desk:
            for heard in listen(port, made):
                desk.tick()
                if isinstance(heard, Fault):
                    complain(heard)
                elif heard is not None:
                    (result,) = desk.papers.presettings([heard])
                    if result.taken is None:
                        complain(f"{heard.called}: {why_not(result)}")
                    else:
                        values = result.taken.values
                        print(f"{heard.called}: {values.length_mm:.3f} x {values.diameter_mm:.3f} mm", flush=True)
    finally:
        port.close()
    return DONE
