"""A large import stops for whoever waits, with nothing of it done: before, or all of it, and never anything between."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from pathlib import Path

import pytest

from kiosk.desk import Desk
from kiosk.desk.intake import ImportRefused
from kiosk.desk.session import GaveWay, GivenUp
from kiosk.ledger import tables as T
from kiosk.rules import slices
from kiosk.rules.codes import CodeKind
from kiosk.rules.outcomes import Done
from kiosk.screens.questions import bring_in
from tests.conftest import Shop
from tests.desk.test_intake import holder, table

MANY = 400


@pytest.fixture
def many(shop: Shop, tmp_path: Path) -> Path:
    return table(tmp_path, *(holder(shop, f"N{number}") for number in range(MANY)))


def asked_at(desk: Desk, look: int) -> None:
    """From the Nth look on somebody waits."""
    looks = 0

    def is_asked() -> bool:
        nonlocal looks
        looks += 1
        return looks >= look

    desk.session.is_asked = is_asked


def state(desk: Desk) -> tuple[object, ...]:
    tables = (T.Holder, T.Binding, T.KeptLine, T.Mention, T.Printed)
    return (desk.session.book.last_id, desk.session.book.last_hash, *(table.select().count() for table in tables))


def looks_of(desk: Desk, act: Callable[[], object]) -> int:
    """How often long work looks up whether somebody waits, when nobody does."""
    looks = 0

    def is_asked() -> bool:
        nonlocal looks
        looks += 1
        return False

    desk.session.is_asked = is_asked
    act()
    return looks


def test_an_import_that_gives_way_anywhere_has_done_nothing_and_goes_through_later(shop: Shop, many: Path) -> None:
    desk = shop.desk
    plan = desk.intake.plan(many)
    before = state(desk)
    looks = 0
    for look in range(1, 1000):
        asked_at(desk, look)
        try:
            desk.intake.take(plan, "many", desk.intake.giving_way())
        except GaveWay:
            looks += 1
            assert state(desk) == before
            continue
        break
    assert looks > 2 * len(plan.lines) / slices.SLICE, "it looked up while it planned, checked and wrote"
    assert state(desk) != before and desk.session.book.check() == []
    assert desk.intake.imports(1)[0].count == len(plan.lines)
    assert desk.session.holder(f"N{MANY - 1}").name == "Shrink 10 x 80"


def test_a_scan_between_two_tries_is_on_disk_and_the_import_follows_it(shop: Shop, many: Path) -> None:
    desk = shop.desk
    plan = desk.intake.plan(many)
    asked_at(desk, 12)
    with pytest.raises(GaveWay):
        desk.intake.take(plan, "many", desk.intake.giving_way())
    desk.scan(shop.holder("T001"))
    place = desk.session.cards.find_place("Bench 2")
    assert place is not None and isinstance(desk.scan(place).outcome, Done)
    moved = desk.session.book.last_id
    desk.session.is_asked = lambda: False
    lines = desk.intake.take(plan, "many", desk.intake.giving_way())
    assert lines[0].id == moved + 1 and desk.session.book.check() == []


def test_what_was_moved_on_meanwhile_is_looked_at_again(shop: Shop, tmp_path: Path) -> None:
    """A plan that gave way is held against the shop anew: what came between is seen."""
    desk = shop.desk
    label = desk.session.fresh_code(CodeKind.HOLDER).text
    plan = desk.intake.plan(table(tmp_path, holder(shop, "N1", code=label)))
    asked_at(desk, 1)
    with pytest.raises(GaveWay):
        desk.intake.take(plan, "one", desk.intake.giving_way())
    desk.session.is_asked = lambda: False
    desk.intake.take(plan, "one")
    with pytest.raises(ImportRefused):
        desk.intake.take(plan, "one", desk.intake.giving_way())


def test_an_import_killed_between_two_slices_is_not_there(shop: Shop, many: Path) -> None:
    desk = shop.desk
    plan = desk.intake.plan(many)
    before = state(desk)
    desk.close()
    child = os.fork()
    if child == 0:
        try:
            with Desk.open(shop.folder, counter=shop.clock.counter, wall=shop.clock.wall) as opened:
                opened.intake.take(plan, "many", lambda number: number > MANY and os.kill(os.getpid(), signal.SIGKILL))
        finally:
            os._exit(3)
    assert os.WIFSIGNALED(os.waitpid(child, 0)[1])
    with Desk.open(shop.folder, counter=shop.clock.counter, wall=shop.clock.wall) as opened:
        assert opened.session.book.check() == []
        assert state(opened)[2:4] == before[2:4] and opened.intake.imports() == ()


def test_taking_an_import_back_gives_way_too(shop: Shop, many: Path) -> None:
    desk = shop.desk
    closing = desk.intake.take(desk.intake.plan(many), "many")[-1].id
    before = state(desk)
    asked_at(desk, 5)
    with pytest.raises(GaveWay):
        desk.intake.undo(closing, "wrong file", desk.intake.giving_way())
    assert state(desk) == before
    asked_at(desk, 10**9)
    assert desk.intake.undo(closing, "wrong file", desk.intake.giving_way()).kept == ()
    assert desk.session.book.check() == []


def test_an_import_tells_how_far_it_is(shop: Shop, many: Path) -> None:
    told: list[int] = []
    plan = shop.desk.intake.plan(many)
    shop.desk.intake.take(plan, "many", shop.desk.intake.giving_way(told.append))
    assert told[-1] == len(plan.lines) // slices.SLICE * slices.SLICE and told == sorted(told)


def test_an_import_or_its_taking_back_that_is_given_up_anywhere_has_done_nothing(shop: Shop, many: Path) -> None:
    desk = shop.desk
    plan = desk.intake.plan(many)

    def given_up_at(look: int) -> Callable[[int], None]:
        looks = 0

        def at(_: int) -> None:
            nonlocal looks
            looks += 1
            if looks == look:
                raise GivenUp

        return at

    def given_up_everywhere(act: Callable[[Callable[[int], object]], object]) -> int:
        before = state(desk)
        look = 1
        while True:
            try:
                act(given_up_at(look))
            except GivenUp:
                assert state(desk) == before
                look *= 2
                continue
            return look

    assert given_up_everywhere(lambda at: bring_in.take(plan, "many", at)(desk)) > 8
    line = desk.intake.imports(1)[0].line
    assert given_up_everywhere(lambda at: bring_in.undo(line, "wrong file", at)(desk)) > 2
    assert desk.session.book.check() == []
