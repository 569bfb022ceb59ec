"""What a hand calls right of something told differently, the book says from then on, and nothing more."""

from __future__ import annotations

from dataclasses import replace

import msgspec
import pytest
from argon2 import PasswordHasher

from kiosk.desk.people import PinRefused
from kiosk.desk.session import ActRefused, Locked, StillHot
from kiosk.ledger import tables as T
from kiosk.rules import lines as L
from kiosk.rules.acts import either_pin
from kiosk.rules.assembly import Clamping, Condition, Measured
from kiosk.rules.cards import Heat
from kiosk.rules.merge import NOTHING, RETIRED, USED, Made, Matter, claims
from kiosk.rules.outcomes import Reason
from tests.conftest import Shop
from tests.desk.test_told_differently import OTHER, A, differs, told_of_a_cutter

THIRD = "c" * 16


def told(shop: Shop, key: str, *said: L.Entry, kept: int | None = None) -> list[str]:
    """Lines of kiosks that did not hear each other, one a kiosk; of those after `kept` only the claim is in the book.

    Gives back what each claims of it.
    """
    shop.clock.forward(20 * 86400.0)
    book = shop.desk.session.book
    mine = [
        next(each.value for each in claims(entry) if f"{each.matter.value}/{each.subject}" == key) for entry in said
    ]
    lines = [line.id for line in book.append(said[:kept])]
    for entry in said[len(lines) :]:
        lines.append(unapplied(shop, entry))
    differs(shop, key, *(Made(*each) for each in zip(lines, (A, OTHER, THIRD), mine, strict=False)))
    return mine


def unapplied(shop: Shop, entry: L.Entry) -> int:
    """A line that stands in the book and changed nothing in its tables, as one does against an unseen claim."""
    book = shop.desk.session.book
    line = book.append([L.ClaimSettled("audit", "none", "open")])[0]
    payload = msgspec.json.encode(entry).decode()
    T.KeptLine.update(kind=entry.kind, payload=payload).where(T.KeptLine.id == line.id).execute()
    for subject in (getattr(entry, name, None) for name in ("holder", "assembly", "cutter", "operator")):
        if subject is not None:
            T.Mention.get_or_create(subject=subject, line=line.id)
    return line.id


def free(shop: Shop, clamping: Clamping | None = None) -> list[str]:
    """Holders with nothing in them that are not under a hold."""
    cards = [shop.desk.session.holder(row.key) for row in T.Holder.select().where(T.Holder.assembly.is_null())]
    return [
        card.holder.key for card in cards
        if card.heat is Heat.COOL and (clamping is None or card.holder.clamping is clamping)
    ]  # fmt: skip


def cutters(shop: Shop) -> list[str]:
    return [each.key for each in shop.desk.build.free_cutters()]


def inside(shop: Shop, holder: str) -> str | None:
    assembly = shop.desk.session.holder(holder).assembly
    return assembly.cutter.key if assembly else None


@pytest.mark.parametrize("chosen", [0, 1])
def test_the_regrind_that_a_hand_calls_right_is_what_the_cutter_measures_with_no_regrind_more(
    shop: Shop, chosen: int
) -> None:
    cutter = shop.desk.build.free_cutters()[0]
    one = L.CutterReground(cutter.key, dc_mm=cutter.dc_mm - 0.2)
    two = L.CutterReground(cutter.key, oal_mm=cutter.oal_mm - 3)
    said = told(shop, f"setting/{cutter.key}", one, two)
    regrinds = T.Cutter.get_by_id(cutter.key).regrinds
    shop.desk.differences.settle(f"setting/{cutter.key}", said[chosen])
    now = next(each for each in shop.desk.build.free_cutters() if each.key == cutter.key)
    dc_mm, oal_mm = (one.dc_mm, cutter.oal_mm) if chosen == 0 else (cutter.dc_mm, two.oal_mm)
    assert (now.dc_mm, now.oal_mm) == (dc_mm, oal_mm), "as the kiosk that said so knew it, and nothing of the other"
    assert T.Cutter.get_by_id(cutter.key).regrinds == regrinds


def test_facts_called_right_are_those_that_kiosk_had_with_what_it_and_all_had_said_before(shop: Shop) -> None:
    cutter = shop.desk.build.free_cutters()[0]
    book = shop.desk.session.book
    book.append([L.CutterAdded(replace(cutter, name="Known to all"))])
    before = book.last_id
    said = [
        L.CutterReground(cutter.key, dc_mm=cutter.dc_mm - 0.1), L.CutterAdded(replace(cutter, name="Elsewhere")),
        L.CutterReground(cutter.key, oal_mm=cutter.oal_mm - 2),
    ]  # fmt: skip
    lines = [line.id for line in book.append(said)]
    for line, chain in zip(lines, (A, OTHER, A), strict=True):
        T.Chained.create(line=line, chain=chain, number=line, previous="", seen=before, seen_book="", book="x")
    last = next(iter(claims(said[2]))).value
    differs(shop, f"setting/{cutter.key}", Made(lines[1], OTHER, "x"), Made(lines[2], A, last))
    shop.desk.differences.settle(f"setting/{cutter.key}", last)
    now = next(each for each in shop.desk.build.free_cutters() if each.key == cutter.key)
    assert (now.name, now.dc_mm, now.oal_mm) == ("Known to all", cutter.dc_mm - 0.1, cutter.oal_mm - 2)


@pytest.mark.parametrize("chosen", [0, 1])
def test_whose_pocket_it_is_and_what_it_is_called_are_both_as_the_kiosk_had_them_that_was_right(
    shop: Shop, chosen: int
) -> None:
    session = shop.desk.session
    pocket = next(row.code for row in T.Place.select().where(T.Place.owner.is_null(), T.Place.kind == "pocket"))
    place = session.cards.places.place(pocket)
    holder = free(shop)[0]
    said = told(shop, f"setting/{pocket}", L.PocketAssigned(pocket, holder), L.PlaceAdded(replace(place, name="P 99")))
    shop.desk.differences.settle(f"setting/{pocket}", said[chosen])
    now = T.Place.get_by_id(pocket)
    assert (now.owner, now.name) == ((holder, place.name) if chosen == 0 else (None, "P 99"))


@pytest.mark.parametrize("chosen", [0, 1])
def test_of_a_number_told_twice_only_the_assembly_that_a_hand_found_under_it_has_it(shop: Shop, chosen: int) -> None:
    built = list(T.Assembly.select().where(T.Assembly.torn_line.is_null()).limit(2))
    said = told(shop, "number/77", *(L.ToolNumbered(each.holder, each.key, 77) for each in built))
    shop.desk.differences.settle("number/77", said[chosen])
    assert [T.Assembly.get_by_id(each.key).tool_number for each in built] == [[77, None], [None, 77]][chosen]
    assert [shop.desk.build.number_of(each.holder) for each in built] == [[77, None], [None, 77]][chosen]


@pytest.mark.parametrize("chosen", [0, 1, 2])
def test_the_number_of_an_assembly_is_the_one_that_a_hand_read_at_the_control(shop: Shop, chosen: int) -> None:
    built = T.Assembly.select().where(T.Assembly.torn_line.is_null()).get()
    numbers = (71, None, 72)
    key = f"number/{built.key}"
    said = told(shop, key, *(L.ToolNumbered(built.holder, built.key, number) for number in numbers))
    found = next(each for each in shop.desk.differences.open() if each.key == key)
    assert found.name == built.name and [each.what for each in found.claims] == ["71", "apart.empty", "72"]
    shop.desk.differences.settle(key, said[chosen])
    assert T.Assembly.get_by_id(built.key).tool_number == numbers[chosen]


@pytest.mark.parametrize("chosen", [0, 1])
def test_the_length_that_a_hand_calls_right_is_what_goes_to_the_control(shop: Shop, chosen: int) -> None:
    built = T.Assembly.select().where(T.Assembly.torn_line.is_null()).get()
    values = Measured(120.004, 12.003), Measured(119.2, 12.003)
    said = told(shop, f"setting/{built.key}", *(L.MeasuredLine(built.holder, built.key, each) for each in values))
    shop.desk.differences.settle(f"setting/{built.key}", said[chosen])
    assert shop.desk.session.holder(built.holder).assembly.measured == values[chosen]


@pytest.mark.parametrize("chosen", [0, 1])
def test_a_cutter_told_in_two_holders_is_in_the_one_where_a_hand_found_it(shop: Shop, chosen: int) -> None:
    one, two = free(shop)[:2]
    cutter = cutters(shop)[0]
    built = L.Built("A1", "Mill", one, cutter), L.Built("A2", "Mill", two, cutter, insert_mm=40.0)
    said = told(shop, f"cutter/{cutter}", *built, kept=1)
    shop.desk.differences.settle(f"cutter/{cutter}", said[chosen])
    assert (inside(shop, one), inside(shop, two)) == ((cutter, None) if chosen == 0 else (None, cutter))
    if chosen == 1:
        assert shop.desk.session.holder(two).assembly.insert_mm == 40.0
        assert T.Assembly.get_by_id("A1").torn_line is not None


@pytest.mark.parametrize("chosen", [0, 1])
def test_of_two_cutters_told_in_one_holder_the_other_is_free_again(shop: Shop, chosen: int) -> None:
    (holder,), two = free(shop)[:1], cutters(shop)[:2]
    said = told(shop, f"holder/{holder}", *(L.Built(f"A{each}", "Mill", holder, each) for each in two), kept=1)
    shop.desk.differences.settle(f"holder/{holder}", said[chosen])
    assert inside(shop, holder) == two[chosen]
    assert two[1 - chosen] in cutters(shop)


def test_a_holder_that_a_hand_found_empty_is_empty_and_a_shrink_fit_is_not_cool_by_that(shop: Shop) -> None:
    (holder,), cutter = free(shop, Clamping.SHRINK_FIT)[:1], cutters(shop)[0]
    said = told(shop, f"holder/{holder}", L.TornDown(holder, "A0"), L.Built("A1", "Mill", holder, cutter), kept=0)
    shop.desk.session.book.append([L.Built("A1", "Mill", holder, cutter)])
    T.Holder.update(heat=Heat.COOL.value).where(T.Holder.key == holder).execute()
    assert said[0] == NOTHING
    shop.desk.differences.settle(f"holder/{holder}", NOTHING)
    assert inside(shop, holder) is None and cutter in cutters(shop)
    assert shop.desk.session.holder(holder).heat is not Heat.COOL, "nobody saw it heated for that"


def test_a_swap_of_two_cutters_told_both_ways_is_settled_step_by_step_and_no_claim_is_lost(shop: Shop) -> None:
    one, two = free(shop)[:2]
    mill, drill = cutters(shop)[:2]
    shop.clock.forward(86400.0)
    lines = [line.id for line in shop.desk.session.book.append([
        L.Built("A1", "a", one, mill), L.Built("A2", "b", two, drill),
    ])]  # fmt: skip
    lines += [unapplied(shop, L.Built("B1", "c", one, drill)), unapplied(shop, L.Built("B2", "d", two, mill))]
    differs(shop, f"holder/{one}", Made(lines[0], A, mill), Made(lines[2], OTHER, drill))
    differs(shop, f"holder/{two}", Made(lines[1], A, drill), Made(lines[3], OTHER, mill))
    differs(shop, f"cutter/{mill}", Made(lines[0], A, one), Made(lines[3], OTHER, two))
    differs(shop, f"cutter/{drill}", Made(lines[1], A, two), Made(lines[2], OTHER, one))
    shop.desk.differences.settle(f"holder/{one}", drill)
    assert (inside(shop, one), inside(shop, two)) == (drill, None)
    shop.desk.differences.settle(f"cutter/{mill}", two)
    assert (inside(shop, one), inside(shop, two)) == (drill, mill)


def test_a_touch_closes_nothing_else_at_which_nobody_looked(shop: Shop) -> None:
    one, two = free(shop)[:2]
    mill, drill = cutters(shop)[:2]
    shop.clock.forward(86400.0)
    lines = [shop.desk.session.book.append([L.Built("A1", "a", one, mill)])[0].id]
    lines += [unapplied(shop, L.Built("B1", "b", two, mill)), unapplied(shop, L.Built("B2", "c", one, drill))]
    differs(shop, f"cutter/{mill}", Made(lines[0], A, one), Made(lines[1], OTHER, two))
    differs(shop, f"holder/{one}", Made(lines[0], A, mill), Made(lines[2], THIRD, drill))
    last = shop.desk.session.book.last_id
    with pytest.raises(ActRefused) as refused:
        shop.desk.differences.settle(f"cutter/{mill}", two)
    assert refused.value.reason is Reason.SETTLE_FIRST and shop.desk.session.book.last_id == last
    shop.desk.differences.settle(f"holder/{one}", drill)
    assert inside(shop, one) == drill and mill in cutters(shop)


def test_facts_are_not_settled_while_it_is_open_whether_the_thing_is_in_use(shop: Shop) -> None:
    key, made = told_of_a_cutter(shop)
    (line,) = shop.desk.session.book.append([L.CutterRetired(key, "broken")])
    differs(shop, f"use/{key}", Made(line.id, A, RETIRED), Made(line.id + 1, OTHER, USED))
    with pytest.raises(ActRefused) as refused:
        shop.desk.differences.settle(f"setting/{key}", made[0].value)
    assert refused.value.reason is Reason.SETTLE_FIRST
    shop.desk.differences.settle(f"use/{key}", USED)
    now = T.Cutter.get_by_id(key)
    assert (now.retired, now.name) == (0, "Mill B"), "of the facts that says nothing"


def test_facts_of_what_is_out_of_use_are_right_when_it_comes_back(shop: Shop) -> None:
    key, made = told_of_a_cutter(shop)
    shop.desk.session.book.append([L.CutterRetired(key, "broken")])
    shop.desk.differences.settle(f"setting/{key}", made[0].value)
    assert (T.Cutter.get_by_id(key).retired, T.Cutter.get_by_id(key).name) == (1, "Mill A")


@pytest.mark.parametrize("table", ["holder", "cutter", "place"])
def test_what_a_hand_calls_out_of_use_is_out_of_use_and_that_is_a_supervisors(shop: Shop, table: str) -> None:
    supervised(shop)
    empty = T.Place.select().where(T.Place.kind == "slot", T.Place.code.not_in(T.Holder.select(T.Holder.place).where(
        T.Holder.place.is_null(False)))).get().code  # fmt: skip
    key = {"holder": free(shop)[0], "cutter": cutters(shop)[0], "place": empty}[table]
    model = {"holder": T.Holder, "cutter": T.Cutter, "place": T.Place}[table]
    differs(shop, f"use/{key}", Made(1, A, RETIRED), Made(2, OTHER, USED))
    for value in (RETIRED, USED):
        with pytest.raises(Locked):
            shop.desk.differences.settle(f"use/{key}", value)
    shop.desk.people.unlock("ines", "2580")
    shop.desk.differences.settle(f"use/{key}", RETIRED)
    assert model.get_by_id(key).retired == 1


def supervised(shop: Shop) -> None:
    shop.clock.forward(20 * 86400.0)
    people = shop.desk.people
    shop.desk.scan(shop.desk.shop.code_of("kim"))
    people.add("ines", "Ines", "supervisor", "badge-ines", pin="2580")
    people.unlock("ines", "2580")
    people.add("jo", "Jo", "setter", "badge-jo")
    people.lock()


@pytest.mark.parametrize("value", [RETIRED, USED])
def test_whether_somebodys_badge_is_good_is_as_a_supervisor_says(shop: Shop, value: str) -> None:
    supervised(shop)
    if value == USED:
        shop.desk.session.book.append([L.OperatorRetired("jo", "left")])
    differs(shop, "badge/jo", Made(1, A, RETIRED), Made(2, OTHER, USED))
    with pytest.raises(Locked):
        shop.desk.differences.settle("badge/jo", value)
    shop.desk.people.unlock("ines", "2580")
    shop.desk.differences.settle("badge/jo", value)
    assert T.Operator.get_by_id("jo").retired == int(value == RETIRED)


@pytest.mark.parametrize("chosen", [0, 1])
def test_who_somebody_is_is_as_the_kiosk_had_it_that_was_right_with_the_pin_and_language_it_knew(
    shop: Shop, chosen: int
) -> None:
    supervised(shop)
    book = shop.desk.session.book
    book.append([L.OperatorAdded("jo", "Jo", "supervisor", "argon2 first", "de")])
    said = told(
        shop, "badge/jo", L.OperatorAdded("jo", "Johanna", "supervisor"),
        L.OperatorAdded("jo", "Jo", "setter", "argon2 second", "pl"),
    )  # fmt: skip
    shop.desk.people.unlock("ines", "2580")
    shop.desk.differences.settle("badge/jo", said[chosen])
    row = T.Operator.get_by_id("jo")
    expected = [("Johanna", "supervisor", "argon2 first", "de"), ("Jo", "setter", "argon2 second", "pl")][chosen]
    assert (row.name, row.role, row.pin_hash, row.language) == expected


def test_the_last_who_can_give_a_pin_is_not_sent_away_by_settling_either(shop: Shop) -> None:
    supervised(shop)
    differs(shop, "badge/ines", Made(1, A, RETIRED), Made(2, OTHER, USED))
    shop.desk.people.unlock("ines", "2580")
    with pytest.raises(ActRefused) as refused:
        shop.desk.differences.settle("badge/ines", RETIRED)
    assert refused.value.reason is Reason.LAST_PIN and not T.Operator.get_by_id("ines").retired


@pytest.mark.parametrize("right", ["one", "nobody"])
def test_who_does_not_stand_in_a_pocket_where_a_hand_looked_is_nowhere_known_and_not_cool(
    shop: Shop, right: str
) -> None:
    one, two = free(shop, Clamping.SHRINK_FIT)[:2]
    shop.clock.forward(86400.0)
    slot = T.Place.select().where(T.Place.kind == "slot", T.Place.capacity == 1).get().code
    book = shop.desk.session.book
    at = {key: T.Holder.get_by_id(key).place for key in (one, two)}
    lines = [line.id for line in book.append([L.Moved(key, at[key], slot) for key in (one, two)])]
    differs(shop, f"pocket/{slot}", *(Made(*each) for each in zip(lines, (A, OTHER), (one, two), strict=True)))
    shop.desk.differences.settle(f"pocket/{slot}", one if right == "one" else NOTHING)
    there = [row.key for row in T.Holder.select().where(T.Holder.place == slot)]
    assert [key for key in (one, two) if key in there] == ([one] if right == "one" else [])
    assert T.Holder.get_by_id(two).place is None and T.Holder.get_by_id(two).heat == Heat.UNKNOWN.value


def test_a_label_that_is_on_the_thing_it_was_on_opens_it_again(shop: Shop) -> None:
    text = "(01)04012345678901"
    shop.desk.session.write(L.CodeBound(text, "T001", "holder", foreign=True))
    (line,) = shop.desk.session.book.append([L.CodeRetired(text, "worn")])
    differs(shop, f"label/{text}", Made(line.id, A, NOTHING), Made(line.id + 1, OTHER, "T001"))
    shop.desk.differences.settle(f"label/{text}", "T001")
    bound = T.Binding.get_by_id(text)
    assert bound.retired_line is None and bound.subject == "T001" and bound.foreign_mark == 1


def test_facts_told_differently_are_read_as_what_differs_of_them(shop: Shop) -> None:
    cutter = shop.desk.build.free_cutters()[0]
    told(
        shop, f"setting/{cutter.key}", L.CutterReground(cutter.key, dc_mm=11.8),
        L.CutterReground(cutter.key, dc_mm=11.65, oal_mm=70.0), L.CutterReground(cutter.key),
    )  # fmt: skip
    (found,) = shop.desk.differences.open()
    assert [each.what for each in found.claims] == ["11.8", "11.65 · 70", "apart.empty"]


def test_whose_pocket_it_is_is_read_by_the_holders_name(shop: Shop) -> None:
    pocket = T.Place.select().where(T.Place.kind == "pocket").get().code
    told(shop, f"setting/{pocket}", *(L.PocketAssigned(pocket, key) for key in ("T001", "T002", None)))
    (found,) = shop.desk.differences.open()
    names = [shop.desk.session.holder(key).name for key in ("T001", "T002")]
    assert [each.what for each in found.claims] == [*names, "apart.empty"]


def test_what_may_be_hot_is_told_first_and_why_it_was_settled_stands_in_the_line(shop: Shop) -> None:
    shop.clock.forward(20 * 86400.0)
    book, station = shop.desk.session.book, shop.place("Shrink station")
    line = book.append([L.Heated("T002", station)])[0].id
    cool = free(shop)[0]
    differs(shop, "number/7", Made(line, A, "A1"), Made(line, OTHER, "A2"))
    differs(shop, f"place/{cool}", Made(line, A, "D"), Made(line, OTHER, "E"))
    differs(shop, "place/T002", Made(line, A, station), Made(line, OTHER, "D"))
    found = shop.desk.differences.open()
    assert (found[0].key, found[0].hot) == ("place/T002", True)
    assert {each.key for each in found if each.hot} == {"place/T002"}
    cutter = cutters(shop)[0]
    differs(shop, f"use/{cutter}", Made(line, A, RETIRED), Made(line, OTHER, USED))
    shop.desk.differences.settle(f"use/{cutter}", RETIRED, "the edge is gone")
    assert [each.entry for each in book.lines(after=book.last_id - 2)] == [
        L.ClaimSettled("use", cutter, RETIRED, "the edge is gone"), L.CutterRetired(cutter, "the edge is gone"),
    ]  # fmt: skip


def test_a_scan_into_a_place_is_told_of_who_else_put_something_there(shop: Shop) -> None:
    shop.clock.forward(20 * 86400.0)
    slot = T.Place.select().where(T.Place.kind == "slot", T.Place.capacity == 1).get().code
    mine = shop.desk.session.book.kiosk
    differs(shop, f"pocket/{slot}", Made(1, mine, "T001"), Made(2, OTHER, "T002"))
    told_back = shop.desk.differences.told_otherwise("T001", slot)
    assert told_back is not None and told_back.reason is Reason.TOLD_OTHERWISE
    assert shop.desk.differences.told_otherwise("T001", None) is None


@pytest.mark.parametrize("chosen", [0, 1])
def test_how_a_cutter_is_is_as_a_hand_says_that_looked(shop: Shop, chosen: int) -> None:
    built = T.Assembly.select().where(T.Assembly.torn_line.is_null()).get()
    words = Condition.WORN, Condition.GOOD
    key = f"condition/{built.key}"
    said = told(shop, key, *(L.ConditionSaid(built.holder, built.key, each) for each in words))
    found = next(each for each in shop.desk.differences.open() if each.key == key)
    assert found.name == built.name and [each.what for each in found.claims] == ["condition.worn", "condition.good"]
    shop.desk.differences.settle(key, said[chosen])
    assert T.Assembly.get_by_id(built.key).condition == words[chosen].value
    assert T.Assembly.get_by_id(built.key).used_min == built.used_min


@pytest.mark.parametrize("said", [Condition.UNKNOWN, Condition.GOOD])
def test_a_tear_down_taken_back_leaves_a_cutter_as_bad_as_any_kiosk_called_it(shop: Shop, said: Condition) -> None:
    desk = shop.desk
    shop.clock.forward(20 * 86400.0)
    at_bench = next(row for row in T.Place.select() if row.kind == "bench").code
    built = next(
        each for each in T.Assembly.select().where(T.Assembly.torn_line.is_null())
        if desk.session.holder(each.holder).holder.clamping is not Clamping.SHRINK_FIT
    )  # fmt: skip
    card = desk.session.holder(built.holder)
    desk.session.book.append([L.Moved(built.holder, card.at.place.code if card.at else None, at_bench)])
    words = Condition.BROKEN, Condition.GOOD
    key = f"condition/{built.key}"
    told(shop, key, *(L.ConditionSaid(built.holder, built.key, each) for each in words))
    T.Assembly.update(condition="broken").where(T.Assembly.key == built.key).execute()
    desk.build.tear_down(built.holder, said)
    if said is Condition.GOOD:
        T.Difference.update(closed_line=desk.session.book.last_id - 1).where(T.Difference.key == key).execute()
    undone = desk.undo()
    assert [type(line.entry) for line in undone.lines] == [L.TornDown, L.ConditionSaid]
    assert T.Assembly.get_by_id(built.key).condition == "broken"
    claimed = (each for line in undone.lines for each in claims(line.entry))
    assert not any(each.settles for each in claimed if each.matter is Matter.CONDITION)


def digest(pin: str) -> str:
    return PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash(pin)


@pytest.mark.parametrize("chosen", [0, 1])
def test_which_pin_counts_is_a_supervisors_to_say_and_its_digest_is_shown_to_nobody(shop: Shop, chosen: int) -> None:
    supervised(shop)
    book, people = shop.desk.session.book, shop.desk.people
    book.append([L.OperatorAdded("jo", "Jo", "supervisor")])
    pins = "3691", "7418"
    said = told(shop, "pin/jo", *(L.OperatorAdded("jo", "Jo", "supervisor", digest(pin)) for pin in pins), kept=0)
    (found,) = shop.desk.differences.open()
    assert [each.what for each in found.claims] == ["apart.pin", "apart.pin"] and found.name == "Jo"
    with pytest.raises(Locked):
        shop.desk.differences.settle("pin/jo", said[chosen])
    people.unlock("ines", "2580")
    shop.desk.differences.settle("pin/jo", said[chosen])
    assert people.unlock("jo", pins[chosen]).key == "jo"
    with pytest.raises(PinRefused):
        people.unlock("jo", pins[1 - chosen])


def test_either_of_two_pins_opens_where_nobody_else_could_settle_which(shop: Shop) -> None:
    supervised(shop)
    both = either_pin(digest("3691"), digest("7418"))
    shop.desk.session.book.append([L.OperatorAdded("ines", "Ines", "supervisor", both)])
    for pin in ("3691", "7418"):
        assert shop.desk.people.unlock("ines", pin).key == "ines"
    with pytest.raises(PinRefused):
        shop.desk.people.unlock("ines", "2580")


def test_a_pin_that_is_settled_brings_nobody_back_and_who_somebody_is_says_nothing_of_the_pin(shop: Shop) -> None:
    supervised(shop)
    people = shop.desk.people
    pins = told(shop, "pin/jo", *(L.OperatorAdded("jo", "Jo", "supervisor", digest(pin)) for pin in ("3691", "7418")))
    who = told(shop, "badge/jo", *(L.OperatorAdded("jo", name, "supervisor") for name in ("Jo", "Johanna")))
    people.unlock("ines", "2580")
    with pytest.raises(ActRefused) as refused:
        shop.desk.differences.settle("pin/jo", pins[0])
    assert refused.value.reason is Reason.SETTLE_FIRST
    shop.desk.differences.settle("badge/jo", who[1])
    line = shop.desk.session.book.line(shop.desk.session.book.last_id)
    assert line is not None and line.entry == L.OperatorAdded("jo", "Johanna", "supervisor", None, "")
    T.Difference.update(closed_line=shop.desk.session.book.last_id).where(T.Difference.key == "badge/jo").execute()
    people.retire("jo", "left")
    shop.desk.differences.settle("pin/jo", pins[0])
    assert T.Operator.get_by_id("jo").retired == 1


def hot_and_told_differently(shop: Shop, *, in_it: bool) -> tuple[str, str]:
    """A shrink fit that cools, and of which one kiosk said that it is empty; in_it: the book has the cutter in it."""
    desk = shop.desk
    shop.clock.forward(20 * 86400.0)
    built = next(card for card in desk.shop.holders() if card.assembly and card.holder.clamping is Clamping.SHRINK_FIT)
    assert built.assembly is not None
    key, cutter, station = built.holder.key, built.assembly.cutter.key, shop.place("Shrink station")
    rack = next(row.code for row in T.Place.select() if row.kind == "cooling")
    book = desk.session.book
    book.append([L.Moved(key, built.at.place.code if built.at else None, station), L.Heated(key, station)])
    if not in_it:
        book.append([L.TornDown(key, built.assembly.key)])
    (line,) = book.append([L.Moved(key, station, rack)])
    differs(shop, f"holder/{key}", Made(line.id - 1, A, NOTHING), Made(line.id, OTHER, cutter))
    return key, cutter


def test_a_warm_holder_is_said_to_be_empty_once_it_is_cool_because_its_hold_is_worked_out_with_the_cutter(
    shop: Shop,
) -> None:
    key, cutter = hot_and_told_differently(shop, in_it=True)
    hold, last = T.Hold.get_by_id(key).__data__, shop.desk.session.book.last_id
    with pytest.raises(StillHot):
        shop.desk.differences.settle(f"holder/{key}", NOTHING)
    assert (T.Hold.get_by_id(key).__data__, shop.desk.session.book.last_id) == (hold, last)
    shop.desk.session.book.append([L.HoldEnded(key, "reading", hold["heated_line"])])
    shop.clock.forward(86400.0)
    shop.desk.differences.settle(f"holder/{key}", NOTHING)
    assert inside(shop, key) is None and cutter in cutters(shop)


def test_a_cutter_is_taken_out_of_no_warm_holder_by_what_is_said_of_another_one(shop: Shop) -> None:
    key, cutter = hot_and_told_differently(shop, in_it=True)
    T.Difference.delete().execute()
    other = free(shop)[0]
    told(shop, f"holder/{other}", L.Built("A1", "Mill", other, cutter), L.TornDown(other, "A0"), kept=0)
    hold = T.Hold.get_by_id(key)
    assert hold.ended_line is None
    shop.desk.session.book.append([L.Heated(key, "anywhere")])
    with pytest.raises(StillHot):
        shop.desk.differences.settle(f"holder/{other}", cutter)
    assert inside(shop, key) == cutter


def test_that_a_warm_holder_is_empty_as_the_book_has_it_settles_and_leaves_its_hold_alone(shop: Shop) -> None:
    key, _ = hot_and_told_differently(shop, in_it=False)
    hold = T.Hold.get_by_id(key).__data__
    shop.desk.differences.settle(f"holder/{key}", NOTHING)
    assert T.Hold.get_by_id(key).__data__ == hold and shop.desk.session.holder(key).heat is Heat.HELD


@pytest.mark.parametrize("chosen", [0, 1])
def test_the_number_of_an_assembly_that_the_book_never_had_is_settled_too(shop: Shop, chosen: int) -> None:
    holder = free(shop)[0]
    told(shop, "number/A77", L.ToolNumbered(holder, "A77", 7), L.ToolNumbered(holder, "A77", None), kept=0)
    last = shop.desk.session.book.last_id
    shop.desk.differences.settle("number/A77", ("7", NOTHING)[chosen])
    written = [line.entry for line in shop.desk.session.book.lines(after=last)]
    assert written == [L.ClaimSettled("number", "A77", ("7", NOTHING)[chosen])]
