"""Two telephones that want the same: one has it, and the other is not told that it had."""

from __future__ import annotations

from kiosk.rules.codes import CodeKind, make
from kiosk.rules.lines import Moved, Seen
from tests.handheld.served import JO, Served, Telephone


def test_a_pocket_that_another_telephone_took_a_moment_before_is_refused_by_what_it_holds(kiosk: Served) -> None:
    one, other = kiosk.telephone(), kiosk.telephone()
    machine = one.ask("machines")["rows"][0]["code"]
    pockets = [
        {each["code"] for each in phone.ask("machine", code=machine, holder=key)["pockets"] if each["may"]}
        for phone, key in ((one, "T002"), (other, "T003"))
    ]
    pocket = min(pockets[0] & pockets[1])
    assert one.ask("hand_over", pocket=pocket, holder="T002")["state"] == "done"
    said = other.ask("hand_over", pocket=pocket, holder="T003")
    assert said["state"] == "stop" and "End mill 6 R0.5" in said["why"], said


def test_of_two_that_settle_one_difference_the_second_settles_nothing(kiosk: Served) -> None:
    one, other = kiosk.telephone(), kiosk.telephone()
    place = one.ask("audits")["rows"][0]["place"]
    for phone in (one, other):
        phone.ask("open_audit", place=place)
    one.ask("scan", texts=[kiosk.holder("T004")])
    first = one.ask("audits")["differences"][0]
    asked = {"difference": first["key"], "action": first["actions"][0]["action"]}
    assert one.ask("settle", **asked)["good"]
    last = kiosk.desk.do(lambda desk: desk.session.book.last_id)
    assert other.ask("settle", **asked)["kind"] == "fault"
    assert kiosk.desk.do(lambda desk: desk.session.book.last_id) == last
    for phone in (one, other):
        phone.ask("pause_audit")


def test_a_holder_that_is_put_into_a_pocket_on_the_map_is_not_seen_by_an_audit(kiosk: Served) -> None:
    phone = kiosk.telephone()
    machine = phone.ask("machines")["rows"][0]["code"]
    phone.ask("open_audit", place=phone.ask("audits")["rows"][0]["place"])
    free = [each for each in phone.ask("machine", code=machine, holder="T005")["pockets"] if each["may"]]
    said = phone.ask("hand_over", pocket=free[-1]["code"], holder="T005")
    assert said["state"] == "done" and said["lead"] == "card", said
    lines = kiosk.desk.do(lambda desk: list(desk.session.book.lines(newest=4)))
    assert [each.entry.holder for each in lines if isinstance(each.entry, Moved)] == ["T005"]
    assert not [each for each in lines if isinstance(each.entry, Seen)]
    assert phone.ask("me")["audit"] == ""


def test_a_code_of_somebody_whose_badge_was_retired_meanwhile_is_worth_nothing(alone: Served) -> None:
    badge = make(CodeKind.BADGE, 88).text
    alone.desk.do(lambda desk: desk.people.add("zoe", "Zoe", "setter", badge))
    alone.desk.do(lambda desk: desk.scan(badge))
    token = alone.token()
    alone.desk.do(lambda desk: desk.people.retire("zoe", "left"))
    status, said = Telephone(alone.address).post("/pair", {"token": token})
    assert status == 403 and "Show a new one" in said["say"], said
    assert alone.seen().paired == ()
    alone.desk.do(lambda desk: desk.scan(JO))
