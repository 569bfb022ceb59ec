"""Files at a kiosk among others: none settles what is told differently, and only its own lines are taken back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from kiosk.ledger import tables as T
from kiosk.rules import intake
from kiosk.rules import lines as L
from kiosk.rules.assembly import Clamping, Coupling, Holder
from kiosk.rules.intake import How
from kiosk.rules.merge import RETIRED, USED, Made, claims
from tests.conftest import Shop
from tests.desk.test_told_differently import OTHER, A, differs

NEW = Holder("N1", "Shrink 8 x 80", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 8.0)


def plan(shop: Shop, *entries: L.Entry) -> intake.Plan:
    shop.clock.forward(40 * 86400.0)
    return shop.desk.intake.against(entries)


def steel(shop: Shop, key: str = "T001", **otherwise: object) -> L.HolderRegistered:
    return L.HolderRegistered(replace(shop.desk.session.holder(key).holder, **otherwise), stood_cold=True)  # type: ignore[arg-type]


def taken(shop: Shop, *entries: L.Entry) -> int:
    shop.desk.intake.take(plan(shop, *entries), "shop.csv")
    return shop.desk.intake.imports()[0].line


def open_still() -> set[str]:
    return {row.key for row in T.Difference.select().where(T.Difference.closed_line.is_null())}


@pytest.mark.parametrize("what", ["facts", "use", "badge", "label"])
def test_a_file_says_nothing_of_what_is_told_differently(shop: Shop, what: str) -> None:
    book = shop.desk.session.book
    label = "(01)04012345678901"
    book.append([L.OperatorAdded("jo", "Jo", "setter")])
    entry: L.Entry = {
        "facts": steel(shop, name="Another"), "use": steel(shop, name="Another"),
        "badge": L.OperatorAdded("jo", "Jo", "supervisor"), "label": L.CodeBound(label, "T001", "holder", foreign=True),
    }[what]  # fmt: skip
    key = {"facts": "setting/T001", "use": "use/T001", "badge": "badge/jo", "label": f"label/{label}"}[what]
    differs(shop, key, Made(1, A, "one"), Made(2, OTHER, "two"))
    other = steel(shop, "T002", name="Looked at")
    found = plan(shop, entry, other)
    first = found.changes[0]
    assert first.how is How.KEPT and first.why is not None and first.why.key == "intake.told_apart"
    assert found.lines == (L.HolderRegistered(other.holder, "import"),), "the rest of the file is taken"


def test_taking_an_import_back_settles_nothing_that_was_told_differently_since(shop: Shop) -> None:
    line = taken(shop, steel(shop, name="By the file"))
    differs(shop, "setting/T001", Made(1, A, "one"), Made(2, OTHER, "two"))
    undone = shop.desk.intake.undo(line, "the wrong file")
    assert undone.kept == ("T001",) and shop.desk.session.holder("T001").holder.name == "By the file"


@pytest.mark.parametrize("chosen", ["loser", "winner"])
def test_a_settled_fact_is_changed_by_a_file_and_back_again_to_what_was_settled(shop: Shop, chosen: str) -> None:
    shop.clock.forward(40 * 86400.0)
    said = [steel(shop, projection_mm=length_mm) for length_mm in (71.0, 84.0)]
    lines = shop.desk.session.book.append(said)
    made = [Made(line.id, by, claims(each)[0].value) for line, by, each in zip(lines, (A, OTHER), said, strict=True)]
    differs(shop, "setting/T001", *made)
    shop.desk.differences.settle("setting/T001", made[0].value)
    T.Difference.update(closed_line=shop.desk.session.book.last_id).execute()
    found = plan(shop, said[1] if chosen == "loser" else said[0])
    assert [each.how for each in found.changes] == [How.CHANGED if chosen == "loser" else How.SAME]
    if chosen == "loser":
        shop.desk.intake.undo(taken(shop, said[1]), "the wrong file")
    assert shop.desk.session.holder("T001").holder == said[0].holder


@pytest.mark.parametrize(("table", "matter"), [("holder", "use"), ("operator", "badge")])
@pytest.mark.parametrize("value", [USED, RETIRED])
def test_what_a_hand_called_in_use_stays_so_when_a_later_import_is_taken_back(
    shop: Shop, table: str, matter: str, value: str
) -> None:
    book = shop.desk.session.book
    book.append([L.OperatorAdded("jo", "Jo", "setter")])
    retired, key = {"holder": (L.HolderRetired("T001"), "T001"), "operator": (L.OperatorRetired("jo"), "jo")}[table]
    book.append([retired, L.ClaimSettled(matter, key, value)])
    entry = steel(shop, name="By the file") if table == "holder" else L.OperatorAdded("jo", "By the file", "setter")
    shop.desk.intake.undo(taken(shop, entry), "the wrong file")
    model = T.Holder if table == "holder" else T.Operator
    row = model.get_by_id(key)
    assert bool(row.retired) == (value == RETIRED)
    assert value == RETIRED or row.name != "By the file"


def test_only_the_lines_of_an_import_are_taken_back_though_anothers_came_between_them(shop: Shop) -> None:
    book = shop.desk.session.book
    theirs = replace(NEW, key="N2")
    lines = book.append([
        L.HolderRegistered(NEW), L.HolderRegistered(theirs), steel(shop, name="By the file"),
        steel(shop, name="By hand, elsewhere"), L.Imported("shop.csv", 2),
    ])  # fmt: skip
    T.KeptLine.update(kiosk="other").where(T.KeptLine.id.in_([lines[1].id, lines[3].id])).execute()
    undone = shop.desk.intake.undo(lines[-1].id, "the wrong file")
    assert shop.desk.session.holder("N1").retired and not shop.desk.session.holder("N2").retired
    assert shop.desk.session.holder("T001").holder.name == "By hand, elsewhere" and undone.kept == ("T001",)


def test_a_file_of_a_shop_with_nothing_told_differently_is_taken_as_ever(shop: Shop, tmp_path: Path) -> None:
    shop.desk.intake.export(tmp_path / "out", lines=False)
    assert shop.desk.intake.plan(tmp_path / "out").lines == () and open_still() == set()
