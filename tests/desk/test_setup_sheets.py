"""Setup sheets written by hand: read again as they were written, guarded as every change is, and never lost."""

from __future__ import annotations

import pytest

from kiosk.desk.inbox import Inbox, papers
from kiosk.desk.session import Locked, NeedsReason
from kiosk.exchange.sheet import read_sheet, write_sheet
from kiosk.rules.fitting.setup_sheet import Need
from kiosk.rules.shop_things.making import ThingFault
from tests.conftest import Shop

NEEDS = (
    Need(2, "Roughing mill 12", 2, "Mill 1"),
    Need(3, "", 1, "", 12.0, 0.5, 30.125, 4, 8000.0),
    Need(4, "=SUM(1;2), \"quoted\"", 200, ""),
)


@pytest.fixture
def months_later(shop: Shop) -> Shop:
    shop.clock.forward(70 * 86400.0 + 123.0)
    shop.reopen()
    return shop


def test_a_sheet_is_read_again_as_it_was_written() -> None:
    assert read_sheet(write_sheet(NEEDS[:2]), "job.csv").whole() == NEEDS[:2]
    (odd,) = read_sheet(write_sheet(NEEDS[2:]), "job.csv").whole()  # a cell that would compute is made safe
    assert odd.quantity == 200 and "quoted" in odd.name


def test_a_sheet_is_written_changed_laid_aside_and_brought_back(months_later: Shop) -> None:
    desk = months_later.desk
    data = desk.session.book.path.parent
    counter = desk.setup_sheets
    path = counter.add("Pump cover 9", NEEDS[:1])
    assert [paper.name for paper in papers(data, Inbox.SETUPS)] == ["Pump cover 9"]
    with pytest.raises(ThingFault, match="name_taken"):
        counter.add("pump COVER 9", NEEDS)
    counter.change(counter.open(path), NEEDS[:2], "while setting up")
    assert counter.open(path).read.whole() == NEEDS[:2]
    desk.people.first_pin("kim", "4711", by_owner=True)
    sheet = counter.open(path)
    for act in (
        lambda why: counter.change(sheet, NEEDS[:1], why),
        lambda why: counter.retire(path, why),
    ):
        desk.people.lock()
        with pytest.raises(Locked):
            act("job over")
        desk.people.unlock("kim", "4711")
        with pytest.raises(NeedsReason):
            act(" ")
        act("job over")
    assert papers(data, Inbox.SETUPS) == ()
    (gone,) = counter.gone()
    desk.people.lock()
    with pytest.raises(Locked):
        counter.bring_back(gone.path, "again")
    desk.people.unlock("kim", "4711")
    counter.bring_back(gone.path, "again")
    assert counter.gone() == () and counter.open(path).read.whole() == NEEDS[:1]


def test_what_somebody_else_changed_meanwhile_or_wrote_wrong_is_not_written_over(months_later: Shop) -> None:
    counter = months_later.desk.setup_sheets
    path = counter.add("Job", NEEDS[:1])
    sheet = counter.open(path)
    path.write_text("name;quantity\nOther;1\nOdd;many\n", "utf-8")
    with pytest.raises(ThingFault, match="sheet_changed"):
        counter.change(sheet, NEEDS, "typed wrong")
    with pytest.raises(ThingFault, match="sheet_unreadable"):
        counter.change(counter.open(path), NEEDS, "typed wrong")
    assert "Other" in path.read_text("utf-8")


@pytest.mark.parametrize("name", ["", "../out", "a/b", ".hidden", "dot.", "C:evil", "x" * 300, "two\nlines"])
def test_a_name_that_is_no_files_is_refused_and_nothing_is_written(shop: Shop, name: str) -> None:
    counter = shop.desk.setup_sheets
    before = sorted(shop.desk.session.book.path.parent.rglob("*.csv"))
    if "\n" in name:
        assert counter.add(name, NEEDS[:1]).name == "two lines.csv"
        return
    with pytest.raises(ThingFault):
        counter.add(name, NEEDS[:1])
    with pytest.raises(ThingFault, match="sheet_empty"):
        counter.add("Empty", ())
    assert sorted(shop.desk.session.book.path.parent.rglob("*.csv")) == before
