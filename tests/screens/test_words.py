"""Values become figures people read, and every word a screen asks for is there."""

import re
from pathlib import Path

import pytest

from kiosk import words
from kiosk.rules.say import say

PACKAGE = Path(words.__file__).parent
ASKED = re.compile(r"\bt\(\s*[\"']([a-z_]+(?:\.[a-z_]+)+)[\"']")


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_every_word_the_screens_ask_for_is_there(language: str) -> None:
    catalogue = words.catalogue(language)
    lacking = {
        f"{path.name}: {key}"
        for path in sorted((PACKAGE / "screens").rglob("*.*"))
        if path.suffix in (".py", ".kv")
        for key in ASKED.findall(path.read_text("utf-8"))
        # A word that is chosen while running is asked for by its beginning: `reading.with_`.
        if not any(name == key or name.startswith(key if key[-1] == "_" else f"{key}.") for name in catalogue.words)
    }
    assert lacking == set()


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
