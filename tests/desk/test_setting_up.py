"""What a shop has, entered by hand: guarded as an import is, and never a way to powers somebody has not."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from kiosk.desk.session import Locked, NeedsReason, NotThere
from kiosk.rules import lines as L
from kiosk.rules.cards import Heat
from kiosk.rules.codes import CodeKind, catches_swaps, parse
from kiosk.rules.outcomes import Refused
from kiosk.rules.places import Kind
from kiosk.rules.shop_things.forms import FORMS, Ask, Thing
from kiosk.rules.shop_things.making import ThingFault
from tests.conftest import Shop

DRAFTS: dict[Thing, dict[str, Any]] = {
    Thing.BENCH: {"name": "Bench 9"},
    Thing.SHRINK: {"name": "Station 9"},
    Thing.PRESETTER: {"name": "Presetter 9"},
    Thing.OUT: {"name": "Regrinder"},
    Thing.COOLING: {"name": "Sleeve 9", "way": "sleeve", "wet_length_mm": 80.0},
    Thing.CABINET: {"name": "Cabinet 9", "drawers": (3, 2)},
    Thing.MACHINE: {"name": "Mill 9", "kind": "chain", "pockets": 24.0, "pitch_mm": 110.0, "couplings": "HSK63"},
    Thing.CUTTER: {"name": "End mill 8", "dc_mm": 8.0, "dmm_mm": 8.0, "oal_mm": 63.0, "material": "carbide",
                   "shank_h6": True},
    Thing.HOLDER: {"name": "Shrink 8 x 90", "coupling": "HSK63", "clamping": "shrink_fit", "bore_mm": 8.0,
                   "nose_mm": 21.0, "projection_mm": 90.0},
}  # fmt: skip
PLACES = [thing for thing in Thing if thing.is_place]


@pytest.fixture(autouse=True)
def months_later(shop: Shop) -> Iterator[None]:
    shop.clock.forward(70 * 86400.0 + 123.0)
    shop.reopen()
    yield
    assert shop.desk.session.book.check() == []


@pytest.fixture
def with_pin(shop: Shop) -> Shop:
    shop.desk.people.first_pin("kim", "4711", by_owner=True)
    return shop


@pytest.mark.parametrize("thing", Thing)
def test_every_thing_is_added_with_labels_of_its_own_and_read_back_as_it_was_answered(shop: Shop, thing: Thing) -> None:
    counter = shop.desk.shop.setting_up
    done = counter.add(thing, DRAFTS[thing], stood_cold=True)
    assert DRAFTS[thing].items() <= counter.draft(thing, done.key).items()
    assert done.key in {each.key for each in counter.listed((thing,))}
    if thing.is_place:
        inside = shop.desk.session.cards.places.within(done.key)
        assert len(inside) == done.labels
        for code in inside:
            assert parse(code).kind is CodeKind.PLACE and catches_swaps(parse(code))
            assert shop.desk.session.place(code).place.code == code


def test_a_cabinet_gets_drawers_and_slots_as_files_name_them(shop: Shop) -> None:
    done = shop.desk.shop.setting_up.add(Thing.CABINET, DRAFTS[Thing.CABINET])
    places = shop.desk.session.cards.places
    assert [places.place(code).name for code in places.within(done.key)] == [
        "Cabinet 9", "Drawer 1", "1-01", "1-02", "1-03", "Drawer 2", "2-01", "2-02",
    ]  # fmt: skip
    assert shop.desk.intake.plan  # the whole shop goes out and comes in again below
    assert done.labels == 8


def test_what_was_set_up_by_hand_is_the_same_when_it_is_exported_and_imported(shop: Shop, tmp_path: Any) -> None:
    for thing, draft in DRAFTS.items():
        shop.desk.shop.setting_up.add(thing, draft, stood_cold=True)
    shop.desk.intake.export(tmp_path, lines=False)
    plan = shop.desk.intake.plan(tmp_path)
    assert [change for change in plan.changes if change.how.value not in ("same", "kept")] == []


@pytest.mark.parametrize("thing", PLACES)
def test_once_somebody_has_a_pin_no_operator_adds_a_place(with_pin: Shop, thing: Thing) -> None:
    before = with_pin.desk.session.book.last_line if hasattr(with_pin.desk.session.book, "last_line") else None
    with pytest.raises(Locked):
        with_pin.desk.shop.setting_up.add(thing, DRAFTS[thing])
    assert DRAFTS[thing]["name"] not in {each.name for each in with_pin.desk.shop.setting_up.listed((thing,))}
    assert before is None or before == with_pin.desk.session.book.last_line


@pytest.mark.parametrize("thing", Thing)
def test_once_somebody_has_a_pin_every_change_and_retirement_takes_it_and_a_reason(shop: Shop, thing: Thing) -> None:
    counter = shop.desk.shop.setting_up
    key = counter.add(thing, DRAFTS[thing], stood_cold=True).key
    shop.desk.people.first_pin("kim", "4711", by_owner=True)
    changed = DRAFTS[thing] | {"name": "Other name"}
    for act in (lambda why: counter.change(thing, key, changed, why), lambda why: counter.retire(thing, key, why)):
        with pytest.raises(Locked):
            act("worn")
        shop.desk.people.unlock("kim", "4711")
        with pytest.raises(NeedsReason):
            act(" ")
        act("worn")
        shop.desk.people.lock()
    assert key not in {each.key for each in counter.listed((thing,))}
    assert all(line.operator == "kim" for line in list(shop.desk.session.book.lines(0))[-1:])


def test_a_cooling_place_with_hot_steel_keeps_how_it_cools(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T001"))
    assert not isinstance(shop.desk.scan(shop.place("Shrink station")).outcome, Refused)
    shop.clock.forward(40)
    shop.desk.scan(shop.holder("T001"))
    sleeve = shop.place("Sleeve 1")
    shop.desk.scan(sleeve)
    held = shop.desk.session.holder("T001").hold
    counter = shop.desk.shop.setting_up
    draft = counter.draft(Thing.COOLING, sleeve)
    for changed in (draft | {"wet_length_mm": 300.0, "way": "sleeve"}, draft | {"way": "mist"}):
        with pytest.raises(ThingFault):
            counter.change(Thing.COOLING, sleeve, changed, "faster")
    with pytest.raises(ThingFault):
        counter.retire(Thing.COOLING, sleeve, "gone")
    with pytest.raises(ThingFault):
        counter.retire(Thing.HOLDER, "T001", "gone")
    assert held is not None and shop.desk.session.holder("T001").hold == held


def test_a_place_where_something_stands_is_not_taken_away_from_under_it(shop: Shop) -> None:
    counter = shop.desk.shop.setting_up
    cabinet = next(each.key for each in counter.listed((Thing.CABINET,)))
    with pytest.raises(ThingFault):
        counter.retire(Thing.CABINET, cabinet, "sold")
    with pytest.raises(ThingFault):
        counter.change(Thing.CABINET, cabinet, counter.draft(Thing.CABINET, cabinet) | {"drawers": (0,)}, "smaller")
    assert shop.desk.session.book.check() == []


def test_a_cabinet_grows_at_its_end_and_keeps_the_codes_it_had(shop: Shop) -> None:
    counter = shop.desk.shop.setting_up
    key = counter.add(Thing.CABINET, DRAFTS[Thing.CABINET]).key
    places = shop.desk.session.cards.places
    before = set(places.within(key))
    grown = counter.change(Thing.CABINET, key, {"name": "Cabinet 9", "drawers": (4, 2, 1)}, "more room")
    places = shop.desk.session.cards.places
    assert grown.labels == 3 and before < set(places.within(key))
    counter.change(Thing.CABINET, key, {"name": "Cabinet 9", "drawers": (1,)}, "less")
    assert counter.draft(Thing.CABINET, key)["drawers"] == (1,)


def test_a_magazine_grows_and_keeps_what_its_pockets_are(shop: Shop) -> None:
    counter = shop.desk.shop.setting_up
    key = counter.add(Thing.MACHINE, DRAFTS[Thing.MACHINE]).key
    before = counter.draft(Thing.MACHINE, key)
    assert counter.change(Thing.MACHINE, key, before | {"pockets": 30.0}, "new chain").labels == 6
    assert counter.change(Thing.MACHINE, key, before | {"pockets": 12.0}, "old chain").labels == 0
    magazine = shop.desk.session.cards.places.magazine(key)
    assert magazine is not None and magazine.pockets == 12


def test_six_more_like_this_have_names_of_their_own_and_codes_of_their_own(shop: Shop) -> None:
    counter = shop.desk.shop.setting_up
    key = counter.add(Thing.CABINET, DRAFTS[Thing.CABINET]).key
    assert counter.copy(Thing.CABINET, key, 6).labels == 6 * 8
    names = [each.name for each in counter.listed((Thing.CABINET,)) if each.name.startswith("Cabinet 1")]
    assert names == ["Cabinet 10", "Cabinet 11", "Cabinet 12", "Cabinet 13", "Cabinet 14", "Cabinet 15"]
    holder = counter.add(Thing.HOLDER, DRAFTS[Thing.HOLDER], stood_cold=True).key
    counter.copy(Thing.HOLDER, holder, 6, stood_cold=False)
    alike = [each.key for each in counter.listed((Thing.HOLDER,)) if each.name == "Shrink 8 x 90"]
    assert len(alike) == 7
    unknown = [key for key in alike if shop.desk.session.holder(key).heat.value == "unknown"]
    assert len(unknown) == 6  # nobody said that they stood cold


def test_two_places_are_never_called_the_same(shop: Shop) -> None:
    counter = shop.desk.shop.setting_up
    counter.add(Thing.BENCH, {"name": "Bench 9"})
    with pytest.raises(ThingFault):
        counter.add(Thing.PRESETTER, {"name": "bench 9"})


def test_new_labels_are_one_batch_until_they_were_printed(shop: Shop) -> None:
    counter, labels = shop.desk.shop.setting_up, shop.desk.labels
    labels.noted(labels.new())
    assert labels.new() == ()
    done = counter.add(Thing.CABINET, DRAFTS[Thing.CABINET])
    holder = counter.add(Thing.HOLDER, DRAFTS[Thing.HOLDER], stood_cold=True)
    new = labels.new()
    assert len(new) == done.labels + 1 and labels.new() == new
    labels.noted(new)
    assert labels.new() == ()
    assert shop.desk.scan(new[-1].code.text).holder is not None
    assert shop.desk.session.holder(holder.key).code == new[-1].code.text


def test_every_figure_that_is_asked_has_bounds_and_words(shop: Shop) -> None:
    for thing, form in FORMS.items():
        for field in form:
            assert (field.ask is Ask.FIGURE) == (field.bound is not None), (thing, field.name)


def test_a_cutter_that_is_built_in_is_not_retired(shop: Shop) -> None:
    card = shop.desk.session.holder("T001")
    assert card.assembly is not None
    with pytest.raises(ThingFault):
        shop.desk.shop.setting_up.retire(Thing.CUTTER, card.assembly.cutter.key, "worn")
    with pytest.raises(ThingFault):
        shop.desk.shop.setting_up.add(Thing.CUTTER, DRAFTS[Thing.CUTTER] | {"dc_mm": 9000.0})


def test_a_kind_of_place_is_not_changed_by_naming_another_thing(shop: Shop) -> None:
    bench = shop.place("Bench 1")
    with pytest.raises(LookupError):
        shop.desk.shop.setting_up.change(Thing.COOLING, bench, DRAFTS[Thing.COOLING], "cools")
    assert shop.desk.session.place(bench).place.kind is Kind.BENCH
    entry = L.PlaceAdded(replace(shop.desk.session.place(bench).place, kind=Kind.COOLING, way="sleeve"))
    assert entry.place.kind is Kind.COOLING


@pytest.mark.parametrize("thing", Thing)
def test_what_is_gone_comes_back_as_it_was_by_a_supervisor_with_a_reason(shop: Shop, thing: Thing) -> None:
    counter = shop.desk.shop.setting_up
    key = counter.add(thing, DRAFTS[thing], stood_cold=True).key
    before = counter.draft(thing, key)
    shop.desk.people.first_pin("kim", "4711", by_owner=True)
    shop.desk.people.unlock("kim", "4711")
    counter.retire(thing, key, "sold")
    shop.clock.forward(5 * 86400.0)
    shop.reopen()
    counter = shop.desk.shop.setting_up
    assert [each.key for each in counter.gone((thing,))] == [key]
    with pytest.raises(Locked):
        counter.bring_back(thing, key, "found again")
    shop.desk.people.unlock("kim", "4711")
    with pytest.raises(NeedsReason):
        counter.bring_back(thing, key, " ")
    counter.bring_back(thing, key, "found again")
    assert counter.draft(thing, key) == before and counter.gone((thing,)) == ()
    assert key in {each.key for each in counter.listed((thing,))}
    with pytest.raises(NotThere):
        counter.bring_back(thing, key, "twice")
    if thing is Thing.HOLDER:  # nobody knows where it was meanwhile
        assert shop.desk.session.holder(key).heat is Heat.UNKNOWN


def test_a_cabinet_comes_back_without_the_drawer_that_went_before_it(shop: Shop) -> None:
    counter = shop.desk.shop.setting_up
    key = counter.add(Thing.CABINET, DRAFTS[Thing.CABINET]).key
    counter.change(Thing.CABINET, key, DRAFTS[Thing.CABINET] | {"drawers": (2,)}, "rebuilt")
    shop.clock.forward(60)
    counter.retire(Thing.CABINET, key, "sold")
    shop.clock.forward(60)
    counter.bring_back(Thing.CABINET, key, "kept after all")
    assert counter.draft(Thing.CABINET, key)["drawers"] == (2,)


def test_a_place_whose_name_is_taken_by_now_does_not_come_back_beside_it(shop: Shop) -> None:
    counter = shop.desk.shop.setting_up
    key = counter.add(Thing.BENCH, DRAFTS[Thing.BENCH]).key
    counter.retire(Thing.BENCH, key, "sold")
    counter.add(Thing.BENCH, DRAFTS[Thing.BENCH])
    with pytest.raises(ThingFault, match="name_taken"):
        counter.bring_back(Thing.BENCH, key, "found again")
