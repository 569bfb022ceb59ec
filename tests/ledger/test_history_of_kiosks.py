"""A heating that several kiosks saw, told afterwards: its times are ages, and no two clocks meet in them."""

from __future__ import annotations

from kiosk.ledger import history as past
from kiosk.rules import lines as L
from tests.ledger.kiosks import Kiosk, shop

A = "a" * 16
MONTH_S = 30 * 86400.0


def since(kiosk: Kiosk) -> list[float]:
    with kiosk:
        cycle = past.heat_cycles("T1")[0]
        counted = past.since_heated(cycle)
        told = (*cycle.stays, *cycle.readings, *((cycle.ended,) if cycle.ended else ()))
        return [counted[line.id] for line in told]


def test_what_two_kiosks_saw_of_a_heating_is_told_by_ages_at_both() -> None:
    server, (founder, other) = shop(A)
    founder.clock_s, other.clock_s = 3 * MONTH_S, 40.0
    founder.says(L.Moved("T1", "B", "S"), L.Heated("T1", "S"))
    server.push(founder.own_lines())
    other.pulls(server)
    heating = other.row("hold", "T1")["heated_line"]
    other.ages[heating] = 300.0
    other.says(L.Moved("T1", "S", "R"))
    stay = other.sharing.id_of(A, other.sharing.tail.number)
    other.ages[stay] = 900.0  # of the stay that has no place in the order yet
    other.says(L.TemperatureRead("T1", "nose", 60.0, "probe", "agrees", heating=heating))
    assert since(other) == [300.0, 1200.0]
    server.push(other.own_lines())
    for each in (founder, other):
        each.pulls(server)
        assert since(each) == [300.0, 1200.0]
    founder.clock_s += 60.0
    founder.ages.clear()
    founder.says(L.HoldEnded("T1", "reading", heating))
    assert since(founder) == [300.0, 1200.0, 1200.0], "its own clock says nothing of a stay another kiosk began"


def test_one_kiosk_alone_counts_by_its_own_clock() -> None:
    _, (founder,) = shop()
    founder.clock_s = 3 * MONTH_S
    founder.says(L.Moved("T1", "B", "S"), L.Heated("T1", "S"))
    founder.clock_s += 500.0
    with founder, founder.database.atomic():
        founder.database.execute_sql('UPDATE "chained" SET "stay" = NULL, "age_s" = NULL')
    founder.says(L.Moved("T1", "S", "R"))
    with founder, founder.database.atomic():
        founder.database.execute_sql('UPDATE "chained" SET "stay" = NULL, "age_s" = NULL')
    assert since(founder) == [500.0]
