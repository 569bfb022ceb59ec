"""Lines find their way between kiosks on a real server, whatever the network between does."""

from __future__ import annotations

import itertools
import signal
import time

import pytest

from kiosk.link import link as link_module
from kiosk.link.faults import Cause
from kiosk.rules.link_state import LEVEL, LinkFacts, LinkState, next_state
from tests.link.kiosk import until
from tests.link.making import Make, equal, level
from tests.link.shop import Shop


def test_lines_of_two_kiosks_come_to_both_in_one_order(make: Make, on_server: Shop) -> None:
    a, b = make("A"), make("B")
    for each in range(20):
        a.write(f"a{each}")
        b.write(f"b{each}")
    until(level(a, b))
    equal(a, b)
    assert on_server.examine() == []


def test_a_line_is_on_the_other_kiosk_long_before_its_next_beat(make: Make) -> None:
    a, b = make("A"), make("B")
    until(level(a, b))
    took = []
    for each in range(10):
        began = time.monotonic()
        a.write(str(each))
        until(lambda each=each: len(b.ledger.shared) == each + 1)
        took.append(time.monotonic() - began)
    assert sorted(took)[5] < 1.0


def test_what_was_written_while_cut_off_is_shared_afterwards(make: Make) -> None:
    a, b = make("A"), make("B")
    until(level(a, b))
    a.network.refuse()
    until(lambda: a.state is LinkState.CUT_OFF)
    a.write(*map(str, range(30)))
    b.write("meanwhile")
    assert a.standing().waiting == 30
    a.network.heal()
    until(level(a, b))
    equal(a, b)


def test_cut_off_is_said_after_five_seconds_and_left_only_through_catching_up(
    make: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    a = make("A")
    until(level(a))
    counted_s = [time.monotonic()]  # it stands still between the steps, however long the machine takes for one
    a.link._counter = lambda: counted_s[0]
    states: list[LinkState] = []  # each one that the link's thread or the asking one came to, none is missed

    def watched(before: LinkState, facts: LinkFacts) -> LinkState:
        states.append(next_state(before, facts))
        return states[-1]

    monkeypatch.setattr(link_module, "next_state", watched)
    a.network.refuse()
    until(lambda: a.standing().fault)
    counted_s[0] += 4.9
    assert a.state in LEVEL, "not yet: it answered a moment ago"
    counted_s[0] += 0.1
    assert a.state is LinkState.CUT_OFF
    a.network.heal()
    until(lambda: a.state is LinkState.CAUGHT_UP)
    way = [each for each, _ in itertools.groupby(states[states.index(LinkState.CUT_OFF) :])]
    assert way == [LinkState.CUT_OFF, LinkState.CATCHING_UP, LinkState.CAUGHT_UP]


@pytest.mark.parametrize("way", ["up", "down", "both"])
def test_a_network_that_swallows_without_a_word_is_noticed_and_left(make: Make, way: str) -> None:
    a, b = make("A"), make("B")
    until(level(a, b))
    if way in ("up", "both"):
        a.network.swallow_up = True
    if way in ("down", "both"):
        a.network.swallow_down = True
    a.write("into nothing")
    until(lambda: a.state is LinkState.CUT_OFF)
    assert a.standing().fault.cause in (Cause.SLOW, Cause.UNREACHABLE)
    a.network.cut()
    a.network.heal()
    until(level(a, b))
    equal(a, b)


@pytest.mark.parametrize("way", ["up", "down"])
def test_cut_after_any_number_of_bytes_nothing_is_lost_and_nothing_stands_there_twice(make: Make, way: str) -> None:
    a, b = make("A"), make("B")
    until(level(a, b))
    for each, length in enumerate([1, 5, 60, 200, 333, 700, 1200, 2500, 5000, 9000]):
        setattr(a.network, f"cut_{way}", length)
        a.write(*(f"{each}.{part}" for part in range(5)))
        b.write(f"b{each}")
        until(lambda: getattr(a.network, f"cut_{way}") is None or not a.network._pairs or level(a)())
        time.sleep(0.05)
        a.network.heal()
    until(level(a, b))
    equal(a, b)


def test_on_a_slow_network_lines_still_come(make: Make) -> None:
    a, b = make("A"), make("B")
    until(level(a, b))
    a.network.delay_s = b.network.delay_s = 0.15
    a.write(*map(str, range(40)))
    until(level(a, b))
    equal(a, b)


def test_fresh_is_said_only_when_all_is_here_that_the_server_had(make: Make) -> None:
    a, b = make("A"), make("B")
    until(level(a, b))
    for each in range(15):
        a.write(str(each))
        until(lambda each=each: a.standing().waiting == 0)
        assert b.link.fresh(2.0)
        until(lambda each=each: len(b.ledger.shared) == each + 1, 0.5)
    b.network.half_open()
    began = time.monotonic()
    assert not b.link.fresh(0.3)
    assert time.monotonic() - began < 0.6
    b.network.cut()


def test_kiosks_hear_each_other(make: Make) -> None:
    a, b = make("A"), make("B")
    until(lambda: "B" in a.beats.heard and "A" in b.beats.heard)
    until(lambda: a.beats.heard["B"].said == "B" and abs(a.beats.heard["B"].clock_off_s) < 5)
    assert {each.name for each in a.standing().kiosks} == {"A", "B"}


def test_a_killed_server_loses_no_line_and_is_found_again(make: Make, on_server: Shop) -> None:
    a, b = make("A"), make("B")
    until(level(a, b))
    for each in range(3):
        a.write(*(f"{each}.{part}" for part in range(10)))
        on_server.server.kill()
        b.write(f"while it is down {each}")
        on_server.server.start()
        a.write(f"after {each}")
    until(level(a, b))
    equal(a, b)
    assert on_server.examine() == []


def test_a_stopped_server_is_no_full_stop(make: Make, on_server: Shop) -> None:
    a = make("A")
    until(level(a))
    on_server.server.stop(signal.SIGQUIT)
    a.write("x")
    until(lambda: a.state is LinkState.CUT_OFF)
    assert a.standing().fault.cause is Cause.UNREACHABLE
    on_server.server.start()
    until(level(a))


def test_a_kiosk_that_starts_anew_goes_on_where_it_was(make: Make) -> None:
    a, b = make("A"), make("B")
    a.write("one")
    until(level(a, b))
    a.close()
    a.ledger.write("written, and the program killed before it was sent")
    a.open()
    b.write("two")
    until(level(a, b))
    equal(a, b)


def test_a_kiosk_that_was_killed_and_starts_at_once_is_not_taken_for_its_copy_for_long(make: Make) -> None:
    a = make("A")
    until(level(a))
    a.network.refuse()  # the server is told nothing, as when the kiosk is killed
    a.close()
    a.network.heal()
    a.open()
    seen = set()
    until(lambda: seen.add(a.state) or level(a)())
    assert LinkState.FORKED not in seen


def test_a_copied_folder_is_found_while_both_run(make: Make) -> None:
    a = make("A")
    a.write("one")
    until(level(a))
    twin = make("twin", member=a.member)
    until(lambda: twin.state is LinkState.FORKED)
    assert twin.standing().fault.cause in (Cause.TWICE, Cause.FORKED)
    assert a.state in LEVEL


def test_a_folder_that_was_put_back_does_not_write_over_its_own_past(make: Make, on_server: Shop) -> None:
    a, b = make("A"), make("B")
    a.write("one", "two", "three")
    until(level(a, b))
    a.close()
    del a.ledger.own[1:], a.ledger.shared[1:]
    a.ledger.write("otherwise")
    a.open()
    until(lambda: a.state is LinkState.FORKED)
    assert a.standing().fault.cause is Cause.FORKED
    a.write("more", "still more")
    time.sleep(0.7)
    until(lambda: a.state is LinkState.FORKED)  # it may be asking the server again just now
    assert b.ledger.texts == ["one", "two", "three"]


def test_a_locked_out_kiosk_is_told_so_and_its_lines_stay_outside(make: Make, on_server: Shop) -> None:
    a, b = make("A"), make("B")
    a.write("one")
    until(level(a, b))
    on_server.sql("UPDATE book.member SET retired_n = 1 WHERE name = 'A'")
    a.write("two")
    until(lambda: a.state is LinkState.LOCKED_OUT)
    assert b.ledger.texts == ["one"]


def test_lines_of_a_newer_form_stop_a_kiosk_that_cannot_read_them(make: Make, on_server: Shop) -> None:
    a = make("A")
    until(level(a))
    on_server.sql("UPDATE book.head SET writes = 99")
    until(lambda: a.state is LinkState.BEHIND)
    on_server.sql("UPDATE book.head SET writes = 1")
    until(level(a))
