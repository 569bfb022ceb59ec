"""One thing of the shop, asked a question a page: a place, a machine, a cutter, a holder, new or changed.

What is asked and within which bounds is the rules' (`shop_things.forms`).  What is needed is asked first; then all of
it stands in a list, where every answer can be touched and given anew, and one touch adds the thing.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, ObjectProperty, OptionProperty, StringProperty

from kiosk.rules.place_drawing import Level, PlaceDrawing
from kiosk.rules.shop_things.forms import Ask, Field, Thing, Value, fields_of, next_field
from kiosk.rules.shop_things.making import MOST_DRAWERS, MOST_SLOTS, ThingFault
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.outcomes_shown import for_heat
from kiosk.screens.parts.choice import Choice, Pick
from kiosk.screens.questions import setting_up as asks
from kiosk.screens.shop.field_words import choice_words, question, value_words
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import t

REASONS = ("measured_again", "typed_wrong", "rebuilt", "other_name")
FEWER_DRAWERS, MORE_DRAWERS, FEWER_SLOTS, MORE_SLOTS = "drawer-", "drawer+", "slot-", "slot+"


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    CHOICE = "choice"
    TEXT = "text"
    FIGURE = "figure"
    DRAWERS = "drawers"
    ALL = "all"
    COLD = "cold"
    REASON = "reason"


class EnterScreen(View):
    """`key`: what is changed, or "" for something new."""

    name = "enter"
    rail = "shop"
    covers = Covers.RAIL
    stays = True  # a form half filled is not thrown away because somebody looks for a ruler

    page = OptionProperty(Page.ALL, options=list(Page))
    title = StringProperty()
    asked = StringProperty()
    rows = ListProperty()
    options = ListProperty()
    bound = ObjectProperty(None, allownone=True)
    optional = BooleanProperty(False)  # the figure asked for may be left empty
    picture = ObjectProperty(None, allownone=True)
    drawn = StringProperty()  # what the drawing shows, in words
    new = BooleanProperty(True)
    trouble = StringProperty()
    for_heat = BooleanProperty(False)  # that is why

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._thing = Thing.BENCH
        self._key = ""
        self._answers: dict[str, Value] = {}
        self._field: Field | None = None
        self._way: list[str] = []  # fields as they were asked
        self._why = False
        self._whole = False  # every question that is needed was answered once
        self._drawers: list[int] = []

    def shown(self, thing: str = "", key: str = "", **_: Any) -> None:
        """Without a `thing`, after a PIN: go on with what was begun."""
        if thing:
            self._thing, self._key, self.new = Thing(thing), key, not key
        self.title, self.trouble, self.rows = t(f"thing.{self._thing.value}"), "", []
        self._answers, self._way, self._whole = {}, [], bool(self._key)
        self.page = Page.ALL
        begins = asks.known(self._thing, self._key) if self._key else asks.ready(self._thing)
        self.clerk.ask(begins, self._began, self._failed)

    def left(self) -> None:
        self.ids.text.end()

    def scanned(self, text: str) -> bool:
        """While somebody answers nothing else is taken in."""
        return bool(self.clerk.not_taken(text))

    def _began(self, ready: asks.Ready) -> None:
        if ready.locked:
            self.clerk.go("pin", goal=self.name, thing=self._thing.value, key=self._key)
            return
        self._answers, self._why = dict(ready.answers), ready.why
        self._next()

    # One question after the other -------------------------------------------------------------------------------

    def _next(self) -> None:
        """The next question that is needed; else the list of all."""
        field = next_field(self._thing, self._answers)
        if field is not None and field.name == "name":  # nobody types what can be said of it already
            self._answers["name"] = self._named()
            field = next_field(self._thing, self._answers)
        if field is not None:
            self._ask(field)
        else:
            self._show_all()

    def _named(self) -> str:
        try:
            return asks.named(self._thing, self._answers)
        except ThingFault:
            return self.title

    def _ask(self, field: Field) -> None:
        self._field, self.trouble = field, ""
        self._way.append(field.name)
        self.asked = question(field)
        value = self._answers.get(field.name)
        if field.ask in (Ask.CHOICE, Ask.YES_NO):
            keys = field.options if field.ask is Ask.CHOICE else ("yes", "no")
            now = value_words(field, value) if value is not None else ""
            said = t("enter.chosen" if self.new else "settings.in_use")
            self.options = [
                Pick(key, name, said if name == now else "", name == now)
                for key, name in ((key, choice_words(field, key)) for key in keys)
            ]
            self.page = Page.CHOICE
        elif field.ask is Ask.FIGURE:
            self.bound, self.optional = field.bound, not field.needed
            self.ids.figure.text = ""
            self.page = Page.FIGURE
        elif field.ask is Ask.DRAWERS:
            self._drawers = list(value) if isinstance(value, tuple) and value else [1]
            self._draw()
            self.page = Page.DRAWERS
        else:
            self.page = Page.TEXT
            self.ids.text.begin(str(value or ""))

    def answer(self, value: Value) -> None:
        """The question in sight is answered."""
        field = self._field
        if field is None:
            return
        self.ids.text.end()
        if field.ask is Ask.YES_NO:
            value = value == "yes"
        elif field.ask is Ask.TEXT and not value:
            self._answers.pop(field.name, None)
            self._next()
            return
        self._answers[field.name] = value
        self._next()

    def empty(self) -> None:
        """The figure asked for is not known, or no longer."""
        if self._field is not None:
            self._answers.pop(self._field.name, None)
            self._next()

    def back(self) -> None:
        """The question before, or out."""
        self.ids.text.end()
        if self.page in (Page.COLD, Page.REASON):
            self.page = Page.ALL
        elif self.page != Page.ALL and self._whole:
            self._show_all()
        elif self.page != Page.ALL and len(self._way) > 1:
            self._way.pop()
            self._answers.pop(self._way.pop(), None)
            self._next()
        else:
            self.clerk.go("things", what=self._thing.value)

    # The drawing that grows -------------------------------------------------------------------------------------

    def grow(self, act: str) -> None:
        """A drawer or a slot more or less; drawers come and go at the bottom, slots in the last of them."""
        drawers = self._drawers
        if act == MORE_DRAWERS and len(drawers) < MOST_DRAWERS:
            drawers.append(drawers[-1])
        elif act == FEWER_DRAWERS and len(drawers) > 1:
            drawers.pop()
        elif act == MORE_SLOTS and drawers[-1] < MOST_SLOTS:
            drawers[-1] += 1
        elif act == FEWER_SLOTS and drawers[-1] > 0:
            drawers[-1] -= 1
        self._draw()

    def _draw(self) -> None:
        drawers = self._drawers
        last = len(drawers)
        self.drawn = t("enter.drawn", drawer=last, count=drawers[-1])
        front = Level(tuple(str(at + 1) for at in range(last)), last - 1, stacked=True)
        slots = drawers[-1]
        names = tuple(f"{last}-{at:02}" for at in range(1, slots + 1))
        self.picture = PlaceDrawing((front, Level(names, slots - 1, stacked=False)) if slots else (front,))
        keys = (MORE_SLOTS, FEWER_SLOTS, MORE_DRAWERS, FEWER_DRAWERS)
        self.options = [Choice(key, t(f"enter.grow.{name}")) for key, name in zip(keys, _GROWS, strict=True)]

    def drawers_done(self) -> None:
        """The cabinet is as it stands."""
        self.answer(tuple(self._drawers))

    # All of it --------------------------------------------------------------------------------------------------

    def _show_all(self) -> None:
        self._whole, self._field = True, None
        fields = fields_of(self._thing, self._answers)
        self.rows = [
            Choice(field.name, t(f"field.{field.name}"), value_words(field, self._answers.get(field.name)))
            for field in fields
        ]
        self.page = Page.ALL

    def touch(self, choice: Choice) -> None:
        """Answer one question anew."""
        field = next(each for each in fields_of(self._thing, self._answers) if each.name == choice.key)
        self._ask(field)

    def done(self) -> None:
        """All answers are right."""
        if not self.new:
            if self._why:
                self.options = [Choice(reason, t(f"enter.reason.{reason}")) for reason in REASONS]
                self.page = Page.REASON
            else:
                self._change(t("enter.while_setting_up"))
        elif self._thing is Thing.HOLDER:
            self.page = Page.COLD
        else:
            self._add(stood_cold=False)

    def cold(self, stood_cold: bool) -> None:
        """Whether nobody heated the new holder within the last day."""
        self._add(stood_cold=stood_cold)

    def take_reason(self, choice: Choice) -> None:
        """Why it is changed."""
        self._change(choice.text)

    def _add(self, *, stood_cold: bool) -> None:
        self.clerk.ask(asks.add(self._thing, dict(self._answers), stood_cold), self._entered, self._failed)

    def _change(self, reason: str) -> None:
        self.clerk.ask(asks.change(self._thing, self._key, dict(self._answers), reason), self._entered, self._failed)

    def _entered(self, entered: asks.Entered) -> None:
        self.clerk.play(Sound.HOT if entered.alike_hot else Sound.DONE)
        self.clerk.go("things", what=self._thing.value, entered=entered, new=self.new)

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        self.page = Page.ALL
        self.trouble, self.for_heat = fault_words(error), for_heat(error)


_GROWS = ("more_slots", "fewer_slots", "more_drawers", "fewer_drawers")

load_beside(__file__)
