"""The first steps of a new kiosk: language, what stands beside it, panel and camera, and somebody who answers for it.

One question a page; each can be left out, and whoever comes back goes on where it was left.  Then there is a demo shop
to look around in, or one's own to begin.  Where this tablet replaces another, the first page leads to that one's
backup at once: nothing is written before, so that the settings kept beside the backup come with it.
"""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Any

from kivy.properties import BooleanProperty, ListProperty, NumericProperty, OptionProperty, StringProperty

from kiosk.rules.panel import px_per_mm
from kiosk.rules.shop_things.forms import Thing
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts import card_marks as card_marks
from kiosk.screens.parts.choice import Choice
from kiosk.screens.parts.live import LivePicture
from kiosk.screens.questions import first as asks
from kiosk.screens.sounds import Sound
from kiosk.screens.theme import look
from kiosk.screens.view import Covers, View
from kiosk.words import LANGUAGES, own_name, t

if TYPE_CHECKING:
    from kiosk.screens.camera import Aim

QUARTER_DEG = 90
_REPLACES = "replaces"


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    LANGUAGE = "language"
    STANDS = "stands"
    AT = "at"
    PANEL = "panel"
    CAMERA = "camera"
    SUPERVISOR = "supervisor"
    END = "end"


class FirstScreen(View):
    """`live`, `absent`, `lost` and `hint` are what the camera shows itself by, as on the scan screen."""

    name = "first"
    rail = "shop"
    covers = Covers.RAIL
    stays = True  # a new kiosk is put up between other work, and goes on where it was left

    page = OptionProperty(Page.LANGUAGE, options=list(Page))
    count = NumericProperty(1)  # of the page in sight, among the `counts` that are asked
    counts = NumericProperty(6)
    options = ListProperty()
    places = ListProperty()  # where the kiosk may stand
    any_there = BooleanProperty(False)  # something was touched on the page of what stands here
    own = BooleanProperty(True)  # there is a demo shop to look around in, and this is not it
    absent = StringProperty()
    lost = BooleanProperty(False)
    hint = StringProperty()
    trouble = StringProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._turned_deg, self._mirrored = 0.0, False
        self._next_things = ""
        self._supervisor = ""  # the name of whoever was about to choose a PIN
        self._stations = False  # there is a place where the kiosk may stand, so that it is asked where it does
        self._there: set[str] = set()  # what was touched on the page of what stands here

    @property
    def live(self) -> LivePicture:
        live: LivePicture = self.ids.live
        return live

    def shown(self, step: str = "", **_: Any) -> None:
        """`step`: the one to go on with, after a PIN was chosen."""
        self.trouble = ""
        self.own = self.clerk.look_around is not None
        if step:
            self._supervisor = ""  # who has one now
            self._go(step)
        else:
            self.clerk.ask(asks.far(), self._far, self._failed)

    def left(self) -> None:
        self.ids.name.end()
        if self.clerk.eye is not None:
            self.clerk.eye.move(self.clerk.screen("scan"))

    def scanned(self, text: str) -> bool:
        """A new kiosk is put up first: nothing is taken in, and that is said."""
        return bool(self.clerk.not_taken(text))

    def aimed(self, aim: Aim) -> None:
        """The reader says where a symbol is; here only the picture is looked at."""

    def _far(self, far: asks.Far) -> None:
        self._turned_deg, self._mirrored = far.camera.rotation_deg, far.camera.mirrored
        self._stations, self._there, self._next_things = far.stations, set(far.there), far.next_thing
        self._supervisor = far.supervisor
        self._show(far.step if far.step in list(Page) else Page.LANGUAGE)

    def _asked(self) -> list[str]:
        """The steps that are asked here, in their order."""
        return [step for step in asks.STEPS if step != Page.AT or self._stations]

    def _show(self, step: str) -> None:
        self.trouble = ""
        self.page = step
        self._count()
        if step == Page.LANGUAGE:
            five = look.wide  # stand side by side then, and the words need all of a key
            replaces = Choice(_REPLACES, t("put_back.key"), sign="" if five else "stick")
            self.options = [*(Choice(each, own_name(each)) for each in LANGUAGES), replaces]
        elif step == Page.STANDS:
            self._show_things()
        elif step == Page.AT:
            self.places = []
            self.clerk.ask(asks.stations(), self.stations, self._failed)
        elif step == Page.SUPERVISOR:
            self.ids.name.begin(self._supervisor)
        if self.clerk.eye is not None:
            self.clerk.eye.move(self if step == Page.CAMERA else self.clerk.screen("scan"))

    def _count(self) -> None:
        asked = self._asked()
        self.counts = len(asked) - 1  # the end asks nothing
        if self.page in asked:
            self.count = asked.index(self.page) + 1

    def _go(self, step: str) -> None:
        self.clerk.ask(asks.reached(step), lambda _: self._show(step), self._failed)

    def skip(self) -> None:
        """This question can wait."""
        asked = self._asked()
        later = [step for step in asked if asks.STEPS.index(step) > asks.STEPS.index(self.page)]
        self._go(later[0] if later else asked[-1])

    def back(self) -> None:
        """The question before; from the first one, to where everybody scans."""
        self.ids.name.end()
        earlier = [step for step in self._asked() if asks.STEPS.index(step) < asks.STEPS.index(self.page)]
        if earlier:
            self._go(earlier[-1])
        else:
            self.clerk.go("scan")

    # The questions ----------------------------------------------------------------------------------------------

    def speak(self, language: str) -> None:
        """This language: the window is built anew in it, and goes on with the next question; or the kiosk's backup."""
        if language == _REPLACES:
            self.clerk.go("health", putting_back_from=self.name)
            return
        self.clerk.ask(
            asks.setting("kiosk", "language", language, Page.STANDS), lambda _: self._show(Page.STANDS), self._failed
        )

    def stands(self, kind: str) -> None:
        """This stands beside the kiosk: it is there now, or asked for after the first steps."""
        self.clerk.ask(asks.stands(Thing(kind)), lambda _: self._stand(kind), self._failed)

    def _stand(self, kind: str) -> None:
        self.clerk.play(Sound.DONE)
        if Thing(kind) in asks.AT_ONCE:
            self._stations = True
        elif kind not in self._there:
            self._next_things = self._next_things or kind
        self._there.add(kind)
        self._count()
        self._show_things()

    def _show_things(self) -> None:
        self.any_there = bool(self._there)
        self.options = [
            Choice(thing.value, t(f"thing.{thing.value}"), t("first.there") if thing.value in self._there else "")
            for thing in (*asks.AT_ONCE, *asks.ASKED)
        ]

    def stations(self, found: tuple[tuple[str, str], ...]) -> None:
        """Show where the kiosk may stand; where there is no place yet, that is not asked."""
        if self.page != Page.AT:
            return
        if not found:
            self._stations = False
            self.skip()
            return
        self.places = [Choice("", t("first.at_none"), t("first.at_note")), *(Choice(*each) for each in found)]

    def stands_at(self, choice: Choice) -> None:
        """The kiosk stands there."""
        self.clerk.ask(asks.stands_at(choice.key), lambda _: self._show(Page.PANEL), self._failed)

    def measured(self) -> None:
        """The marks stand at the edges of the card."""
        found = px_per_mm(self.ids.marks.apart)
        if found is None:
            self.trouble = t("first.no_card")
            self.clerk.play(Sound.REFUSED)
            return
        question = asks.setting("kiosk", "px_per_mm", f"{found:g}", Page.CAMERA)
        self.clerk.ask(question, lambda _: self._show(Page.CAMERA), self._failed)

    def turn(self) -> None:
        """The camera hangs the other way."""
        self._turned_deg = (self._turned_deg + QUARTER_DEG) % 360
        self.clerk.ask(asks.setting("camera", "rotation_deg", f"{self._turned_deg:g}", Page.CAMERA), None, self._failed)

    def mirror(self) -> None:
        """Left is right."""
        self._mirrored = not self._mirrored
        value = "yes" if self._mirrored else "no"
        self.clerk.ask(asks.setting("camera", "mirrored", value, Page.CAMERA), None, self._failed)

    def named(self, name: str) -> None:
        """Who answers for the kiosk; then a PIN is chosen."""
        if not name:
            self.trouble = t("people.no_name")
            return
        self.clerk.ask(asks.named(name), lambda alone: self._named(name, alone), self._failed)

    def _named(self, name: str, alone: bool) -> None:
        if not alone:
            self.trouble = t("people.same_name")
            self.clerk.play(Sound.REFUSED)
            return
        self.ids.name.end()
        self._supervisor = name
        self.clerk.go("pin", goal=self.name, newcomer=name, step=str(Page.END))

    # The end ----------------------------------------------------------------------------------------------------

    def look_around(self) -> None:
        """The demo shop, in a folder of its own."""
        if self.clerk.look_around is not None:
            self.clerk.look_around()

    def begin(self) -> None:
        """The shop's own."""
        self.clerk.ask(asks.finished(), None, self._failed)
        if self._next_things:
            self.clerk.go("things", what=self._next_things)
        else:
            self.clerk.go("things")

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        self.trouble = fault_words(error)


load_beside(__file__)
