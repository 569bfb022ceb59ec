"""Hot steel and a place on the screen where an audit is chosen: an alarm, and no audit begun by it."""

from __future__ import annotations

import pytest

from kiosk.rules.outcomes import Reason, Refused
from kiosk.screens.questions.audit import open_or_scan
from tests.conftest import Shop


@pytest.mark.parametrize("holder_first", [True, False])
def test_a_place_scanned_with_hot_steel_begins_no_audit(shop: Shop, holder_first: bool) -> None:
    shop.clock.forward(9 * 86_400.0 + 3.0)
    hot, slot = shop.holder("T001"), shop.place("Cabinet A · 1-05")
    shop.desk.scan(hot)
    shop.desk.scan(shop.place("Shrink station"))
    if not holder_first:
        shop.desk.watch(slot)
        hot, slot = slot, hot
    open_or_scan(hot)(shop.desk)
    answer = open_or_scan(slot)(shop.desk)
    outcome = getattr(answer, "outcome", None)
    if holder_first:
        assert isinstance(outcome, Refused) and outcome.reason is Reason.HOT
        assert shop.desk.session.audit is None
    else:
        assert outcome is not None and outcome.alarm, "the audit that the place began tells of it"
