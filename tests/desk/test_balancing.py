"""Balancing at the desk: what is asked, what is refused, and what the book says of it afterwards."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kiosk.desk.build import BuildRefused
from kiosk.exchange.columns import BOOK_COLUMNS
from kiosk.ledger import tables as T
from kiosk.rules.assembly import Measured, Unbalance
from kiosk.rules.fitting.balance import Asked, MassOf
from kiosk.rules.lines import BalancedLine, HolderRegistered
from kiosk.rules.say import say
from kiosk.words import catalogue
from tests.conftest import Shop


def inside(shop: Shop, holder: str) -> str:
    """Key of the assembly in a holder; nothing where it is empty."""
    built = shop.desk.session.holder(holder).assembly
    return built.key if built else ""


def test_what_an_assembly_may_keep_is_said_with_its_mass_and_whose_speed(shop: Shop) -> None:
    found = shop.desk.balancing.asked("T001", Asked())
    # 1.19 + 0.128 kg; the cutter's 16 000 1/min is below every spindle that takes it
    assert (found.demand.mass_kg, found.demand.mass_of) == (pytest.approx(1.318), MassOf.BOOK)
    assert (found.demand.rpm, found.demand.rpm_of) == (16000.0, say("balance.rpm_own", source="term.speed_of_cutter"))
    assert found.demand.permissible_gmm == pytest.approx(9549.3 * 2.5 * 1.318 / 16000, abs=1e-3)
    in_machine = shop.desk.balancing.asked("T007", Asked()).demand  # in Mill 1, which turns 18 000; the holder 25 000
    assert (in_machine.rpm, in_machine.rpm_of) == (18000.0, say("balance.rpm_machine", machine="Mill 1"))


@pytest.mark.parametrize(("residual_gmm", "ok"), [(1.96, True), (1.97, False), (0.0, True)])
def test_what_the_machine_found_is_a_line_in_the_book_and_judged(shop: Shop, residual_gmm: float, ok: bool) -> None:
    before = shop.desk.session.book.last_id
    taken = shop.desk.balancing.take("T001", residual_gmm, Asked(), inside(shop, "T001"))
    assert taken.judged.ok is ok  # 1.9666 g mm are allowed
    assert (taken.next_step == say("next.measure", place="Presetter")) is ok
    line = shop.desk.session.book.line(before + 1)
    assert shop.desk.session.book.last_id == before + 1
    assert line is not None and isinstance(line.entry, BalancedLine)
    assert line.entry.values == Unbalance(residual_gmm, 2.5, 16000.0, pytest.approx(1.318))
    built = shop.reopen().session.holder("T001").assembly
    assert built is not None and built.unbalance == line.entry.values
    (row,) = [row for row in shop.desk.records.history("T001") if row.kind == "balanced"]
    assert row.say.key == "history.balanced"
    said = catalogue("en").say(row.say.key, **dict(row.say.values))
    assert said == f"Roughing mill 12 R1 balanced: {residual_gmm:g}\u00a0g·mm left, G 2.5 at 16000\u00a01/min"
    assert list(shop.desk.session.book.check()) == []


def test_a_length_that_is_measured_later_leaves_the_balance_as_it_was_said(shop: Shop) -> None:
    shop.desk.balancing.take("T002", 0.4, Asked(), inside(shop, "T002"))
    shop.desk.build.measure("T002", Measured(101.2, 5.996))
    built = shop.desk.session.holder("T002").assembly
    assert built is not None and built.unbalance is not None and built.unbalance.residual_gmm == 0.4
    shop.desk.build.measure("T002", Measured(101.2, 5.996, unbalance_gmm=0.7, at_rpm=9000.0))  # one that balances too
    built = shop.desk.session.holder("T002").assembly
    assert built is not None and built.unbalance == Unbalance(0.7, None, 9000.0)
    assert T.Assembly.get_by_id(built.key).measured_utc_s is not None


def test_what_is_hot_or_not_known_to_be_cool_is_not_balanced_and_nothing_is_written(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Shrink station"))
    counter = shop.desk.balancing
    built_in = inside(shop, "T001")
    for act in (lambda: counter.asked("T001", Asked()), lambda: counter.take("T001", 1.0, Asked(), built_in)):
        with pytest.raises(BuildRefused) as refused:
            act()
        assert refused.value.why == say("balance.hot", name="Roughing mill 12 R1")
        assert refused.value.remedy.key == "next.cool"
    built = shop.desk.session.holder("T001").assembly
    assert built is not None and built.unbalance is None


def test_a_bare_holder_and_one_whose_mass_or_speed_nobody_knows_are_refused_with_what_to_do(shop: Shop) -> None:
    with pytest.raises(BuildRefused) as bare:
        shop.desk.balancing.take("T014", 1.0, Asked(), inside(shop, "T014"))
    assert bare.value.why.key == "build.nothing_in"
    card = shop.desk.session.holder("T002")
    shop.desk.session.write(HolderRegistered(replace(card.holder, mass_kg=None), "correction"))
    with pytest.raises(BuildRefused) as unweighed:
        shop.desk.balancing.take("T002", 1.0, Asked(), inside(shop, "T002"))
    assert (unweighed.value.why.key, unweighed.value.remedy.key) == ("balance.no_mass", "balance.give_mass")
    assert shop.desk.balancing.take("T002", 1.0, Asked(mass_kg=1.132), inside(shop, "T002")).judged.ok


def test_a_table_of_the_book_tells_the_last_unbalance_with_the_grade_it_amounts_to(shop: Shop) -> None:
    shop.desk.balancing.take("T001", 1.5, Asked(), inside(shop, "T001"))  # never measured: no length stands beside it
    shop.desk.balancing.take("T002", 0.4, Asked(6.3, 12000.0), inside(shop, "T002"))
    rows = {line.split(",")[1]: line.split(",") for line in shop.desk.papers.as_csv().splitlines()}
    names = ("length_mm", "unbalance_gmm", "balance_grade", "at_rpm", "balance_asked", "balanced_kg")
    at = [BOOK_COLUMNS.index(name) for name in names]
    # G = 1.5 * 16000 / (9549.3 * 1.318) = 1.907
    assert [rows["T001"][each] for each in at] == ["", "1.5", "1.91", "16000", "2.5", "1.318"]
    assert [rows["T002"][each] for each in at] == ["101.205", "0.4", "0.44", "12000", "6.3", "1.132"]


def test_a_figure_is_not_written_to_what_was_built_in_since_the_assembly_was_on_the_machine(shop: Shop) -> None:
    before = shop.desk.session.book.last_id
    with pytest.raises(BuildRefused) as refused:
        shop.desk.balancing.take("T002", 0.4, Asked(), "what was in it")
    assert (refused.value.why.key, refused.value.remedy.key) == ("build.taken", "build.scan_holder")
    assert shop.desk.session.book.last_id == before
