"""Samples of the presetter's cable: its screen in every state, and what came over it; see `samples.py`."""

from __future__ import annotations

from functools import partial
from typing import Any

from kiosk.desk.build import MeasureTaken
from kiosk.desk.papers import Presetting
from kiosk.desk.presetting import CableSeen, Came
from kiosk.desk.session import NotThere
from kiosk.exchange.cable import State
from kiosk.exchange.faults import Fault, fault_at
from kiosk.exchange.presetter import Fields, PresetterMap, Reading, SerialLine
from kiosk.rules.assembly import Measured
from kiosk.rules.say import say
from kiosk.screens.job.cable import Page
from kiosk.screens.parts.choice import Choice
from kiosk.screens.parts.marked import Marked
from kiosk.screens.questions.cable import Would
from tests.journeys.samples import ASSEMBLY, CARD
from tests.journeys.samples_shop import REFUSED

PORT = "/dev/serial/by-id/usb-Serial_Adapter_of_the_Presetter_Controller_D-if00-port0"
MADE = PresetterMap(Fields(tool="1", length="3", diameter="4"), delimiter=";", line=SerialLine(PORT))
LINES = tuple((at, f"H7K2B4N9RX;T{at:03};142,318;12,004;0,003;4;2026-11-28 14:0{at}") for at in range(1, 4))
NOISE = ((1, "\x80x\x00?\ufffd\ufffd"), (2, "\x1b~~"))


def seen(state: State | None, *, on: bool = True, some: bool = True) -> CableSeen:
    """A cable on which everything came that may come."""
    reading = Reading(2, ASSEMBLY.name, Measured(142.318, 12.004))
    warm = say("measure.warm", name=ASSEMBLY.name, error_um=212.0, measure_in_s=665.0)
    each: tuple[Presetting | Fault, ...] = (
        Presetting(reading, MeasureTaken(CARD, reading.values, None), None),
        Presetting(reading, MeasureTaken(CARD, reading.values, warm), None),
        Presetting(reading, None, REFUSED),
        Presetting(reading, None, NotThere("assembly", "Chamfer mill 10")),
        fault_at(PORT, 31, "field 3", "not_a_number", said="'14z.318'"),
    )
    came = tuple(Came(1_795_000_000.0 + at, what) for at, what in enumerate(each))
    return CableSeen(on, MADE, None, state, came if some else (), 12 if some else 0)


def _cable(screen: Any, state: str) -> None:
    screen._made, screen._tried, screen._seen = MADE, (State.LISTENS, LINES), None
    if state in ("home", "gone", "taken", "off"):
        screen.begin(seen({"gone": State.GONE, "taken": State.TAKEN}.get(state, State.LISTENS), on=state != "off"))
    elif state in ("ports", "no_ports"):
        screen.look = lambda: None  # what this machine has is no sample
        screen._made = MADE if state == "ports" else PresetterMap(Fields(), line=SerialLine(""))
        screen._ask_port()
        screen.found((PORT, "/dev/ttyS0", "/dev/ttyS1") if state == "ports" else ())
    elif state == "speeds":
        screen._ask_speed()
    elif state in ("waits", "port_gone", "port_taken"):
        how = {"port_gone": State.GONE, "port_taken": State.TAKEN}.get(state, State.LISTENS)
        screen._tried = (how, ())
        screen._ask_fields()
    elif state in ("fields", "fields_length", "fields_diameter", "fields_done", "noise"):
        known = {"fields_length": Fields(tool="1"), "fields_diameter": Fields(tool="1", length="3")}
        screen._made = MADE if state == "fields_done" else PresetterMap(known.get(state, Fields()), line=MADE.line)
        screen._tried = (State.LISTENS, NOISE if state == "noise" else LINES)
        screen._ask_fields()
    elif state == "role":
        screen._ask_fields()
        screen.choose(Marked("3", "142,318"))
    elif state == "unit":
        screen._ask_unit()
    else:
        _try(screen, state)


def _try(screen: Any, state: str) -> None:
    screen._ask_try()
    reading = Reading(4, "H7K2B4N9RX", Measured(142.318, 12.004))
    if state == "would":
        screen.would(Would(reading, CARD))
    elif state == "unknown":
        screen.would(Would(reading, None))
    elif state == "unread":
        screen.heard((State.LISTENS, (*LINES, (4, "H7K2B4N9RX;T004;14z,318;12,004"))))
    elif state == "failed":
        screen._failed(OSError("disk"))
    assert screen.page == Page.TRY


def _came(screen: Any, state: str) -> None:
    screen.page = "lists"
    screen.trouble = ""
    screen.choices = [Choice("list.csv", "Tuesday, second shift")]
    screen.cable_seen(seen(State.GONE))
    if state != "with_lists":
        screen.choose(screen.choices[0])
        screen.cable_seen(seen(State.LISTENS, some=state == "came"))


SAMPLES = (
    *(
        ("cable", state, partial(_cable, state=state))
        for state in (
            "home", "gone", "taken", "off", "ports", "no_ports", "speeds", "waits", "port_gone", "port_taken", "fields",
            "fields_length", "fields_diameter", "fields_done", "noise", "role", "unit", "try", "would",
            "unknown", "unread", "failed",
        )
    ),
    *(("presetter", state, partial(_came, state=state)) for state in ("with_lists", "came", "nothing_came")),
)  # fmt: skip
