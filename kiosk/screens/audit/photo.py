"""A drawer photographed in an audit: aim, take, and see on the picture what is here, what is astray, what was not read.

The picture is read by the camera's own thread and what it means is the desk's; here it is only drawn.  What the
reader saw and could not read is marked as well and has to be scanned by hand: it counts as seen by nobody.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, NumericProperty, OptionProperty, StringProperty

from kiosk import words
from kiosk.rules import audit as A
from kiosk.rules.outcomes import Outcome, Refused, Step
from kiosk.screens.camera import PHOTOGRAPH_MS, Outline
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.looking import Photograph
from kiosk.screens.parts.photo import Mark, PhotoPicture
from kiosk.screens.parts.slots import SIGNS, SlotState
from kiosk.screens.questions import audit as asks
from kiosk.screens.questions.audit import PhotoMark, PhotoSeen
from kiosk.screens.sounds import Sound
from kiosk.screens.view import Covers, View
from kiosk.words import say, t, to_everybody

NOT_READ = "?"
_JOINED = "\u00a0"  # a sign stays beside its count
_TONES = {A.Shows.HOT: "heat", A.Shows.SEEN: "done", A.Shows.MISPLACED: "stop", A.Shows.UNKNOWN: "stop"}
# Beside its word in one text on the picture, heat is a character: no other mark has it.
_SIGNS = {state: SIGNS[SlotState(state.value)] for state in _TONES} | {A.Shows.HOT: "!"}
_WORDS = {
    Step.AUDIT_TWIN: "term.difference.duplicate_label", Step.AUDIT_RETIRED: "term.difference.retired_label",
    Step.AUDIT_BY_HAND: "photo.by_hand",
}  # fmt: skip


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    AIM = "aim"
    READING = "reading"
    MARKED = "marked"
    ALARM = "alarm"


class AuditPhotoScreen(View):
    """Three steps (aim, being read, marked), and between the last two an alarm for each hot holder in the picture."""

    name = "audit_photo"
    rail = "audit"
    covers = Covers.RAIL
    stays = True  # whoever counts walks along the drawers and touches nothing meanwhile

    page = OptionProperty(Page.AIM, options=list(Page))
    place = StringProperty()
    marks = ListProperty()
    title = StringProperty()  # of the label that was touched
    said = StringProperty()
    trouble = StringProperty()
    absent = StringProperty()
    share = NumericProperty(0.0)  # of the time that reading may take
    good = BooleanProperty(True)  # nothing in the picture wants a hand
    alarm = StringProperty()
    alarm_also = StringProperty()  # the same in the shop's language
    alarm_more = StringProperty()  # what came of a scan meanwhile

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._place = ""
        self._unread: tuple[Outline, ...] = ()
        self._size = (1, 1)
        self._said: dict[str, tuple[str, str]] = {}  # by mark: name, and what of it
        self._summary = ""
        self._alarms: list[PhotoMark] = []

    @property
    def live(self) -> PhotoPicture:
        picture: PhotoPicture = self.ids.picture
        return picture

    def shown(self, place: str = "", name: str = "", **_: Any) -> None:
        self._place, self.place = place, name
        self.trouble = ""
        self.live.show(None)
        self.aim()

    def left(self) -> None:
        if self.clerk.eye is not None:
            self.clerk.eye.rest()

    def tick(self) -> None:
        if self.page == Page.READING:
            self.share = min(1.0, self.share + 1000.0 / PHOTOGRAPH_MS)

    def scanned(self, text: str) -> bool:
        """A scanner in the hand goes on with the audit: back to the walk, which shows what comes of it.

        Under an alarm only a cooling place is taken.
        """
        if self.page == Page.ALARM and (holder := self._alarms[0].holder) is not None:
            self.clerk.ask(asks.cool_at(holder, text), self._cooled_at, self._cooling_failed)
            return True
        self.clerk.back()
        return False

    # Taking -------------------------------------------------------------------------------------------------

    def aim(self) -> None:
        """Show what the camera sees, for a picture or another one."""
        self.page = Page.AIM
        self.marks, self.title, self.live.near = [], "", None
        self.said = t("photo.aim")
        if self.clerk.eye is None:
            self.absent = t("camera.none")
        else:
            self.clerk.eye.aim(self)

    def take(self) -> None:
        """Take the picture."""
        if self.clerk.eye is None:
            return
        self.trouble, self.share = "", 0.0
        self.page = Page.READING
        self.clerk.eye.take(self.live.show, self._read, self._not_taken)

    def cancel(self) -> None:
        """Nobody waits for this picture any more."""
        self.trouble = ""
        self.aim()

    def _not_taken(self, why: str) -> None:
        self.clerk.play(Sound.REFUSED)
        self.trouble = why
        self.aim()

    def _read(self, photograph: Photograph) -> None:
        reading, place = photograph.reading, self._place
        self._unread, self._size = reading.unread, photograph.size
        self.clerk.ask(asks.photograph(reading.symbols, place), self.seen, self._failed)

    def _failed(self, error: Exception) -> None:
        """The audit was closed elsewhere, nobody is signed in, the disk is full: the picture counts for nothing."""
        self._not_taken(fault_words(error))

    # What was seen ------------------------------------------------------------------------------------------

    def seen(self, taken: PhotoSeen) -> None:
        """Show what the desk makes of the picture."""
        if self.page != Page.READING:  # cancelled while the desk wrote: the walk shows what came of it
            return
        self._said = {}
        self.marks = [*map(self._mark, taken.marks), *map(self._not_read, self._unread)]
        self._summary = self._summed(taken)
        self.good = not self._unread and all(mark.state is A.Shows.SEEN for mark in taken.marks) and bool(taken.marks)
        self.title, self.said = "", self._summary
        self._alarms = [mark for mark in taken.marks if mark.state is A.Shows.HOT]
        if self._alarms:
            self.clerk.play(Sound.HOT)
            self._warn(self._alarms[0])
            self.page = Page.ALARM
        else:
            self.clerk.play(Sound.DONE if self.good else Sound.REFUSED)
            self.page = Page.MARKED

    def choose(self, mark: Mark | None) -> None:
        """A label in the picture was touched: what it is; or the whole picture again."""
        self.title, self.said = self._said[mark.key] if mark else ("", self._summary)

    def _mark(self, seen: PhotoMark) -> Mark:
        name = words.grouped(seen.name)
        word = _word(seen)
        key = str(len(self._said))
        self._said[key] = name, say(seen.say) if seen.state is not A.Shows.SEEN else word
        shown = (name, word) if seen.state is A.Shows.SEEN else (f"{word} · {name}", word)
        return Mark(key, self._shares(seen.corners), _SIGNS[seen.state], _TONES[seen.state], shown)

    def _not_read(self, outline: Outline) -> Mark:
        key = str(len(self._said))
        self._said[key] = t("photo.not_read"), t("photo.not_read_said")
        return Mark(key, self._shares(outline.corners), NOT_READ, "plain", (t("photo.not_read"),))

    def _shares(self, corners: Any) -> tuple[tuple[float, float], ...]:
        return tuple((float(x) / self._size[0], float(y) / self._size[1]) for x, y in corners)

    def _summed(self, taken: PhotoSeen) -> str:
        """A line for each kind of mark, with its sign."""
        if not taken.marks and not self._unread:
            return t("photo.nothing")
        counts: dict[tuple[str, str], int] = {}
        for state in _TONES:
            for mark in taken.marks:
                if mark.state is state:
                    kind = _SIGNS[state], _word(mark)
                    counts[kind] = counts.get(kind, 0) + 1
        lines = [f"{sign}{_JOINED}{count}{_JOINED}{word}" for (sign, word), count in counts.items()]
        if self._unread:
            lines.append(f"{NOT_READ}{_JOINED}{t('photo.unread', count=len(self._unread))}")
        return "\n".join(lines)

    # The alarm ----------------------------------------------------------------------------------------------

    def understood(self) -> None:
        """Somebody has seen this alarm; it stays among the differences."""
        self._next_alarm()

    def to_cooling(self) -> None:
        """It was taken to a cooling place."""
        holder = self._alarms[0].holder
        if holder is not None:
            key = holder
            self.clerk.ask(asks.cool(key), self._cooled, self._cooling_failed)

    def _cooled_at(self, outcome: Outcome | None) -> None:
        """A label was scanned while the alarm was up."""
        if outcome is None:
            self.clerk.play(Sound.REFUSED)
            self.alarm_more = t("heat.first")
        else:
            self._cooled(outcome)

    def _cooled(self, outcome: Outcome) -> None:
        if isinstance(outcome, Refused):
            self.clerk.play(Sound.REFUSED)
            self.alarm_more = f"{say(outcome.why)}. {say(outcome.remedy)}"
        else:
            self.clerk.play(Sound.DONE)
            self._next_alarm()

    def _cooling_failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        self.alarm_more = fault_words(error)

    def _next_alarm(self) -> None:
        del self._alarms[:1]
        self.alarm_more = ""
        if self._alarms:
            self.clerk.play(Sound.HOT)
            self._warn(self._alarms[0])
        else:
            self.page = Page.MARKED

    def _warn(self, mark: PhotoMark) -> None:
        self.alarm = say(mark.say)
        self.alarm_also = to_everybody(lambda: say(mark.say))


def _word(mark: PhotoMark) -> str:
    return t(_WORDS.get(mark.step, f"term.state.{mark.state.value}"))


load_beside(__file__)
