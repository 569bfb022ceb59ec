"""What DEVELOPERS.md says under "How to add" is so: each recipe is walked, two are followed in a copy of the tree."""

from __future__ import annotations

import ast
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import get_args

from kiosk import words
from kiosk.cli import _parser
from kiosk.rules.lines import Entry
from kiosk.rules.places import MOVES, Kind
from kiosk.rules.shop_things.forms import FORMS
from kiosk.screens.pages import SCREENS

ROOT = Path(__file__).resolve().parents[1]
RECIPES = {
    "A kind of place", "A place of a known kind", "A question about a thing", "A reason to refuse", "A kind of line",
    "A screen", "A command", "A label size", "A language", "A command or a file it takes", "A dependency",
}  # fmt: skip
HOUSES = ("Kind.CABINET", "Kind.DRAWER", "Kind.MACHINE")  # what only holds other places is no goal of a step


def section() -> str:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    return text[text.index("## How to add") : text.index("\n## ", text.index("## How to add") + 5)]


def test_the_recipes_are_those_that_are_walked_here() -> None:
    assert set(re.findall(r"^\*\*([^.*]+)\.?\*\*", section(), re.MULTILINE)) == RECIPES


def test_every_file_a_recipe_names_is_there() -> None:
    places = (ROOT, ROOT / "kiosk", ROOT / "kiosk" / "screens" / "find", ROOT / "assets" / "translations")
    named = re.findall(r"`([\w./*-]+\.(?:py|toml|kv)|[\w./]+/)`", section())
    own = {"shop.toml", "main"}  # a shop's, not ours
    gone = [name for name in named if name not in own and not any(list(place.glob(name)) for place in places)]
    assert gone == []


def test_a_kind_of_place_has_its_steps_and_its_name_in_every_language() -> None:
    stepped = {move.goal for move in MOVES} | {move.origin for move in MOVES}
    assert [str(kind) for kind in Kind if kind not in stepped and str(kind) not in HOUSES] == []
    for language in words.LANGUAGES:
        assert [kind for kind in Kind if f"kind.{kind.value}" not in words.catalogue(language).words] == []


def test_a_question_about_a_thing_has_its_words_in_every_language() -> None:
    asked = {field.name for fields in FORMS.values() for field in fields}
    assert len(asked) > 20
    for language in words.LANGUAGES:
        assert [name for name in sorted(asked) if f"field.{name}" not in words.catalogue(language).words] == []


def test_a_kind_of_line_is_carried_into_the_tables_or_needs_none() -> None:
    kinds = get_args(Entry)
    assert len({kind.kind for kind in kinds}) == len(kinds)
    told = "".join((ROOT / "kiosk" / "ledger" / name).read_text("utf-8") for name in ("derive.py", "derive_heat.py"))
    assert [kind.__name__ for kind in kinds if not re.search(rf"\bL\.{kind.__name__}\b", told)] == []


def test_a_screen_has_a_module_a_layout_a_name_and_samples() -> None:
    samples = "".join(path.read_text("utf-8") for path in (ROOT / "tests" / "journeys").glob("samples*.py"))
    for name, where in SCREENS.items():
        module, _, kind = where.partition(":")
        path = ROOT / "kiosk" / "screens" / f"{module.replace('.', '/')}.py"
        assert path.with_suffix(".kv").exists(), name
        tree = ast.parse(path.read_text("utf-8"))
        (screen,) = (node for node in tree.body if isinstance(node, ast.ClassDef) and node.name == kind)
        assert f"name = {name!r}".replace("'", '"') in ast.unparse(screen).replace("'", '"'), name
        assert f'("{name}", ' in samples, name


def test_a_command_stands_in_the_table_of_commands() -> None:
    (commands,) = (action for action in _parser()._actions if action.choices)
    table = (ROOT / "README.md").read_text("utf-8")
    assert [name for name in commands.choices or () if f"`{name}" not in table] == []


def test_every_decision_in_the_index_is_made_where_it_says() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    index = text[text.index("## Where is it decided?") :].split("\n\n")[1]
    rows = [[part.strip() for part in row.strip("|").split("|")] for row in index.splitlines()[2:]]
    assert len(rows) > 10
    for what, files, name in rows:
        said = [(ROOT / file.strip("` ")).read_text("utf-8") for file in files.split(",")]
        assert any(re.search(rf"(?<!\w){re.escape(name.strip('`'))}(?!\w)", each) for each in said), what


def copied(folder: Path) -> Path:
    """A copy of the tree in which a recipe can be followed."""
    for name in ("kiosk", "assets", "tests", "demo_tags"):
        ignore = shutil.ignore_patterns("__pycache__", ".*", "journeys", "faults")
        shutil.copytree(ROOT / name, folder / name, ignore=ignore)
    shutil.copy(ROOT / "pyproject.toml", folder)
    return folder


def edit(path: Path, before: str, after: str) -> None:
    text = path.read_text("utf-8")
    assert text.count(before) == 1, f"{path.name} has no longer {before!r}"
    path.write_text(text.replace(before, after), "utf-8")


def passes(folder: Path, *given: str) -> None:
    paths = os.environ | {"PYTHONPATH": str(folder)}
    tests = [sys.executable, "-m", "pytest", "-q", "-n", "0", "-p", "no:cacheprovider", *given]
    done = subprocess.run(tests, cwd=folder, env=paths, capture_output=True, text=True, timeout=250)
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-1000:]


def test_a_label_size_is_one_line_and_is_drawn_and_read_back(tmp_path: Path) -> None:
    folder = copied(tmp_path)
    line = '    LabelSize("25x25", 25, 25, margin_mm=0.75),\n'
    edit(folder / "kiosk/labels/sizes.py", line, f'{line}    LabelSize("33x17", 33, 17),\n')
    passes(folder, "tests/labels/test_label_layout.py", "tests/labels/test_label_proof.py", "-k", "33x17")


def test_a_language_is_its_files(tmp_path: Path) -> None:
    folder = copied(tmp_path)
    for path in (folder / "assets/translations").glob("en*.toml"):
        path.with_name(path.name.replace("en", "xx", 1)).write_text(path.read_text("utf-8"), "utf-8")
    passes(folder, "tests/rules/test_words.py", "tests/screens/test_words.py")
