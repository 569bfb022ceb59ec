"""Shop data in with a dry run, back out as lines, and out as files that come in again."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from kiosk.desk import Desk
from kiosk.desk.hand import Hand
from kiosk.desk.intake import ImportRefused
from kiosk.desk.session import NotThere
from kiosk.exchange.shop import ShopFault
from kiosk.rules.cards import Heat
from kiosk.rules.codes import CodeKind, parse
from kiosk.rules.intake import How
from kiosk.rules.outcomes import Refused
from tests.conftest import Shop

PIN = "739184650211"
HEADER = "code,key,name,coupling,clamping,bore_mm,stood_cold,place\n"


def table(tmp_path: Path, *rows: str, header: str = HEADER) -> Path:
    path = tmp_path / "more.csv"
    path.write_text(header + "".join(f"{row}\n" for row in rows), "utf-8")
    return path


def holder(shop: Shop, key: str, place: str = "", name: str = "Shrink 10 x 80", code: str = "") -> str:
    label = code or shop.desk.session.fresh_code(CodeKind.HOLDER).text
    return f"{label},{key},{name},HSK63,shrink_fit,10,yes,{place}"


def test_a_dry_run_writes_nothing_and_says_what_would_change(shop: Shop, tmp_path: Path) -> None:
    before = shop.desk.session.book.last_id
    plan = shop.desk.intake.plan(
        table(
            tmp_path, holder(shop, "N1", "Bench 1"), holder(shop, "T002", name="Other name", code=shop.holder("T002"))
        )
    )
    assert shop.desk.session.book.last_id == before
    assert [(change.what, change.key, change.how) for change in plan.changes][:2] == [
        ("holder", "N1", How.NEW), ("holder", "T002", How.CHANGED),
    ]  # fmt: skip
    assert ("name", "Shrink 6 x 80", "Other name") in plan.changes[1].details


def test_what_is_the_same_is_left_alone(shop: Shop, tmp_path: Path) -> None:
    shop.desk.intake.export(tmp_path / "out", lines=False)
    plan = shop.desk.intake.plan(tmp_path / "out")
    assert plan.lines == () and plan.count(How.SAME) == len(plan.changes) > 40


def test_a_shop_taken_out_comes_in_again_on_another_tablet(shop: Shop, tmp_path: Path) -> None:
    shop.desk.intake.export(tmp_path / "out")
    names = [card.name for card in shop.desk.shop.holders(0, 100)]
    places = {card.holder.key: card.at.name if card.at else None for card in shop.desk.shop.holders(0, 100)}
    lines = (tmp_path / "out" / "lines.csv").read_text("utf-8").splitlines()
    assert len(lines) == shop.desk.session.book.last_id + 1
    shop.desk.close()
    with Desk.open(tmp_path / "new") as desk:
        plan = desk.intake.plan(tmp_path / "out")
        desk.intake.take(plan, "out")
        assert [card.name for card in desk.shop.holders(0, 100)] == names
        assert {c.holder.key: c.at.name if c.at else None for c in desk.shop.holders(0, 100)} == places
        assert all(card.heat is Heat.UNKNOWN for card in desk.shop.holders(0, 100)), "nobody knows how warm"
        assert desk.session.book.check() == []
    shop.desk = Desk.open(shop.folder, counter=shop.clock.counter, wall=shop.clock.wall)


def test_every_fault_is_told_with_file_line_and_field_and_nothing_is_taken(shop: Shop, tmp_path: Path) -> None:
    path = table(tmp_path, holder(shop, "N1", "Nowhere Street"), "HXXXXXXXXX,N2,x,HSK64,shrink_fit,minus,yes,")
    with pytest.raises(ShopFault) as fault:
        shop.desk.intake.plan(path)
    told = [(each.file, each.line, each.field) for each in fault.value.faults]
    assert ("more.csv", 2, "place") in told
    assert any(line == 3 for _, line, _ in told)


def test_a_table_nobody_can_place_is_told(shop: Shop, tmp_path: Path) -> None:
    with pytest.raises(ShopFault, match="no column tells which"):
        shop.desk.intake.plan(table(tmp_path, "1,2", header="a,b\n"))


def test_a_file_never_moves_what_the_book_knows(shop: Shop, tmp_path: Path) -> None:
    plan = shop.desk.intake.plan(table(tmp_path, holder(shop, "T002", "Bench 1", "Shrink 6 x 80", shop.holder("T002"))))
    kept = [change for change in plan.changes if change.how is How.KEPT]
    assert [change.key for change in kept] == ["T002"]
    shop.desk.intake.take(plan, "more.csv")
    place = shop.desk.session.holder("T002").at
    assert place is not None and place.name == "Cabinet A · 1-01"


def test_a_label_of_another_holder_and_a_full_slot_stop_the_import(shop: Shop, tmp_path: Path) -> None:
    taken = holder(shop, "N1", code=shop.holder("T003"))
    plan = shop.desk.intake.plan(table(tmp_path, taken, holder(shop, "N2", "Cabinet A · 1-01")))
    assert [change.how for change in plan.conflicts] == [How.CONFLICT] * 2
    assert plan.lines == ()
    with pytest.raises(ImportRefused):
        shop.desk.intake.take(plan, "more.csv")


def test_a_hot_holder_keeps_the_facts_its_hold_is_worked_out_from(shop: Shop, tmp_path: Path) -> None:
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Shrink station"))
    row = holder(shop, "T001", name="Thin nose", code=shop.holder("T001"))
    plan = shop.desk.intake.plan(table(tmp_path, row))
    assert [change.how for change in plan.changes if change.what == "holder" and change.key == "T001"] == [How.KEPT]
    shop.desk.intake.take(plan, "more.csv")
    assert shop.desk.session.holder("T001").holder.name == "Shrink 12 x 90"


def test_an_import_is_taken_back_by_lines_of_its_own(shop: Shop, tmp_path: Path) -> None:
    known = holder(shop, "T002", name="Other name", code=shop.holder("T002"))
    shop.desk.intake.take(shop.desk.intake.plan(table(tmp_path, holder(shop, "N1", "Bench 1"), known)), "more.csv")
    (row, *_) = shop.desk.intake.imports()
    assert (row.source, row.undone) == ("more.csv", False)
    before = shop.desk.session.book.last_id
    undone = shop.desk.intake.undo(row.line, "the wrong file")
    assert undone.kept == () and undone.lines[0].id == before + 1
    assert shop.desk.session.holder("N1").retired
    assert shop.desk.session.holder("T002").holder.name == "Shrink 6 x 80"
    assert shop.desk.session.holder("T002").code == shop.holder("T002")
    assert shop.desk.intake.imports()[0].undone
    with pytest.raises(NotThere):
        shop.desk.intake.undo(row.line, "once more")
    assert shop.desk.session.book.check() == []


def test_what_somebody_has_worked_with_since_stays(shop: Shop, tmp_path: Path) -> None:
    path = table(tmp_path, holder(shop, "N1", "Bench 1"), holder(shop, "N2", "Bench 1"))
    shop.desk.intake.take(shop.desk.intake.plan(path), "more.csv")
    shop.desk.scan(shop.holder("N1"))
    assert not isinstance(shop.desk.scan(shop.place("Bench 2")).outcome, Refused)
    undone = shop.desk.intake.undo(shop.desk.intake.imports()[0].line, "the wrong file")
    assert undone.kept == ("N1",)
    assert not shop.desk.session.holder("N1").retired and shop.desk.session.holder("N2").retired
    assert shop.desk.scan(shop.holder("N1")).holder is not None


def test_a_file_mended_after_an_undo_comes_in_with_the_same_labels(shop: Shop, tmp_path: Path) -> None:
    path = table(tmp_path, holder(shop, "N1", "Bench 1"))
    shop.desk.intake.take(shop.desk.intake.plan(path), "more.csv")
    label = shop.holder("N1")
    shop.desk.intake.undo(shop.desk.intake.imports()[0].line, "the wrong bench")
    plan = shop.desk.intake.plan(path)
    assert plan.conflicts == ()
    shop.desk.intake.take(plan, "more.csv")
    assert shop.holder("N1") == label
    scanned = shop.desk.scan(label)
    assert scanned.outcome.holder is not None and scanned.outcome.holder.holder.key == "N1"
    assert shop.desk.session.book.check() == []


def test_no_secret_leaves_in_any_file(shop: Shop, tmp_path: Path) -> None:
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
    shop.desk.people.unlock("kim", PIN)
    shop.desk.people.set_pin("kim", "0815")
    for path in shop.desk.intake.export(tmp_path / "out"):
        text = path.read_text("utf-8")
        assert "argon2" not in text and PIN not in text, path.name
    lines = (tmp_path / "out" / "lines.csv").read_text("utf-8")
    assert lines.count("operator added") == len(shop.desk.people.operators()) + 2, "the lines are there all the same"


def test_a_badge_that_would_choose_the_first_pin_leaves_in_no_file(shop: Shop, tmp_path: Path) -> None:
    """A supervisor who has signed in, in a shop without a PIN: by the badge alone anybody would be that one."""
    kim, jo = shop.desk.shop.code_of("kim"), shop.desk.shop.code_of("jo")
    shop.desk.scan(kim)
    shop.desk.labels.noted(shop.desk.labels.all_of("badges"))
    shop.desk.people.sign_out()
    assert [key for key, _ in shop.desk.intake.kept_back()] == ["kim"]
    for path in shop.desk.intake.export(tmp_path / "out"):
        assert kim not in path.read_text("utf-8"), path.name
    assert jo in (tmp_path / "out" / "operators.csv").read_text("utf-8")
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
    shop.desk.intake.export(tmp_path / "out")
    assert kim in (tmp_path / "out" / "operators.csv").read_text("utf-8"), "the PIN guards it now"


@pytest.mark.parametrize("typed", ["grouped", "in small letters", "with a slip", "in a hurry"])
def test_a_badge_that_was_typed_and_turned_away_leaves_in_no_file_either(
    shop: Shop, tmp_path: Path, typed: str
) -> None:
    """On somebody else's telephone, or mistyped: as a hand writes it, or one symbol from it, it is that badge."""
    shop.desk.scan(kim := shop.desk.shop.code_of("kim"))
    shop.desk.people.sign_out()
    other = "A" if kim[3] != "A" else "C"
    text = {
        "grouped": parse(kim).grouped,
        "in small letters": kim.lower(),
        "with a slip": kim[:3] + other + kim[4:],
        "in a hurry": f"{kim[:5]}\t {kim[5:9].lower()}{kim[9:]}",
    }[typed]
    hand = Hand("7F3A", operator=shop.desk.session.cards.operator("jo"))
    with shop.desk.session.asked_by(hand):
        refused = shop.desk.scan(text)
    assert isinstance(refused.outcome, Refused)
    shop.desk.intake.export(tmp_path / "out")
    said = (tmp_path / "out" / "lines.csv").read_text("utf-8")
    assert '"reason"' in said.replace('""', '"'), "that somebody was turned away is told"
    assert parse(kim).grouped[5:9].upper() not in said.upper() and json.dumps(text)[1:-1] not in said


def test_a_makers_mark_goes_out_and_comes_in_beside_the_label(shop: Shop, tmp_path: Path) -> None:
    shop.desk.shop.adopt_mark("T002", "DM 12/80;HSK")
    label = shop.holder("T002")
    shop.desk.intake.export(tmp_path / "out")
    with Desk.open(tmp_path / "new") as desk:
        desk.intake.take(desk.intake.plan(tmp_path / "out"), "out")
        for text in (label, "DM 12/80;HSK"):
            scanned = desk.scan(text).outcome.holder
            assert scanned is not None and scanned.holder.key == "T002"
        assert desk.session.holder("T002").code == label


def test_a_changed_figure_stays_a_figure_so_that_each_language_writes_it(shop: Shop, tmp_path: Path) -> None:
    row = f"{shop.holder('T002')},T002,Shrink 6 x 80,HSK63,shrink_fit,6.5,yes,"
    (changed,) = [each for each in shop.desk.intake.plan(table(tmp_path, row)).changes if each.key == "T002"]
    assert ("bore_mm", 6.0, 6.5) in changed.details
