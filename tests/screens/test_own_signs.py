"""A sign means one thing: arrows turn pages, heat is drawn, and what is empty has a sign of its own and no tick."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from kivy.core.window import Window  # noqa: F401 - the widgets need one

from kiosk import where, words
from kiosk.desk.audit_book import DifferenceCard
from kiosk.desk.handover import MachineView, Pocket
from kiosk.desk.records import WasAt
from kiosk.exchange.faults import fault_at
from kiosk.rules.audit import Difference
from kiosk.rules.fitting.change_plan import Doing
from kiosk.rules.fitting.magazine import Magazine, MagazineKind
from kiosk.screens.audit.differences import AuditDifferencesScreen
from kiosk.screens.job.machine import MachineScreen
from kiosk.screens.job.setup import SetupScreen
from kiosk.screens.job.sheets import SheetsScreen
from kiosk.screens.job.signs import DOINGS
from kiosk.screens.parts.states import EmptyState
from kiosk.screens.parts.text import Icon, Words
from kiosk.screens.parts.touch import in_sight
from kiosk.screens.records.audits import AuditsScreen
from kiosk.screens.records.heatings import HeatingsScreen
from kiosk.screens.records.history import HistoryScreen
from kiosk.screens.records.unread import UnreadScreen
from kiosk.screens.theme import HEAT
from kiosk.words import t
from tests.screens.test_refusals_seen import Clerk


def screen_of(kind: Any) -> Any:
    screen = kind()
    screen.clerk = Clerk()
    return screen


def said(part: Any) -> list[str]:
    return [each.text for each in part.walk(restrict=True) if isinstance(each, Words) and in_sight(each) and each.text]


def empty(screen: Any) -> EmptyState:
    (found,) = (each for each in screen.walk(restrict=True) if isinstance(each, EmptyState))
    return found


def test_what_is_done_in_a_magazine_has_signs_that_turn_no_page() -> None:
    assert set(DOINGS) == set(Doing) and len(set(DOINGS.values())) == len(Doing)
    assert not {"up", "down", "back", "forward"} & set(DOINGS.values())
    assert all((where.assets() / "icons" / f"{name}.png").exists() for name in DOINGS.values())


def test_hot_among_the_differences_is_drawn_as_everywhere_and_nothing_else_is() -> None:
    screen = screen_of(AuditDifferencesScreen)
    cards = tuple(
        DifferenceCard(what.value, what, "Ø12", "T001", "T001", "A", "A", "B", "B", ()) for what in Difference
    )
    screen.show(SimpleNamespace(differences=cards))
    hot = {row.key for row in screen.rows if row.sign == HEAT}
    assert hot == {Difference.HOT.value, Difference.NOT_PROVEN_COOL.value}
    screen.choose(Difference.HOT.value)
    assert screen.sign == HEAT and screen.tone == "heat"


def pocket(number: int, **more: Any) -> Pocket:
    return Pocket(number, f"P{number}", **({"holder": None, "name": None, "diameter_mm": None, "owner": None,
                                            "closed": False} | more))  # fmt: skip


def test_a_machine_says_what_the_signs_on_its_pockets_mean_and_of_no_others() -> None:
    screen = screen_of(MachineScreen)
    magazine = Magazine(MagazineKind.CHAIN, 4, 100.0)
    there = (pocket(1), pocket(2, holder="H1", name="Ø12"), pocket(3, owner="H2"), pocket(4, closed=True))
    screen.show(MachineView("M", "Mill 1", magazine, there, None, best=1), "Ø8")
    assert [told[0] for told in screen.legend.split("   ")] == ["→", "●", "★", "×"]
    assert screen.legend in said(screen)
    screen.show(MachineView("M", "Mill 1", magazine, there[:2], None), "")
    assert screen.legend == f"● {t('machine.sign.full')}".replace(" ", "\u00a0")


def test_nobody_is_told_that_a_holder_was_never_heated_before_the_book_was_asked() -> None:
    screen = screen_of(HeatingsScreen)
    screen.shown(key="T001", title="Ø12")
    assert t("heatings.none") not in said(screen)
    screen._failed(OSError(28, "No space left on device"))
    assert t("heatings.none") not in said(screen)
    screen.show(())
    assert t("heatings.none") in said(screen)
    assert "done" not in [each.name for each in screen.walk(restrict=True) if isinstance(each, Icon)]
    screen.shown(key="T002", title="Ø8")
    assert t("heatings.none") not in said(screen)


def _history() -> Any:
    screen = screen_of(HistoryScreen)
    screen.empty = True
    return screen


def _setup() -> Any:
    screen = screen_of(SetupScreen)
    screen._listed(SimpleNamespace(where="…/setups", papers=()))
    return screen


def _sheets() -> Any:
    screen = screen_of(SheetsScreen)
    screen.page = "lines"
    return screen


def _unread() -> Any:
    screen = screen_of(UnreadScreen)
    screen.fill(())
    return screen


def _heatings() -> Any:
    screen = screen_of(HeatingsScreen)
    screen.show(())
    return screen


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_what_is_empty_has_a_sign_of_its_own_and_says_what_to_do(language: str) -> None:
    before = words.language()
    words.speak(language)
    try:
        shown = [empty(each) for each in (_history(), _unread(), screen_of(AuditsScreen), _setup(), _sheets(),
                                          _heatings())]  # fmt: skip
    finally:
        words.speak(before)
    assert len({each.icon for each in shown}) == len(shown)
    assert all(each.text and each.remedy for each in shown)
    assert not {"done", "scan", "words"} & {each.icon for each in shown}


def test_nobody_is_asked_to_touch_an_audit_where_there_is_none() -> None:
    assert t("audits.touch") not in said(screen_of(AuditsScreen))


def test_where_a_holder_was_is_headed_only_where_it_was_somewhere_and_hot_is_drawn() -> None:
    screen = screen_of(HistoryScreen)
    screen.is_holder, screen.page = True, "when"

    def shows(was: WasAt) -> tuple[bool, bool]:
        screen.show_was(was)
        return screen.was_known, "hot" in [each.name for each in screen.walk(restrict=True) if isinstance(each, Icon)]

    assert shows(WasAt(None, None, None, None)) == (False, False)
    assert shows(WasAt("P1", "Mill 2", 1.79e9, "Sam")) == (True, False)
    assert shows(WasAt("P1", "Rack", 1.79e9, "Sam", True)) == (True, True)


def test_a_line_of_a_sheet_that_cannot_be_read_has_the_sign_of_it() -> None:
    screen = screen_of(SetupScreen)
    fault = fault_at("Pump cover.csv", 3, "quantity", "quantity", most=200, said="1000")
    screen._read(SimpleNamespace(read=SimpleNamespace(good=(), faults=(fault,)), machines=()))
    assert [(row.icon, row.tone) for row in screen.rows] == [("stop", "stop")]
