"""What can be taken back is a hand's last step, and only what the desk would take back is offered."""

from __future__ import annotations

import pytest

from kiosk.ledger import tables as T
from kiosk.rules.assembly import Clamping, Condition, Coupling, Holder
from kiosk.rules.codes import CodeKind
from kiosk.rules.merge import Made
from kiosk.rules.outcomes import Done, Reason, Refused
from tests.conftest import Shop
from tests.desk.test_told_differently import OTHER, A, differs


def test_where_a_holder_stood_when_it_was_registered_is_no_step_of_a_hand(shop: Shop) -> None:
    desk = shop.desk
    outcome = desk.undo().outcome
    assert isinstance(outcome, Refused) and outcome.reason is Reason.NOTHING_TO_UNDO, "the shop was imported just now"
    assert desk.undoable() == ("", 0.0)
    shop.clock.forward(40 * 86_400.0)
    new = Holder("T900", "Shrink 8 x 80", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 8.0)
    desk.shop.register(new, desk.session.fresh_code(CodeKind.HOLDER).text, shop.place("Rack 1"), stood_cold=True)
    assert desk.undoable() == ("", 0.0) and isinstance(desk.undo().outcome, Refused)
    assert desk.session.holder("T900").at is not None
    shop.clock.forward(5.0)
    desk.scan(desk.session.holder("T900").code)
    desk.scan(shop.place("Bench 1"))
    assert desk.undoable()[1] > 50.0 and isinstance(desk.undo().outcome, Done)


def told_otherwise(shop: Shop, key: str, *, settled: bool) -> None:
    """Another kiosk said otherwise of what was done here last, and perhaps a hand has settled it since."""
    last = shop.desk.session.book.last_id
    differs(shop, key, Made(last, A, "mine"), Made(last, OTHER, "theirs"))
    if settled:
        T.Difference.update(closed_line=last + 1).where(T.Difference.key == key).execute()


@pytest.mark.parametrize("settled", [False, True])
def test_a_step_that_another_kiosk_tells_differently_is_set_right_by_a_scan_and_not_by_taking_it_back(
    shop: Shop, settled: bool
) -> None:
    desk = shop.desk
    shop.clock.forward(40 * 86_400.0)
    key = next(card.holder.key for card in desk.shop.holders() if card.at and card.at.place.kind.stores)
    desk.scan(shop.holder(key))
    desk.scan(shop.place("Bench 1"))
    assert desk.undoable()[1] > 0.0
    told_otherwise(shop, f"place/{key}", settled=settled)
    outcome = desk.undo().outcome
    assert isinstance(outcome, Refused) and outcome.reason is Reason.UNDO_OVERTAKEN
    assert T.Holder.get_by_id(key).place == shop.place("Bench 1")


@pytest.mark.parametrize("matter", ["holder", "cutter"])
@pytest.mark.parametrize("settled", [False, True])
def test_no_cutter_comes_back_by_undo_into_a_holder_of_which_a_hand_was_asked_what_is_in_it(
    shop: Shop, settled: bool, matter: str
) -> None:
    desk = shop.desk
    shop.clock.forward(40 * 86_400.0)
    for code in (shop.holder("T001"), shop.place("Shrink station")):
        desk.scan(code)
    torn = desk.session.holder("T001").assembly
    assert torn is not None
    desk.build.tear_down("T001", Condition.WORN)
    told_otherwise(shop, {"holder": "holder/T001", "cutter": f"cutter/{torn.cutter.key}"}[matter], settled=settled)
    outcome = desk.undo().outcome
    assert isinstance(outcome, Refused) and outcome.reason is Reason.UNDO_OVERTAKEN
    assert desk.session.holder("T001").assembly is None


def test_what_was_told_differently_and_settled_before_a_step_does_not_keep_it_from_being_taken_back(shop: Shop) -> None:
    desk = shop.desk
    shop.clock.forward(40 * 86_400.0)
    key = next(card.holder.key for card in desk.shop.holders() if card.at and card.at.place.kind.stores)
    told_otherwise(shop, f"place/{key}", settled=True)
    desk.scan(shop.holder(key))
    desk.scan(shop.place("Bench 1"))
    assert isinstance(desk.undo().outcome, Done)
