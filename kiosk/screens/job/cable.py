"""A presetter on a cable, set up by touch: its port, its speed, which field of its lines is which, and one line tried.

All of it is one list with a sentence above and a key below.  What is kept is the map that the command `listen` reads,
too; behind a supervisor's PIN like any setting.
"""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from typing import Any

from kivy.properties import (
    BooleanProperty,
    ListProperty,
    NumericProperty,
    ObjectProperty,
    OptionProperty,
    StringProperty,
)

from kiosk.screens.clerk import fault_words
from kiosk.screens.job.heard import plain, short, speed
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.marked import Marked, MarkedRow
from kiosk.screens.press import Press
from kiosk.screens.questions import cable as asks
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.telling import file_fault_words
from kiosk.words import t

KEEP, TURN, ANEW = "keep", "turn", "anew"
SHOWN = 2  # lines of the presetter at once
SPEEDS = (  # the usual ones first
    *(asks.SerialLine("", baud) for baud in (9600, 19_200, 38_400, 57_600, 115_200, 4800, 2400, 1200)),
    *(asks.SerialLine("", baud, 7, "even") for baud in (9600, 19_200, 4800, 2400)),
)
ROLES = ("tool", "number", "length", "diameter", "radius")
ASKED = (("tool", "number"), ("length",), ("diameter", "radius"))  # one of each is needed
UNITS: tuple[tuple[asks.Unit, str], ...] = (("mm", "mm"), ("inch", "inch"), ("um", "µm"))


class Page(StrEnum):
    """What is asked."""

    HOME = "home"
    PORT = "port"
    SPEED = "speed"
    LINES = "lines"
    ROLE = "role"
    UNIT = "unit"
    TRY = "try"


_LOST = (asks.State.GONE, asks.State.TAKEN)
_LISTENING = (Page.LINES, Page.ROLE, Page.UNIT, Page.TRY)


class FieldRow(MarkedRow):
    """A field of a line, or another short choice, as a key; the one that counts has a tick."""

    least_wide_mm = 48.0
    raised = BooleanProperty(True)


class CableScreen(View):
    """One question after the other; `said` is what stands above the list, `act` what the key below it says."""

    name = "cable"
    rail = "shop"
    covers = Covers.RAIL

    page = OptionProperty(Page.HOME, options=list(Page))
    title = StringProperty()
    step = NumericProperty(0)
    said = StringProperty()
    trouble = StringProperty()  # what does not go, and why, in the place of what is said
    share = NumericProperty(0.0)  # of the height, for what is said
    rows = ListProperty()
    act = StringProperty()
    ready = BooleanProperty(True)
    row_class = ObjectProperty(FieldRow)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._press = Press()
        self._seen: asks.CableSeen | None = None
        self._made = asks.PresetterMap(asks.Fields(), line=asks.SerialLine(""))
        self._ports: tuple[str, ...] = ()
        self._tried: asks.Tried | None = None
        self._cells: tuple[str, ...] = ()
        self._field = 0
        self._since = 0  # the number of the line that was there before one was tried

    @property
    def _line(self) -> asks.SerialLine:
        assert self._made.line is not None  # it has one from the beginning
        return self._made.line

    def shown(self, act: str = "", **_: Any) -> None:
        """`act`: what the PIN was given once more for."""
        if act == KEEP:
            self._keep()
        else:
            self.clerk.ask(asks.seen(), self.begin, self._failed)

    def left(self) -> None:
        if self.page in _LISTENING:
            self.clerk.ask(asks.rest(), None, self._failed)

    def returned(self) -> None:
        if self.page in _LISTENING:
            self.clerk.ask(asks.try_out(self._line), None, self._failed)

    def tick(self) -> None:
        if self.page in _LISTENING:
            self.clerk.ask(asks.tried(), self.heard, self._failed)
        elif self.page == Page.HOME:
            self.clerk.ask(asks.seen(), self.home, self._failed)

    def back(self) -> None:
        """One question back, or out."""
        match self.page:
            case Page.PORT if self._seen is not None and self._seen.made is not None:
                self.clerk.ask(asks.seen(), self.begin, self._failed)
            case Page.HOME | Page.PORT:
                self.clerk.go("presetter")
            case Page.SPEED:
                self._ask_port()
            case Page.LINES:
                self.clerk.ask(asks.rest(), None, self._failed)
                self._ask_speed()
            case Page.UNIT | Page.ROLE:
                self._ask_fields()
            case Page.TRY:
                self._ask_unit()

    def begin(self, seen: asks.CableSeen) -> None:
        """What is set up already is where it begins, else the port is asked."""
        self._seen = seen
        if seen.made is None or seen.made.line is None:
            self._ask_port()
        else:
            self._made = seen.made
            self.page = Page.HOME
            self.home(seen)

    def home(self, seen: asks.CableSeen) -> None:
        """How it is now."""
        if self.page != Page.HOME or seen.made is None or seen.made.line is None:
            return
        self._seen = seen
        line, state = seen.made.line, seen.state or asks.State.OPENS
        taken = sum(each.taken for each in seen.came)
        word = t(f"health.presetter.{state.value}", count=taken) if seen.on else t("cable.off_now")
        self._show("health.part.presetter", 0.5)
        self._say(f"{word}\n{short(line.port)}", 0.5, seen.on and state in _LOST)
        self.rows = [
            Marked(TURN, t("cable.stop" if seen.on else "cable.start")),
            Marked(ANEW, t("cable.anew")),
        ]

    def choose(self, row: Marked) -> None:
        """What was touched in the list."""
        match self.page:
            case Page.HOME if row.key == TURN and self._seen is not None:
                self.clerk.ask(asks.turn(not self._seen.on), lambda _: self.shown(), self._failed)
            case Page.HOME | Page.PORT if row.key == ANEW:
                self._ask_port()
            case Page.PORT:
                self._made = replace(self._made, line=replace(self._line, port=row.key))
                self._ask_speed()
            case Page.SPEED:
                how = SPEEDS[int(row.key)]
                line = replace(self._line, baud=how.baud, bits=how.bits, parity=how.parity)
                self._made = replace(self._made, line=line)
                self._tried, self._cells = None, ()
                self.clerk.ask(asks.try_out(self._line), None, self._failed)
                self._ask_fields()
            case Page.LINES:
                self._field = int(row.key)
                self.page = Page.ROLE
                self._show("cable.field_is", 0.0, field=row.text)
                mine = self._role_of(self._field)
                self.rows = [_row(role, t(f"cable.is.{role or 'none'}"), role == mine) for role in (*ROLES, "")]
            case Page.ROLE:
                self._take_role(row.key)
                self._ask_fields()
            case Page.UNIT:
                self._made = replace(self._made, unit=UNITS[int(row.key)][0])
                self._ask_try()

    def do(self) -> None:
        """The key below the list."""
        match self.page:
            case Page.PORT:
                self._ask_port()
            case Page.LINES if self.ready:
                self._ask_unit()
            case Page.TRY if self.ready:
                self._keep()

    # The questions --------------------------------------------------------------------------------------------------

    def _show(self, title: str, share: float, step: int = 0, act: str = "", said: str = "", **values: Any) -> None:
        self.title, self.step = t(title, **values), step
        self._say(said, share)
        self.act, self.ready = act, True

    def _say(self, said: str, share: float, refused: bool = False) -> None:
        self.said, self.trouble, self.share = "" if refused else said, said if refused else "", share

    def _ask_port(self) -> None:
        self.page = Page.PORT
        self._show("cable.which_port", 0.0, 1, t("cable.look"))
        self.rows = []
        self.look()

    def look(self) -> None:
        """Which ports there are now."""
        self._press.run(lambda *_: asks.ports(), self.found, self._failed)

    def found(self, ports: tuple[str, ...]) -> None:
        """These ports are there; the one in use is named even where its cable is pulled."""
        if self.page != Page.PORT:
            return
        now = self._line.port
        ports = ports if now in ("", *ports) else (now, *ports)
        self.rows = [_row(port, short(port), port == now) for port in ports]
        said, share = ("", 0.0) if ports else (f"{t('cable.no_port')}\n{t('cable.plug_in')}", 1.0)
        self._say(said, share, not ports)

    def _ask_speed(self) -> None:
        self.page = Page.SPEED
        self._show("cable.how_fast", 0.0, 2)
        mine = speed(self._line) if self._line.port else ""
        self.rows = [_row(str(at), speed(each), speed(each) == mine) for at, each in enumerate(SPEEDS)]

    def _ask_fields(self) -> None:
        self.page = Page.LINES
        self.rows = []
        self._fields()

    def heard(self, tried: asks.Tried | None) -> None:
        """How the port is, and its last lines."""
        if tried is None:
            return
        before, self._tried = self._tried, tried
        if before is not None and before[1] != tried[1]:
            self.clerk.busied()  # whoever sends a line is at the presetter, and comes back
        if self.page == Page.LINES:
            self._fields()
        elif self.page == Page.TRY:
            self._try_last()

    def _fields(self) -> None:
        """The lines as they came, and the fields of the last one to be touched."""
        state, lines = self._tried or (asks.State.OPENS, ())
        missing = next((ask[0] for ask in ASKED if not any(self._number_of(role) for role in ask)), "done")
        title = f"cable.ask_{missing}" if lines else "cable.came"
        self._show(title, 0.0, 3, t("cable.go_on"))
        self._say(self._said(state, lines), 0.32 if lines else 1.0, state in _LOST)
        self.ready = missing == "done" and bool(self._cells)
        if not lines:
            return
        texts = [text for _, text in lines]
        prefix = self._made.prefix if any(self._made.prefix in text for text in texts) else ""
        sign, self._cells = asks.fields_of(texts, prefix)
        self._made = replace(self._made, delimiter=sign, prefix=prefix)
        self.ready = missing == "done"
        if len(self._cells) < len(ASKED):
            self._say(f"{self._said(state, lines)}\n{t('cable.unreadable')}", 0.5, True)
        rows = []
        for at, cell in enumerate(self._cells, 1):
            role = self._role_of(at)
            rows.append(_row(str(at), plain(cell), bool(role), t(f"cable.is.{role}") if role else ""))
        if rows != self.rows:
            self.rows = rows

    @staticmethod
    def _said(state: asks.State, lines: tuple[tuple[int, str], ...]) -> str:
        if state in _LOST:
            return t(f"cable.{state.value}")
        if not lines:
            return t("cable.send")
        return "\n".join(plain(text) for _, text in lines[-SHOWN:])

    def _number_of(self, role: str) -> int:
        """Which field this is, from 1; 0: none."""
        return int(getattr(self._made.fields, role) or 0)

    def _role_of(self, number: int) -> str:
        return next((role for role in ROLES if self._number_of(role) == number), "")

    def _take_role(self, role: str) -> None:
        """The field is that from now on, and nothing else; of diameter and radius a line has one."""
        fields, mine = self._made.fields, str(self._field)
        told = {each: "" for each in ROLES if getattr(fields, each) == mine}
        if role in ("diameter", "radius"):
            told |= {"diameter": "", "radius": ""}
        if role:
            told[role] = mine
        self._made = replace(self._made, fields=replace(fields, **told))

    def _ask_unit(self) -> None:
        self.page = Page.UNIT
        self._show("cable.unit", 0.0, 4)
        sample = next((each for each in reversed(self._tried[1]) if self._reading(each)), None) if self._tried else None
        rows = []
        for at, (unit, name) in enumerate(UNITS):
            found = asks.heard(*sample, replace(self._made, unit=unit)) if sample else None
            values = _values(found) if isinstance(found, asks.Reading) else ""
            said = t("option.inch") if unit == "inch" else name
            rows.append(_row(str(at), said, unit == self._made.unit, values))
        self.rows = rows

    def _reading(self, line: tuple[int, str]) -> asks.Reading | None:
        found = asks.heard(*line, self._made)
        return found if isinstance(found, asks.Reading) else None

    def _ask_try(self) -> None:
        self.page = Page.TRY
        self._since = self._tried[1][-1][0] if self._tried and self._tried[1] else 0
        self._show("cable.try_title", 1.0, 5, t("cable.keep"), t("cable.try"))
        self.ready, self.rows = False, []

    def _try_last(self) -> None:
        """What the newest line since it was asked for would be taken down as."""
        state, lines = self._tried or (asks.State.OPENS, ())
        if state in _LOST:
            self._say(t(f"cable.{state.value}"), 1.0, True)
            self.ready = False
            return
        new = [each for each in lines if each[0] > self._since]
        if not new:
            return
        self._since = new[-1][0]
        found = next((each for line in reversed(new) if (each := asks.heard(*line, self._made)) is not None), None)
        if isinstance(found, asks.Fault):
            self._say("\n".join((plain(new[-1][1]), *file_fault_words(found)[1:])), 1.0, True)
            self.ready = False
            self.clerk.play(Sound.REFUSED)
        elif found is not None:
            self.clerk.ask(asks.would(found), self.would, self._failed)

    def would(self, told: asks.Would) -> None:
        """Whose measurement it would be, and which."""
        if self.page != Page.TRY:
            return
        values = t(
            "measuring.taken", length_mm=told.reading.values.length_mm, diameter_mm=told.reading.values.diameter_mm
        )
        if told.holder is not None:
            built = told.holder.assembly
            name = f"{built.name}, {told.holder.holder.name}" if built else told.holder.name
            self._say(t("cable.would", name=name, values=values), 1.0)
        else:
            self._say(f"{values}\n{t('presetting.unknown', name=told.reading.called)}", 1.0, True)
        self.ready = True
        self.clerk.play(Sound.DONE if told.holder is not None else Sound.REFUSED)

    def _keep(self) -> None:
        self.clerk.ask(asks.keep(self._made), self._kept, self._not_kept)

    def _kept(self, _: object) -> None:
        self.page = Page.HOME
        self.clerk.play(Sound.DONE)
        self.shown()

    def _not_kept(self, error: Exception) -> None:
        if isinstance(error, asks.Locked):
            self.clerk.go("pin", goal=self.name, act=KEEP)
        else:
            self._failed(error)

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        self._say(fault_words(error), max(0.32, self.share), True)


def _row(key: str, text: str, used: bool, note: str = "") -> Marked:
    return Marked(key, text, note, icon="done" if used else "", tone="done")


def _values(reading: asks.Reading) -> str:
    return t("presetting.values", length_mm=reading.values.length_mm, diameter_mm=reading.values.diameter_mm)


load_beside(__file__)
