"""Where a shop asks for a badge, no line of work is written without one."""

from __future__ import annotations

from dataclasses import MISSING, fields
from typing import Any

import pytest

from kiosk.desk.session import ActRefused
from kiosk.rules import acts
from kiosk.rules import lines as L
from kiosk.rules.assembly import Measured
from kiosk.rules.outcomes import Done, Reason, Refused
from tests.conftest import Shop

ITSELF = {
    "signed in", "signed out", "pin given", "phone paired", "phone ended", "refused", "kiosk started", "restored",
    "audit paused", "kiosk stands", "kiosk rests", "label worn",
}  # fmt: skip
BY_TIME = {"hold ended", "difference settled"}  # work when a hand says it


@pytest.fixture
def strict(shop: Shop) -> Shop:
    """A shop that asks for a badge, in its third month, with nobody signed in."""
    shop.clock.forward(65 * 86400.0)
    shop.desk.people.change_setting("kiosk", "badge_required", "yes", "the shop's rule")
    shop.reopen()
    return shop


def made(kind: type[L.Entry]) -> Any:
    """A line of this kind; what it says is of no matter here."""
    return kind(*("x" for field in fields(kind) if field.default is MISSING))


@pytest.mark.parametrize("kind", L.KINDS.values(), ids=str)
def test_every_kind_of_line_is_work_or_says_so(strict: Shop, kind: type[L.Entry]) -> None:
    before = strict.desk.session.book.last_id
    if kind.kind in ITSELF:
        assert acts.of_itself(made(kind))
        return
    with pytest.raises(ActRefused) as refused:
        strict.desk.session.write(made(kind))
    assert refused.value.reason is Reason.BADGE_FIRST
    with pytest.raises(ActRefused):
        strict.desk.session.write(L.SignedOut("jo"), made(kind))
    if kind is not L.MeasuredLine:
        with pytest.raises(ActRefused):
            strict.desk.session.write(made(kind), presetter=True)
    assert strict.desk.session.book.last_id == before


def test_time_and_cooling_are_written_without_a_hand() -> None:
    assert acts.of_itself(L.HoldEnded("T001", "time")) and not acts.of_itself(L.HoldEnded("T001", "reading"))
    cooled = L.DifferenceSettled("a", "T001", "hot_here", "cooled")
    assert acts.of_itself(cooled) and not acts.of_itself(L.DifferenceSettled("a", "T001", "hot_here", "confirmed"))


def test_a_hold_ends_by_time_with_nobody_there(strict: Shop) -> None:
    strict.desk.session.write(L.HoldEnded("T001", "time"))


def test_a_fresh_label_is_bound_by_somebody(strict: Shop) -> None:
    strict.desk.scan("BSXD5X3637")
    label = strict.desk.labels.fresh_label("T002").code
    strict.desk.people.sign_out()
    outcome = strict.desk.scan(str(label)).outcome
    assert isinstance(outcome, Refused) and outcome.reason is Reason.BADGE_FIRST
    strict.desk.scan("BSXD5X3637")
    scanned = strict.desk.scan(str(label))
    assert isinstance(scanned.outcome, Done) and scanned.lines[0].operator == "jo"


def test_every_act_by_touch_asks_for_a_badge(strict: Shop) -> None:
    desk = strict.desk
    assembly = desk.session.holder("T002").assembly
    assert assembly is not None
    pocket = strict.place("Mill 1 · pocket 07")
    steps = {
        "reground": lambda: desk.build.reground(assembly.cutter.key, oal_mm=assembly.cutter.oal_mm - 1),
        "number": lambda: desk.build.number("T002", 3),
        "assign": lambda: desk.handover.assign(pocket, "T002"),
        "label": lambda: desk.labels.fresh_label("T003"),
        "remember": lambda: desk.labels.remember("size", "12x12"),
        "replace": lambda: desk.shop.replace_label("T002", "HXXX"),
        "mark": lambda: desk.shop.adopt_mark("T002", "MAKER 1"),
        "retire": lambda: desk.shop.retire("T002", "gone"),
        "correct": lambda: desk.shop.correct(desk.session.holder("T002").holder, "why"),
        "place": lambda: desk.shop.correct_place("T002", strict.place("Bench 1"), "why"),
        "setting": lambda: desk.people.change_setting("kiosk", "undo_s", "30", "why"),
        "person": lambda: desk.people.add("mo", "Mo", "setter", "BXXX"),
        "measured": lambda: desk.build.measure("T002", Measured(100.0, 6.0)),
        "undo": lambda: desk.undo(),
    }
    before = desk.session.book.last_id
    for name, step in steps.items():
        try:
            outcome = step()
        except ActRefused as refused:
            assert refused.reason is Reason.BADGE_FIRST, name
            continue
        assert isinstance(getattr(outcome, "outcome", None), Refused), name
    kinds = {line.kind for line in desk.session.book.lines(before)}
    assert kinds <= {"refused"}, kinds


def test_a_presetter_needs_no_badge(strict: Shop) -> None:
    taken = strict.desk.build.measure("T002", Measured(100.0, 6.0), by_hand=False)
    assert taken.values.length_mm == 100.0


def test_a_shop_where_nobody_has_a_badge_yet_can_be_set_up(tmp_path: Any) -> None:
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "settings.toml").write_text("[kiosk]\nbadge_required = true\n", "utf-8")
    shop = Shop(tmp_path / "data")
    assert shop.desk.session.badge_missing, "from now on it does"
    shop.desk.close()
