"""Labels: choose a thing by scanning it, see its label at true size, print it.

A holder's new label has a new code and is the holder's only once it was scanned on the steel; the screen asks
for that scan and lets the desk bind it.  Size and queue are chosen once and kept for this kiosk.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kivy.properties import BooleanProperty, ListProperty, NumericProperty, OptionProperty, StringProperty

from kiosk.rules.cards import Command, HolderCard
from kiosk.rules.outcomes import Done, Step
from kiosk.screens.clerk import fault_words
from kiosk.screens.filewindow import opens
from kiosk.screens.kv import load_beside
from kiosk.screens.outcomes_shown import counts_as_hot
from kiosk.screens.parts.choice import Choice, ticked
from kiosk.screens.press import Press
from kiosk.screens.questions import common
from kiosk.screens.questions import labels as asks
from kiosk.screens.questions.labels import Job, LabelContent, LabelError, Made, Queue, Request, Tag
from kiosk.screens.sounds import Sound
from kiosk.screens.theme import look
from kiosk.screens.view import View
from kiosk.words import say, t

if TYPE_CHECKING:
    from kiosk.screens.clerk import Scanned

TO_FILE = ""
PATH_LINE = 26  # characters of a path in a line of a narrow window
PATH_LINE_WIDE = 46


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    CHOOSE = "choose"
    PREVIEW = "preview"
    PICK = "pick"
    BUSY = "busy"
    ANSWER = "answer"


class LabelsScreen(View):
    """Five states: choose a thing, its label, pick from a list, at work, what came of it."""

    name = "labels"
    rail = "labels"

    page = OptionProperty(Page.CHOOSE, options=list(Page))
    title = StringProperty()
    detail = StringProperty()
    advice = StringProperty()
    size_name = StringProperty()
    queue = StringProperty()
    count = NumericProperty(0)
    fresh = BooleanProperty(False)  # a new code that waits for its first scan
    for_holder = BooleanProperty(False)
    good = BooleanProperty(True)
    hot = BooleanProperty(False)  # what a label is for is hot, or not known to be cool
    answer = StringProperty()
    answer_more = StringProperty()
    folder = StringProperty()  # where that file lies
    file = BooleanProperty(False)  # labels were written to a file, which can be opened
    stuck = BooleanProperty(False)  # labels were printed, and have to be stuck on
    again = BooleanProperty(False)  # the last job may be sent once more
    choices = ListProperty()
    picking = StringProperty()
    busy = StringProperty()
    trouble = StringProperty()  # a label that is not taken now
    done = NumericProperty(0)
    total = NumericProperty(0)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._press = Press()
        self._contents: tuple[LabelContent, ...] = ()
        self._holder: str | None = None
        self._hot_tag = False
        self._job: Job | None = None
        self._saved: Path | None = None  # the file that was written last

    def shown(
        self,
        code: str = "",
        tag: str = "",
        inside: str = "",
        fresh: str = "",
        command: Command | None = None,
        new: bool = False,
        **_: Any,
    ) -> None:
        mine = self.clerk.settings.labels
        self.size_name = self.size_name or mine.size
        self.queue = self.queue or mine.queue
        if code:
            self._ask_for(code)
        elif tag:
            self.clerk.ask(asks.hot_tag(tag), self._tag, self._failed)
        elif fresh:
            self._holder = fresh
            self.new_label()
        elif inside:
            self.clerk.ask(asks.inside(inside), self._several, self._failed)
        elif new:
            self.clerk.ask(asks.new(), self._several, self._failed)
        elif command is Command.PRINT_LABEL:
            self.clerk.ask(asks.last_code(), lambda last: self._ask_for(last) if last else None)
        elif self.page != Page.BUSY and (not self._contents or self.page != Page.ANSWER):
            self.back()

    def scanned(self, text: str) -> bool:
        """A thing was scanned: its label.  A new label that waits for its first scan goes to the desk."""
        if self.fresh and self._contents and text == self._contents[0].code.text:
            return False
        if self.page == Page.BUSY:
            return bool(self.clerk.not_taken(text))
        self.fresh, self._contents = False, ()
        self._ask_for(text)
        return True

    def came(self, scanned: Scanned) -> bool:
        outcome = scanned.outcome
        message = getattr(outcome, "say", None) or getattr(outcome, "why", None)
        if message is None:
            return False
        self.fresh = False
        self._counts(outcome.holder)
        self._say(isinstance(outcome, Done) and outcome.step is Step.LABEL_BOUND, say(message), "")
        return True

    def back(self) -> None:
        """To the choice of a thing."""
        self.fresh = self.again = False
        self._contents = ()
        self.page = Page.CHOOSE

    # What ---------------------------------------------------------------------------------------------------

    def all_of(self, kind: str) -> None:
        """Labels of every holder, place, badge or command."""
        self.clerk.ask(asks.all_of(kind), self._several, self._failed)

    def choose_place(self) -> None:
        """Labels of a whole cabinet or machine."""
        self.clerk.ask(asks.whole_places(), self._places, self._failed)

    def _places(self, found: tuple[asks.WholePlace, ...]) -> None:
        rows = [Choice(each.card.place.code, each.card.name, t("labels.inside", count=each.places)) for each in found]
        self._pick("place", rows)

    def new_label(self) -> None:
        """A replacement with a new code for this holder."""
        key = self._holder
        if key:
            self.clerk.ask(asks.fresh(key), self._replacement, self._failed)

    def _ask_for(self, code: str) -> None:
        self.clerk.ask(asks.label_of(code), self._one, self._failed)

    def _one(self, found: tuple[LabelContent, str | None]) -> None:
        self._holder = found[1]
        self._show((found[0],))

    def _replacement(self, contents: tuple[LabelContent, ...]) -> None:
        self._show(contents)
        self.fresh = True

    def _tag(self, contents: tuple[LabelContent, ...]) -> None:
        self._holder = None
        self._show(contents)
        if not self._fits():
            self.size_name = "60x30"
            self._show(contents)

    def _several(self, contents: tuple[LabelContent, ...]) -> None:
        self._holder = None
        if contents:
            self._show(contents)
        else:
            self.again = False  # not even what was printed before
            self._say(False, t("labels.none"), "")

    def _show(self, contents: tuple[LabelContent, ...]) -> None:
        self._contents = contents
        self._hot_tag = any(content.tag is Tag.HOT for content in contents)
        self.fresh = False
        first = contents[0]
        self.count = len(contents)
        self.title = first.name if len(contents) == 1 else t("labels.several", count=len(contents))
        self.detail = first.code.grouped if len(contents) == 1 else first.name
        self.for_holder = first.tag is Tag.HOLDER and self._holder is not None and len(contents) == 1
        self.page = Page.PREVIEW
        self._preview()

    def _fits(self) -> bool:
        try:
            asks.layout(self._contents[0], self.size_name, int(self.clerk.settings.labels.dpi))
        except LabelError:
            return False
        return True

    def _preview(self) -> None:
        preview = self.ids.drawn
        try:
            layout = asks.layout(self._contents[0], self.size_name, int(self.clerk.settings.labels.dpi))
        except LabelError as fault:
            self.advice = say(fault.say)
            preview.show(None)
            return
        self.advice = t("labels.left_out") if layout.left_out else ""
        preview.show(layout)

    # How ----------------------------------------------------------------------------------------------------

    def size_said(self, name: str) -> str:
        """A size as people call it: a tape by the language's word for it."""
        size = next((size for size in asks.sizes() if size.name == name), None)
        return t("labels.tape", height_mm=size.height_mm) if size and size.width_mm is None else name

    def choose_size(self) -> None:
        sizes = [Choice(size.name, self.size_said(size.name), _size_words(size)) for size in asks.sizes()]
        self._pick("size", ticked(sizes, self.size_name))

    def choose_queue(self) -> None:
        self._begin(t("labels.looking"))
        self._press.run(lambda *_: asks.queues(), self._queues, self._failed)

    def _queues(self, queues: tuple[Queue, ...]) -> None:
        file = Choice(TO_FILE, t("labels.to_file"), t("labels.to_file_note"))
        rows = [Choice(queue.name, queue.name, _queue_words(queue)) for queue in queues]
        self._pick("queue", ticked([file, *rows], self.queue))

    def _pick(self, picking: str, choices: list[Choice]) -> None:
        self.picking = picking
        self.choices = choices
        self.page = Page.PICK

    def picked(self, choice: Choice) -> None:
        """A row of the list was touched."""
        if self.picking == "place":
            self.shown(inside=choice.key)
            return
        if self.picking == "size":
            self.size_name = choice.key
        else:
            self.queue = choice.key
        setting, value = self.picking, choice.key
        self.clerk.ask(asks.remember(setting, value))
        self.page = Page.PREVIEW
        self._preview()

    # Ink ----------------------------------------------------------------------------------------------------

    def go(self) -> None:
        """Print what is shown, or save it where no queue was chosen."""
        contents, size, queue = self._contents, self.size_name, self.queue
        self._job, self.again = None, False
        self._ask_how_warm()
        self.clerk.ask(asks.request(contents, size, queue), self._run, self._failed)

    def _run(self, request: Request) -> None:
        self._begin(t("labels.proving"))
        self._press.run(
            lambda progress, cancelled: asks.make(request, progress, cancelled),
            self._of(request, self._made),
            self._of(request, self._failed),
            self._progress,
        )

    def _ask_how_warm(self) -> None:
        """Before a label is made: what it is for may be hot, and then what comes of it wears the sign of heat."""
        self.hot = self._hot_tag
        if self._holder is not None and not self.hot:
            self.clerk.ask(common.holder(self._holder), self._counts, lambda _: None)

    def _counts(self, card: HolderCard | None) -> None:
        self.hot = counts_as_hot(card)

    def _of(self, request: Request, then: Callable[[Any], None]) -> Callable[[Any], None]:
        """What came of labels is said and written down of these, whatever else was looked at meanwhile."""

        def answered(answer: Any) -> None:
            self._contents, self.count = tuple(request.contents), len(request.contents)
            then(answer)

        return answered

    def cancel(self) -> None:
        self._press.cancel()
        self.page = Page.PREVIEW if self._contents else Page.CHOOSE

    def retry(self) -> None:
        """Somebody has looked at the printer: send the job once more, or what could not be sent."""
        job = self._job
        if job is None:
            self.go()
        else:
            self._ask_how_warm()
            self._begin(t("labels.proving"))
            self._press.run(lambda *_: asks.retry(job), self._resent, self._failed)

    def where_to(self) -> None:
        """Where they are stuck on."""
        self.clerk.go("stick", contents=self._contents)

    def open_file(self) -> None:
        """Look at the file that was written, or send it on, with what this computer has for it."""
        if self._saved is not None and not opens(self._saved):
            self.answer_more = t("labels.no_program")
            self.file = False

    def _begin(self, words: str) -> None:
        self.busy, self.done, self.total = words, 0, 0
        self.page = Page.BUSY

    def _progress(self, done: int, total: int) -> None:
        self.done, self.total = done, total

    def _made(self, made: Made) -> None:
        self.clerk.ask(asks.noted(self._contents))
        self._job = made.job
        if made.job is not None:
            words = t("labels.sent", count=made.labels, number=made.job.number, queue=made.job.queue)
        else:
            self._saved = made.files[0] if made.files else None
            words = t("labels.saved", count=made.labels, file=self._saved.name if self._saved else "")
        self.again = made.job is not None
        self._say(True, words, _waits(made.job) or self._to_stick())
        self.stuck = made.job is not None
        self.folder = folder_words(self._saved.parent) if made.job is None and self._saved else ""
        self.file = made.job is None and self._saved is not None

    def _to_stick(self) -> str:
        """What is next for a label that was made; nothing is stuck on hot steel, for which a tag is made."""
        if self.hot and not self._hot_tag:
            return t("labels.scan_new_hot")
        return t("labels.scan_new") if self.fresh else ""

    def _resent(self, job: Job) -> None:
        self._job = job
        self._say(True, t("labels.sent", count=int(self.count), number=job.number, queue=job.queue), _waits(job))

    def _failed(self, error: Exception) -> None:
        self.again = bool(self._contents)  # nothing is lost: what is shown can be sent once the trouble is mended
        words = say(error.say) if isinstance(error, LabelError) else fault_words(error)
        self._say(False, words, "")

    def _say(self, good: bool, answer: str, more: str) -> None:
        self.good, self.answer, self.answer_more, self.file, self.folder = good, answer, more, False, ""
        self.stuck = False
        self.page = Page.ANSWER
        self.clerk.play(Sound.DONE if good else Sound.REFUSED)


def _waits(job: Job | None) -> str:
    """What keeps a job from being printed now; empty: nothing does."""
    if job is None or job.state.over or not job.troubles:
        return ""
    return t("labels.waits", trouble=", ".join(t(f"term.trouble.{trouble.value}") for trouble in job.troubles))


def folder_words(folder: Path) -> str:
    """A folder's whole path in lines that fit a narrow window, broken only between its parts."""
    lines, most = [""], PATH_LINE_WIDE if look.wide else PATH_LINE
    for part in str(folder).split(os.sep):
        if lines[-1] and len(lines[-1]) + len(part) > most:
            lines.append("")
        lines[-1] += f"{part}{os.sep}"
    return t("labels.in_folder", folder="\n".join(lines))


def _size_words(size: asks.LabelSize) -> str:
    return f"{size.width_mm:g} × {size.height_mm:g} mm" if size.width_mm else f"{size.height_mm:g} mm"


def _queue_words(queue: Queue) -> str:
    return ", ".join(t(f"term.trouble.{trouble.value}") for trouble in queue.troubles) or queue.description


load_beside(__file__)
