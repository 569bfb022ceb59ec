"""Whether anything can be built into a holder where it stands is said before cutters are offered."""

from __future__ import annotations

from kiosk.screens.questions import bench
from tests.conftest import Shop


def test_where_nothing_can_be_built_no_cutter_is_offered(shop: Shop) -> None:
    desk = shop.desk
    bare = next(card for card in desk.shop.holders() if card.assembly is None and card.at)
    place = bare.at
    assert place is not None and place.name not in ("Bench 1", "Bench 2", "Shrink station")
    card, offers, not_here = bench.offers(bare.holder.key)(desk)
    assert card == bare and offers == ()
    assert not_here is not None and not_here.why.key == "build.not_at_bench"
    desk.scan(bare.code)
    desk.scan(shop.place("Bench 1"))
    _, offers, not_here = bench.offers(bare.holder.key)(desk)
    assert offers and not_here is None


def test_a_holder_with_a_cutter_in_it_is_not_torn_down_for_being_scanned(shop: Shop) -> None:
    _, offers, not_here = bench.offers("T001")(shop.desk)
    assert offers == () and not_here is not None and not_here.why.key == "build.taken"
