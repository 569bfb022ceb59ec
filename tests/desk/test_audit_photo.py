"""Drawer photographs from our own labels on drawn steel: the real reader reads them, the real audit compares them."""

from __future__ import annotations

from kiosk.bench.scene_space import Lens
from kiosk.bench.scenes import drawer_photo
from kiosk.reader.decode import read
from kiosk.rules import codes
from kiosk.rules.audit import Action, Difference, Shows
from kiosk.rules.outcomes import Done, Refused
from tests.conftest import Shop

LENS = Lens.with_angle(1600, 1200, 65)
COLUMNS, ROWS = 4, 2
PLACE_MM = 66.0  # from holder to holder in the tray


def photograph(shop: Shop, drawer: str, lying: list[str], seed: int, rows: int = ROWS) -> dict[str, Shows]:
    """Photographs a drawer with these labels in it; the state of each mark by the label's text."""
    picture = drawer_photo(lying, seed, LENS, PLACE_MM * COLUMNS, COLUMNS, rows).picture
    reading = read(picture, None)
    taken = shop.desk.audits.photo(reading.symbols, shop.place(f"Cabinet A · Drawer {drawer}"))
    assert all(0 <= x < picture.shape[1] and 0 <= y < picture.shape[0] for mark in taken.marks for x, y in mark.corners)
    return {mark.text: mark.state for mark in taken.marks}


def test_a_cabinet_photographed_drawer_by_drawer_differs_in_exactly_what_is_wrong_with_it(shop: Shop) -> None:
    audits = shop.desk.audits
    by_drawer: dict[str, list[str]] = {}
    for item in audits.open(shop.place("Cabinet A")).missing:
        assert item.place_name is not None
        drawer = item.place_name.removeprefix("Cabinet A · ").split("-")[0]
        if item.key not in ("T003", "T012"):  # two are gone
            by_drawer.setdefault(drawer, []).append(item.code)
    stray, strange = shop.holder("T008"), codes.make(codes.CodeKind.HOLDER, 20_260_926).text
    by_drawer["2"].remove(stray)
    by_drawer["1"] += [stray, strange]  # one in the wrong drawer, one that nobody knows

    for seed, (drawer, lying) in enumerate(sorted(by_drawer.items())):
        seen = photograph(shop, drawer, lying, seed)
        wrong = {stray: Shows.MISPLACED, strange: Shows.UNKNOWN}
        assert seen == {code: wrong.get(code, Shows.SEEN) for code in lying}, f"drawer {drawer}"

    status = audits.status()
    assert [(each.text, each.difference) for each in status.differences] == [
        ("T003", Difference.MISSING),
        ("T012", Difference.MISSING),
        ("T008", Difference.MISPLACED),
        (strange, Difference.UNKNOWN_CODE),
    ]
    assert (status.counts.expected, status.counts.seen, status.counts.missing) == (10, 8, 2)
    found = {each.text: (each.booked_name, each.found_name) for each in status.differences}
    assert found["T008"] == ("Cabinet A · 2-02", "Cabinet A · Drawer 1")
    assert found[strange] == (None, "Cabinet A · Drawer 1")
    assert isinstance(audits.close(), Refused)
    for key, action in (
        ("T003/missing", Action.NOWHERE), ("T012/missing", Action.NOWHERE), ("T008/misplaced", Action.PUT_BACK),
        (f"{strange}/unknown_code", Action.LABEL_OFF),
    ):  # fmt: skip
        assert isinstance(audits.settle(key, action), Done)
    assert isinstance(audits.close(), Done)
    assert shop.desk.session.book.check() == []


def test_slot_labels_in_the_photograph_say_which_slot_each_holder_stands_in(shop: Shop) -> None:
    shop.desk.audits.open(shop.place("Cabinet A"))
    slots = [shop.place(f"Cabinet A · 1-0{number}") for number in (1, 2, 3)]
    one, two = shop.holder("T002"), shop.holder("T003")
    # Upper row holders, lower row the slots' labels; T002 and T003 have changed places.
    lying = [two, one, shop.holder("T004"), codes.make(codes.CodeKind.HOLDER, 77).text, *slots]
    seen = photograph(shop, "1", lying, 5, rows=3)
    assert (seen[one], seen[two], seen[shop.holder("T004")]) == (Shows.MISPLACED, Shows.MISPLACED, Shows.SEEN)
    found = {each.text: each.found for each in shop.desk.audits.status().differences if each.found}
    assert (found["T002"], found["T003"]) == (slots[1], slots[0])


def test_a_drawer_nobody_can_see_into_ticks_nothing_off(shop: Shop) -> None:
    shop.desk.audits.open(shop.place("Cabinet A"))
    assert photograph(shop, "1", [], 3) == {}
    assert shop.desk.audits.status().counts.seen == 0
