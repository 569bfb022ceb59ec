"""No file, and no taking back of one, changes what a hold rests on or who may do what."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from kiosk.desk.intake import ImportRefused
from kiosk.desk.session import Locked, NeedsReason, StillHot
from kiosk.ledger import tables as T
from kiosk.rules import lines as L
from kiosk.rules.assembly import Cutter
from kiosk.rules.cards import Heat
from kiosk.rules.codes import CodeKind
from kiosk.rules.intake import How
from kiosk.rules.outcomes import Refused
from kiosk.rules.places import Kind as PlaceKind
from kiosk.rules.places import Place
from tests.conftest import Shop

PIN = "4711"
CUTTERS = "cutter,cutter_name,DC,DMM,OAL,material\n"
PLACES = "code,name,kind,parent,number,capacity,way,wet_length_mm\n"
PEOPLE = "code,key,name,role\n"
DRY: dict[str, object] = {"way": None, "wet_length_mm": None}


@pytest.fixture(autouse=True)
def months_later(shop: Shop) -> Iterator[None]:
    shop.clock.forward(70 * 86400.0 + 123.0)
    shop.reopen()
    yield
    assert shop.desk.session.book.check() == []


def bring(shop: Shop, tmp_path: Path, text: str) -> tuple[tuple[How, ...], int]:
    """Imports a table.  What became of each entry, and how many lines were written."""
    path = tmp_path / "more.csv"
    path.write_text(text, "utf-8")
    plan = shop.desk.intake.plan(path)
    written = shop.desk.intake.take(plan, path.name) if not plan.conflicts else ()
    return tuple(change.how for change in plan.changes), len(written)


def heat(shop: Shop, key: str = "T001") -> float:
    """Heats a holder and puts it into the sleeve; the seconds its hold still takes."""
    shop.desk.scan(shop.holder(key))
    assert not isinstance(shop.desk.scan(shop.place("Shrink station")).outcome, Refused)
    return left_s(shop, key)


def left_s(shop: Shop, key: str = "T001") -> float:
    hold = shop.desk.session.holder(key).hold
    assert hold is not None and hold.remaining_s is not None
    return hold.remaining_s


def cutter_row(cutter: Cutter, **other: object) -> str:
    """A row of a cutters' table."""
    made = replace(cutter, **other)  # type: ignore[arg-type]
    cells = (made.key, made.name, made.dc_mm, made.dmm_mm, made.oal_mm, made.material.value)
    return CUTTERS + ",".join(map(str, cells)) + "\n"


def place_row(shop: Shop, which: str, **other: object) -> str:
    """A row of a places' table."""
    place = replace(shop.desk.session.place(shop.place(which)).place, **other)  # type: ignore[arg-type]
    cells = (
        *(place.code, place.name, place.kind.value, place.parent, place.number, place.capacity),
        *(place.way, place.wet_length_mm),
    )
    return PLACES + ",".join("" if cell is None else str(cell) for cell in cells) + "\n"


def inside(shop: Shop, key: str = "T001") -> Cutter:
    assembly = shop.desk.session.holder(key).assembly
    assert assembly is not None
    return assembly.cutter


@pytest.mark.parametrize("other", [{"oal_mm": 20.0}, {"dmm_mm": 3.0}, {"dc_mm": 1.0}, {"name": "thin"}])
def test_a_file_does_not_change_the_cutter_in_a_hot_holder(
    shop: Shop, tmp_path: Path, other: dict[str, object]
) -> None:
    row = cutter_row(inside(shop), **other)
    before_s = heat(shop)
    assert bring(shop, tmp_path, row) == ((How.KEPT,), 0)
    assert left_s(shop) == before_s


def test_a_regrinding_of_a_cutter_in_a_hot_holder_waits(shop: Shop) -> None:
    cutter = inside(shop)
    before_s = heat(shop)
    with pytest.raises(StillHot):
        shop.desk.build.reground(cutter.key, oal_mm=cutter.oal_mm / 2)
    assert left_s(shop) == before_s


def test_a_file_does_not_build_a_cutter_into_a_hot_holder(shop: Shop, tmp_path: Path) -> None:
    heat(shop)
    shop.desk.build.tear_down("T001")
    before_s = left_s(shop)
    card = shop.desk.session.holder("T001")
    text = (
        "code,key,name,coupling,clamping,bore_mm,assembly,cutter,cutter_name,DC,DMM,OAL\n"
        f"{card.code},T001,{card.holder.name},HSK63,shrink_fit,12,A9,C9,New,12,12,400\n"
    )
    path = tmp_path / "built.csv"
    path.write_text(text, "utf-8")
    plan = shop.desk.intake.plan(path)
    assert {c.what: c.how for c in plan.changes}["assembly"] is How.KEPT
    shop.desk.intake.take(plan, "built.csv")
    assert shop.desk.session.holder("T001").assembly is None and left_s(shop) == before_s


def test_taking_an_import_back_puts_no_old_facts_under_a_hold(shop: Shop, tmp_path: Path) -> None:
    cutter = inside(shop)
    bring(shop, tmp_path, cutter_row(cutter, oal_mm=cutter.oal_mm * 3))
    line = shop.desk.intake.imports()[0].line
    before_s = heat(shop)
    undone = shop.desk.intake.undo(line, "the wrong file")
    assert undone.kept == (cutter.key,) and left_s(shop) == before_s


def test_steel_that_may_still_be_warm_keeps_its_facts_too(shop: Shop, tmp_path: Path) -> None:
    row = cutter_row(inside(shop), oal_mm=20.0)
    heat(shop)
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Sleeve 1"))
    shop.clock.forward(2 * 3600.0)
    shop.desk.session.write(L.HoldEnded("T001", "reading"))
    assert bring(shop, tmp_path, row)[0] == (How.KEPT,)
    shop.clock.forward(5 * 3600.0)
    assert bring(shop, tmp_path, row)[0] == (How.CHANGED,)


def test_a_hot_holder_out_of_use_does_not_come_back_with_other_facts_or_elsewhere(shop: Shop, tmp_path: Path) -> None:
    code = shop.holder("T001")
    heat(shop)
    shop.desk.shop.retire("T001", "gone")
    text = (
        "code,key,name,coupling,clamping,bore_mm,nose_mm,stood_cold,place\n"
        f"{code},T001,Thin,HSK63,shrink_fit,3,8,yes,Bench 1\n"
    )
    bring(shop, tmp_path, text)
    card = shop.desk.session.holder("T001")
    assert card.holder.bore_mm == 12.0 and card.heat is Heat.HELD
    assert card.at is None or card.at.place.kind.may_be_hot


def test_a_file_does_not_make_a_known_holder_cold(shop: Shop, tmp_path: Path) -> None:
    label = shop.desk.session.fresh_code(CodeKind.HOLDER).text
    header = "code,key,name,coupling,clamping,bore_mm,stood_cold,place\n"
    bring(shop, tmp_path, f"{header}{label},N1,New,HSK63,shrink_fit,10,no,Bench 1\n")
    assert shop.desk.session.holder("N1").heat is Heat.UNKNOWN
    shop.desk.intake.undo(shop.desk.intake.imports()[0].line, "was wrong")
    bring(shop, tmp_path, f"{header}{label},N1,New,HSK63,shrink_fit,10,yes,Bench 1\n")
    assert shop.desk.session.holder("N1").heat is Heat.UNKNOWN


@pytest.mark.parametrize("other", [{"way": "mist"}, {"wet_length_mm": 190.0}, {"kind": PlaceKind.BENCH, **DRY}])
def test_a_place_under_a_hold_cools_as_it_did(shop: Shop, tmp_path: Path, other: dict[str, object]) -> None:
    row = place_row(shop, "Sleeve 1", **other)
    heat(shop)
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Sleeve 1"))
    shop.clock.forward(100.0)
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Rack 1"))
    before_s = left_s(shop)  # it left the sleeve, and what it did there still counts
    assert bring(shop, tmp_path, row) == ((How.KEPT,), 0)
    assert left_s(shop) == before_s


def test_a_place_under_a_hold_may_be_called_otherwise(shop: Shop, tmp_path: Path) -> None:
    row = place_row(shop, "Shrink station", name="The unit")
    heat(shop)
    assert bring(shop, tmp_path, row)[0] == (How.CHANGED,)


def of_kind(shop: Shop, kind: PlaceKind) -> str:
    return next(card.place.code for card in shop.desk.shop.places() if card.place.kind is kind)


@pytest.mark.parametrize(
    "kind", [PlaceKind.POCKET, PlaceKind.SPINDLE, PlaceKind.SLOT, PlaceKind.DRAWER, PlaceKind.CABINET]
)
def test_a_pocket_or_slot_never_becomes_a_cooling_place(shop: Shop, tmp_path: Path, kind: PlaceKind) -> None:
    code = of_kind(shop, kind)
    text = place_row(shop, code, kind=PlaceKind.COOLING, way="sleeve", parent=None)
    assert bring(shop, tmp_path, text) == ((How.KEPT,), 0)
    assert shop.desk.session.place(code).place.kind is kind
    back = place_row(shop, "Bench 1", kind=kind, parent=shop.desk.session.place(code).place.parent)
    assert How.CHANGED not in bring(shop, tmp_path, back)[0]


def test_a_place_in_use_stays_the_kind_it_is_and_an_empty_one_may_be_mended(shop: Shop, tmp_path: Path) -> None:
    row = place_row(shop, "Rack 1", kind=PlaceKind.BENCH, way=None)
    shop.desk.scan(shop.holder("T005"))
    shop.desk.scan(shop.place("Rack 1"))
    assert bring(shop, tmp_path, row) == ((How.KEPT,), 0)
    shop.desk.scan(shop.holder("T005"))
    shop.desk.scan(shop.place("Bench 1"))
    assert bring(shop, tmp_path, row)[0] == (How.CHANGED,)


def test_a_place_out_of_use_comes_back_as_what_it_was(shop: Shop, tmp_path: Path) -> None:
    code = of_kind(shop, PlaceKind.POCKET)
    shop.desk.session.write(L.PlaceRetired(code, "gone"))
    text = place_row(shop, code, kind=PlaceKind.COOLING, way="sleeve", parent=None)
    assert How.KEPT in bring(shop, tmp_path, text)[0]
    assert shop.desk.session.place(code).place.kind is PlaceKind.POCKET


def test_a_hold_that_begins_between_look_and_write_stops_the_import(shop: Shop, tmp_path: Path) -> None:
    path = tmp_path / "more.csv"
    path.write_text(cutter_row(inside(shop), oal_mm=20.0), "utf-8")
    plan = shop.desk.intake.plan(path)
    before_s = heat(shop)
    with pytest.raises(ImportRefused):
        shop.desk.intake.take(plan, "more.csv")
    assert left_s(shop) == before_s


def with_pin(shop: Shop) -> None:
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
    shop.desk.people.lock()


@pytest.mark.parametrize(
    "row",
    [
        "{jo},jo,Jo,supervisor",  # a role of one's own
        "{new},mo,Mo,setter",  # somebody new
        "{new},mo,Mo,supervisor",
        "{new},kim,Kim Vale,supervisor",  # the supervisor's badge for another pocket
        "{kim},kim,Kim Vale,setter",  # the supervisor put down
    ],
)
def test_who_may_do_what_is_not_changed_by_a_file_without_the_pin(shop: Shop, tmp_path: Path, row: str) -> None:
    with_pin(shop)
    code = shop.desk.shop.code_of
    new = shop.desk.session.fresh_code(CodeKind.BADGE).text
    before = shop.desk.session.book.last_id
    with pytest.raises(Locked):
        bring(shop, tmp_path, PEOPLE + row.format(jo=code("jo"), kim=code("kim"), new=new) + "\n")
    assert shop.desk.session.book.last_id == before
    shop.desk.people.unlock("kim", PIN)
    another = shop.desk.session.fresh_code(CodeKind.BADGE).text
    shop.desk.people.add("pat", "Pat", "supervisor", another, "1234")  # the last one who can give a PIN stays
    assert bring(shop, tmp_path, PEOPLE + row.format(jo=code("jo"), kim=code("kim"), new=new) + "\n")[1] > 0
    line = shop.desk.session.book.line(shop.desk.session.book.last_id)
    assert line is not None and line.operator == "kim"


def test_a_retired_badge_comes_back_only_with_the_pin(shop: Shop, tmp_path: Path) -> None:
    with_pin(shop)
    badge = shop.desk.shop.code_of("jo")
    shop.desk.people.unlock("kim", PIN)
    shop.desk.people.retire("jo", "left")
    shop.desk.people.lock()
    with pytest.raises(Locked):
        bring(shop, tmp_path, f"{PEOPLE}{badge},jo,Jo,setter\n")
    assert T.Operator.get_by_id("jo").retired


def test_a_file_that_corrects_facts_takes_the_pin_as_a_hand_does(shop: Shop, tmp_path: Path) -> None:
    with_pin(shop)
    row = cutter_row(inside(shop), oal_mm=20.0)
    with pytest.raises(Locked):
        bring(shop, tmp_path, row)
    new = cutter_row(replace(inside(shop), key="C99"))
    assert bring(shop, tmp_path, new) == ((How.NEW,), 2), "what is new is everybody's work"


def test_taking_an_import_back_takes_the_pin_and_a_reason(shop: Shop, tmp_path: Path) -> None:
    bring(shop, tmp_path, cutter_row(replace(inside(shop), key="C99")))
    line = shop.desk.intake.imports()[0].line
    for reason in ("", "  "):
        with pytest.raises(NeedsReason):
            shop.desk.intake.undo(line, reason)
    with_pin(shop)
    with pytest.raises(Locked):
        shop.desk.intake.undo(line, "the wrong file")
    shop.desk.people.unlock("kim", PIN)
    assert shop.desk.intake.undo(line, "the wrong file").lines[-1].operator == "kim"


def test_only_the_first_pin_of_a_shop_is_chosen_without_one(shop: Shop) -> None:
    shop.desk.scan(shop.desk.shop.code_of("kim"))
    shop.desk.people.add("ann", "Ann", "supervisor", shop.desk.shop.fresh_code(CodeKind.BADGE).text)
    with_pin(shop)
    with pytest.raises(Locked):
        shop.desk.people.first_pin("ann", "1", by_owner=True)
    with pytest.raises(Locked):
        shop.desk.people.set_pin("kim", "1")
    shop.desk.people.unlock("kim", PIN)
    shop.desk.people.first_pin("ann", "1234", by_owner=True)
    assert shop.desk.people.unlock("ann", "1234").key == "ann"


def test_what_was_set_right_after_an_import_stays_when_it_is_taken_back(shop: Shop, tmp_path: Path) -> None:
    cutter = inside(shop, "T002")
    shop.desk.build.reground(cutter.key, oal_mm=cutter.oal_mm - 1)
    bring(shop, tmp_path, cutter_row(cutter, name="Other"))
    line = shop.desk.intake.imports()[0].line
    shop.desk.intake.undo(line, "the wrong file")
    assert inside(shop, "T002") == replace(cutter, oal_mm=cutter.oal_mm - 1), "as the regrinding had left it"
    bring(shop, tmp_path, cutter_row(cutter, name="Other"))
    line = shop.desk.intake.imports()[0].line
    shop.desk.build.reground(cutter.key, oal_mm=cutter.oal_mm - 2)
    assert shop.desk.intake.undo(line, "the wrong file").kept == (cutter.key,)
    assert inside(shop, "T002").oal_mm == cutter.oal_mm - 2


def test_a_file_that_says_cold_of_a_twin_of_something_hot_is_warned_about(shop: Shop, tmp_path: Path) -> None:
    like = shop.desk.session.holder("T001").holder
    codes = {key: shop.desk.shop.fresh_code(CodeKind.HOLDER).text for key in ("N1", "N2", "N3")}
    columns = "code,key,name,coupling,clamping,bore_mm,nose_mm,projection_mm,stood_cold\n"

    def row(key: str, stood_cold: str, bore_mm: float | None = like.bore_mm) -> str:
        kind = (like.name, like.coupling, like.clamping.value, bore_mm, like.nose_mm, like.projection_mm)
        cells = (codes.get(key) or shop.holder(key), key, *kind, stood_cold)
        return ",".join("" if cell is None else str(cell) for cell in cells) + "\n"

    def warned() -> set[str]:
        path = tmp_path / "holders.csv"
        text = row("N1", "yes") + row("N2", "no") + row("N3", "yes", 10.0) + row("T001", "yes")
        path.write_text(columns + text, "utf-8")
        changes = shop.desk.intake.plan(path).changes
        return {each.key for each in changes if each.why and each.why.key == "register.alike_hot"}

    assert warned() == set()
    heat(shop)
    assert warned() == {"N1"}
    plan = shop.desk.intake.plan(tmp_path / "holders.csv")
    why = next(change.why for change in plan.changes if change.key == "N1")
    assert why is not None and why["name"] == shop.desk.session.holder("T001").name
    shop.clock.forward(30 * 86400.0)
    shop.reopen()
    assert warned() == {"N1"}, "nobody read it since"


@pytest.mark.parametrize("way", [None, "sleeve", "mist", "forced_air"])
def test_a_new_place_takes_the_pin_by_file_as_by_hand(shop: Shop, tmp_path: Path, way: str | None) -> None:
    with_pin(shop)
    code = shop.desk.session.fresh_code(CodeKind.PLACE).text
    wet = "90" if way == "sleeve" else ""
    row = f"{PLACES}{code},Behind the mill,{'cooling' if way else 'bench'},,,,{way or ''},{wet}\n"
    before = shop.desk.session.book.last_id
    with pytest.raises(Locked):
        bring(shop, tmp_path, row)
    assert shop.desk.session.book.last_id == before
    shop.desk.people.unlock("kim", PIN)
    bring(shop, tmp_path, row)
    line = shop.desk.session.book.line(shop.desk.session.book.last_id)
    assert line is not None and line.operator == "kim"


@pytest.mark.parametrize(
    "entry",
    [
        L.PlaceAdded(Place("PAAAAAAAAA", "Behind the mill", PlaceKind.COOLING, way="sleeve", wet_length_mm=90.0)),
        L.OperatorAdded("mo", "Mo", "setter"),
        L.HolderRetired("T001", "gone"),
    ],
)
def test_no_counter_writes_without_the_pin_what_is_a_supervisors(shop: Shop, entry: L.Entry) -> None:
    with_pin(shop)
    with pytest.raises(Locked):
        shop.desk.session.write(L.SettingChanged("kiosk.theme", "dark", "x"), entry)
    shop.desk.people.unlock("kim", PIN)
    assert shop.desk.session.book.line(shop.desk.session.write(entry)[-1].id).operator == "kim"  # type: ignore[union-attr]


def test_what_somebody_entered_after_the_look_is_not_written_over(shop: Shop, tmp_path: Path) -> None:
    with_pin(shop)
    path = tmp_path / "more.csv"
    path.write_text(cutter_row(replace(inside(shop), key="C99"), oal_mm=61.0), "utf-8")
    plan = shop.desk.intake.plan(path)
    assert not plan.corrects
    other = replace(inside(shop), key="C99", oal_mm=83.0)
    shop.desk.session.write(L.CutterAdded(other))
    with pytest.raises(ImportRefused) as refused:
        shop.desk.intake.take(plan, path.name)
    assert refused.value.plan.corrects, "the same file now says otherwise of something the book has"
    assert shop.desk.session.book.check() == []
