"""What kiosks told differently of rules, labels and people: the strict one counts until a hand says, then that does."""

from __future__ import annotations

from dataclasses import replace

import msgspec
import pytest

from kiosk import settings as shop_settings
from kiosk.desk.session import Locked, NotThere, Session, StillHot
from kiosk.ledger import tables as T
from kiosk.rules import lines as L
from kiosk.rules.assembly import Cutter
from kiosk.rules.merge import RETIRED, USED, Made
from kiosk.rules.places import Kind, Place
from tests.conftest import Shop
from tests.ledger.kiosks import shop as kiosks

A, OTHER = "a" * 16, "b" * 16


def differs(shop: Shop, key: str, *made: Made) -> None:
    matter, _, subject = key.partition("/")
    claims = msgspec.json.encode(made).decode()
    T.Difference.create(key=key, matter=matter, subject=subject, claims=claims, opened_line=made[-1].line)


def set_apart(shop: Shop, name: str, mine: str, last: str) -> Session:
    """Two kiosks set it at once; the last in the shop's order stands in the tables."""
    shop.clock.forward(40 * 86400.0)
    session = shop.desk.session
    lines = session.book.append([L.SettingChanged(name, mine, "one"), L.SettingChanged(name, last, "other")])
    differs(shop, f"setting/{name}", Made(lines[0].id, session.book.kiosk, mine), Made(lines[1].id, OTHER, last))
    session.follow_rules()
    return session


@pytest.mark.parametrize(("name", "safe", "other"), [
    ("limit_c", "41.5", "47"), ("temp_c", "380", "300"), ("ambient_c", "26", "18"), ("heating_s", "90", "20"),
])  # fmt: skip
@pytest.mark.parametrize("safe_first", [True, False])
def test_until_a_hand_says_which_the_shop_goes_by_the_one_that_holds_longer(
    shop: Shop, name: str, safe: str, other: str, safe_first: bool
) -> None:
    session = set_apart(shop, f"heat.{name}", *((safe, other) if safe_first else (other, safe)))
    for settings in (session.settings, shop_settings.load(shop.folder / shop_settings.NAME)):
        assert getattr(settings.heat, name) == float(safe)
    assert getattr(session.holds.rules.values, name) == float(safe)
    last = session.book.last_id
    assert session.notice_settings() == () and session.book.last_id == last, "a start settles nothing by itself"


@pytest.mark.parametrize(("name", "safe", "other"), [
    ("heat.reheat_s", "10", "120"), ("heat.cycles_limit", "500", "5000"), ("kiosk.badge_required", "yes", "no"),
    ("kiosk.sign_out_s", "60", "9000"), ("kiosk.undo_s", "15", "600"), ("kiosk.pair_s", "8", "100"),
    ("kiosk.travel_s", "60", "0,5"), ("build.friction", "0.08", "0,2"), ("build.clearance_um", "12", "3"),
    ("build.side_screw_rpm", "6000", "20000"), ("build.balance_grade", "2,5", "6.3"),
    ("audit.measured_days", "30", "365"),
])  # fmt: skip
@pytest.mark.parametrize("safe_first", [True, False])
def test_until_a_hand_says_which_the_shop_goes_by_the_safer_of_any_two_values(
    shop: Shop, name: str, safe: str, other: str, safe_first: bool
) -> None:
    session = set_apart(shop, name, *((safe, other) if safe_first else (other, safe)))
    table, _, key = name.partition(".")
    for settings in (session.settings, shop_settings.load(shop.folder / shop_settings.NAME)):
        assert shop_settings.same_value(safe, str(getattr(getattr(settings, table), key)))
    assert session.notice_settings() == ()
    session.operator = session.cards.operator(T.Operator.select().get().key)
    shop.desk.differences.settle(f"setting/{name}", other)
    assert shop_settings.same_value(other, str(getattr(getattr(session.settings, table), key)))


def test_what_has_no_safer_value_is_as_the_last_said_until_a_hand_settles_it(shop: Shop) -> None:
    assert set_apart(shop, "build.radius_at_control", "yes", "no").settings.build.radius_at_control is False
    assert set_apart(shop, "kiosk.name", "Mine", "Theirs").settings.kiosk.name == "kiosk"


@pytest.mark.parametrize("chosen", ["41.5", "47"])
def test_the_value_that_a_hand_calls_right_is_the_shops_from_then_on(shop: Shop, chosen: str) -> None:
    session = set_apart(shop, "heat.limit_c", "47", "41.5")
    shop.desk.differences.settle("setting/heat.limit_c", chosen)
    assert session.settings.heat.limit_c == float(chosen)
    assert T.Setting.get_by_id("heat.limit_c").value == chosen


def test_a_setting_told_differently_is_a_supervisors_to_settle(shop: Shop) -> None:
    set_apart(shop, "heat.limit_c", "47", "41.5")
    people = shop.desk.people
    shop.desk.scan(shop.desk.shop.code_of("kim"))
    people.add("ines", "Ines", "supervisor", "badge-ines", pin="2580")
    with pytest.raises(Locked):
        shop.desk.differences.settle("setting/heat.limit_c", "47")
    assert shop.desk.session.settings.heat.limit_c == 41.5
    people.unlock("ines", "2580")
    shop.desk.differences.settle("setting/heat.limit_c", "47")
    assert shop.desk.session.settings.heat.limit_c == 47.0


@pytest.mark.parametrize("chosen", [0, 1])
def test_the_facts_that_a_hand_calls_right_are_the_books_and_wait_while_a_hold_rests_on_them(
    shop: Shop, chosen: int
) -> None:
    shop.clock.forward(20 * 86400.0)
    session = shop.desk.session
    steel = session.holder("T001").holder
    said = [L.HolderRegistered(replace(steel, projection_mm=length_mm), stood_cold=True) for length_mm in (71.0, 84.0)]
    lines = session.book.append(said)
    who = "a" * 16, OTHER
    made = [Made(line.id, by, str(each.holder)) for line, by, each in zip(lines, who, said, strict=True)]
    differs(shop, "setting/T001", *made)
    station = next(row.code for row in T.Place.select() if row.kind == Kind.SHRINK.value)
    book = session.book
    (hot,) = book.append([L.Heated("T001", station)])
    with pytest.raises(StillHot):
        shop.desk.differences.settle("setting/T001", made[chosen].value)
    book.append([L.HoldEnded("T001", "reading", hot.id)])
    shop.clock.forward(86400.0)
    heat = session.holder("T001").heat
    shop.desk.differences.settle("setting/T001", made[chosen].value)
    assert session.holder("T001").holder == said[chosen].holder
    assert session.holder("T001").heat is heat


def told_of_a_cutter(shop: Shop) -> tuple[str, list[Made]]:
    """A cutter that is built in nowhere, and what two kiosks said it is."""
    shop.clock.forward(20 * 86400.0)
    built = T.Assembly.select(T.Assembly.cutter).where(T.Assembly.torn_line.is_null())
    facts = T.Cutter.select().where(T.Cutter.key.not_in(built)).get().facts
    cutter = msgspec.json.decode(facts, type=Cutter)
    said = [L.CutterAdded(replace(cutter, name=name)) for name in ("Mill A", "Mill B")]
    lines = shop.desk.session.book.append(said)
    made = [Made(line.id, by, str(each.cutter)) for line, by, each in zip(lines, (A, OTHER), said, strict=True)]
    differs(shop, f"setting/{cutter.key}", *made)
    return cutter.key, made


def test_facts_that_a_hand_calls_right_bring_nothing_back_that_is_out_of_use(shop: Shop) -> None:
    key, made = told_of_a_cutter(shop)
    shop.desk.session.book.append([L.CutterRetired(key, "broken")])
    shop.desk.differences.settle(f"setting/{key}", made[0].value)
    assert T.Cutter.get_by_id(key).retired == 1


def test_what_a_thing_is_is_a_supervisors_to_settle(shop: Shop) -> None:
    key, made = told_of_a_cutter(shop)
    people = shop.desk.people
    shop.desk.scan(shop.desk.shop.code_of("kim"))
    people.add("ines", "Ines", "supervisor", "badge-ines", pin="2580")
    with pytest.raises(Locked):
        shop.desk.differences.settle(f"setting/{key}", made[0].value)
    assert T.Cutter.get_by_id(key).name == "Mill B"
    people.unlock("ines", "2580")
    shop.desk.differences.settle(f"setting/{key}", made[0].value)
    assert T.Cutter.get_by_id(key).name == "Mill A"


def test_a_label_that_a_hand_found_on_the_other_holder_opens_the_first_no_more(shop: Shop) -> None:
    shop.clock.forward(20 * 86400.0)
    text = "(01)04012345678901"
    line = shop.desk.session.write(L.CodeBound(text, "T001", "holder", foreign=True))[0].id
    differs(shop, f"label/{text}", Made(line, "a" * 16, "T001"), Made(line + 9, OTHER, "T002"))
    shop.desk.differences.settle(f"label/{text}", "T002")
    assert T.Binding.get_by_id(text).retired_line is not None
    shop.desk.scan(text)
    assert shop.desk.waiting() is None


def test_a_label_that_a_hand_found_where_the_book_has_it_stays(shop: Shop) -> None:
    text = "(01)04012345678901"
    line = shop.desk.session.write(L.CodeBound(text, "T001", "holder", foreign=True))[0].id
    differs(shop, f"label/{text}", Made(line, "a" * 16, "T001"), Made(line + 9, OTHER, "T002"))
    shop.desk.differences.settle(f"label/{text}", "T001")
    assert T.Binding.get_by_id(text).retired_line is None


def test_no_pin_is_shown_in_what_is_told_differently(shop: Shop) -> None:
    shop.desk.scan(shop.desk.shop.code_of("kim"))
    shop.desk.people.add("ines", "Ines", "supervisor", "badge-ines", pin="2580")
    added = L.OperatorAdded("ines", "Ines", "supervisor", "$argon2id$secret")
    differs(shop, "badge/ines", Made(1, "a" * 16, RETIRED), Made(2, OTHER, str(added)), Made(3, "c" * 16, USED))
    told = next(each for each in shop.desk.differences.open() if each.key == "badge/ines")
    assert [each.what for each in told.claims] == ["apart.out_of_use", "apart.in_use", "apart.in_use"]
    assert "argon2" not in str([each.what for each in told.claims])


@pytest.mark.parametrize("retired_first", [True, False])
def test_who_is_retired_at_one_kiosk_while_another_gives_them_a_pin_opens_nothing(retired_first: bool) -> None:
    server, (founder, other) = kiosks(A)
    founder.says(L.OperatorAdded("jo", "Jo", "supervisor", "argon2"))
    server.push(founder.own_lines())
    other.pulls(server)
    founder.says(L.OperatorRetired("jo", "left"))
    other.says(L.OperatorAdded("jo", "Jo", "supervisor", "another"))
    for each in (founder, other) if retired_first else (other, founder):
        server.push(each.own_lines())
    for each in (founder, other):
        each.pulls(server)
        assert each.row("operator", "jo")["retired"] == 1 and each.differences() == {"badge/jo"}
        assert each.wrong() == []
    assert founder.tables() == other.tables()
    other.says(L.OperatorAdded("jo", "Jo", "supervisor", "another"))  # who saw both brings them back
    server.push(other.own_lines())
    founder.pulls(server)
    assert founder.row("operator", "jo")["retired"] == 0 and founder.differences() == set()


@pytest.mark.parametrize("first", [0, 1])
def test_two_kiosks_that_close_one_difference_in_two_ways_open_it_again(first: int) -> None:
    server, (founder, other, third) = kiosks(A, OTHER)
    name = "heat.limit_c"
    founder.says(L.SettingChanged(name, "41.5", "gloves"))
    other.says(L.SettingChanged(name, "47", "none"))
    for each in (founder, other):
        server.push(each.own_lines())
    for each in (founder, other, third):
        each.pulls(server)
    third.says(L.PlaceAdded(Place("N", "New", Kind.BENCH)))  # an older line that comes late
    founder.says(L.ClaimSettled("setting", name, "41.5"), L.SettingChanged(name, "41.5", "looked"))
    other.says(L.ClaimSettled("setting", name, "47"), L.SettingChanged(name, "47", "looked"))
    for each in (founder, other)[:: 1 - 2 * first]:
        server.push(each.own_lines())
    server.push(third.own_lines())
    for each in (founder, other, third):
        each.pulls(server)
        assert each.differences() == {f"setting/{name}"}, "nobody's word is picked"
    third.says(L.SettingChanged(name, "41.5", "both asked"))
    server.push(third.own_lines())
    for each in (founder, other, third):
        each.pulls(server)
        assert each.differences() == set() and each.row("setting", name)["value"] == "41.5" and each.wrong() == []
    assert founder.tables() == other.tables() == third.tables()


def test_a_claim_older_than_what_settled_it_that_comes_later_opens_it_again() -> None:
    server, (founder, other, third) = kiosks(A, OTHER)
    third.says(L.SettingChanged("heat.limit_c", "47", "cut off"))
    founder.says(L.SettingChanged("heat.limit_c", "41.5", "gloves"))
    other.says(L.SettingChanged("heat.limit_c", "44", "none"))
    for each in (founder, other):
        server.push(each.own_lines())
    for each in (founder, other):
        each.pulls(server)
    founder.says(L.SettingChanged("heat.limit_c", "41.5", "looked"))
    server.push(founder.own_lines())
    other.pulls(server)
    assert other.differences() == set()
    server.push(third.own_lines())
    for each in (founder, other, third):
        each.pulls(server)
        assert each.differences() == {"setting/heat.limit_c"} and each.wrong() == []
    with founder:
        claims = founder.row("difference", "setting/heat.limit_c")["claims"]
    assert "41.5" in claims and "47" in claims, "what had settled it is one of the claims"


@pytest.mark.parametrize(("hot", "reason"), [(True, L.NOT_VERIFIED), (False, L.NOT_VERIFIED), (True, "")])
def test_only_what_was_taken_unverified_and_is_hot_is_called_out_and_once(shop: Shop, hot: bool, reason: str) -> None:
    shop.clock.forward(20 * 86400.0)
    session, bench = shop.desk.session, shop.place("Bench 2")
    at = session.holder("T002").at
    line = session.write(L.Moved("T002", at.place.code if at else None, bench, reason=reason))[0].id
    if hot:
        session.book.append([L.Heated("T002", bench)])
    differs(shop, "place/T002", Made(line, session.book.kiosk, bench), Made(line + 9, OTHER, "S"))
    found = shop.desk.differences.called_out()
    assert (found is not None) == bool(hot and reason)
    assert found is None or (found.key == "place/T002" and found.alarm is not None)
    assert shop.desk.differences.called_out() is None
    with pytest.raises(NotThere):
        shop.desk.differences.settle("place/T001", bench)
    with pytest.raises(ValueError, match="scanning"):
        shop.desk.differences.settle("place/T002", bench)


def test_a_difference_that_a_touch_settles_is_a_line_with_what_is_right(shop: Shop) -> None:
    differs(shop, "number/7", Made(1, "a" * 16, "A1"), Made(2, OTHER, "A2"))
    shop.desk.differences.settle("number/7", "A2", "looked")
    (line,) = shop.desk.session.book.lines(after=shop.desk.session.book.last_id - 1)
    assert line.entry == L.ClaimSettled("number", "7", "A2", "looked")
