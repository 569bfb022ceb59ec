"""What the desk has drawn: held holders by their holds, others as not known, places among their neighbours."""

from __future__ import annotations

import pytest

from kiosk.desk import holds
from kiosk.rules import lines as L
from kiosk.rules.holder_drawing import Drawing, Warmth
from kiosk.rules.outline import OutlineError
from tests.conftest import Shop

DAYS_S = 30 * 86_400.0


def heated(shop: Shop, place: str = "Rack 1") -> None:
    """T001 to the shrink station and to a cooling place, after a month at work."""
    shop.clock.forward(DAYS_S)
    for code in (shop.holder("T001"), shop.place("Shrink station"), shop.holder("T001"), shop.place(place)):
        shop.desk.scan(code)


def hottest(drawing: Drawing) -> list[str]:
    return [spot.where for spot in drawing.spots if spot.hottest]


def test_a_held_holder_is_drawn_as_warm_as_its_hold_and_cools_with_it(shop: Shop) -> None:
    heated(shop)
    shop.clock.forward(100)
    hold, drawing = shop.desk.session.holder("T001").hold, shop.desk.heat.drawing("T001")
    assert hold is not None and hottest(drawing) == [hold.where]
    assert drawing.limit_c == shop.desk.session.settings.heat.limit_c
    assert Warmth.GLOWING in drawing.warmths
    shop.clock.forward(2400)
    later = shop.desk.heat.drawing("T001")
    assert Warmth.GLOWING not in later.warmths and later.areas == drawing.areas


def test_no_hand_is_let_on_while_a_reading_is_still_asked_for(shop: Shop) -> None:
    heated(shop)
    for _ in range(8):
        shop.clock.forward(1800)
        hold = shop.desk.session.holder("T001").hold
        assert hold is not None and hold.needs_reading
        assert shop.desk.heat.drawing("T001").hands == ()


def test_a_cool_holder_is_drawn_with_its_lengths_and_no_warmth(shop: Shop) -> None:
    drawing = shop.desk.heat.drawing("T002")
    assert drawing.bands == () and drawing.limit_c is None and hottest(drawing) == []
    assert {"depth", "stickout", "projection", "length"} <= {each.name for each in drawing.dimensions}


def test_one_of_which_nobody_knows_how_warm_it_is_is_drawn_as_not_known(shop: Shop) -> None:
    shop.clock.forward(DAYS_S)
    place = shop.desk.session.holder("T002").at
    assert place is not None
    shop.desk.session.write(L.Moved("T002", place.place.code, None))
    drawing = shop.desk.heat.drawing("T002")
    assert drawing.warmths == (Warmth.UNKNOWN,) and drawing.hands == ()


def test_a_hold_that_cannot_be_worked_out_is_drawn_as_not_known(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    heated(shop)

    def fails(*_: object) -> None:
        raise OutlineError("nose_mm", "of this test")

    monkeypatch.setattr(holds, "solved_skin", fails)
    drawing = shop.desk.heat.drawing("T001")
    assert drawing.warmths == (Warmth.UNKNOWN,) and drawing.hands == ()


def test_a_tag_has_the_holder_on_it_and_says_nowhere_that_a_hand_may_be_put_on(shop: Shop) -> None:
    heated(shop)
    shop.clock.forward(100)
    content = shop.desk.labels.hot_tag("T001")
    assert content.drawing is not None and content.drawing.bands and content.drawing.hands == ()


def test_a_slot_is_drawn_in_its_drawer_and_the_drawer_in_its_cabinet(shop: Shop) -> None:
    picture = shop.desk.finding.picture("T002")
    drawers, slots = picture.levels
    assert drawers.stacked and drawers.names[drawers.marked] == "Drawer 1"
    assert not slots.stacked and slots.names[slots.marked] == "1-01"
    assert picture.magazine is None


def test_a_pocket_is_drawn_in_its_magazine_and_a_bench_not_at_all(shop: Shop) -> None:
    picture = shop.desk.finding.picture("T005")
    assert picture.magazine is not None and picture.pocket == 3 and not picture.levels
    assert not shop.desk.finding.picture("T001")
