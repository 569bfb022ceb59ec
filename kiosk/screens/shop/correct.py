"""The book is wrong about a holder: a figure of it, where it stands, its label, or the pocket that is kept for it.

Every correction but a new label, a tool number and its own pocket takes a supervisor and a reason, which stay in the
book beside what it said before.  What may not stand somewhere is refused here as it is at a scan, and figures that a
hold rests on stay as they are.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, ObjectProperty, OptionProperty, StringProperty

from kiosk.rules.assembly import Holder
from kiosk.rules.bounds_of_lines import BOUNDS
from kiosk.rules.cards import HolderCard, PlaceCard
from kiosk.rules.lines import ToolNumbered
from kiosk.rules.outcomes import Refused
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.outcomes_shown import counts_as_hot, for_heat
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions import Question, common
from kiosk.screens.questions import shop as asks
from kiosk.screens.shop.register import FIGURES
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import grouped, say, t

PLACE, NEW_LABEL, RETIRE_LABEL, NUMBER, POCKET = "place", "new_label", "retire_label", "number", "pocket"
_REASONS = {PLACE: ("seen_there", "not_there"), RETIRE_LABEL: ("lost", "unreadable", "wrong_holder")}
_FIGURE_REASONS = ("measured_again", "typed_wrong", "reworked")


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    WHAT = "what"
    FIGURE = "figure"
    PLACE = "place"
    REASON = "reason"
    ANSWER = "answer"


class CorrectScreen(View):
    """What is wrong; what is right; why; what was done."""

    name = "correct"
    rail = "find"
    covers = Covers.RAIL
    signs_in = True

    page = OptionProperty(Page.WHAT, options=list(Page))
    title = StringProperty()
    wrong = ListProperty()
    reasons = ListProperty()
    figure_name = StringProperty()
    now = StringProperty()  # what it is as yet
    bound = ObjectProperty(None, allownone=True)
    numbers = BooleanProperty(False)  # the figure asked for is the tool number
    of_pocket = BooleanProperty(False)  # the place asked for is the pocket that is kept for it
    told = StringProperty()  # what the book will say
    done = StringProperty()
    hot = BooleanProperty(False)  # what was set right is hot, or not known to be cool
    next_step = StringProperty()
    trouble = StringProperty()
    for_heat = BooleanProperty(False)  # that is why

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._key = ""
        self._card: HolderCard | None = None
        self._what = ""
        self._value_mm = 0.0
        self._place: str | None = None

    @property
    def stays(self) -> bool:
        """What was typed or scanned waits for its reason."""
        return self.page == Page.REASON

    def shown(self, key: str = "", what: str = "", **_: Any) -> None:
        """`what`: was asked for before the PIN."""
        self._key, self._card, self.title, self.trouble = key, None, "", ""
        self.wrong = []
        self.page = Page.WHAT
        self.clerk.ask(common.holder(key), lambda card: self._known(card, what), self._failed)

    def _known(self, card: HolderCard, what: str = "") -> None:
        key = card.holder.key

        def numbered(number: int | None) -> None:
            self.clerk.ask(asks.own_pockets(key), lambda own: self.known(card, number, own, what), self._failed)

        self.clerk.ask(common.tool_number(key), numbered, self._failed)

    def known(self, card: HolderCard, number: int | None, own: Sequence[PlaceCard] = (), what: str = "") -> None:
        """Show what can be set right.  number: the tool number at the controls; own: pockets that are kept for it."""
        self._card, self.title = card, card.name
        figures = [Choice(name, t(f"register.{name}"), _length(getattr(card.holder, name))) for name in FIGURES]
        where = card.at.name if card.at else t("hot.nowhere")
        labelled = card.code != card.holder.key
        code = grouped(card.code) if labelled else t("correct.no_label")
        labels = [Choice(NEW_LABEL, t("correct.new_label"), code)]
        if labelled:
            labels.append(Choice(RETIRE_LABEL, t("correct.retire_label"), code))
        tool = Choice(NUMBER, t("correct.number"), "–" if number is None else str(number))
        kept = ", ".join(pocket.name for pocket in own) or t("correct.no_pocket")
        pocket = Choice(POCKET, t("correct.pocket"), kept)
        self.wrong = [
            Choice(PLACE, t("correct.place"), where), *labels, *figures, pocket, *((tool,) if card.assembly else ())
        ]  # fmt: skip
        if what:
            self._begin(what)

    def choose(self, what: str) -> None:
        """This is wrong."""
        key = self._key
        if what == NEW_LABEL:
            self.clerk.go("labels", fresh=key)
            return
        if what in (NUMBER, POCKET):  # what controls call it, and where it belongs, is anybody's to say
            self._begin(what)
            return
        self.clerk.ask(
            asks.supervised(),
            lambda open_: self._begin(what) if open_ else self.clerk.go("pin", goal=self.name, key=key, what=what),
            self._failed,
        )

    def _begin(self, what: str) -> None:
        self._what, self.trouble = what, ""
        if what in FIGURES or what == NUMBER:
            self.bound = BOUNDS[Holder][what] if what in FIGURES else BOUNDS[ToolNumbered]["number"]
            self.figure_name = t(f"register.{what}") if what in FIGURES else t("correct.number")
            self.now = next((t("correct.now", value=row.note) for row in self.wrong if row.key == what), "")
            self.numbers = what == NUMBER
            self.ids.entry.text = ""
            self.page = Page.FIGURE
        elif what in (PLACE, POCKET):
            self.of_pocket = what == POCKET
            self.page = Page.PLACE
        elif self._card is not None:
            self._why(t("correct.retires", code=grouped(self._card.code)))

    def number(self, number: int | None) -> None:
        """What the controls call it from now on; None: nothing."""
        self.told = t("correct.number_is", number=number) if number is not None else t("correct.no_number")
        self.clerk.ask(asks.number(self._key, number), self._answered, self._failed)

    def take(self, value_mm: float) -> None:
        """A figure was entered."""
        if self.numbers:
            self.number(int(value_mm))
            return
        self._value_mm = value_mm
        self._why(f"{self.figure_name}: {_length(value_mm)}")

    def scanned(self, text: str) -> bool:
        """The place where it stands."""
        if self.page != Page.PLACE:
            return False
        self.clerk.ask(asks.place_of(text), self._stands, self._failed)
        return True

    def _stands(self, card: PlaceCard) -> None:
        if self.of_pocket:
            self._keep(card)
            return
        self._place = card.place.code
        self._why(t("correct.stands_at", place=card.name))

    def nowhere(self) -> None:
        """It is not where the book has it, and nobody knows where it is; or no pocket is kept for it."""
        if self.of_pocket:
            self._keep(None)
            return
        self._place = None
        self._why(t("correct.nowhere"))

    def _keep(self, pocket: PlaceCard | None) -> None:
        key = self._key

        def kept(before: str | None) -> None:
            if key == self._key:  # nobody opened another holder meanwhile
                self._kept(pocket, before)

        self.clerk.ask(asks.keep_pocket(key, pocket.place.code if pocket else None), kept, self._failed)

    def _kept(self, pocket: PlaceCard | None, before: str | None) -> None:
        if pocket is None:
            self.told = t("correct.pocket_none")
        elif before is None:
            self.told = t("correct.pocket_is", place=pocket.name)
        else:
            self.told = t("correct.pocket_was", place=pocket.name, name=before)
        self._answered(None)

    def _why(self, told: str) -> None:
        self.told, self.trouble = told, ""
        reasons = _REASONS.get(self._what, _FIGURE_REASONS)
        if self._what == PLACE and self._place is None:
            reasons = ("not_there",)  # nobody can have seen it nowhere
        self.reasons = [Choice(reason, t(f"correct.reason.{reason}")) for reason in reasons]
        self.page = Page.REASON

    def take_reason(self, choice: Choice) -> None:
        """Why: written down with who said so."""
        card, reason = self._card, choice.text
        if card is None:
            return
        question: Question[Any]
        if self._what == PLACE:
            question = asks.correct_place(self._key, self._place, reason)
        elif self._what == RETIRE_LABEL:
            question = asks.retire_label(card.code, reason)
        else:
            question = asks.correct_figure(self._key, self._what, self._value_mm, reason)
        self.clerk.ask(question, self._answered, self._failed)

    def _answered(self, answer: HolderCard | Refused | None) -> None:
        if isinstance(answer, Refused):
            self.for_heat = for_heat(answer)
            self.clerk.play(Sound.HOT if self.for_heat else Sound.REFUSED)
            self.trouble = f"{say(answer.why)}. {say(answer.remedy)}"
            return
        self.clerk.play(Sound.DONE)
        self.done, self.hot = self.told, counts_as_hot(answer or self._card)
        self.next_step = t("correct.print_next") if self._what == RETIRE_LABEL else ""
        self.page = Page.ANSWER

    def label(self) -> None:
        """Print a new label; its first scan makes it the holder's."""
        self.clerk.go("labels", fresh=self._key)

    def holder(self) -> None:
        """Back to the holder."""
        self.clerk.go("holder", key=self._key)

    def back(self) -> None:
        """One step back, or out."""
        self.trouble = ""
        if self.page in (Page.WHAT, Page.ANSWER):
            self.holder()
        else:
            self.page = Page.WHAT

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        self.trouble, self.for_heat = fault_words(error), for_heat(error)


def _length(value_mm: float | None) -> str:
    return t("correct.length", value_mm=value_mm) if value_mm is not None else t("correct.not_known")


load_beside(__file__)
