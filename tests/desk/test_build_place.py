"""Whether anything can be built into a holder where it stands is said before cutters are offered."""

from __future__ import annotations

from kiosk.rules.assembly import Clamping, Condition
from kiosk.rules.fitting.fits import FitReason
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


def test_heat_and_a_broken_cutter_are_said_before_anything_is_touched(shop: Shop) -> None:
    desk = shop.desk
    shop.clock.forward(50 * 86400.0)
    desk.scan(shop.holder("T001"))
    desk.scan(shop.place("Shrink station"))
    torn = desk.session.holder("T001").assembly
    assert torn is not None
    desk.build.tear_down("T001", Condition.BROKEN)
    _, offers, not_here = bench.offers("T001")(desk)
    assert not_here is None, "at the station it is hot because it is to be built up"
    mine = next(offer for offer in offers if offer.cutter.key == torn.cutter.key)
    assert not mine.fit.ok and FitReason.CUTTER_BROKEN in {each.reason for each in mine.fit.findings}
    desk.build.reground(torn.cutter.key, dc_mm=torn.cutter.dc_mm - 0.1)
    _, offers, _ = bench.offers("T001")(desk)
    mine = next(offer for offer in offers if offer.cutter.key == torn.cutter.key)
    assert FitReason.CUTTER_BROKEN not in {each.reason for each in mine.fit.findings}
    desk.scan(shop.holder("T001"))
    desk.scan(shop.place("Rack 1"))
    _, offers, not_here = bench.offers("T001")(desk)
    assert offers == () and not_here is not None and not_here.why.key == "build.hot"


def test_what_the_first_page_offers_is_not_refused_after_the_touch(shop: Shop) -> None:
    """Every bare holder, wherever it stands: a cutter that fits by the list can be built in at once."""
    desk = shop.desk
    tried = 0
    for bare in [card for card in desk.shop.holders() if card.assembly is None][:6]:
        desk.scan(bare.code)
        desk.scan(shop.place("Bench 1"))
        _, offers, not_here = bench.offers(bare.holder.key)(desk)
        for offer in [] if not_here else [each for each in offers if each.fit.ok][:1]:
            assert desk.build.build(bare.holder.key, offer.cutter.key).assembly is not None
            tried += 1
    assert tried


def test_what_cools_where_it_stands_is_told_to_stay_there_and_how_long(shop: Shop) -> None:
    """A hot holder in a sleeve is sent to no other cooling place: it may stay where it is."""
    desk = shop.desk
    shop.clock.forward(50 * 86400.0)
    bare = next(
        card for card in desk.shop.holders() if card.assembly is None and card.holder.clamping is Clamping.SHRINK_FIT
    )
    for text in (bare.code, shop.place("Shrink station")):
        desk.scan(text)
    _, _, not_here = bench.offers(bare.holder.key)(desk)
    assert not_here is None
    for text in (bare.code, shop.place("Sleeve 1")):
        desk.scan(text)
    card, _, not_here = bench.offers(bare.holder.key)(desk)
    assert card.at is not None and card.at.name == "Sleeve 1"
    assert not_here is not None and not_here.why.key == "build.hot" and not_here.hot
    assert not_here.remedy.key == "next.in_sleeve" and not_here.remedy["place"] == "Sleeve 1"
    for text in (bare.code, shop.place("Rack 1")):
        desk.scan(text)
    _, _, not_here = bench.offers(bare.holder.key)(desk)
    assert not_here is not None and not_here.remedy.key in ("next.cooling", "next.read")
    assert not_here.remedy["place"] == "Rack 1"
