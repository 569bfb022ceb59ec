"""Groups of lines and stretches of days that a history can be narrowed to."""

from __future__ import annotations

from datetime import datetime, timedelta

from kivy.core.window import Window  # noqa: F401 - the widgets need one

from kiosk.rules.cards import OperatorCard
from kiosk.rules.lines import KINDS
from kiosk.screens.parts.choice import Choice
from kiosk.screens.questions.records import About
from kiosk.screens.records.filters import GROUPS, When, span_of
from kiosk.screens.records.history import HistoryScreen

TUESDAY = datetime(2026, 11, 24, 14, 5)


def test_every_kind_of_line_is_in_exactly_one_group() -> None:
    grouped = [kind for kinds in GROUPS.values() for kind in kinds]
    assert sorted(grouped) == sorted(KINDS)


def test_days_begin_at_midnight_and_the_week_on_monday() -> None:
    def span(when: When, day: datetime = TUESDAY) -> tuple[datetime, datetime]:
        found = span_of(when, day, TUESDAY)
        assert found is not None
        since, until = (datetime.fromtimestamp(utc_s) for utc_s in found)
        return since, until

    assert span(When.TODAY) == (datetime(2026, 11, 24), datetime(2026, 11, 25))
    assert span(When.YESTERDAY) == (datetime(2026, 11, 23), datetime(2026, 11, 24))
    assert span(When.WEEK) == (datetime(2026, 11, 23), datetime(2026, 11, 25))
    assert span(When.DAY, TUESDAY - timedelta(days=7)) == (datetime(2026, 11, 17), datetime(2026, 11, 18))
    assert span_of(When.ALWAYS, TUESDAY, TUESDAY) is None


class Clerk:
    """Is asked, and answers nothing."""

    def ask(self, *_: object) -> None:
        """Nothing comes back."""


def test_what_is_picked_out_is_ticked_where_it_was_chosen() -> None:
    def ticked(choices: list[Choice]) -> list[str]:
        return [each.key for each in choices if "✓" in each.note]

    screen = HistoryScreen(clerk=Clerk())
    screen.offer(About((OperatorCard("P1", "Sam Porter", "setter"),), False, TUESDAY.timestamp()))
    assert (ticked(screen.whats), ticked(screen.people), ticked(screen.days)) == ([""], [""], [When.ALWAYS.value])
    screen.take_what("heated")
    screen.take_who(screen.people[1])
    screen.take_when(When.WEEK.value)
    assert (ticked(screen.whats), ticked(screen.people)) == (["heated"], ["P1"])
    assert ticked(screen.days) == [When.WEEK.value]
