"""Files out: the whole shop, the tools for another program, or the file a control reads, onto a stick or a folder."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Any

from kivy.properties import ListProperty, OptionProperty, StringProperty

from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.parts.marked import Marked
from kiosk.screens.press import Press
from kiosk.screens.questions import put_out as asks
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import t

SHOP, TABLE, ASSETS, OFFSETS = "shop", "table", "assets", "offsets"


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    WHAT = "what"
    LIST = "list"
    GOALS = "goals"
    BUSY = "busy"
    ANSWER = "answer"


class PutOutScreen(View):
    """What goes out; for which machine and by which template; where to; what was written."""

    name = "put_out"
    rail = "shop"
    covers = Covers.RAIL

    page = OptionProperty(Page.WHAT, options=list(Page))
    title = StringProperty()
    options = ListProperty()
    places = ListProperty()  # where it can be put
    busy = StringProperty()
    answer = StringProperty()
    trouble = StringProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._press = Press()
        self._asked = 0  # what is waited for
        self._offer: asks.Offer | None = None
        self._what = SHOP
        self._machine = ""
        self._template = Path()

    def shown(self, act: str = "", **_: Any) -> None:
        """`act`: what a PIN was given for."""
        self.clerk.ask(asks.offer(), lambda offer: self._offered(offer, act), self._failed)

    def _offered(self, offer: asks.Offer, act: str) -> None:
        self.show(offer)
        if act:
            self._what = act
            self._where_to()

    def left(self) -> None:
        self._asked += 1

    def back(self) -> None:
        """One page back, or out."""
        self._asked += 1
        self._press.cancel()
        if self.page == Page.WHAT:
            self.clerk.go("bring_in")
        elif self._offer is not None:
            self.show(self._offer)

    def show(self, offer: asks.Offer) -> None:
        """What can go out."""
        self._offer, self.trouble, self._machine = offer, "", ""
        wanted = (SHOP, TABLE, ASSETS, *((OFFSETS,) if offer.machines else ()))
        self.options = [Choice(what, t(f"put_out.{what}")) for what in wanted]
        self.page = Page.WHAT

    def choose(self, what: str) -> None:
        """This."""
        self._what = what
        if what == OFFSETS and self._offer is not None:
            self.title = t("setup_sheet.which")
            self.options = [Choice(name, name) for name in self._offer.machines]
            self.page = Page.LIST
        elif what == SHOP:
            self.clerk.ask(asks.needs_pin(), self._may, self._failed)
        else:
            self._where_to()

    def _may(self, locked: bool) -> None:
        """Everybody's badge goes out with the shop."""
        if locked:
            self.clerk.go("pin", goal=self.name, act=SHOP)
        else:
            self._where_to()

    def take(self, choice: Choice) -> None:
        """A machine, then a template."""
        if self._machine or self._offer is None:
            self._template = Path(choice.key)
            self._where_to()
        else:
            self._machine, self.title = choice.key, t("put_out.template")
            self.options = [_template(each) for each in self._offer.templates]

    def _where_to(self) -> None:
        if self._offer is not None:
            data = self._offer.data
            self._busy(t("bring_in.looking"))
            self._press.run(lambda *_: asks.goals(data), self._only(self.goals), self._only(self._failed))

    def goals(self, goals: tuple[Path, ...]) -> None:
        """Where it can be put."""
        self.places = [
            Marked(str(goal), t("bring_in.own_folder") if goal.name == asks.EXPORTS else goal.parent.name, goal.name)
            for goal in goals
        ]
        self.page = Page.GOALS

    def put(self, row: Marked) -> None:
        """There."""
        goal = Path(row.key)
        self._busy(t("bring_in.putting"))
        if self._what == SHOP:
            self.clerk.ask(asks.shop(), self._only(lambda shop: self._keep_shop(goal, shop)), self._only(self._failed))
            return
        by_template = self._what == OFFSETS
        made = asks.offsets(self._machine, self._template) if by_template else asks.table(self._what == ASSETS)
        self.clerk.ask(made, self._only(lambda made: self._keep(goal, made)), self._only(self._failed))

    def _keep_shop(self, goal: Path, shop: asks.ShopData) -> None:
        self._press.run(
            lambda _, cancelled: asks.keep_shop(goal, shop, cancelled),
            self._only(lambda goal: self._whole(goal, shop.without_badges)),
            self._only(self._failed),
        )

    def _keep(self, goal: Path, made: asks.Made) -> None:
        self._press.run(lambda *_: asks.keep(goal, made), self._only(self._kept), self._only(self._failed))

    def _whole(self, goal: Path, without_badges: bool) -> None:
        said = t("bring_in.put", folder=f"{goal.parent.name}/{goal.name}")
        self._done(f"{said}. {t('put_out.without_badges')}" if without_badges else said)

    def _kept(self, path: Path) -> None:
        self._done(t("put_out.kept", file=f"{path.parent.name}/{path.name}"))

    def _done(self, words: str) -> None:
        self.clerk.play(Sound.DONE)
        self.answer = words
        self.page = Page.ANSWER

    def _busy(self, words: str) -> None:
        self._asked += 1
        self.busy = words
        self.page = Page.BUSY

    def _only(self, then: Any) -> Any:
        """What is done with an answer that somebody still waits for."""
        asked = self._asked
        return lambda answer: then(answer) if asked == self._asked else None

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        if self._offer is not None:
            self.show(self._offer)
        self.trouble = fault_words(error)


def _template(each: asks.Template) -> Choice:
    """What came along says what it is for; what the shop wrote itself is called as its file."""
    if each.sample:
        return Choice(str(each.path), t(f"put_out.template_of.{each.sample}"), each.path.name)
    return Choice(str(each.path), each.path.stem)


load_beside(__file__)
