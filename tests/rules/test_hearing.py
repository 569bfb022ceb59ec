"""Until when another kiosk's lines are complete here, at kiosks that have watched for months."""

from __future__ import annotations

from kiosk.rules.hearing import WITHIN_S, Beat, Echo, Hearing, LastHeard, known_as_of, known_to_all, silent_since

NOW_S = 7e6


def beat(number: int, last: int, echo: int | None = None, run: str = "mine", **more: object) -> Beat:
    """Of kiosk b; `echo`: which beat of a's it had heard."""
    echoes = {"a": Echo(echo, run)} if echo is not None else {}
    return Beat("b", **{"run": "theirs", "beat": number, "last": last, "counter_s": 1e6, "echoes": echoes, **more})  # type: ignore[arg-type]


def listening(last: int = 0) -> Hearing:
    """Kiosk a, which sent its beat 1 at `NOW_S` and has b's lines to `last`."""
    hearing = Hearing("a", "mine")
    hearing.sends(1, NOW_S)
    hearing.applied("b", last)
    return hearing


def test_an_echo_proves_a_kiosks_lines_until_this_ones_beat_was_sent() -> None:
    hearing = listening(last=40)
    hearing.heard(beat(9, 40, echo=1), NOW_S + 3.0)
    assert hearing.heard_to_s("b") == NOW_S
    assert hearing.in_hearing(["a", "b"], NOW_S + WITHIN_S)
    assert not hearing.in_hearing(["b"], NOW_S + WITHIN_S + 0.1)


def test_a_beat_that_echoes_nothing_proves_nothing_however_new_it_is() -> None:
    hearing = listening(last=40)
    hearing.heard(beat(9, 40), NOW_S + 0.1)
    assert hearing.heard_to_s("b") is None
    assert not hearing.in_hearing(["b"], NOW_S + 0.1)


def test_lines_that_are_not_applied_here_yet_prove_nothing_until_they_are() -> None:
    hearing = listening(last=39)
    hearing.heard(beat(9, 40, echo=1), NOW_S + 0.1)
    assert hearing.heard_to_s("b") is None
    hearing.applied("b", 40)
    assert hearing.heard_to_s("b") == NOW_S


def test_a_line_that_still_waits_at_the_other_kiosk_is_one_that_is_not_known_here() -> None:
    hearing = listening(last=40)
    hearing.heard(beat(9, 41, echo=1, waiting=1), NOW_S + 0.1)
    assert not hearing.in_hearing(["b"], NOW_S + 0.2)


def test_an_echo_of_a_beat_from_before_a_restart_proves_nothing() -> None:
    hearing = listening(last=40)
    hearing.heard(beat(9, 40, echo=1, run="before"), NOW_S + 0.1)
    assert hearing.heard_to_s("b") is None


def test_a_beat_that_comes_late_takes_nothing_back_and_proves_no_more() -> None:
    hearing = listening(last=40)
    hearing.sends(2, NOW_S + 2.0)
    hearing.heard(beat(10, 40, echo=2), NOW_S + 2.5)
    hearing.heard(beat(9, 40, echo=1), NOW_S + 9.0)
    assert hearing.heard_to_s("b") == NOW_S + 2.0


def test_a_kiosk_that_was_started_again_is_heard_though_its_beats_are_counted_from_one() -> None:
    hearing = listening(last=40)
    hearing.heard(beat(900, 40, echo=1), NOW_S + 0.1)
    hearing.sends(2, NOW_S + 60.0)
    hearing.heard(beat(1, 40, echo=2), NOW_S + 60.1)  # of the same run, and older than what came
    assert hearing.heard_to_s("b") == NOW_S
    restarted = Beat("b", "another", 1, 40, 5.0, 0, {"a": Echo(2, "mine")})
    hearing.heard(restarted, NOW_S + 60.2)
    assert hearing.heard_to_s("b") == NOW_S + 60.0


def test_this_kiosk_echoes_the_newest_beat_of_each_other() -> None:
    hearing = listening()
    hearing.heard(beat(9, 0), NOW_S)
    hearing.heard(beat(8, 0), NOW_S)
    assert hearing.sends(2, NOW_S) == {"b": Echo(9, "theirs")}


def test_counters_that_run_apart_show_by_round_trips() -> None:
    hearing = listening()
    for at in range(1, 30):
        hearing.sends(at, NOW_S + 30.0 * at)
        hearing.heard(beat(at, 0, echo=at, counter_s=1e6 + 31.0 * at), NOW_S + 30.0 * at + 0.1)
    pace = hearing.pace("b")
    assert pace is not None and pace.other_runs_fast
    assert not hearing.own_runs_fast


def test_a_kiosk_finds_itself_fast_only_by_all_others() -> None:
    hearing = listening()
    for at in range(1, 30):
        hearing.sends(at, NOW_S + 31.0 * at)
        hearing.heard(beat(at, 0, echo=at, counter_s=1e6 + 30.0 * at), NOW_S + 31.0 * at + 0.1)
    assert hearing.own_runs_fast
    for at in range(30, 60):
        hearing.sends(at, NOW_S + 31.0 * at)
        steady = Beat("c", "its", at, 0, 31.0 * at, 0, {"a": Echo(at, "mine")})
        hearing.heard(steady, NOW_S + 31.0 * at + 0.1)
    assert not hearing.own_runs_fast


def test_a_kiosk_finds_itself_no_faster_than_one_whose_counter_stood_while_it_was_off() -> None:
    """Off for ten minutes in the middle, its watched time stood still; both counters run alike."""
    hearing = listening()
    for at in range(1, 30):
        off_s, run = (600.0, "another") if at > 15 else (0.0, "theirs")
        hearing.sends(at, NOW_S + 30.0 * at + off_s)
        said = Beat("b", run, at, 0, 1e6 + 30.0 * at, 0, {"a": Echo(at, "mine")})
        hearing.heard(said, NOW_S + 30.0 * at + off_s + 0.1)
    assert not hearing.own_runs_fast
    pace = hearing.pace("b")
    assert pace is not None and 0.99 < pace.least < 1.0 < pace.most < 1.01, "of what it said since"


def test_a_line_is_known_to_all_when_the_last_has_applied_it() -> None:
    assert known_to_all(7, {"b": 7, "c": 9})
    assert not known_to_all(7, {"b": 7, "c": 6})
    assert known_to_all(7, {})


def test_who_is_silent_longest_is_counted_and_not_read_from_a_wall_clock_that_was_set_back() -> None:
    heard = {"b": LastHeard(NOW_S, 1.8e9 + 7200.0), "c": LastHeard(NOW_S + 60.0, 1.8e9 + 3660.0)}
    assert silent_since(heard, ["b", "c"]) == 1.8e9 + 7200.0
    assert silent_since(heard, ["c"]) == 1.8e9 + 3660.0
    assert known_as_of(heard) == 1.8e9 + 3660.0


def test_nobody_says_since_when_a_kiosk_is_silent_that_was_never_heard() -> None:
    heard = {"b": LastHeard(NOW_S, 1.8e9)}
    assert silent_since(heard, ["b", "c"]) is None
    assert silent_since(heard, []) is None
    assert known_as_of({}) is None


def test_all_shared_lines_are_known_as_of_the_beat_whose_answer_told_of_no_more_than_is_here() -> None:
    ear = Hearing("a", "run")
    began_s = 40 * 86400.0
    assert not ear.order_is_known(began_s)
    ear.sends(7, began_s)
    ear.answered(7, 120)
    ear.order_applied(119)
    assert not ear.order_is_known(began_s + 1.0), "line 120 may be a kiosk that woke up"
    ear.order_applied(120)
    assert ear.order_is_known(began_s + WITHIN_S)
    assert not ear.order_is_known(began_s + WITHIN_S + 0.1), "from when it was sent, not from when it was answered"
    ear.answered(6, 0)  # of a beat that was never sent
    assert not ear.order_is_known(began_s + WITHIN_S + 0.1)


def digests(hearing: Hearing, *numbers: int) -> None:
    for number in numbers:
        hearing.applied("b", number, f"digest {number}")


def test_a_beat_of_a_copied_folder_proves_nothing_where_its_chain_is_another() -> None:
    hearing = listening()
    digests(hearing, 40)
    hearing.heard(beat(9, 40, echo=1, digest="digest 40"), NOW_S + 0.1)
    hearing.sends(2, NOW_S + 2.0)
    hearing.heard(beat(3, 40, echo=2, run="mine", digest="another"), NOW_S + 2.1)
    assert hearing.in_hearing(["b"], NOW_S + 2.2), "older than what came: nothing is learnt of it"
    hearing.heard(beat(10, 40, echo=2, digest="another"), NOW_S + 2.3)
    assert hearing.is_copy("b")
    assert not hearing.in_hearing(["b"], NOW_S + 2.4), "and what it proved before it may have proved as wrongly"


def test_a_copy_is_found_once_the_line_it_names_is_here_and_not_before() -> None:
    hearing = listening()
    digests(hearing, 39)
    hearing.heard(beat(9, 40, echo=1, digest="another"), NOW_S + 0.1)
    assert not hearing.is_copy("b") and not hearing.in_hearing(["b"], NOW_S + 0.1)
    digests(hearing, 40)
    assert hearing.is_copy("b") and not hearing.in_hearing(["b"], NOW_S + 0.2)


def test_a_beat_whose_chain_ends_before_a_line_that_was_known_when_it_was_asked_is_a_copys() -> None:
    hearing = Hearing("a", "mine")
    digests(hearing, 40, 41)
    for number in range(1, 5):
        assert not hearing.is_copy("b")
        hearing.sends(number, NOW_S + 2.0 * number)
        hearing.heard(beat(8 + number, 40, echo=number, digest="digest 40"), NOW_S + 2.0 * number + 0.1)
        assert not hearing.in_hearing(["b"], NOW_S + 2.0 * number + 0.2)
    assert hearing.is_copy("b")
    hearing.sends(5, NOW_S + 10.0)
    hearing.heard(beat(13, 41, echo=5, digest="digest 41"), NOW_S + 10.1)
    assert not hearing.in_hearing(["b"], NOW_S + 10.2), "that run is not believed any more, whatever it says"


def test_a_kiosk_whose_desk_is_slow_to_say_what_it_wrote_last_is_no_copy_and_proves_nothing_meanwhile() -> None:
    hearing = Hearing("a", "mine")
    digests(hearing, 40, 41)
    hearing.sends(1, NOW_S)
    hearing.heard(beat(9, 41, echo=1, digest="digest 41"), NOW_S + 0.1)
    assert hearing.in_hearing(["b"], NOW_S + 0.2)
    digests(hearing, 42)
    for number in range(2, 12):
        hearing.sends(number, NOW_S + 2.0 * number)
        last = 42 if number % 4 == 1 else 41
        hearing.heard(beat(8 + number, last, echo=number, digest=f"digest {last}"), NOW_S + 2.0 * number + 0.1)
        assert hearing.in_hearing(["b"], NOW_S + 2.0 * number + 0.2) is (last == 42) and not hearing.is_copy("b")


def test_a_line_that_came_while_the_beat_was_on_its_way_makes_nobody_a_copy() -> None:
    hearing = Hearing("a", "mine")
    digests(hearing, 40)
    hearing.sends(1, NOW_S)
    digests(hearing, 41)
    hearing.heard(beat(9, 40, echo=1, digest="digest 40"), NOW_S + 0.1)
    assert not hearing.is_copy("b") and hearing.in_hearing(["b"], NOW_S + 0.2)


def test_the_kiosk_itself_is_believed_again_when_it_comes_back() -> None:
    hearing = listening()
    digests(hearing, 40)
    hearing.heard(beat(9, 40, echo=1, digest="another"), NOW_S + 0.1)
    hearing.sends(2, NOW_S + 60.0)
    back = Beat("b", "its own", 1, 40, 5.0, 0, {"a": Echo(2, "mine")}, digest="digest 40")
    hearing.heard(back, NOW_S + 60.1)
    assert not hearing.is_copy("b") and hearing.heard_to_s("b") == NOW_S + 60.0


def test_what_a_beat_names_is_looked_up_where_it_is_none_of_the_newest_lines() -> None:
    for digest, copied in (("digest 40", False), ("another", True)):
        hearing = Hearing("a", "mine")
        hearing.sends(1, NOW_S)
        digests(hearing, *range(41, 200))
        hearing.heard(beat(9, 40, echo=1, digest=digest), NOW_S + 0.1)
        assert hearing.to_look_up() == [("b", 40)] and hearing.heard_to_s("b") is None
        hearing.known("b", 40, "digest 40")
        assert hearing.is_copy("b") is copied and hearing.in_hearing(["b"], NOW_S + 0.2) is not copied
        assert hearing.to_look_up() == []


def test_a_kiosk_that_never_wrote_is_heard_whatever_it_calls_its_last_line() -> None:
    hearing = Hearing("a", "mine")
    hearing.sends(1, NOW_S)
    hearing.heard(beat(9, 0, echo=1, digest="of nothing"), NOW_S + 0.1)
    assert hearing.in_hearing(["b"], NOW_S + 0.2)


def test_a_kiosk_known_to_run_fast_is_not_believed_for_having_been_started_again() -> None:
    hearing, now_s = Hearing("me", "mine"), 40 * 86_400.0

    def trip(number: int, run: str) -> bool | None:
        hearing.sends(number, now_s)
        echoes = {"me": Echo(number, "mine")}
        hearing.heard(Beat("other", run, number, 0, 1.10 * now_s, echoes=echoes), now_s + 0.05)
        pace = hearing.pace("other")
        return pace and pace.other_runs_fast

    said = []
    for number in range(1, 72):
        now_s += 2.0
        said.append(trip(number, "first" if number < 60 else "second"))
    assert all(said[58:])
