"""Nothing waits for a caller: a function that only tests call is deleted, or gets its screen or command."""

from __future__ import annotations

import ast
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
KEPT = {
    "matches": "says in one line what the search index must find; tests compare the two",
    "replay": "how a pair stands after all its readings, which the ledger's step by step is compared with",
    "rebuild": "derives every table anew, which tests compare with what grew line by line",
    "handleError": "`logging` calls it where a line was not written",
    "reducer_override": "`pickle` calls it for everything that it takes along",
    "open_settings": "Kivy calls it at F1",
    "create_missing": "Kivy calls it before it builds what a page of a layout holds",
    "has_picture": "the window that `bench start` opens asks it",
}


def _called_by_others(text: str) -> Iterator[str]:
    """Every word of a module that is no part of a docstring."""
    return iter(re.findall(r"\w+", re.sub(r'"""[\s\S]*?"""', "", text)))


def _defined(tree: ast.Module) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            yield node.name
    for node in tree.body:
        if isinstance(node, ast.Assign):
            yield from (target.id for target in node.targets if isinstance(target, ast.Name))


def test_everything_that_is_written_is_called_by_the_kiosk_itself() -> None:
    sources = [*(ROOT / "kiosk").rglob("*.py"), *(ROOT / "kiosk").rglob("*.kv"), *(ROOT / "demo_tags").glob("*.py")]
    texts = {path: path.read_text("utf-8") for path in sources}
    said = Counter(word for text in texts.values() for word in _called_by_others(text))
    said.update(_called_by_others((ROOT / "pyproject.toml").read_text("utf-8")))
    alone = {
        name: str(path.relative_to(ROOT))
        for path, text in texts.items()
        if path.suffix == ".py" and path.is_relative_to(ROOT / "kiosk")
        for name in _defined(ast.parse(text))
        if said[name] < 2 and not name.startswith(("__", "on_"))
    }
    assert {name: path for name, path in alone.items() if name not in KEPT} == {}
    assert set(KEPT) <= set(alone), "called by now: take it off the list"


def test_a_long_file_says_in_its_first_line_why_it_is_long() -> None:
    lines = {path: path.read_text("utf-8").splitlines() for path in (ROOT / "kiosk").rglob("*.py")}
    assert [path.name for path, said in lines.items() if len(said) > 400 and "long, because" not in said[0]] == []
