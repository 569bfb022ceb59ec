"""What is wrong in a file is said in the language of the window, and on the command line in English as ever."""

from __future__ import annotations

import ast
import re
import shutil
import string
from collections.abc import Iterator
from pathlib import Path

import pytest

import kiosk.exchange
from kiosk import telling, where, words
from kiosk.exchange.columns import BOOK_COLUMNS, CUTTER_COLUMNS
from kiosk.exchange.control_list import read_map
from kiosk.exchange.faults import FileFaults, fault_at
from kiosk.exchange.shop import ShopFault, read_shop
from kiosk.exchange.tables_csv import read_table
from kiosk.exchange.template import read_template

ROOM = Path(kiosk.exchange.__file__).parent
MAKERS = {"FieldFault": 1, "fault_at": 3, "file_say": 0}  # which argument is the reason


@pytest.fixture
def german() -> Iterator[None]:
    words.speak("de")
    yield
    words.speak("en")


def reasons() -> Iterator[tuple[str, str, set[str]]]:
    """File, reason and the names of its values, of every fault that the room of files can find."""
    for path in sorted(ROOM.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.Call) or getattr(node.func, "id", "") not in MAKERS:
                continue
            at = MAKERS[node.func.id]  # type: ignore[attr-defined]
            if len(node.args) > at and isinstance(node.args[at], ast.Constant):
                given = {word.arg for word in node.keywords if word.arg}
                yield path.name, str(node.args[at].value), given  # type: ignore[attr-defined]


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_every_fault_of_a_file_has_words_that_ask_for_what_it_carries(language: str) -> None:
    known = words.catalogue(language).words
    found = list(reasons())
    assert len(found) > 80
    for file, reason, given in found:
        sentences = [known.get(f"file_fault.{reason}"), known.get(f"file_fault.{reason}.words")]
        (sentence,) = [each for each in sentences if each is not None]
        asked = {name for _, name, _, _ in string.Formatter().parse(sentence) if name}
        assert asked == given - {"reported"}, (file, reason)  # that is English, and the command line's alone


def test_every_sentence_about_a_file_is_said_somewhere() -> None:
    written = "".join(path.read_text("utf-8") for path in [*ROOM.glob("*.py"), ROOM.parent / "rules" / "nesting.py"])
    built = {"no_code", "not_code_of", "must_be", "nesting"}  # their last part is a value of the file
    keys = {key.split(".")[1] for key in words.catalogue("en").words if key.startswith("file_fault.")}
    assert [key for key in sorted(keys - built) if f'"{key}"' not in written and f".{key}" not in written] == []


def broken(tmp_path: Path) -> Path:
    """The demo shop with a slip in each table."""
    shop = tmp_path / "shop"
    shutil.copytree(where.demo_tags(), shop)
    for name, old, new in (
        ("holders.csv", "shrink_fit", "shrunk"), ("cutters.csv", "carbide", "wood"),
        ("operators.csv", "setter", "boss"), ("shop.toml", 'way = "sleeve"', 'way = "ice"'),
    ):  # fmt: skip
        path = shop / name
        text = path.read_text("utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), "utf-8")
    return shop


@pytest.mark.usefixtures("german")
def test_a_shop_that_cannot_be_read_is_told_in_german_with_file_line_and_column(tmp_path: Path) -> None:
    with pytest.raises(ShopFault) as refused:
        read_shop(broken(tmp_path))
    told = dict(map(telling.file_fault_words, refused.value.faults))
    lines = {place: what for place, what in told.items() if re.fullmatch(r"\w+\.(csv|toml), Zeile \d+", place)}
    assert lines == told and {place.split(",")[0] for place in lines} == {
        "holders.csv", "cutters.csv", "operators.csv", "shop.toml"
    }  # fmt: skip
    said = "\n".join(told.values())
    assert "clamping (Spannt durch): muss eines von" in said and "'shrunk'" in said
    assert "role (Rolle): muss setter (Einrichter)" in said and "ein Kühlplatz sagt, wie er kühlt" in said
    english = re.compile(r"\b(must be|is no|is not|there is|cannot)\b")
    assert not english.search(said) and not english.search(telling.fault_words(refused.value))


@pytest.mark.usefixtures("german")
def test_the_command_line_says_it_in_english_whatever_the_window_speaks(tmp_path: Path) -> None:
    with pytest.raises(ShopFault) as refused:
        read_shop(broken(tmp_path))
    said = str(refused.value)
    assert re.search(r"^holders\.csv, line \d+, clamping: must be one of collet, .*, not 'shrunk'$", said, re.M)
    assert re.search(r"^operators\.csv, line \d+, role: must be setter or supervisor, not 'boss'$", said, re.M)


@pytest.mark.usefixtures("german")
def test_what_stands_in_a_file_is_said_as_it_stands_there() -> None:
    for said in ("supervisor", "cabinet", "good", "term.setter", "{said}"):
        assert fault_at("x.csv", 2, "kind", "no_kind", said=said).why == f"{said} is no kind of place"
        assert telling.file_fault_words(fault_at("x.csv", 2, "kind", "no_kind", said=said))[1].startswith(
            f"kind (Art): {said} ist"
        )


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_the_trade_has_a_name_for_every_column_of_a_shops_tables(language: str) -> None:
    words.speak(language)
    try:
        own = {"name", "material", "flat"}  # a word already
        for column in {*BOOK_COLUMNS, *CUTTER_COLUMNS, "role", "mark", "kind", "parent", "owner"}:
            said = telling.column_words(column)
            assert said != column or column in own, column
            assert "_" not in said
    finally:
        words.speak("en")
    assert telling.column_words("projection_mm") == "Gauge line to nose"
    assert telling.column_words("DC").startswith("DC ")
    assert telling.column_words("[columns] name") == "[columns] name"


@pytest.mark.usefixtures("german")
def test_a_map_and_a_template_are_told_of_in_german_too() -> None:
    with pytest.raises(FileFaults) as refused:
        read_map("[columns]\npocket = 'P'\n", "list.toml")
    assert list(map(telling.file_fault_words, refused.value.faults)) == [
        ("list.toml", "[columns] name: eine Liste braucht den Namen oder die Nummer des Werkzeugs")
    ]
    with pytest.raises(FileFaults) as refused:
        read_template("{LF:q}\n", "offsets.txt")
    assert "keine Schreibweise" in telling.fault_words(refused.value)


def test_faults_come_in_the_order_of_their_file() -> None:
    faults = [fault_at("b", 1, "", "empty"), fault_at("a", 9, "x", "missing"), fault_at("a", 9, "x", "empty")]
    assert [str(each) for each in sorted(faults)] == [
        "a, line 9, x: is empty", "a, line 9, x: is missing", "b, line 1: is empty",
    ]  # fmt: skip


@pytest.mark.usefixtures("german")
@pytest.mark.parametrize(
    ("name", "text", "line", "field"),
    [
        ("map.toml", "lines = 3\n\nname no value", 3, ""),
        ("map.toml", "[columns]\npocket = [1]\n", 0, "columns"),
        ("table.csv", 'a,b\n1,2\n"3"x,4\n', 3, ""),
    ],
)
def test_what_a_library_says_of_a_file_stands_on_the_command_line_and_never_in_a_german_window(
    name: str, text: str, line: int, field: str
) -> None:
    with pytest.raises(FileFaults) as met:
        if name.endswith("csv"):
            raise FileFaults(read_table(text, name).faults)
        read_map(text, name)
    fault = met.value.faults[0]
    reported = str(dict(fault.say.values)["reported"])
    assert fault.line == line and fault.field.startswith(field)
    assert len(reported) > 10 and reported in fault.why and reported in str(met.value)
    said = telling.fault_words(met.value)
    assert reported not in said
    assert not {"xpected", "Expected", "got", "after", "Invalid"} & set(re.findall(r"\w+", said))
