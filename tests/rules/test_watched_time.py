"""Nothing that decides compares wall times: clocks are set back, by hand and by time servers."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import kiosk

ROOT = Path(kiosk.__file__).parent

# These show wall time to people, sort papers by it or ask for a stretch of it; none of them says what may happen.
SHOWING = {
    "rules/audit_findings.py": "how old a measured length is, as a note in an audit",
    "desk/copies.py": "when the next copy of the ledger is due",
    "desk/inbox.py": "papers, newest first",
    "desk/sticks.py": "shop data on a stick, newest first",
    "desk/putting_back.py": "copies of the book, newest first; a hand chooses",
    "desk/wall_clock.py": "when the network set the wall clock last, as it is shown of the kiosk's own health",
    "desk/labels.py": "the time of day on a hot tag",
    "desk/records.py": "the stretch of time a report is about",
    "rules/next_step.py": "the time of day at which something that is counted in watched time comes due",
    "rules/wellbeing.py": "how old the newest copy is and whether the wall clock is right, in words: nothing of steel",
    "desk/reports.py": "the audits before this one, in its trend",
}


def wall_times(tree: ast.AST) -> Iterator[int]:
    """Lines where a wall time is compared or counted with."""
    for node in ast.walk(tree):
        match node:
            case ast.BinOp(left=left, right=right):
                parts: list[ast.expr] = [left, right]
            case ast.Compare(left=left, ops=ops, comparators=others):
                if all(isinstance(op, ast.Is | ast.IsNot) for op in ops):
                    continue
                parts = [left, *others]
            case ast.UnaryOp(operand=operand, op=ast.USub()):
                parts = [operand]
            case ast.Call(func=ast.Name(id="min" | "max" | "sorted" | "sum" | "abs"), args=parts):
                pass
            case _:
                continue
        if any(is_wall_time(part) for part in parts):
            yield node.lineno  # type: ignore[attr-defined]


def is_wall_time(node: ast.expr) -> bool:
    return any(
        (isinstance(each, ast.Attribute) and each.attr.endswith("utc_s"))
        or (isinstance(each, ast.Name) and each.id.endswith("utc_s"))
        or (isinstance(each, ast.Constant) and isinstance(each.value, str) and each.value.endswith("utc_s"))
        or (isinstance(each, ast.Attribute) and each.attr in ("time", "now") and ast.unparse(each.value) == "time")
        for each in ast.walk(node)
    )


def test_no_wall_time_is_compared_where_something_is_decided() -> None:
    found = {
        path.relative_to(ROOT).as_posix(): lines
        for room in ("rules", "desk")
        for path in sorted((ROOT / room).rglob("*.py"))
        if (lines := sorted(set(wall_times(ast.parse(path.read_text("utf-8"))))))
    }
    assert {name: lines for name, lines in found.items() if name not in SHOWING} == {}
    assert found.keys() == SHOWING.keys(), "a module that shows no time any more needs no leave to"


def test_the_search_finds_what_it_is_for() -> None:
    bad = (
        "since = moment.utc_s - (card.since_utc_s or 0.0)",
        "0 <= moment.utc_s - card.since_utc_s < 5",
        "late = card.since_utc_s > then",
        "row['heated_utc_s'] + 60",
        "max(moment.utc_s, 0)",
    )
    assert [list(wall_times(ast.parse(text))) != [] for text in bad] == [True] * len(bad)
    assert list(wall_times(ast.parse("Stamp(utc_s=moment.utc_s); card.since_utc_s is None"))) == []
