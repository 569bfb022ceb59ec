"""Whatever is scanned, in whatever order and with whatever waits between, some things never happen."""

from __future__ import annotations

import tempfile
from collections import Counter
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from kiosk.rules.cards import Command
from kiosk.rules.places import Kind
from tests.conftest import Shop

HOLDERS = ("T001", "T002", "T003", "T004")
PLACES = (
    "Bench 1", "Shrink station", "Sleeve 1", "Rack 1", "Air blower", "Presetter", "Cabinet A · 1-01",
    "Cabinet A · 1-05", "Cabinet A", "Mill 1 · pocket 30", "Mill 1 · pocket 31", "Mill 1 · spindle", "Mill 1",
    "Regrind",
)  # fmt: skip

steps = st.one_of(
    st.tuples(st.just("holder"), st.sampled_from(HOLDERS)),
    st.tuples(st.just("place"), st.sampled_from(PLACES)),
    st.tuples(st.just("wait"), st.sampled_from((1.0, 25.0, 400.0, 1300.0, 3000.0))),
    st.tuples(st.just("undo"), st.just("")),
    st.tuples(st.just("read"), st.sampled_from(HOLDERS)),
    st.tuples(st.just("restart"), st.just("")),
)


def take(shop: Shop, step: tuple[str, object]) -> None:
    match step:
        case ("holder", str(key)):
            shop.desk.scan(shop.holder(key))
        case ("place", str(name)):
            shop.desk.scan(shop.place(name))
        case ("wait", float(seconds)):
            shop.clock.forward(seconds)
            shop.desk.tick()
        case ("undo", _):
            shop.desk.command(Command.UNDO)
        case ("read", str(key)) if shop.desk.session.holder(key).hold is not None:
            shop.desk.heat.read(key, "nose", 120.0)
        case ("restart", _):
            shop.reopen()


def check(shop: Shop) -> None:
    cards = [shop.desk.session.holder(key) for key in HOLDERS]
    for card in cards:
        if card.hold is not None and not card.hold.ended:
            assert card.at is not None and card.at.place.kind.may_be_hot, card.name
    everyone = shop.desk.shop.holders(0, 200)
    standing = Counter(card.at.place.code for card in everyone if card.at)
    for code, count in standing.items():
        place = shop.desk.session.cards.places.place(code)
        assert place.capacity is None or count <= place.capacity, place
        assert place.kind is not Kind.MACHINE


@settings(max_examples=12)
@given(st.lists(steps, min_size=5, max_size=20))
def test_a_held_holder_stays_where_heat_belongs_and_no_place_is_overfull(taken: list[tuple[str, object]]) -> None:
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as folder:
        shop = Shop(Path(folder))
        try:
            for step in taken:
                take(shop, step)
                check(shop)
            assert shop.desk.session.book.check() == []
        finally:
            shop.desk.close()
