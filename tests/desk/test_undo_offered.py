"""What can be taken back is a hand's last step, and only what the desk would take back is offered."""

from __future__ import annotations

from kiosk.rules.assembly import Clamping, Coupling, Holder
from kiosk.rules.codes import CodeKind
from kiosk.rules.outcomes import Done, Reason, Refused
from tests.conftest import Shop


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
