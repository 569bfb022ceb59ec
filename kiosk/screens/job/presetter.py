"""The presetter's own list: choose it, and every measurement in it is checked and taken down like one typed by hand.

Which column is which stands in the shop's map beside the list.  A list with faults is shown first; its good lines
are taken only when asked.  Where the presetter is on a cable, what came over that is shown here, too.
"""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import Any

from kivy.properties import ListProperty, NumericProperty, OptionProperty, StringProperty

from kiosk.screens.clerk import fault_words
from kiosk.screens.dates import clock_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.parts.marked import Marked
from kiosk.screens.questions import cable, common
from kiosk.screens.questions import job as asks
from kiosk.screens.questions.job import Fault, NoMap, Presetting, Read, Reading
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.telling import file_fault_words
from kiosk.words import say, t


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    LISTS = "lists"
    FAULTS = "faults"
    TAKEN = "taken"
    CAME = "came"


CABLE = ""  # the row of what came over the cable: no file is called so


class PresetterScreen(View):
    """Which list; what is wrong in it; what was taken, of it or over the cable."""

    name = "presetter"
    rail = "shop"
    covers = Covers.RAIL

    page = OptionProperty(Page.LISTS, options=list(Page))
    choices = ListProperty()
    rows = ListProperty()
    folder = StringProperty()
    trouble = StringProperty()
    title = StringProperty()
    good = NumericProperty(0)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._readings: tuple[Reading, ...] = ()

    def tick(self) -> None:
        if self.page in (Page.LISTS, Page.CAME):
            self.clerk.ask(cable.seen(), self.cable_seen, self._failed)

    def shown(self, **_: Any) -> None:
        self.trouble = ""
        self.choices, self._readings = [], ()  # what was left unanswered is read anew
        self.page = Page.LISTS
        self.clerk.ask(asks.presets(), self._listed, self._failed)

    def back(self) -> None:
        """To the lists, or out."""
        if self.page == Page.LISTS:
            self.clerk.back()
        else:
            self.shown()

    def _listed(self, found: common.Folder) -> None:
        self.folder = found.where
        self.choices = [Choice(str(paper.path), paper.name) for paper in found.papers]
        self.clerk.ask(cable.seen(), self.cable_seen, self._failed)

    def cable_seen(self, seen: cable.CableSeen) -> None:
        """Where there is a cable, it comes before the lists; what came over it is there to be read."""
        if self.page == Page.CAME:
            left_out = [Marked("", t("cable.left_out", count=seen.left_out), icon="stop", tone="stop")]
            rows = [_came(one, at) for at, one in enumerate(seen.came)]
            self.rows = [*(left_out if seen.left_out else ()), *rows] or [Marked("", t("cable.nothing_came"))]
            return
        lists = [each for each in self.choices if each.key != CABLE]
        state = (seen.state or cable.State.OPENS).value if seen.made else "unset"
        note = t(f"health.presetter.{state}", count=sum(one.taken for one in seen.came))
        choices = [Choice(CABLE, t("cable.came"), note), *lists] if seen.on else lists
        if choices != self.choices:
            self.choices = choices

    def set_up_cable(self) -> None:
        """To the cable's own screen, which is a supervisor's."""
        self.clerk.go("pin", goal="cable")

    def choose(self, choice: Choice) -> None:
        """This list, or what came over the cable."""
        if choice.key == CABLE:
            self.rows, self.title, self.page = [], choice.text, Page.CAME
            self.clerk.ask(cable.seen(), self.cable_seen, self._failed)
            return
        path = Path(choice.key)
        self.clerk.ask(asks.readings(path), self.check, self._failed)

    def check(self, read: Read[Reading]) -> None:
        """Take the list, or show what is wrong in it first."""
        self._readings = read.good
        self.good = len(read.good)
        if not read.faults:
            self.take()
            return
        self.clerk.play(Sound.REFUSED)
        self.rows = [_fault(fault, at) for at, fault in enumerate(read.faults)]
        self.title = t("setup_sheet.faults", count=len(read.faults))
        self.page = Page.FAULTS

    def take(self) -> None:
        """Take every line that can be read."""
        readings, self._readings = self._readings, ()  # a second touch must not take them twice
        if readings:
            self.clerk.ask(asks.take(readings), self.show, self._failed)

    def show(self, taken: tuple[Presetting, ...]) -> None:
        """Show what became of each line; those that were not taken first."""
        ordered = sorted(taken, key=lambda one: one.taken is not None)
        self.rows = [_taken(one, at) for at, one in enumerate(ordered)]
        count = sum(one.taken is not None for one in taken)
        self.title = t("presetting.summary", count=count)
        self.page = Page.TAKEN
        self.clerk.play(Sound.DONE if count == len(taken) else Sound.REFUSED)

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        self.trouble = t("presetting.no_map", file=error.file) if isinstance(error, NoMap) else fault_words(error)
        self.page = Page.LISTS


def _fault(fault: Fault, at: int) -> Marked:
    return Marked(str(at), *file_fault_words(fault), icon="stop", tone="stop")


def _taken(one: Presetting, at: int) -> Marked:
    reading = one.reading
    if one.taken is None:
        why = getattr(one.refused, "why", None)
        note = say(why) if why is not None else t("presetting.unknown", name=reading.called)
        return Marked(str(at), reading.called, note, icon="stop", tone="stop")
    values = t("presetting.values", length_mm=reading.values.length_mm, diameter_mm=reading.values.diameter_mm)
    warm = one.taken.warning
    note = t("presetting.warm", why=say(warm)) if warm is not None else values
    return Marked(str(at), one.taken.holder.name, note, icon="hot" if warm else "done", tone="heat" if warm else "done")


def _came(one: cable.Came, at: int) -> Marked:
    when = clock_words(one.at_utc_s)
    if isinstance(one.what, Fault):
        return Marked(str(at), when, file_fault_words(one.what)[1], icon="stop", tone="stop")
    row = _taken(one.what, at)
    return replace(row, text=f"{when}  {row.text}")


load_beside(__file__)
