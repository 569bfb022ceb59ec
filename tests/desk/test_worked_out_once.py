"""What is worked out of a hold stands while other kiosks' lines teach nothing of it, and not a line longer."""

from __future__ import annotations

import pytest

from kiosk.desk.holds import Holds
from kiosk.rules.lines import Heated
from tests.conftest import Shop


def test_others_lines_that_teach_nothing_cost_no_hold_its_working_out_and_one_that_does_costs_all(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop.clock.forward(80 * 86400.0)
    desk = shop.desk
    session = desk.session
    session.write(Heated("T002", "S"))
    (before,) = desk.heat.board()
    computed: list[str] = []
    whole = Holds._compute
    monkeypatch.setattr(
        Holds, "_compute", lambda holds, facts: computed.append(facts.holder.key) or whole(holds, facts)
    )
    session.catch_up()
    (after,) = desk.heat.board()
    assert computed == [] and after.hold == before.hold
    read = session.holds._lessons
    taught = {"line": 1, "withdrawn": 2}  # a lesson that a hand withdrew at another kiosk
    monkeypatch.setattr(session.holds, "_lessons", lambda after_line: [taught, *read(after_line)])
    monkeypatch.setattr(session.holds, "_known_after", lambda count, rows=None: session.holds._learnt.get(0))
    session.catch_up()
    assert session.holds._kept == {}, "everything is worked out from what is known now"
