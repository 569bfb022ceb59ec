"""A kiosk and two telephones at once, in any order: no pair of two hands' halves, and nothing hot is shelved."""

from __future__ import annotations

import random
from contextlib import nullcontext

import pytest

from kiosk.desk.hand import Hand
from kiosk.rules import lines as L
from kiosk.rules.outcomes import Refused
from kiosk.rules.places import Kind
from tests.conftest import Shop

JO = "BSXD5X3637"
HOLDERS = ("T001", "T002", "T003", "T006")
PLACES = (
    "Cabinet A · 1-05", "Cabinet B · 1-06", "Bench 1", "Bench 2", "Rack 1", "Shrink station", "Mill 1 · pocket 02",
)  # fmt: skip
AT_HAND = (Kind.CABINET, Kind.DRAWER, Kind.SLOT, Kind.MACHINE, Kind.POCKET, Kind.SPINDLE)  # where one reaches bare
MONTHS_S = 65 * 86400.0


def hands_of(shop: Shop) -> dict[str, Hand | None]:
    """The window (None) and two telephones, by what their lines call them."""
    shop.clock.forward(MONTHS_S)
    shop.desk.scan(JO)
    owner = shop.desk.phones.owner()
    assert owner is not None
    return {"": None} | {name: shop.desk.phones.pair(name, owner.key) for name in ("A", "B")}


@pytest.mark.parametrize("drawn", range(4))
def test_whatever_three_hands_do_in_any_order_each_answers_for_its_own_scans_alone(shop: Shop, drawn: int) -> None:
    """Beside the desk stands what each hand itself scanned last of each kind: no line knows of anything else."""
    chance = random.Random(drawn)
    hands = hands_of(shop)
    desk, session = shop.desk, shop.desk.session
    holders = {shop.holder(key): key for key in HOLDERS}
    places = {shop.place(name): name for name in PLACES}
    mine: dict[str, dict[str, str]] = {name: {} for name in hands}
    refusals = 0
    for turn in range(160):
        name, hand = chance.choice(list(hands.items()))
        before, last = {key: session.holder(key) for key in HOLDERS}, session.book.last_id
        with desk.phones.asking(hand) if hand else nullcontext():
            match chance.random():
                case dice if dice < 0.06:
                    desk.undo()
                case dice if dice < 0.1:
                    desk.cancel()
                case _:
                    # a holder that others have in their hands too, more often than any
                    text = chance.choice([*holders, shop.holder("T001"), *places])
                    mine[name] |= {"holder": holders[text]} if text in holders else {"place": text}
                    outcome = desk.scan(text).outcome
                    refusals += isinstance(outcome, Refused)
        for line in session.book.lines(after=last):
            entry = line.entry
            if isinstance(entry, L.Moved | L.Heated) and getattr(entry, "undoes", None) is None:
                assert line.phone == name, (turn, line)
                goal = entry.goal if isinstance(entry, L.Moved) else entry.place
                assert {"holder": entry.holder, "place": goal} == mine[name], (turn, line, mine)
            if isinstance(entry, L.Moved) and entry.undoes is not None:
                taken_back = next(session.book.lines(after=entry.undoes - 1))
                assert taken_back.phone == name, (turn, line)
        for key, was in before.items():
            now = session.holder(key)
            if now.at is not None and now.at != was.at and now.at.place.kind in AT_HAND:
                assert now.hold is None, (turn, key, now.at.name)
        shop.clock.forward(chance.choice((0.2, 1.0, 5.0, 25.0)))
        desk.tick()
    assert refusals  # something stood against something


@pytest.mark.parametrize("drawn", range(3))
def test_an_audit_of_three_hands_has_seen_what_any_of_them_saw_and_no_more(shop: Shop, drawn: int) -> None:
    """Beside the desk stands a plain set: whatever somebody in the audit held up; hands come, pause and go between."""
    chance = random.Random(drawn)
    hands = hands_of(shop)
    desk = shop.desk
    cabinet = shop.place("Cabinet A")
    audit = desk.audits.open(cabinet)
    expected = {item.key: item.code for item in audit.missing}
    assert len(expected) == audit.counts.expected
    seen: set[str] = set()
    within = {""}
    for turn in range(60):
        name, hand = chance.choice(list(hands.items()))
        with desk.phones.asking(hand) if hand else nullcontext():
            if name not in within:
                desk.audits.open(cabinet)
                within.add(name)
            elif chance.random() < 0.1:
                desk.audits.pause()
                within.remove(name)
            else:
                key = chance.choice(list(expected))
                desk.scan(expected[key])
                seen.add(key)
                status = desk.audits.status()
                assert status.row.key == audit.row.key and status.counts.seen == len(seen), (turn, name, key)
                assert {item.key for item in status.missing} == set(expected) - seen, turn
        shop.clock.forward(chance.choice((0.2, 1.0, 5.0, 25.0)))
        desk.tick()
    assert len(seen) > 3
