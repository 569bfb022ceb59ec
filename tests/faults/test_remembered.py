"""The siege's memory of the model: it saves the waiting, and it notices where one question gets two answers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from kiosk.desk import Desk
from kiosk.rules.hold_cases import solved, weighed
from kiosk.rules.hold_facts import HoldFacts, HoldRules
from kiosk.rules.lessons import Known, untaught
from tests.conftest import Shop
from tests.faults import remembered
from tests.faults.remembered import AGAIN_EVERY, Remembered, TwoAnswers

DAY_S = 86400.0


@pytest.fixture
def held(shop: Shop) -> Iterator[tuple[HoldFacts, HoldRules, Remembered]]:
    """A hold of a kiosk that ran for weeks, and a memory that knows nothing yet."""
    shop.clock.forward(40 * DAY_S)
    shop.desk.tick()
    shop.desk.scan(shop.holder("T001"))
    shop.desk.scan(shop.place("Shrink station"))
    desk: Desk = shop.desk
    facts = desk.session.cards.hold_facts("T001")
    assert facts is not None
    yield facts, desk.session.holds.rules, Remembered()


def ask(
    held: tuple[HoldFacts, HoldRules, Remembered], monkeypatch: pytest.MonkeyPatch, *,
    known: Known | None = None, anew: bool = False,
) -> Any:  # fmt: skip
    """What the model says of the hold, by way of the memory.  anew: only its single answers are remembered."""
    facts, rules, memory = held
    with monkeypatch.context() as patched:
        patched.setattr(remembered.hold_cases, "bound_of", memory.bound_of)
        patched.setattr(remembered.hold_cases, "assess_bound", memory.assess_bound)
        return (weighed if anew else memory.weighed)(solved(facts, rules, known), facts, rules)


def test_what_is_remembered_is_what_the_model_says(
    held: tuple[HoldFacts, HoldRules, Remembered], monkeypatch: pytest.MonkeyPatch
) -> None:
    facts, rules, _ = held
    said = weighed(solved(facts, rules, None), facts, rules).found
    assert [ask(held, monkeypatch).found == said for _ in range(3)] == [True] * 3


@pytest.mark.parametrize("what", ["assess_bound", "weighed"])
def test_a_model_that_changes_its_mind_is_noticed(
    held: tuple[HoldFacts, HoldRules, Remembered], monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    ask(held, monkeypatch)
    model = getattr(remembered, what)

    def shorter(*asked: Any) -> Any:
        said = model(*asked)
        if what == "assess_bound":
            return replace(said, hold_s=said.hold_s - 1.0)
        return replace(said, found=replace(said.found, hold_s=said.found.hold_s - 1.0))

    monkeypatch.setattr(remembered, what, shorter)
    with pytest.raises(TwoAnswers, match="another answer"):
        for _ in range(AGAIN_EVERY):
            ask(held, monkeypatch, anew=what == "assess_bound")


def test_another_question_is_never_given_an_answer_that_was_remembered(
    held: tuple[HoldFacts, HoldRules, Remembered], monkeypatch: pytest.MonkeyPatch
) -> None:
    facts, rules, memory = held
    hotter = replace(facts, temp_c=380.0)
    stricter = replace(rules, room=rules.room._replace(limit_c=40.0))
    for each in (facts, rules, memory), (hotter, rules, memory), (facts, stricter, memory):
        for _ in range(2):
            said = weighed(solved(each[0], each[1], None), each[0], each[1]).found
            assert ask(each, monkeypatch).found == said
    taught = replace(untaught(), mean=untaught().mean - 0.1)
    for _ in range(2):
        assert ask(held, monkeypatch, known=taught).found == weighed(solved(facts, rules, taught), facts, rules).found
