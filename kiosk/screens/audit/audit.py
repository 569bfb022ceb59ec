"""The audit screen: choose a place, scan what is in it, see what is still missing, close.

It ticks nothing off and settles nothing itself: every scan goes to the desk, and what is shown is the desk's
status of the audit, asked again after each scan and every few seconds, because others may be at the same audit.
"""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Any

from kivy.properties import BooleanProperty, ListProperty, NumericProperty, OptionProperty, StringProperty

from kiosk import words
from kiosk.rules import audit as A
from kiosk.rules.outcomes import Done, Outcome, Reason, Refused, Step, Wait
from kiosk.screens.audit import wording
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.outcomes_shown import found_hot
from kiosk.screens.parts.choice import Choice
from kiosk.screens.parts.lines import RowText
from kiosk.screens.questions import audit as asks
from kiosk.screens.questions.audit import AuditStatus, Begin, LookFor
from kiosk.screens.sounds import Sound
from kiosk.screens.view import View
from kiosk.words import say, t, to_everybody

if TYPE_CHECKING:
    from kiosk.screens.clerk import Scanned

LOOK_AGAIN_S = 3


class Page(StrEnum):
    """What of this screen is in sight; the layout calls its pages so."""

    CHOOSE = "choose"
    WALK = "walk"
    ALARM = "alarm"
    CLOSED = "closed"


class AuditScreen(View):
    """Four states: which place, the walk through it, something hot in it, and how it was closed."""

    name = "audit"
    rail = "audit"
    forwards = True
    page = OptionProperty(Page.CHOOSE, options=list(Page))
    choices = ListProperty()
    told = StringProperty()
    trouble = StringProperty()

    place = StringProperty()
    seen = NumericProperty(0)
    expected = NumericProperty(0)
    missing = NumericProperty(0)
    others = StringProperty()  # differences that are no missing ones, in words
    astray = BooleanProperty(False)  # there are such
    group = StringProperty()
    group_note = StringProperty()
    group_at = NumericProperty(0)
    groups = NumericProperty(1)
    slots = ListProperty()
    chosen = StringProperty()
    said = StringProperty()
    more = StringProperty()
    good = BooleanProperty(True)
    leads = BooleanProperty(False)  # a touch on what is said shows more of it

    alarm_name = StringProperty()
    alarm_place = StringProperty()
    alarm_also = StringProperty()  # the same in the shop's language
    alarm_more = StringProperty()  # what came of a scan meanwhile
    results = ListProperty()
    reported = BooleanProperty(False)  # what was closed has been told, even if nothing differed

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._key = ""
        self._status: AuditStatus | None = None
        self._spots: dict[str, A.SpotState] = {}
        self._group = ""  # code of the drawer shown
        self._alarm = ""  # key of the hot holder
        self._alarms: list[Done] = []  # that came while another was up
        self._about = ""  # holder key or label text that what is said is about
        self._waits = False  # a difference about that is open
        self._age_s = 0

    @property
    def stays(self) -> bool:
        """Whoever counts walks along the drawers and touches nothing meanwhile."""
        return self.page != Page.CHOOSE

    # Coming and going ---------------------------------------------------------------------------------------

    def shown(self, told: str = "", scanned: Scanned | None = None, **_: Any) -> None:
        """`told`: what was done about a difference.  `scanned`: hot steel that was found on another screen."""
        self.told = self.trouble = ""
        if scanned is not None and isinstance(scanned.outcome, Done) and found_hot(scanned.outcome):
            self.warn(scanned.outcome)
        if told:
            self._say(True, told)
        if self.page == Page.CLOSED:
            self.page = Page.CHOOSE
        self.clerk.ask(asks.begin(), self._began, self._failed)

    def returned(self) -> None:
        self.refresh()

    def tick(self) -> None:
        self._age_s += 1
        if self.page == Page.WALK and self._age_s >= LOOK_AGAIN_S:
            self.refresh()

    def refresh(self) -> None:
        """Ask how the audit stands."""
        self._age_s = 0
        self.clerk.ask(asks.begin(), self._began, self._failed)

    def _began(self, begin: Begin) -> None:
        if begin.here is not None:
            self.show(begin.here)
            return
        self.choices = [*map(wording.going_on, begin.running), *wording.to_audit(begin)]
        if self.page == Page.WALK:  # closed or paused elsewhere, or nobody has scanned for long
            self.page = Page.CHOOSE

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        self._tell(False, fault_words(error))

    # Choosing a place ---------------------------------------------------------------------------------------

    def choose(self, choice: Choice) -> None:
        """A place, or an audit that waits, was touched."""
        what = choice.key
        self.clerk.ask(asks.open_audit(what), self._opened, self._failed)

    def _opened(self, status: AuditStatus) -> None:
        self.clerk.play(Sound.DONE)
        self._group = ""
        self._say(True, "")
        self.show(status)

    # Scans --------------------------------------------------------------------------------------------------

    def scanned(self, text: str) -> bool:
        """Before an audit runs, a place's label opens one; under an alarm only a cooling place is taken."""
        if self.page == Page.ALARM:
            self.clerk.ask(asks.cool_at(self._alarm, text), self._cooled_at, self._failed)
            return True
        if self.page == Page.WALK:
            return False
        self.clerk.ask(asks.open_or_scan(text), self._open_or_answer, self._failed)
        return True

    def _open_or_answer(self, answer: AuditStatus | Scanned) -> None:
        if isinstance(answer, AuditStatus):
            self._opened(answer)
        else:
            self.clerk.answer(answer)

    def came(self, scanned: Scanned) -> bool:
        """What the desk says to a scan in the audit; anything else is not for this screen."""
        outcome = scanned.outcome
        if self.page in (Page.CHOOSE, Page.CLOSED):
            mine = outcome.reason is Reason.NO_AUDIT if isinstance(outcome, Refused) else _is_mine(outcome.step)
            if mine:
                said, refused = wording.sentences(outcome), isinstance(outcome, Refused)
                self.told, self.trouble = ("", said) if refused else (said, "")
                self.refresh()
            return mine
        if isinstance(outcome, Done) and outcome.step is Step.AUDIT_CLOSED:
            self._close()
            return True
        if isinstance(outcome, Done) and outcome.alarm and outcome.holder is not None:
            self.warn(outcome)
            return True
        if self.page == Page.ALARM:  # it was scanned just before; the walk shows it once the alarm is understood
            self._tell_scan(outcome)
            self.refresh()
            return True
        self.page = Page.WALK
        self.chosen = ""
        if outcome.goal is not None:
            self._group = outcome.goal.place.code
        self._tell_scan(outcome)
        self.refresh()
        return True

    def _tell_scan(self, outcome: Outcome) -> None:
        """What it is in one line, and what about it below."""
        self._say(*wording.of_scan(outcome))

    def warn(self, outcome: Done) -> None:
        """Something hot, or not proven cool, stands where a hand reaches in; one alarm after the other."""
        card = outcome.holder
        assert card is not None  # an alarm is always about a holder
        if self.page == Page.ALARM and card.holder.key != self._alarm:
            self._alarms.append(outcome)
            return
        self._alarm, self.alarm_more = card.holder.key, ""
        self.alarm_name = card.name
        self.alarm_place = say(outcome.say)
        self.alarm_also = to_everybody(lambda: say(outcome.say))
        self._group = outcome.goal.place.code if outcome.goal else self._group
        self.page = Page.ALARM

    def understood(self) -> None:
        """Somebody has seen the alarm; it stays among the differences."""
        self._next_alarm()
        self.refresh()

    def _next_alarm(self) -> None:
        """The alarm that came while another was up, or the walk."""
        self.page = Page.WALK
        if self._alarms:
            self.clerk.play(Sound.HOT)
            self.warn(self._alarms.pop(0))

    def to_cooling(self) -> None:
        """It was taken to a cooling place."""
        holder = self._alarm
        self.clerk.ask(asks.cool(holder), self._cooled, self._failed)

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
            self.alarm_more = wording.sentences(outcome)
            return
        self.clerk.play(Sound.DONE)
        self._tell_scan(outcome)
        self._next_alarm()
        self.refresh()

    # The walk -----------------------------------------------------------------------------------------------

    def show(self, status: AuditStatus) -> None:
        """Show an audit as the desk gives it."""
        if self.page in (Page.CHOOSE, Page.CLOSED) or self._key != status.row.key:
            self.page = Page.WALK
        self._key, self._status = status.row.key, status
        self.place = wording.place_words(status.row.name)
        self.seen, self.expected = status.counts.seen, status.counts.expected
        self.missing = len(status.missing)
        self.others = wording.others(status)
        self.astray = any(each.difference is not A.Difference.MISSING for each in status.differences)
        waits = any(each.text == self._about for each in status.differences)
        if self._waits and not waits:
            self._say(True, self.said, t("auditing.is_settled"), self._about)  # what it said is true no longer
        self._waits = waits
        self._show_group()

    def turn(self, step: int) -> None:
        """To the next page of slots, and after the last to the next drawer."""
        grid = self.ids.grid
        if 0 <= grid.page + step < grid.pages:
            grid.turn(step)
        elif self._status is not None and 0 <= self.group_at + step < len(self._status.groups):
            self._group = self._status.groups[int(self.group_at) + step].group.code
            self.chosen = ""
            self._show_group()
            grid.page = 0 if step > 0 else max(0, grid.pages - 1)

    def _show_group(self) -> None:
        groups = self._status.groups if self._status else ()
        self.groups = max(1, len(groups))
        at = next((at for at, each in enumerate(groups) if _holds(each, self._group)), 0)
        self.group_at = at
        if not groups:
            self.group, self.group_note, self.slots = self.place, "", []
            return
        shown = groups[at]
        self.group = shown.group.name
        self.group_note = t("auditing.group", seen=shown.seen, count=shown.seen + shown.missing)
        self._spots = {}
        for number, spot in enumerate(shown.spots, 1):
            self._spots[f"{spot.spot.code}/{number}"] = spot
        self.slots = [wording.slot(key, spot, number) for number, (key, spot) in enumerate(self._spots.items(), 1)]

    def look_at(self, key: str) -> None:
        """A slot was touched: what is or should be there."""
        spot = self._spots[key]
        self.chosen = key
        word = wording.state_words(spot.state)
        about = spot.holder or (spot.name if spot.state is A.Shows.UNKNOWN else "")
        self._say(spot.state in (A.Shows.SEEN, A.Shows.EMPTY), words.grouped(spot.name) or word, word, about)
        if spot.state is A.Shows.MISSING and spot.holder:
            holder = spot.holder
            self.clerk.ask(asks.look_for(holder), lambda found: self._where(key, found))

    def _where(self, key: str, found: LookFor) -> None:
        if self.chosen == key:
            at = wording.clock(found.utc_s) if found.utc_s is not None else None
            self.more = t("auditing.last_at", at=at, place=found.place)

    def open_spot(self) -> None:
        """Show more of what is spoken of, and what can be done about it."""
        if self.leads:
            self.clerk.go("audit_spot", about=self._about)

    def photograph(self) -> None:
        """Photograph the drawer shown."""
        if self._status is not None:
            groups = self._status.groups
            code = groups[int(self.group_at)].group.code if groups else self._status.row.place
            self.clerk.go("audit_photo", place=code, name=self.group)

    def differences(self) -> None:
        """Go through the differences."""
        self.clerk.go("audit_differences")

    def pause(self) -> None:
        """Somebody goes on later, here or at another kiosk."""
        self.page = Page.CHOOSE
        self.clerk.ask(asks.pause(), self._began, self._failed)

    # Closing ------------------------------------------------------------------------------------------------

    def close(self) -> None:
        """Close the audit, or go to the differences that still wait."""
        self.clerk.ask(asks.close(), self._closing, self._failed)

    def _closing(self, outcome: Outcome) -> None:
        if isinstance(outcome, Refused):
            self.clerk.play(Sound.REFUSED)
            self.clerk.go("audit_differences", trouble=t("auditing.still_open"))
        elif not isinstance(outcome, Wait):
            self.clerk.play(Sound.DONE)
            self._close()

    def _close(self) -> None:
        key = self._key
        self.results, self.reported, self.told, self.trouble = [], False, "", ""
        self.page = Page.CLOSED
        if key:
            self.clerk.ask(asks.report(key), self.show_report, self._failed)

    def show_report(self, report: A.AuditReport) -> None:
        """Show a closed audit."""
        self.page = Page.CLOSED
        self.place = wording.place_words(report.place)
        self.seen, self.expected = report.counts.seen, report.counts.expected
        self.results = [
            RowText(
                str(at),
                words.grouped(row.name),
                f"{t(f'term.difference.{row.difference.value}')}: {row.reason or t(f'term.action.{row.action.value}')}",
            )
            for at, row in enumerate(report.rows)
        ]
        self.reported = True

    def preview(self) -> None:
        """The report, to be looked at, printed or saved."""
        self.clerk.go("report", audit=self._key)

    def leave(self) -> None:
        """To the next audit."""
        self.page, self.told, self.trouble = Page.CHOOSE, "", ""
        self.refresh()

    def _say(self, good: bool, said: str, more: str = "", about: str = "") -> None:
        self.good, self.said, self.more = good, said, more
        self._about, self.leads, self._waits = about, bool(about), False

    def _tell(self, good: bool, said: str) -> None:
        """Say it where this state has room for it."""
        if self.page in (Page.CHOOSE, Page.CLOSED):
            self.trouble = said
        elif self.page == Page.ALARM:
            self.alarm_more = said
        else:
            self.page = Page.WALK
            self._say(good, t("card.word.refused"), said)


def _is_mine(step: Step) -> bool:
    """Whether this step is told here while a place is chosen."""
    return step.audits or step in (Step.SIGNED_IN, Step.SIGNED_OUT, Step.COMMAND)


def _holds(state: A.GroupState, code: str) -> bool:
    return state.group.code == code or any(spot.code == code for spot in state.group.spots)


load_beside(__file__)
