"""A mistyped reading is withdrawn by a line of its own: nothing it let go stays free, and nobody is let go sooner."""

from __future__ import annotations

import pytest

from kiosk.desk.heat import ReadingFault
from kiosk.desk.holds import Holds
from kiosk.rules.cards import Heat, HoldView
from kiosk.rules.hold_facts import SPOTS, WITHDRAWN, Reading
from kiosk.rules.hold_proof import SOAK_S, cool_all_over
from kiosk.rules.lines import HoldEnded, ReadingWithdrawn
from tests.conftest import Shop

DAYS_S = 45 * 86400.0


@pytest.fixture
def hot(shop: Shop) -> Shop:
    """T001 on the rack, a quarter of an hour after heating, in a kiosk that has watched for weeks."""
    shop.clock.forward(DAYS_S)
    to_rack(shop, "T001")
    shop.clock.forward(15 * 60)
    return shop


def to_rack(shop: Shop, key: str, rack: str = "Rack 1") -> None:
    for code in (shop.holder(key), shop.place("Shrink station"), shop.holder(key), shop.place(rack)):
        shop.desk.scan(code)


def hold(shop: Shop, key: str = "T001") -> HoldView:
    found = shop.desk.session.holder(key).hold
    assert found is not None
    return found


def read(shop: Shop, where: str, value_c: float, key: str = "T001", instrument: str = "probe") -> int:
    return shop.desk.heat.read(key, where, value_c, instrument).line


def proves(shop: Shop) -> None:
    assert shop.desk.session.book.check() == []


def teach(shop: Shop) -> None:
    """Three readings of this pair: from now on time alone may end its holds."""
    to_rack(shop, "T001")
    for minutes in (20, 10, 10):
        shop.clock.forward(60 * minutes)
        read(shop, hold(shop).where, hold(shop).hottest_c)
    shop.clock.forward(6 * 3600)
    shop.desk.tick()


def test_a_cool_slip_is_as_if_it_had_never_been_read(hot: Shop) -> None:
    before = hold(hot)
    line = read(hot, before.where, before.hottest_c - 4)
    assert before.remaining_s is not None and (hold(hot).remaining_s or 0.0) < before.remaining_s
    taken = hot.desk.heat.withdraw("T001", line)
    assert not taken.hot and taken.owed.spots == (before.where,)
    assert hold(hot).remaining_s == before.remaining_s and hold(hot).needs_reading
    hot.reopen()
    assert hold(hot).remaining_s == pytest.approx(before.remaining_s, abs=1.0), "a kiosk started anew says the same"
    proves(hot)


def test_a_slip_that_ended_the_hold_makes_the_holder_hot_again_wherever_it_stands(hot: Shop) -> None:
    hot.clock.forward(50 * 60)
    assert hot.desk.heat.read("T001", hold(hot).where, hold(hot).hottest_c).ended
    line = hot.desk.heat.slip("T001")
    assert line is not None
    for code in (hot.holder("T001"), hot.place("Cabinet A · 1-05")):
        hot.desk.scan(code)
    assert hot.desk.session.holder("T001").heat is Heat.COOL
    taken = hot.desk.heat.withdraw("T001", line.id)
    assert taken.hot and dict(taken.say.values)["place"] == "Cabinet A · 1-05"
    assert [card.holder.key for card in hot.desk.heat.board()] == ["T001"]
    hot.clock.forward(12 * 3600)
    hot.desk.tick()
    assert hold(hot).needs_reading, "time alone never ends it again"
    proves(hot)


def test_a_hold_that_ended_by_time_after_a_slip_runs_again(shop: Shop) -> None:
    shop.clock.forward(DAYS_S)
    teach(shop)
    to_rack(shop, "T001")
    shop.clock.forward(10 * 60)
    line = read(shop, hold(shop).where, hold(shop).hottest_c - 5)
    left_s = hold(shop).remaining_s
    assert left_s is not None and not hold(shop).needs_reading
    shop.clock.forward(left_s + 1)
    assert [each.kind for each in shop.desk.tick()] == [HoldEnded.kind]
    assert shop.desk.heat.withdraw("T001", line).hot
    shop.clock.forward(24 * 3600)
    shop.desk.tick()
    assert hold(shop).needs_reading
    proves(shop)


def test_a_hot_reading_withdrawn_lets_nobody_go_by_time(shop: Shop) -> None:
    shop.clock.forward(DAYS_S)
    teach(shop)
    to_rack(shop, "T001")
    shop.clock.forward(20 * 60)
    line = read(shop, hold(shop).where, hold(shop).hottest_c + 5)
    longer_s = hold(shop).remaining_s
    shop.desk.heat.withdraw("T001", line)
    assert longer_s is not None and hold(shop).needs_reading
    shop.clock.forward(6 * longer_s)
    assert shop.desk.tick() == ()
    spot = shop.desk.heat.owed("T001").spots
    other = next(each for each in ("nose", "flange", "shank") if each not in spot)
    assert not shop.desk.heat.read("T001", other, hold(shop).hottest_c).ended, "it is the same spot that is owed"
    assert shop.desk.heat.read("T001", spot[0], hold(shop).hottest_c).ended
    proves(shop)


def test_what_a_slip_taught_is_forgotten_and_no_other_hold_is_sooner_free_for_it(shop: Shop) -> None:
    shop.clock.forward(DAYS_S)
    teach(shop)
    before = {}
    for excess_k in (-8, 8):
        to_rack(shop, "T001")
        shop.clock.forward(20 * 60)
        line = read(shop, hold(shop).where, hold(shop).hottest_c + excess_k)
        to_rack(shop, "T002", "Rack 2" if "Rack 2" in shop.desk.session.cards.places.said() else "Rack 1")
        before[excess_k] = hold(shop, "T002").remaining_s
        shop.desk.heat.withdraw("T001", line)
        after_s, then_s = hold(shop, "T002").remaining_s, before[excess_k]
        assert after_s is not None and then_s is not None and after_s >= then_s - 1.0, excess_k
        assert after_s >= never_read_s(shop, "T002", line) - 1.0, excess_k
        shop.reopen()
        assert hold(shop, "T002").remaining_s == pytest.approx(after_s, abs=2.0)
        shop.clock.forward(8 * 3600)
        for key in ("T001", "T002"):
            if shop.desk.session.holder(key).hold is not None:
                shop.desk.heat.read(key, hold(shop, key).where, hold(shop, key).hottest_c)
    proves(shop)


def never_read_s(shop: Shop, key: str, line: int) -> float:
    """How long a hold would last had the reading of this line never been taken."""
    session = shop.desk.session
    lessons = session.cards.lessons
    anew = Holds(session.settings.heat, lambda after: [row for row in lessons(after) if row["line"] != line])
    facts = session.cards.hold_facts(key)
    assert facts is not None
    left_s = anew.view(facts, session.now()).remaining_s
    assert left_s is not None
    return left_s


def test_a_spot_with_a_slip_is_owed_before_any_other_ends_the_hold_and_an_older_reading_there_does_not_do(
    hot: Shop,
) -> None:
    hot.clock.forward(50 * 60)
    hottest = hold(hot).where
    other = "nose" if hottest != "nose" else "shank"
    read(hot, other, hold(hot).hottest_c - 0.5)
    hot.clock.forward(20)
    hot.desk.heat.withdraw("T001", read(hot, other, 90.0))
    assert hot.desk.heat.owed("T001").spots == (other,)
    assert not hot.desk.heat.read("T001", hottest, hold(hot).hottest_c).ended
    assert hot.desk.heat.owed("T001").spots == (other,)
    read(hot, other, hold(hot).hottest_c - 0.5)
    assert hot.desk.heat.read("T001", hottest, hold(hot).hottest_c).ended
    proves(hot)


def test_a_slip_after_a_cool_reading_makes_its_spot_unread_where_readings_alone_prove() -> None:
    cool = [Reading(at * 10.0, spot, 23.0, "probe", "agrees", at) for at, spot in enumerate(SPOTS)]
    slip = Reading(40.0, "nose", 230.0, "probe", WITHDRAWN, 7)
    later = Reading(SOAK_S + 10, "shank", 23.0, "probe", "agrees", 8)
    assert cool_all_over([*cool, later], 43.0, SOAK_S + 10) == 0.0
    assert cool_all_over([*cool, slip, later], 43.0, SOAK_S + 10) is None


def test_only_the_last_reading_is_withdrawn_and_each_only_once(hot: Shop) -> None:
    first = read(hot, "nose", hold(hot).hottest_c)
    hot.clock.forward(60)
    second = read(hot, "flange", 60.0)
    with pytest.raises(ReadingFault):
        hot.desk.heat.withdraw("T001", first)
    hot.desk.heat.withdraw("T001", second)
    with pytest.raises(ReadingFault):
        hot.desk.heat.withdraw("T001", second)
    hot.desk.heat.withdraw("T001", first)
    assert hot.desk.heat.slip("T001") is None
    written = [each.entry for each in hot.desk.session.book.lines(subject="T001") if each.kind == ReadingWithdrawn.kind]
    assert [each.reading for each in written if isinstance(each, ReadingWithdrawn)] == [second, first]
    proves(hot)


def test_the_doubt_a_slip_was_part_of_confirms_nothing_afterwards(hot: Shop) -> None:
    before_s = hold(hot).remaining_s
    read(hot, "nose", 28.0)
    hot.clock.forward(20)
    second = read(hot, "nose", 28.0)
    hot.desk.heat.withdraw("T001", second)
    after_s = hold(hot).remaining_s
    assert before_s is not None and after_s is not None and after_s >= before_s - 20.5
    proves(hot)


def test_a_slip_among_readings_all_over_leaves_its_spot_unread(hot: Shop) -> None:
    for where in ("nose", "flange"):
        hot.clock.forward(20)
        read(hot, where, 23.0)
    hot.clock.forward(20)
    line = read(hot, "shank", 23.0)
    hot.desk.heat.withdraw("T001", line)
    assert hot.desk.heat.owed("T001").spots == ("shank",)
    hot.clock.forward(300)
    assert not hot.desk.heat.read("T001", "nose", 23.0).ended, "the shank was never read"
    assert hot.desk.heat.read("T001", "shank", 23.0).ended
    proves(hot)


def test_a_heating_that_followed_a_slip_began_on_a_body_nobody_knows(hot: Shop) -> None:
    hot.clock.forward(50 * 60)
    assert hot.desk.heat.read("T001", hold(hot).where, hold(hot).hottest_c).ended
    line = hot.desk.heat.slip("T001")
    to_rack(hot, "T001")
    before_s = hold(hot).remaining_s
    assert line is not None
    hot.desk.heat.withdraw("T001", line.id)
    facts = hot.desk.session.cards.hold_facts("T001")
    assert facts is not None and facts.body_unknown
    after_s = hold(hot).remaining_s
    assert before_s is not None and after_s is not None and after_s >= before_s
    assert hot.desk.session.holder("T001").heat is Heat.HELD
    proves(hot)


def test_cool_by_readings_alone_is_unknown_again_when_the_last_was_a_slip(shop: Shop) -> None:
    shop.clock.forward(DAYS_S)
    to_rack(shop, "T001")
    shop.clock.forward(20 * 60)
    for where in ("nose", "flange", "shank"):
        shop.clock.forward(10)
        read(shop, where, 23.0)
    shop.clock.forward(300)
    line = shop.desk.heat.read("T001", "nose", 23.0)
    assert line.ended
    shop.desk.heat.withdraw("T001", line.line)
    assert shop.desk.session.holder("T001").heat is not Heat.COOL
    assert shop.desk.heat.owed("T001").spots, "and it says what is still to be read"
    proves(shop)


@pytest.mark.parametrize("since_s", [5.0, 70.0, 600.0, 2400.0, 5 * 3600.0])
@pytest.mark.parametrize("cold_c", [23.0, 30.0])
def test_who_reads_what_is_owed_when_it_is_owed_is_done_after_a_few_readings(
    shop: Shop, since_s: float, cold_c: float
) -> None:
    """A holder that was scanned at the station and never heated: cold wherever it is read."""
    shop.clock.forward(DAYS_S)
    to_rack(shop, "T001")
    shop.clock.forward(since_s)
    waited_s = 0.0
    for _ in range(6):
        owed = shop.desk.heat.owed("T001")
        if not owed.spots:
            assert hold(shop).ended, "where nothing is owed, its time has come"
            break
        wait_s = min(owed.in_s, SOAK_S) + 10  # who knows it is cold does not wait for the model
        shop.clock.forward(wait_s)
        waited_s += wait_s
        if shop.desk.heat.read("T001", owed.spots[0], cold_c).ended:
            break
    else:
        pytest.fail("six readings in a circle")
    assert waited_s < 1800
