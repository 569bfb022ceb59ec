"""The way from a screen to the desk goes through the questions, and through nothing else."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import kiosk.screens
from kiosk.desk.desk import Scanned
from kiosk.screens.questions import audit, common, find, job, labels, records, shop
from tests.conftest import Shop

SCREENS = Path(kiosk.screens.__file__).parent
PLACES = ("scan", "hot", "find", "bench", "job", "audit", "records", "shop", "labels", "parts")
MODULES = sorted(path for place in PLACES for path in (SCREENS / place).glob("*.py"))


@pytest.mark.parametrize("module", MODULES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_no_screen_has_the_desk_in_its_hands(module: Path) -> None:
    """import-linter sees what a module imports, not what a function it hands to the clerk is given."""
    named = {node.arg for node in ast.walk(ast.parse(module.read_text("utf-8"))) if isinstance(node, ast.arg)}
    asked = [
        node.args[0]
        for node in ast.walk(ast.parse(module.read_text("utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "ask"
        if isinstance(node.func.value, ast.Attribute) and node.func.value.attr == "clerk"
    ]
    assert "desk" not in named
    assert not [ast.unparse(question) for question in asked if isinstance(question, ast.Lambda)]


def test_a_question_put_to_an_open_desk_is_answered_with_a_value(shop: Shop) -> None:
    code = shop.holder("T001")
    assert common.holder("T001")(shop.desk).code == code
    assert common.code_of("T001")(shop.desk) == code
    assert common.known(code)(shop.desk)
    assert not common.known("never seen")(shop.desk)
    assert find.find("", 0, 3)(shop.desk).total > 0
    assert len(shop_of(shop)) > 4
    assert job.machines()(shop.desk)
    assert records.about("T001")(shop.desk).is_holder
    assert labels.label_of(code)(shop.desk)[1] == "T001"


def shop_of(kiosk_shop: Shop) -> tuple[object, ...]:
    return shop.holders()(kiosk_shop.desk)  # type: ignore[return-value]


def test_every_holder_is_listed_though_the_book_gives_them_a_few_at_a_time(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = shop_of(shop)
    monkeypatch.setattr("kiosk.screens.questions.shop.AT_ONCE", 2)
    assert len(whole) > 4
    assert shop_of(shop) == whole


def test_a_place_opens_an_audit_and_everything_else_is_a_scan(shop: Shop) -> None:
    place = shop.place("Cabinet A")
    opened = audit.open_or_scan(place)(shop.desk)
    assert isinstance(opened, audit.AuditStatus)
    assert audit.begin()(shop.desk).here is not None
    scanned = audit.open_or_scan(shop.holder("T001"))(shop.desk)
    assert isinstance(scanned, Scanned)
    assert audit.pause()(shop.desk).here is None
