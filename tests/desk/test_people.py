"""Badges, PINs and corrections: who may do what, and what no role may."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kiosk import words
from kiosk.desk.people import PinRefused
from kiosk.desk.session import ActRefused, Locked, NeedsReason, NotThere, StillHot
from kiosk.ledger import tables as T
from kiosk.rules import tries
from kiosk.rules.cards import Command
from kiosk.rules.codes import CodeKind, make
from kiosk.rules.lines import OperatorAdded, OperatorRetired
from kiosk.rules.outcomes import Reason, Refused
from kiosk.rules.shop_things.making import ThingFault
from kiosk.settings import SettingsFault, load
from tests.conftest import Shop
from tests.faults.test_restore import copy
from tests.faults.test_restore_again import put_back

PIN = "4711"


def unlock(shop: Shop) -> None:
    if not shop.desk.people.has_pin("kim"):
        shop.desk.people.first_pin("kim", PIN, by_owner=True)
    shop.desk.people.unlock("kim", PIN)


def test_a_new_shop_without_any_pin_is_not_locked_out(shop: Shop) -> None:
    shop.desk.shop.retire("T005", "scrapped")
    assert shop.desk.session.holder("T005").retired


def test_once_a_supervisor_has_a_pin_corrections_need_it(shop: Shop) -> None:
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
    facts = shop.desk.session.holder("T005").holder
    for step in (
        lambda: shop.desk.shop.retire("T005", "scrapped"),
        lambda: shop.desk.shop.retire_code(shop.holder("T005"), "worn"),
        lambda: shop.desk.shop.correct(replace(facts, name="Shrink 5"), "typing mistake"),
        lambda: shop.desk.shop.correct_place("T005", shop.place("Bench 1"), "seen there"),
        lambda: shop.desk.people.retire("sam", "left"),
        lambda: shop.desk.people.set_pin("kim", "1"),
        lambda: shop.desk.people.change_setting("kiosk", "undo_s", "30", "as agreed"),
    ):
        before = shop.desk.session.book.last_id
        with pytest.raises(Locked):
            step()
        assert shop.desk.session.book.last_id == before
    unlock(shop)
    shop.desk.shop.retire("T005", "scrapped")
    line = shop.desk.session.book.line(shop.desk.session.book.last_id)
    assert line is not None and line.operator == "kim"


def test_a_pin_is_good_for_some_minutes_and_ends_with_a_touch(shop: Shop) -> None:
    unlock(shop)
    shop.clock.forward(200.0)
    shop.desk.people.change_setting("kiosk", "undo_s", "30", "as agreed")
    shop.clock.forward(200.0)  # counted from the last thing done
    shop.desk.people.change_setting("kiosk", "undo_s", "40", "as agreed")
    shop.clock.forward(301.0)
    with pytest.raises(Locked):
        shop.desk.people.change_setting("kiosk", "undo_s", "50", "as agreed")
    unlock(shop)
    shop.desk.people.lock()
    with pytest.raises(Locked):
        shop.desk.people.change_setting("kiosk", "undo_s", "50", "as agreed")


def test_a_correction_without_a_reason_is_none(shop: Shop) -> None:
    unlock(shop)
    for reason in ("", "   "):
        with pytest.raises(NeedsReason):
            shop.desk.shop.retire("T005", reason)


def wrong(shop: Shop, key: str = "kim") -> float:
    """One wrong try; how long nothing is tried then."""
    with pytest.raises(PinRefused) as refused:
        shop.desk.people.unlock(key, "0000")
    return refused.value.wait_s


def test_wrong_pins_wait_longer_and_longer_and_a_restart_does_not_help(shop: Shop) -> None:
    shop.clock.forward(40 * 86400.0)
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
    assert [wrong(shop) for _ in range(tries.FREE)] == [0.0] * tries.FREE
    for wait_s in (*tries.WAITS_S, tries.WAITS_S[-1]):
        assert wrong(shop) == wait_s
        shop.reopen()
        with pytest.raises(PinRefused) as refused:
            shop.desk.people.unlock("kim", PIN)
        assert 0.0 < refused.value.wait_s <= wait_s
        shop.clock.forward(wait_s + 1.0)
    assert shop.desk.people.unlock("kim", PIN).key == "kim"
    assert [wrong(shop) for _ in range(tries.FREE)] == [0.0] * tries.FREE, "a right one ends the count"


@pytest.mark.parametrize(
    "between", ["badge", "turned away", "another", "name", "retired badge scanned often", "an older copy put back"]
)
def test_whatever_lies_between_wrong_pins_they_count(shop: Shop, between: str) -> None:
    shop.clock.forward(9 * 3600.0)
    people = shop.desk.people
    people.first_pin("kim", PIN, by_owner=True)
    people.unlock("kim", PIN)
    people.add("ann", "Ann", "supervisor", shop.desk.shop.fresh_code(CodeKind.BADGE).text, "1234")
    people.lock()
    badge = shop.desk.shop.code_of("kim")
    copied = copy(shop)
    waits = []
    for _ in range(3):
        waits += [wrong(shop) for _ in range(2)]
        if between == "badge":
            shop.desk.scan(badge)
        elif between == "turned away":
            shop.desk.scan(badge)
            for _ in range(450):
                shop.desk.scan("nobody knows this")
        elif between == "another":
            people.unlock("ann", "1234")
            people.lock()
        elif between == "name":
            (shop.folder / "settings.toml").write_text(f'[kiosk]\nname = "kiosk {len(waits)}"\n', "utf-8")
            shop.reopen()
            people = shop.desk.people
        elif between == "an older copy put back":
            for _ in range(2):
                put_back(shop, copied)
        else:
            shop.desk.scan("BSXD5X3637")
    assert waits[tries.FREE] == tries.WAITS_S[0] and waits[tries.FREE + 1] > 0.0


def test_a_right_pin_ends_the_count_for_a_restore_too_and_no_try_counts_twice(shop: Shop) -> None:
    shop.clock.forward(40 * 86400.0)
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
    assert [wrong(shop) for _ in range(2)] == [0.0] * 2
    copied = copy(shop)
    for _ in range(3):
        put_back(shop, copied)
    assert [wrong(shop) for _ in range(tries.FREE - 2)] == [0.0] * (tries.FREE - 2), "the copy knows two of them"
    shop.desk.people.unlock("kim", PIN)
    put_back(shop, shop.folder / "replaced" / min(each.name for each in (shop.folder / "replaced").glob("*.db")))
    assert wrong(shop) == 0.0, "the copy's own two and this one"


def test_wrong_pins_on_another_clock_wait_the_whole_time_on_this_one(shop: Shop) -> None:
    """The other name's clock has counted hours less; that is no time gone by here."""
    shop.clock.forward(9 * 3600.0)
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
    settings = shop.folder / "settings.toml"
    settings.write_text('[kiosk]\nname = "another"\n', "utf-8")
    shop.reopen()
    for _ in range(tries.FREE + 1):
        wrong(shop)
    settings.unlink()
    shop.reopen()
    with pytest.raises(PinRefused) as refused:
        shop.desk.people.unlock("kim", PIN)
    assert refused.value.wait_s == pytest.approx(tries.WAITS_S[0], abs=2.0)


def test_who_goes_from_one_supervisor_to_the_next_waits_too(shop: Shop) -> None:
    shop.clock.forward(3 * 86400.0)
    people = shop.desk.people
    people.first_pin("kim", PIN, by_owner=True)
    people.unlock("kim", PIN)
    keys = ["kim", *(f"s{number}" for number in range(6))]
    for key in keys[1:]:
        people.add(key, key, "supervisor", shop.desk.shop.fresh_code(CodeKind.BADGE).text, PIN)
    people.lock()
    waits = [wrong(shop, key) for _ in range(3) for key in keys][: tries.FREE_OF_ALL + 1]
    assert waits == [0.0] * tries.FREE_OF_ALL + [tries.WAITS_S[0]]
    with pytest.raises(PinRefused) as refused:
        people.unlock("s5", PIN)
    assert refused.value.wait_s > 0.0


def test_a_setter_has_no_pin_and_unlocks_nothing(shop: Shop) -> None:
    with pytest.raises(NotThere):
        shop.desk.people.unlock("jo", PIN)
    with pytest.raises(PinRefused):
        shop.desk.people.first_pin("jo", PIN, by_owner=True)


def test_a_pin_is_kept_only_as_a_hash(shop: Shop) -> None:
    unlock(shop)
    stored = T.Operator.get_by_id("kim").pin_hash
    assert stored.startswith("$argon2") and PIN not in stored
    assert all(PIN not in row.payload for row in T.KeptLine.select())


def test_a_new_pin_replaces_the_old(shop: Shop) -> None:
    unlock(shop)
    shop.desk.people.set_pin("kim", "9999")
    shop.desk.people.lock()
    with pytest.raises(PinRefused):
        shop.desk.people.unlock("kim", PIN)
    assert shop.desk.people.unlock("kim", "9999").role == "supervisor"


def test_no_role_ends_a_hold_or_makes_it_shorter(shop: Shop) -> None:
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Shrink station"))
    unlock(shop)
    facts = shop.desk.session.holder("T001").holder
    with pytest.raises(StillHot):
        shop.desk.shop.correct(replace(facts, nose_mm=10.0), "measured again")
    before = shop.desk.session.holder("T001").hold
    shop.desk.people.change_setting("heat", "limit_c", "48", "summer")
    assert shop.desk.session.holder("T001").hold == before
    refused = shop.desk.shop.correct_place("T001", shop.place("Cabinet A · 1-05"), "it is there")
    assert isinstance(refused, Refused) and refused.reason is Reason.HOT
    assert [card.holder.key for card in shop.desk.heat.board()] == ["T001"]


WEAKER = (("limit_c", "48"), ("ambient_c", "15"), ("temp_c", "200"), ("heating_s", "10"), ("length_tolerance_um", "20"))
STRICTER = (("limit_c", "38"), ("ambient_c", "28"), ("temp_c", "390"))


def heated_a_month_on(shop: Shop) -> None:
    """T001 hot and on the rack, by a clock that has counted for a month."""
    shop.clock.forward(30 * 86_400.0 + 17.0)
    for code in (shop.holder("T001"), shop.place("Shrink station"), shop.holder("T001"), shop.place("Rack 1")):
        shop.desk.scan(code)
    shop.clock.forward(240.0)


@pytest.mark.parametrize(("key", "value"), WEAKER)
def test_a_weaker_heat_setting_is_taken_at_once_and_leaves_the_hold_that_runs_as_it_was(
    shop: Shop, key: str, value: str
) -> None:
    heated_a_month_on(shop)
    before = shop.desk.session.holder("T001").hold
    shop.desk.people.change_setting("heat", key, value, "as agreed")
    assert getattr(shop.desk.session.settings.heat, key) == float(value)
    now = shop.desk.session.holder("T001").hold
    assert now and before and now == replace(before, measure_in_s=now.measure_in_s)
    assert now.measure_in_s >= before.measure_in_s, "against a colder shop it stays too long for longer"
    shop.reopen()
    after = shop.desk.session.holder("T001").hold
    assert before and after and (after.remaining_s or 0.0) >= (before.remaining_s or 0.0)
    if key == "temp_c":
        shop.desk.scan(shop.holder("T003"))
        shop.desk.scan(shop.place("Shrink station"))
        other = shop.desk.session.holder("T003").hold
        assert other is not None and other.hottest_c < 210.0, "the next heating is worked out with it"


@pytest.mark.parametrize(("key", "value"), STRICTER)
def test_a_stricter_heat_setting_holds_what_is_hot_already(shop: Shop, key: str, value: str) -> None:
    heated_a_month_on(shop)
    before = shop.desk.session.holder("T001").hold
    shop.desk.people.change_setting("heat", key, value, "as agreed")
    after = shop.desk.session.holder("T001").hold
    assert before and after and before.remaining_s and after.remaining_s and after.remaining_s > before.remaining_s


def test_a_hold_older_than_the_values_written_down_is_changed_to_the_safer_side_only(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    heated_a_month_on(shop)
    facts = shop.desk.session.cards.hold_facts
    monkeypatch.setattr(shop.desk.session.cards, "hold_facts", lambda key: replace(facts(key), began=()))
    for key, value in WEAKER:
        with pytest.raises(StillHot):
            shop.desk.people.change_setting("heat", key, value, "as agreed")
        assert getattr(load(shop.folder / "settings.toml").heat, key) != float(value)
    for key, value in STRICTER:
        shop.desk.people.change_setting("heat", key, value, "as agreed")


def test_a_setting_is_changed_in_the_file_and_in_a_line(shop: Shop) -> None:
    unlock(shop)
    settings = shop.desk.people.change_setting("kiosk", "undo_s", "30", "as agreed")
    assert settings.kiosk.undo_s == 30.0 == shop.desk.session.settings.kiosk.undo_s
    assert load(shop.folder / "settings.toml").kiosk.undo_s == 30.0
    row = shop.desk.session.book.state.get("setting", "kiosk.undo_s")
    assert row is not None and row["value"] == "30"
    before = shop.desk.session.book.last_id
    with pytest.raises(SettingsFault):
        shop.desk.people.change_setting("kiosk", "undo_s", "99999", "far too long")
    assert shop.desk.session.book.last_id == before
    assert load(shop.folder / "settings.toml").kiosk.undo_s == 30.0


def test_a_book_set_right_by_hand_says_why(shop: Shop) -> None:
    unlock(shop)
    card = shop.desk.shop.correct_place("T005", shop.place("Bench 2"), "seen there by Kim")
    assert not isinstance(card, Refused) and card.at is not None and card.at.name == "Bench 2"
    row = shop.desk.records.history("T005")[0]
    assert row.operator == "Kim Vale" and dict(row.say.values)["reason"] == "seen there by Kim"


def test_a_retired_badge_opens_nothing(shop: Shop) -> None:
    shop.desk.people.retire("jo", "left")
    refused = shop.desk.scan("BSXD5X3637").outcome
    assert isinstance(refused, Refused) and refused.reason is Reason.RETIRED_BADGE


def test_what_a_pin_opened_is_shut_when_somebody_else_comes_or_anybody_goes(shop: Shop) -> None:
    badge = shop.desk.shop.code_of
    for step in (
        lambda: shop.desk.scan(badge("sam")),
        lambda: shop.desk.people.sign_out(),
        lambda: shop.desk.command(Command.SIGN_OUT),
    ):
        shop.desk.scan(badge("kim"))
        unlock(shop)
        assert shop.desk.session.unlocked_by() == "kim"
        step()
        with pytest.raises(Locked):
            shop.desk.people.change_setting("kiosk", "undo_s", "30", "as agreed")
    unlock(shop)
    shop.desk.scan(badge("kim"))
    assert shop.desk.session.unlocked_by() == "kim", "their own badge shuts nothing"


def test_the_last_supervisor_with_a_pin_stays_whoever_retires_or_demotes_them(shop: Shop) -> None:
    unlock(shop)
    badge = shop.desk.shop.code_of("kim")
    before = shop.desk.session.book.last_id
    for opening in (
        lambda: shop.desk.people.retire("kim", "left"),
        lambda: shop.desk.people.add("kim", "Kim", "setter", badge),
        lambda: shop.desk.session.write(OperatorAdded("kim", "Kim", "setter")),
        lambda: shop.desk.session.write(OperatorAdded("lee", "Lee", "supervisor"), OperatorRetired("kim")),
    ):
        with pytest.raises(ActRefused) as refused:
            opening()
        assert refused.value.reason is Reason.LAST_PIN
    assert shop.desk.session.book.last_id == before
    code = shop.desk.session.fresh_code(CodeKind.BADGE).text
    shop.desk.people.add("lee", "Lee", "supervisor", code, pin="1234")
    shop.desk.people.retire("kim", "left")
    with pytest.raises(Locked):  # who is gone has no say any more
        shop.desk.people.retire("lee", "left too")
    shop.desk.people.unlock("lee", "1234")
    with pytest.raises(ActRefused):
        shop.desk.people.retire("lee", "left too")
    shop.desk.people.lock()
    with pytest.raises(Locked):
        shop.desk.shop.retire("T005", "scrapped")


def test_where_nobody_has_a_pin_yet_a_setter_is_retired_by_anybody_and_a_supervisor_by_one(shop: Shop) -> None:
    shop.desk.people.retire("jo", "left")
    with pytest.raises(ActRefused) as refused:
        shop.desk.people.retire("kim", "left")
    assert refused.value.reason is Reason.SUPERVISOR_FIRST
    shop.desk.scan(shop.desk.shop.code_of("kim"))
    shop.desk.people.retire("kim", "left")


def test_another_name_takes_the_pin_and_keeps_role_badge_and_pin(shop: Shop) -> None:
    people = shop.desk.people
    badge = shop.desk.shop.code_of("kim")
    people.first_pin("kim", "4711", by_owner=True)
    people.lock()
    with pytest.raises(Locked):
        people.rename("jo", "Jo Long")
    people.unlock("kim", "4711")
    people.rename("kim", "Kim  Valera")
    card = next(each for each in people.operators() if each.key == "kim")
    assert (card.name, card.role, card.retired) == ("Kim Valera", "supervisor", False)
    assert shop.desk.shop.code_of("kim") == badge and people.has_pin("kim")
    people.lock()
    assert people.unlock("kim", "4711").name == "Kim Valera"
    with pytest.raises(ThingFault):
        people.rename("jo", " \n ")
    assert shop.desk.session.book.check() == []


def test_who_is_here_again_has_a_new_badge_and_the_lost_one_opens_nothing(shop: Shop) -> None:
    shop.clock.forward(40 * 86400.0)
    people = shop.desk.people
    lost = shop.desk.shop.code_of("jo")
    people.first_pin("kim", "4711", by_owner=True)
    people.unlock("kim", "4711")
    with pytest.raises(NotThere):
        people.bring_back("jo", shop.desk.shop.fresh_code(CodeKind.BADGE).text)
    people.retire("jo", "badge lost")
    people.lock()
    new = shop.desk.shop.fresh_code(CodeKind.BADGE).text
    with pytest.raises(Locked):
        people.bring_back("jo", new)
    people.unlock("kim", "4711")
    assert people.bring_back("jo", new).name and shop.desk.shop.code_of("jo") == new
    shop.desk.scan(lost)
    assert shop.desk.session.operator is None, "whoever found the badge is not Jo"
    shop.desk.scan(new)
    assert shop.desk.session.operator is not None and shop.desk.session.operator.key == "jo"
    assert shop.desk.session.book.check() == []


def test_a_person_has_a_language_that_stays_whatever_else_changes(shop: Shop) -> None:
    unlock(shop)
    people = shop.desk.people
    assert people.speaks("sam", "de").language == "de"
    people.rename("sam", "Samuel Porter")
    people.speaks("kim", "de")
    people.set_pin("kim", "1234")
    told = {card.key: card.language for card in people.operators()}
    assert (told["sam"], told["kim"]) == ("de", "de")
    people.retire("sam", "left")
    assert people.bring_back("sam", shop.desk.shop.fresh_code(CodeKind.BADGE).text).language == "de"
    shop.desk.session.book.rebuild()
    assert {card.key: card.language for card in people.operators()}["sam"] == "de"
    assert people.speaks("sam", "").language == ""


def test_a_language_is_a_supervisors_to_set_and_one_that_the_kiosk_speaks(shop: Shop) -> None:
    shop.desk.people.first_pin("kim", PIN, by_owner=True)
    shop.desk.people.lock()
    with pytest.raises(Locked):
        shop.desk.people.speaks("sam", "de")
    unlock(shop)
    with pytest.raises(ValueError, match="a language is one of"):
        shop.desk.people.speaks("sam", "xx")
    with pytest.raises(NotThere):
        shop.desk.people.speaks("nobody", "de")


def test_whoever_is_at_work_is_spoken_to_at_once_and_nobody_after_them(shop: Shop) -> None:
    unlock(shop)
    shop.desk.people.speaks("sam", "de")
    scanned = shop.desk.scan(shop.desk.shop.code_of("sam"))
    assert scanned.operator is not None and scanned.operator.language == "de"
    shop.desk.people.unlock("kim", PIN)
    shop.desk.people.speaks("sam", "")
    assert shop.desk.session.operator is not None and shop.desk.session.operator.language == ""
    assert shop.desk.scan(make(CodeKind.COMMAND, Command.SIGN_OUT.value).text).operator is None


def test_ink_speaks_the_shops_language_whoever_is_at_work(shop: Shop) -> None:
    try:
        words.speak("de", "en")
        assert words.t("heat.word") == "HEISS"
        assert shop.desk.labels.content(shop.desk.shop.code_of("sam")).details == ("Tool setter",)
        with words.for_everybody():
            assert (words.t("heat.word"), words.language()) == ("HOT", "en")
        assert words.language() == "de"
    finally:
        words.speak("en")


def test_somebody_entered_like_another_is_spoken_to_as_the_other_is(shop: Shop) -> None:
    code = shop.desk.shop.fresh_code(CodeKind.BADGE).text
    added = shop.desk.people.add(code.lower(), "Pat", "setter", code, language="de")
    assert (added.role, added.language) == ("setter", "de")
