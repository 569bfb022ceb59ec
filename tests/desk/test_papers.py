"""Lists and files against the book."""

from __future__ import annotations

import pytest

from kiosk.desk.build import BuildRefused
from kiosk.exchange.control_list import Columns, ListMap
from kiosk.rules.fitting.setup_sheet import Need, Supply
from tests.conftest import Shop


def test_a_tool_number_and_a_regrind_stand_in_what_goes_out(shop: Shop) -> None:
    shop.desk.build.number("T002", 17)
    cutter = shop.desk.session.holder("T002").assembly
    assert cutter is not None
    shop.desk.build.reground(cutter.cutter.key, dc_mm=5.8)
    entry = next(entry for entry in shop.desk.papers.entries() if entry.holder.key == "T002")
    assert entry.tool_number == 17 and entry.regrinds == 1
    assert entry.assembly is not None and entry.assembly.cutter.dc_mm == 5.8
    assert b"<ReconditionCount>1</ReconditionCount>" in shop.desk.papers.as_mtconnect()
    assert shop.desk.session.book.check() == []


def test_regrinding_takes_away_and_never_adds(shop: Shop) -> None:
    with pytest.raises(ValueError, match="takes away"):
        shop.desk.build.reground("C002", dc_mm=6.5)


def test_a_bare_holder_has_no_tool_number(shop: Shop) -> None:
    with pytest.raises(BuildRefused):
        shop.desk.build.number("T014", 3)


def test_a_setup_sheet_says_what_is_there_and_what_is_hot(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Shrink station"))
    needs = [Need(1, name="Roughing mill 12 R1"), Need(2, name="End mill 6 R0.5"), Need(3, name="Gear hob")]
    hot, there, missing = shop.desk.papers.setup(needs)
    assert (hot.supply, missing.supply) == (Supply.HOT, Supply.MISSING)
    assert there.supply in (Supply.IN_CABINET, Supply.IN_MACHINE)


def test_the_controls_list_is_held_against_the_book(shop: Shop) -> None:
    standing = [entry for entry in shop.desk.papers.entries() if entry.machine == "Mill 1" and entry.assembly]
    lines = ["pocket;name;length"]
    for entry in standing[1:]:
        assert entry.assembly is not None
        length = entry.assembly.length_mm or 0.0
        lines.append(f"{entry.pocket};{entry.name};{length + (0.5 if entry is standing[1] else 0.0):.3f}")
    made = ListMap(Columns(name="name", pocket="pocket", length="length"))
    result = shop.desk.papers.compare("Mill 1", "\n".join(lines).encode(), "list.csv", made)
    assert not result.agrees
    verdicts = {verdict.value for line in result.lines for verdict in line.verdicts}
    assert {"length", "not_in_control"} <= verdicts or len(verdicts) >= 2, verdicts
