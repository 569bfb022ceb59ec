"""The audit screen: choose a place, scan what is in it, see what is still missing, close.

It ticks nothing off and settles nothing itself: every scan goes to the desk, and what is shown is the desk's
status of the audit, asked again after each scan and every few seconds, because others may be at the same audit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from kivy.properties import BooleanProperty, ListProperty, NumericProperty, StringProperty

from kiosk import words
from kiosk.desk import Desk, reports
from kiosk.desk.audits import AuditRow, AuditStatus, LookFor
from kiosk.desk.desk import Scanned
from kiosk.desk.session import NotThere
from kiosk.rules import audit as A
from kiosk.rules.cards import PlaceCard
from kiosk.rules.outcomes import Done, Outcome, Refused, Wait
from kiosk.rules.places import Kind
from kiosk.screens.clerk import fault_words
from kiosk.screens.kv import load_beside
from kiosk.screens.parts.choice import Choice
from kiosk.screens.parts.lines import Line
from kiosk.screens.parts.slots import Slot, State
from kiosk.screens.sounds import Sound
from kiosk.screens.view import View
from kiosk.words import say, t

CHOOSE, WALK, ALARM, CLOSED = range(4)
LOOK_AGAIN_S = 3
WHOLE = (Kind.CABINET, Kind.MACHINE, Kind.BENCH, Kind.COOLING, Kind.PRESETTER)
NUMBERED = (Kind.SLOT, Kind.POCKET, Kind.SPINDLE)


@dataclass(frozen=True, slots=True)
class Begin:
    """What there is to go on with, and what can be audited."""

    here: AuditStatus | None
    running: tuple[AuditRow, ...]
    places: tuple[PlaceCard, ...]


class AuditScreen(View):
    """Four states: which place, the walk through it, something hot in it, and how it was closed."""

    name = "audit"
    rail = "audit"

    step = NumericProperty(CHOOSE)
    choices = ListProperty()
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
    results = ListProperty()
    saved = StringProperty()

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._key = ""
        self._status: AuditStatus | None = None
        self._spots: dict[str, A.SpotState] = {}
        self._group = ""  # code of the drawer shown
        self._alarm = ""  # key of the hot holder
        self._about = ""  # holder key or label text that what is said is about
        self._age_s = 0

    # Coming and going ---------------------------------------------------------------------------------------

    def shown(self, told: str = "", **_: Any) -> None:
        self.trouble = ""
        if told:
            self._say(True, told)
        if self.step == CLOSED:
            self.step = CHOOSE
        self.clerk.ask(_begin, self._began, self._failed)

    def returned(self) -> None:
        self.refresh()

    def tick(self) -> None:
        self._age_s += 1
        if self.step == WALK and self._age_s >= LOOK_AGAIN_S:
            self.refresh()

    def refresh(self) -> None:
        """Ask how the audit stands."""
        self._age_s = 0
        self.clerk.ask(_begin, self._began, self._failed)

    def _began(self, begin: Begin) -> None:
        if begin.here is not None:
            self.show(begin.here)
            return
        self.choices = [*map(_running, begin.running), *_to_audit(begin)]
        if self.step in (WALK, ALARM):  # closed or paused elsewhere, or nobody has scanned for long
            self.step = CHOOSE

    def _failed(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        self._tell(False, fault_words(error))

    # Choosing a place ---------------------------------------------------------------------------------------

    def choose(self, choice: Choice) -> None:
        """A place, or an audit that waits, was touched."""
        what = choice.key
        self.clerk.ask(lambda desk: desk.audits.open(what), self._opened, self._failed)

    def _opened(self, status: AuditStatus) -> None:
        self.clerk.play(Sound.DONE)
        self._group = ""
        self._say(True, "")
        self.show(status)

    # Scans --------------------------------------------------------------------------------------------------

    def scanned(self, text: str) -> bool:
        """Before an audit runs, a place's label opens one."""
        if self.step in (WALK, ALARM):
            return False
        self.clerk.ask(lambda desk: _open_or_scan(desk, text), self._open_or_answer, self._failed)
        return True

    def _open_or_answer(self, answer: AuditStatus | Scanned) -> None:
        if isinstance(answer, AuditStatus):
            self._opened(answer)
        else:
            self.clerk.answer(answer)

    def came(self, scanned: Scanned) -> bool:
        """What the desk says to a scan in the audit; anything else is not for this screen."""
        outcome = scanned.outcome
        message = outcome.why if isinstance(outcome, Refused) else outcome.say
        if self.step in (CHOOSE, CLOSED):
            mine = message.key.startswith(("audit.", "signed_", "command.", "refused.no_audit"))
            if mine:
                self.trouble = _sentences(outcome)
                self.refresh()
            return mine
        if message.key == "audit.closed":
            self._close()
            return True
        if isinstance(outcome, Done) and outcome.alarm and outcome.holder is not None:
            self.warn(outcome)
            return True
        self.step = WALK
        self.chosen = ""
        if outcome.goal is not None:
            self._group = outcome.goal.place.code
        self._tell_scan(outcome)
        self.refresh()
        return True

    def _tell_scan(self, outcome: Outcome) -> None:
        """What it is in one line, and what about it below."""
        if isinstance(outcome, Refused):
            name = outcome.holder.name if outcome.holder else t("card.word.refused")
            self._say(False, name, _sentences(outcome))
            return
        key, card = outcome.say.key, outcome.holder
        if key in ("audit.unknown", "audit.retired"):
            code = str(outcome.say["code"])
            self._say(False, words.grouped(code), t(f"auditing.{key.removeprefix('audit.')}"), code)
        elif card is None:
            self._say(True, outcome.goal.name if outcome.goal else "", say(outcome.say))
        elif key == "audit.misplaced":
            booked = card.place.name if card.place else None
            self._say(False, card.name, t("auditing.belongs", place=booked), card.holder.key)
        elif key in ("audit.seen", "audit.again"):
            self._say(True, card.name, t("term.state.seen"), card.holder.key)
        else:
            self._say(key not in _ASTRAY, card.name, say(outcome.say), card.holder.key)

    def warn(self, outcome: Done) -> None:
        """Something hot, or not proven cool, stands where a hand reaches in."""
        card = outcome.holder
        assert card is not None  # an alarm is always about a holder
        self._alarm = card.holder.key
        self.alarm_name = card.name
        self.alarm_place = say(outcome.say)
        self._group = outcome.goal.place.code if outcome.goal else self._group
        self.step = ALARM

    def understood(self) -> None:
        """Somebody has seen the alarm; it stays among the differences."""
        self.step = WALK
        self.refresh()

    def to_cooling(self) -> None:
        """It was taken to a cooling place."""
        holder = self._alarm
        self.clerk.ask(lambda desk: cool(desk, holder), self._cooled, self._failed)

    def _cooled(self, outcome: Outcome) -> None:
        self.step = WALK
        self.clerk.play(Sound.REFUSED if isinstance(outcome, Refused) else Sound.DONE)
        self._tell_scan(outcome)
        self.refresh()

    # The walk -----------------------------------------------------------------------------------------------

    def show(self, status: AuditStatus) -> None:
        """Show an audit as the desk gives it."""
        if self.step in (CHOOSE, CLOSED) or self._key != status.row.key:
            self.step = WALK
        self._key, self._status = status.row.key, status
        self.place = _name(status.row.name)
        self.seen, self.expected = status.counts.seen, status.counts.expected
        self.missing = len(status.missing)
        self.others = _others(status)
        self.astray = any(each.difference is not A.Difference.MISSING for each in status.differences)
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

    def at(self, group: int, page: int) -> int:
        """A page of slots in the order of all drawers, for the arrows."""
        return int(group) * 1000 + int(page)

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
        self.slots = [_slot(key, spot, number) for number, (key, spot) in enumerate(self._spots.items(), 1)]

    def look_at(self, key: str) -> None:
        """A slot was touched: what is or should be there."""
        spot = self._spots[key]
        self.chosen = key
        word = t(f"term.state.{spot.state.value}")
        about = spot.holder or (spot.name if spot.state is A.Shows.UNKNOWN else "")
        self._say(spot.state in (A.Shows.SEEN, A.Shows.EMPTY), words.grouped(spot.name) or word, word, about)
        if spot.state is A.Shows.MISSING and spot.holder:
            holder = spot.holder
            self.clerk.ask(lambda desk: desk.audits.look_for(holder), lambda found: self._where(key, found))

    def _where(self, key: str, found: LookFor) -> None:
        if self.chosen == key:
            at = _clock(found.utc_s) if found.utc_s is not None else None
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
        self.step = CHOOSE
        self.clerk.ask(_pause, self._began, self._failed)

    # Closing ------------------------------------------------------------------------------------------------

    def close(self) -> None:
        """Close the audit, or go to the differences that still wait."""
        self.clerk.ask(lambda desk: desk.audits.close(), self._closing, self._failed)

    def _closing(self, outcome: Outcome) -> None:
        if isinstance(outcome, Refused):
            self.clerk.play(Sound.REFUSED)
            self.clerk.go("audit_differences", trouble=t("auditing.still_open"))
        elif not isinstance(outcome, Wait):
            self.clerk.play(Sound.DONE)
            self._close()

    def _close(self) -> None:
        key = self._key
        self.saved, self.results, self.trouble = "", [], ""
        self.step = CLOSED
        if key:
            self.clerk.ask(lambda desk: desk.audits.report(key), self.show_report, self._failed)

    def show_report(self, report: A.AuditReport) -> None:
        """Show a closed audit."""
        self.step = CLOSED
        self.place = _name(report.place)
        self.seen, self.expected = report.counts.seen, report.counts.expected
        self.results = [
            Line(
                str(at),
                words.grouped(row.name),
                f"{t(f'term.difference.{row.difference.value}')}: {row.reason or t(f'term.action.{row.action.value}')}",
            )
            for at, row in enumerate(report.rows)
        ]

    def preview(self) -> None:
        """The report as it is printed."""
        self.clerk.go("report", audit=self._key)

    def save(self) -> None:
        """Write the report as PDF and CSV beside the book."""
        key = self._key
        self.clerk.ask(lambda desk: reports.keep(desk.reports.audit(key)), self._saved, self._not_saved)

    def _saved(self, kept: reports.Kept) -> None:
        self.clerk.play(Sound.DONE)
        self.saved = t("auditing.saved", file=f"{kept.pdf.parent.name}/{kept.pdf.name}")

    def _not_saved(self, error: Exception) -> None:
        self.clerk.play(Sound.REFUSED)
        self.saved = fault_words(error)

    def leave(self) -> None:
        """To the next audit."""
        self.step, self.trouble = CHOOSE, ""
        self.refresh()

    def _say(self, good: bool, said: str, more: str = "", about: str = "") -> None:
        self.good, self.said, self.more = good, said, more
        self._about, self.leads = about, bool(about)

    def _tell(self, good: bool, said: str) -> None:
        """Say it where this state has room for it."""
        if self.step in (CHOOSE, CLOSED):
            self.trouble = said
        else:
            self.step = WALK
            self._say(good, t("card.word.refused"), said)


_ASTRAY = ("audit.misplaced", "audit.twin", "audit.unknown", "audit.retired")
_STATES = {
    A.Shows.EMPTY: State.EMPTY, A.Shows.MISSING: State.MISSING, A.Shows.SEEN: State.SEEN,
    A.Shows.MISPLACED: State.MISPLACED, A.Shows.HOT: State.HOT, A.Shows.UNKNOWN: State.UNKNOWN,
}  # fmt: skip
_COUNTED = {
    A.Difference.HOT: "hot", A.Difference.NOT_PROVEN_COOL: "hot", A.Difference.MISPLACED: "misplaced",
    A.Difference.UNEXPECTED: "unexpected", A.Difference.UNKNOWN_CODE: "unknown", A.Difference.RETIRED_LABEL: "unknown",
    A.Difference.DUPLICATE_LABEL: "unknown",
}  # fmt: skip


def last_seen(found: LookFor) -> str:
    """Where a missing holder was last, and the likeliest places to look, in words."""
    seen_at = _clock(found.utc_s) if found.utc_s is not None else None
    text = t("auditing.last_seen", place=found.place, at=seen_at, who=found.by) if seen_at else ""
    places = [name for _, name in found.places[:2]]
    look = t("auditing.look_in", places=", ".join(places)) if places else ""
    return f"{text} {look}".strip()


def _clock(utc_s: float) -> str:
    """`14:05`, with the day before it where that is not today."""
    at = datetime.fromtimestamp(utc_s)
    return at.strftime("%H:%M" if at.date() == datetime.now().date() else "%d.%m. %H:%M")


def _begin(desk: Desk) -> Begin:
    here = desk.audits.status() if desk.session.audit else None
    places = tuple(card for card in desk.shop.places() if card.place.kind in WHOLE and not card.retired)
    return Begin(here, desk.audits.running(), places)


def _pause(desk: Desk) -> Begin:
    desk.audits.pause()
    return _begin(desk)


def _open_or_scan(desk: Desk, text: str) -> AuditStatus | Scanned:
    """A place is audited; the desk knows what to do with everything else."""
    subject = desk.session.cards.subject(text)
    if desk.session.audit is None and isinstance(subject, PlaceCard):
        return desk.audits.open(subject.place.code)
    return desk.scan(text)


def cool(desk: Desk, holder: str) -> Outcome:
    """A hot holder of the audit was taken to a cooling place.  Raises NotThere where it is hot no longer."""
    wanted = (A.Difference.HOT, A.Difference.NOT_PROVEN_COOL)
    key = next(
        (each.key for each in desk.audits.status().differences if each.text == holder and each.difference in wanted),
        None,
    )
    if key is None:
        raise NotThere("hold on", desk.session.holder(holder).name)
    return settle(desk, key, A.Action.TO_COOLING, "")


def settle(desk: Desk, key: str, action: A.Action, reason: str) -> Outcome:
    """Close a difference; what is taken to cooling is taken to the cooling place that has room."""
    cooling = desk.session.cooling_place() if action is A.Action.TO_COOLING else None
    return desk.audits.settle(key, action, reason, cooling.place.code if cooling else None)


def _name(name: str) -> str:
    return t(name) if name.startswith("term.") else name


def _running(row: AuditRow) -> Choice:
    since = t("auditing.since", at=_clock(row.opened_utc_s), who=row.opened_by)
    return Choice(row.place, t("auditing.go_on", place=_name(row.name)), since)


def _to_audit(begin: Begin) -> Sequence[Choice]:
    running = {row.place for row in begin.running}
    order = sorted(begin.places, key=lambda card: WHOLE.index(card.place.kind))
    choices = [Choice(card.place.code, card.name, t(f"kind.{card.place.kind.value}")) for card in order]
    choices.append(Choice(A.HOT, t("auditing.everything_hot")))
    return [choice for choice in choices if choice.key not in running]


def _told(outcome: Outcome) -> tuple[str, str]:
    if isinstance(outcome, Refused):
        return say(outcome.why), say(outcome.remedy)
    return say(outcome.say), ""


def _sentences(outcome: Outcome) -> str:
    return ". ".join(part for part in _told(outcome) if part)


def _others(status: AuditStatus) -> str:
    """`1 wrong place · 1 unknown label`: what waits beside what is missing."""
    found: dict[str, int] = {}
    for each in status.differences:
        if each.difference is not A.Difference.MISSING:
            name = _COUNTED.get(each.difference, "other")
            found[name] = found.get(name, 0) + 1
    told = [t(f"auditing.count.{name}", count=count) for name, count in found.items()]
    if len(told) > 2:
        told = [told[0], t("auditing.count.more", count=sum(found.values()) - next(iter(found.values())))]
    return " · ".join(told)


def _holds(state: A.GroupState, code: str) -> bool:
    return state.group.code == code or any(spot.code == code for spot in state.group.spots)


def _slot(key: str, spot: A.SpotState, number: int) -> Slot:
    """Written on it: the slot's own number as it stands on the steel, or a running one on a bench."""
    named = spot.spot.kind in NUMBERED
    return Slot(key, spot.spot.name.rsplit(" · ", 1)[-1] if named else str(number), _STATES[spot.state])


load_beside(__file__)
