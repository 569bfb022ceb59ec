"""What the shop has, by kinds: a list of each, with the way to add, change, copy, label, retire and bring back.

Everything of it is asked on the screen `enter` or done by the desk; a place, and every change, is a supervisor's once
the shop has one with a PIN.
"""

from __future__ import annotations

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

from kiosk.rules.shop_things.forms import Thing, fields_of
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.outcomes_shown import counts_as_hot, for_heat
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions import common
from kiosk.screens.questions import setting_up as asks
from kiosk.screens.shop.field_words import value_words
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import t

GROUPS = {
    "stations": (Thing.BENCH, Thing.SHRINK, Thing.COOLING, Thing.PRESETTER, Thing.OUT),
    "cabinets": (Thing.CABINET,),
    "machines": (Thing.MACHINE,),
    "cutters": (Thing.CUTTER,),
    "holders": (Thing.HOLDER,),
}
ELSEWHERE = ("people", "labels", "bring_in", "first")  # what has a screen of its own
REASONS = ("sold", "scrapped", "entered_twice", "rebuilt")
BACK_REASONS = ("found_again", "not_gone", "repaired")
CHANGE, MORE, LABEL, RETIRE, GRIND, BACK = "change", "more", "label", "retire", "grind", "back"
GROUND = ("dc_mm", "oal_mm")  # what regrinding takes away from


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    MENU = "menu"
    LIST = "list"
    GONE = "gone"
    KIND = "kind"
    ONE = "one"
    COUNT = "count"
    GRIND = "grind"
    COLD = "cold"
    REASON = "reason"
    ANSWER = "answer"


class ThingsScreen(View):
    """The menu; a list; what is gone; which kind is new; one thing; how many more; why it goes; what was done."""

    name = "things"
    rail = "shop"
    covers = Covers.RAIL

    page = OptionProperty(Page.MENU, options=list(Page))
    title = StringProperty()
    choices = ListProperty()
    facts = ListProperty()
    options = ListProperty()
    asked = StringProperty()
    bound = ObjectProperty(None, allownone=True)
    entered = StringProperty()
    gone = NumericProperty(0)  # of the kind in the list, out of use
    why = StringProperty()  # the question a reason is asked by
    labels = NumericProperty(0)  # that are new with what was entered last
    hot = BooleanProperty(False)  # what was entered, or one that it may be taken for
    trouble = StringProperty()
    for_heat = BooleanProperty(False)  # that is why

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._group = "stations"
        self._thing = Thing.BENCH
        self._key = ""
        self._found: dict[str, asks.Listed] = {}
        self._count = 1
        self._reason_for = RETIRE
        self._answers: dict[str, Any] = {}
        self._ground: dict[str, float | None] = {}

    @property
    def stays(self) -> bool:
        """What was typed already waits for the next answer."""
        return self.page == Page.COLD or (self.page == Page.GRIND and bool(self._ground))

    def shown(
        self,
        what: str = "",
        entered: asks.Entered | None = None,
        new: bool = True,
        act: str = "",
        key: str = "",
        **_: Any,
    ) -> None:
        """`what`: a group, or a thing of it.  entered: what came of a form.  act: what a PIN was given for."""
        self.trouble = ""
        if not what:
            self.menu()
            return
        self._group = what if what in GROUPS else _group_of(Thing(what))
        if what not in GROUPS:
            self._thing = Thing(what)
        if act:
            self._key = key
            self._act(act)
        elif entered is not None:
            self._entered(entered, new)
        else:
            self.open(self._group)

    def scanned(self, text: str) -> bool:
        """While somebody answers nothing else is taken in."""
        return self.page in (Page.COUNT, Page.GRIND, Page.COLD, Page.REASON) and bool(self.clerk.not_taken(text))

    def menu(self) -> None:
        """What there is to be set up."""
        self.options = [Choice(name, t(f"things_screen.menu.{name}")) for name in (*GROUPS, *ELSEWHERE)]
        if self.clerk.begin_own is not None:  # whoever looks around in the demo shop goes back from where one begins
            self.options[-1] = Choice(ELSEWHERE[-1], t("first.begin"))
        self.page = Page.MENU

    def open(self, what: str) -> None:
        """One kind of thing."""
        match what:
            case "first" if self.clerk.begin_own is not None:
                self.clerk.begin_own()
            case "people" | "first" | "bring_in":
                self.clerk.go(what)
            case "labels":
                self.clerk.go("labels", new=True)
            case _:
                self._group, self.title = what, t(f"things_screen.menu.{what}")
                self.clerk.ask(asks.listed(GROUPS[what]), self._listed, self._failed)

    def _listed(self, known: asks.Known) -> None:
        self._found = {each.key: each for each in known.found}
        several = len(GROUPS[self._group]) > 1
        self.choices = [
            Choice(each.key, each.name, t(f"thing.{each.thing.value}") if several else _inside(each))
            for each in known.found
        ]
        self.gone = known.gone
        self.page = Page.LIST

    # Something that is gone -------------------------------------------------------------------------------------

    def show_gone(self) -> None:
        """What of this kind is out of use."""
        self.clerk.ask(asks.gone(GROUPS[self._group]), self.list_gone, self._failed)

    def list_gone(self, found: tuple[asks.Listed, ...]) -> None:
        """Show it."""
        self._found = {each.key: each for each in found}
        self.options = [Choice(each.key, each.name, t(f"thing.{each.thing.value}")) for each in found]
        self.page = Page.GONE

    def choose_gone(self, choice: Choice) -> None:
        """It is in use again, if a supervisor says so."""
        listed = self._found[choice.key]
        self._key, self._thing, self.title = listed.key, listed.thing, listed.name
        self.clerk.ask(asks.door(), lambda ready: self._may(BACK, ready), self._failed)

    def _back_again(self, reason: str) -> None:
        self.clerk.ask(asks.bring_back(self._thing, self._key, reason), self._is_back, self._failed)

    def _is_back(self, entered: asks.Entered) -> None:
        self._tell(entered, t("things_screen.is_back", name=entered.name))

    def back(self) -> None:
        """One page back, or out."""
        self.trouble = ""
        if self.page == Page.MENU:
            self.clerk.go("shop")
        elif self.page == Page.LIST:
            self.menu()
        elif self.page == Page.REASON and self._reason_for == BACK:
            self.show_gone()
        elif self.page in (Page.COUNT, Page.GRIND, Page.COLD, Page.REASON):
            self.page = Page.ONE
        else:
            self.open(self._group)

    # Something new ----------------------------------------------------------------------------------------------

    def add(self) -> None:
        """One more of this kind."""
        kinds = GROUPS[self._group]
        if len(kinds) == 1:
            self.clerk.go("enter", thing=kinds[0].value)
            return
        self.options = [Choice(kind.value, t(f"thing.{kind.value}")) for kind in kinds]
        self.page = Page.KIND

    def kind(self, key: str) -> None:
        """Which of the stations is new."""
        self.clerk.go("enter", thing=key)

    def another(self) -> None:
        """The same question once more."""
        self.add()

    def print_new(self) -> None:
        """All labels that are new, as one batch."""
        self.clerk.go("labels", new=True)

    # One of them ------------------------------------------------------------------------------------------------

    def choose(self, choice: Choice) -> None:
        """One thing."""
        listed = self._found[choice.key]
        self._key, self._thing, self.title = listed.key, listed.thing, listed.name
        self.clerk.ask(asks.draft(self._thing, self._key), self._one, self._failed)

    def _one(self, answers: dict[str, Any]) -> None:
        self._answers = answers
        known = [field for field in fields_of(self._thing, answers) if field.name in answers and field.name != "name"]
        self.facts = [
            Choice(field.name, t(f"field.{field.name}"), value_words(field, answers[field.name])) for field in known
        ]
        acts = (CHANGE, MORE, LABEL, RETIRE) if self._thing is not Thing.CUTTER else (CHANGE, GRIND, MORE, RETIRE)
        self.options = [Choice(act, t(f"things_screen.do.{act}")) for act in acts]
        self.page = Page.ONE

    def do(self, act: str) -> None:
        """A button of the thing's was touched."""
        if act == CHANGE:
            self.clerk.go("enter", thing=self._thing.value, key=self._key)
        elif act == LABEL:
            self._label()
        elif act == GRIND:
            self._grind({})
        else:
            self.clerk.ask(asks.known(self._thing, self._key), lambda ready: self._may(act, ready), self._failed)

    def _label(self) -> None:
        if self._thing is Thing.HOLDER:
            self.clerk.go("holder", key=self._key)
        elif self._thing in (Thing.CABINET, Thing.MACHINE):
            self.clerk.go("labels", inside=self._key)
        else:
            self.clerk.ask(common.code_of(self._key), lambda code: self.clerk.go("labels", code=code), self._failed)

    def _may(self, act: str, ready: asks.Ready) -> None:
        """Go on, or ask for a PIN first."""
        if ready.locked and (act in (RETIRE, BACK) or self._thing.is_place):
            self.clerk.go("pin", goal=self.name, what=self._thing.value, act=act, key=self._key)
        elif act in (RETIRE, BACK) and not ready.why:
            self._reason_for = act
            self.take_reason(Choice("", t("enter.while_setting_up")))
        else:
            self._act(act)

    def _act(self, act: str) -> None:
        if act == MORE:
            self.ids.count.text = ""
            self.page = Page.COUNT
        else:
            self._reason_for = act
            reasons = BACK_REASONS if act == BACK else REASONS
            self.why = t("things_screen.why_back" if act == BACK else "things_screen.why", name=self.title)
            self.options = [Choice(reason, t(f"things_screen.reason.{reason}")) for reason in reasons]
            self.page = Page.REASON

    def _grind(self, ground: dict[str, float | None]) -> None:
        """The next figure of a reground cutter, at most what it had; then it is written down."""
        self._ground = ground
        left = [name for name in GROUND if name not in ground]
        if not left:
            question = asks.reground(self._key, ground["dc_mm"], ground["oal_mm"])
            self.clerk.ask(question, lambda name: self._say(t("things_screen.reground", name=name), 0), self._failed)
            self.page = Page.ONE
            return
        field = next(each for each in fields_of(Thing.CUTTER, self._answers) if each.name == left[0])
        had = float(self._answers[left[0]])
        self.asked = t("things_screen.grind_now", figure=t(f"field.{left[0]}"), had=had)
        self.bound = field.bound._replace(most=had) if field.bound else None
        self.ids.grind.text = ""
        self.page = Page.GRIND

    def ground(self, value: float | None) -> None:
        """A figure as it is after grinding; None: as it was."""
        name = next(each for each in GROUND if each not in self._ground)
        self._grind({**self._ground, name: value})

    def copies(self, count: float) -> None:
        """So many more like this one."""
        self._count = int(count)
        if self._thing is Thing.HOLDER:
            self.page = Page.COLD
        else:
            self.cold(False)

    def cold(self, stood_cold: bool) -> None:
        """Whether nobody heated any of them within the last day."""
        question = asks.copy(self._thing, self._key, self._count, stood_cold)
        self.clerk.ask(question, lambda entered: self._entered(entered, True), self._failed)

    def take_reason(self, choice: Choice) -> None:
        """Why it is gone, or why it is back."""
        if self._reason_for == BACK:
            self._back_again(choice.text)
        else:
            self._retire(choice.text)

    def _retire(self, reason: str) -> None:
        self.clerk.ask(asks.retire(self._thing, self._key, reason), lambda _: self._gone(), self._failed)

    def _gone(self) -> None:
        self._say(t("things_screen.gone", name=self.title), 0)

    def _entered(self, entered: asks.Entered, new: bool) -> None:
        self._tell(entered, t("things_screen.added" if new else "things_screen.changed", name=entered.name))

    def _tell(self, entered: asks.Entered, words: str) -> None:
        """Say what was done; of a holder once it is known how warm it counts."""
        if entered.alike_hot:
            self._say(words, entered.labels, hot=True)
            self.trouble, self.for_heat = t("register.alike_hot", name=entered.alike_hot), True
        elif self._thing is Thing.HOLDER:
            question = common.holder(entered.key)
            self.clerk.ask(question, lambda card: self._say(words, entered.labels, counts_as_hot(card)), self._failed)
        else:
            self._say(words, entered.labels)

    def _say(self, words: str, labels: int, hot: bool = False) -> None:
        self.clerk.play(Sound.DONE)
        self.entered, self.labels, self.hot = words, labels, hot
        self.page = Page.ANSWER

    def to_list(self) -> None:
        """Back to the list."""
        self.open(self._group)

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        self.trouble, self.for_heat = fault_words(error), for_heat(error)


def _group_of(thing: Thing) -> str:
    return next(name for name, things in GROUPS.items() if thing in things)


def _inside(listed: asks.Listed) -> str:
    return t("labels.inside", count=listed.inside + 1) if listed.inside else ""


load_beside(__file__)
