"""Values become figures people read, and every word a screen asks for is there."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from kiosk import words
from kiosk.rules.outcomes import Step
from kiosk.rules.say import say

PACKAGE = Path(words.__file__).parent
PART = r"[\w.]+"  # of a key: what is only known while the kiosk runs
ASKING = ("t", "say", "Say")
PAPERS = {"report_audit.py": "report.audit.", "report_shift.py": "report.shift."}  # they say the end of a key alone


def pattern(node: ast.expr) -> str | None:
    """A message key as it is written in a program, as a regular expression; None: it is made elsewhere."""
    match node:
        case ast.Constant(value=str(text)):
            return re.escape(text)
        case ast.JoinedStr(values=parts):
            return "".join(re.escape(part.value) if isinstance(part, ast.Constant) else PART for part in parts)
        case ast.BinOp(op=ast.Add(), left=left, right=right):
            return (pattern(left) or PART) + (pattern(right) or PART)
        case ast.IfExp(body=body, orelse=other):
            return f"(?:{pattern(body) or PART}|{pattern(other) or PART})"
        case _:
            return None


def written(path: Path) -> Iterator[ast.AST]:
    """Everything a module says, or a layout in its `t(...)`."""
    text = path.read_text("utf-8")
    if path.suffix == ".py":
        yield from ast.walk(ast.parse(text))
        return
    for call in re.finditer(r"\bt\(((?:[^()]|\([^()]*\))*)\)", text):
        yield ast.parse(f"t({call[1]})", mode="eval").body


def asked() -> dict[str, str]:
    """The keys every module and layout asks for, as regular expressions, and which does."""
    found: dict[str, str] = {}
    for path in sorted(PACKAGE.rglob("*.*")):
        for node in written(path) if path.suffix in (".py", ".kv") else ():
            if isinstance(node, ast.Call) and node.args:
                name = getattr(node.func, "id", getattr(node.func, "attr", ""))
                if name in ASKING and (key := pattern(node.args[0])) is not None:
                    paper = PAPERS.get(path.name, "") if name == "t" else ""
                    found[re.escape(paper) + key] = path.name
    return found


def known(language: str) -> set[str]:
    """Every key, and its beginning where the sentence has several forms (`hot.words`)."""
    return {part for key in words.catalogue(language).words for part in (key, key.rpartition(".")[0])}


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_every_word_that_is_asked_for_is_there(language: str) -> None:
    keys = known(language)
    lacking = {f"{where}: {key}" for key, where in asked().items() if not any(re.fullmatch(key, each) for each in keys)}
    assert lacking == set()


def test_every_word_that_is_there_is_asked_for() -> None:
    said = set(asked()) | {re.escape(step.value) for step in Step}
    for path in PACKAGE.rglob("*.py"):  # a key may be kept in a table until it is said
        said |= {key for node in written(path) if (key := pattern(node)) and re.match(r"[a-z_]+\\\.", key)}
    anywhere = re.compile("|".join(sorted(said)))
    silent = [
        key
        for key in words.catalogue("en").words
        if not anywhere.fullmatch(key) and not anywhere.fullmatch(key.rpartition(".")[0])
    ]
    assert silent == []


def test_a_message_without_words_is_an_error() -> None:
    with pytest.raises(words.NoWords, match=r"en\.toml: message 'no\.such' has no words"):
        words.say(say("no.such"))


def test_words_that_ask_for_a_value_that_is_not_there_are_an_error() -> None:
    catalogue = words.Catalogue("en", {"moved": "to {goal}"}, ".")
    with pytest.raises(words.NoWords, match="value 'goal'"):
        catalogue.say("moved")


def test_figures_carry_their_unit_and_the_language_its_decimal_sign() -> None:
    german = words.Catalogue("de", {}, ",")
    assert german.figure("length_mm", 142.318) == "142,318\u00a0mm"
    assert german.figure("length_mm", 20.0) == "20\u00a0mm"
    assert german.figure("hottest_c", 184.4) == "184\u00a0°C"
    assert german.figure("error_um", -3.2) == "−3\u00a0µm"
    assert german.figure("left_s", 371.2) == "06:12"
    assert german.figure("left_s", 3661) == "1:01:01"
    assert german.figure("code", "HV4T8BRJ3V") == "HV4T 8BRJ 3V"
    assert german.figure("near", None) == "–"


def test_time_left_is_never_rounded_down() -> None:
    assert words.clock(0.01) == "00:01"
    assert words.clock(59.001) == "01:00"
    assert words.clock(-5) == "00:00"


def test_a_sentence_suits_its_count_and_what_is_not_known() -> None:
    catalogue = words.Catalogue(
        "en",
        {"hot.one": "{count} is", "hot.many": "{count} are", "at.words": "at {place}", "at.without_place": "lost"},
        ".",
    )
    assert catalogue.say("hot", count=1) == "1 is"
    assert catalogue.say("hot", count=3) == "3 are"
    assert catalogue.say("at", place="Rack 1") == "at Rack 1"
    assert catalogue.say("at", place=None) == "lost"
