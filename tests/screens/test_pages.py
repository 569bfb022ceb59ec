"""Screens and their pages are found by name."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

import kiosk.screens
from kiosk.cli import _parser, command_of
from kiosk.rules.outcomes import Step
from kiosk.screens.pages import SCREENS, SOON

ROOM = Path(kiosk.screens.__file__).parent
PLACES = ("scan", "hot", "find", "bench", "job", "audit", "records", "shop", "labels")


def module_of(name: str) -> Path:
    return ROOM / f"{SCREENS[name].partition(':')[0].replace('.', '/')}.py"


@pytest.mark.parametrize("name", SCREENS)
def test_every_screen_stands_where_the_list_says_and_has_that_name_and_a_layout(name: str) -> None:
    text = module_of(name).read_text("utf-8")
    assert f"class {SCREENS[name].partition(':')[2]}(View):" in text
    assert re.search(r'^    name = "(\w+)"$', text, re.M)[1] == name  # type: ignore[index]
    assert module_of(name).with_suffix(".kv").exists()


def test_no_screen_is_left_out_of_the_list() -> None:
    written = {
        f"{place}.{path.stem}"
        for place in PLACES
        for path in (ROOM / place).glob("*.py")
        if re.search(r"^class \w+\(View\):", path.read_text("utf-8"), re.M)
    }
    assert written == {where.partition(":")[0] for where in SCREENS.values()}
    assert set(SOON) <= set(SCREENS)


# Left by a touch or a scan alone; the last seven only while something was begun on them.
STAY = {
    *("scan", "heat", "hot", "audit", "audit_photo", "audit_differences", "audit_spot", "setup", "apart", "kiosks"),
    *("first", "enter", "bring_in", "register", "people", "measure", "sheets", "correct", "things", "health"),
}


def test_the_screens_that_do_not_give_way_after_a_pause_are_these_and_each_says_why() -> None:
    said = {
        name: re.search(
            r"^    stays = True  # (\w.+)$|^    def stays\(self\) -> bool:\n        \"\"\"(\w.+)\"\"\"$",
            module_of(name).read_text("utf-8"),
            re.M,
        )
        for name in SCREENS
        if "stays = " in module_of(name).read_text("utf-8") or "def stays" in module_of(name).read_text("utf-8")
    }
    assert said.keys() == STAY
    assert [name for name, reason in said.items() if reason is None] == []


@pytest.mark.parametrize("name", SCREENS)
def test_the_pages_of_a_layout_are_those_its_screen_knows(name: str) -> None:
    tree = ast.parse(module_of(name).read_text("utf-8"))
    pages = [node for node in tree.body if isinstance(node, ast.ClassDef) and node.name == "Page"]
    if not pages:
        return
    known = {node.value.value for node in pages[0].body if isinstance(node, ast.Assign)}  # type: ignore[attr-defined]
    layout = module_of(name).with_suffix(".kv").read_text("utf-8")
    said = set(re.findall(r"root\.page (?:==|=) '(\w+)'", layout))
    assert said <= known
    if "shown: root.page\n" in layout:
        assert known <= set(re.findall(r"called: '(\w+)'", layout))


def test_no_layout_speaks_of_a_part_by_a_name_that_some_layout_imports() -> None:
    """Kivy's imports are for all layouts read after them, and go before the names of parts: the window would close."""
    layouts = {path: path.read_text("utf-8") for path in ROOM.rglob("*.kv")}
    imported = {name for text in layouts.values() for name in re.findall(r"^#:\s*import\s+(\w+)", text, re.M)}
    assert {"look", "t", "lines"} <= imported
    hidden = [
        f"{path.name}: {name}"
        for path, text in layouts.items()
        for name in imported & set(re.findall(r"^\s+id:\s*(\w+)", text, re.M))
        if re.search(rf"(?<![\w.']){name}\.\w", re.sub(r"^#.*$", "", text, flags=re.M))
    ]
    assert hidden == []


def test_no_screen_chooses_what_to_do_by_the_words_of_a_message() -> None:
    for place in PLACES:
        for path in (ROOM / place).glob("*.py"):
            found = re.findall(r"\b(?:say|why|message|said)\.key\b", path.read_text("utf-8"))
            assert not found, path


def test_every_command_is_found_where_the_command_line_says() -> None:
    (commands,) = (action for action in _parser()._actions if action.dest == "command" or action.choices)
    assert commands.choices
    for name, sub in commands.choices.items():  # type: ignore[union-attr]
        assert callable(command_of(sub.get_default("run"))), name


def test_a_step_of_an_audit_is_known_as_one() -> None:
    assert Step.AUDIT_TWIN.audits and Step.AUDIT_CLOSED.audits
    assert not Step.MOVED.audits and not Step.SIGNED_IN.audits
