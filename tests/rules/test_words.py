"""Every message the decision can give has words, in every language."""

import string
import tomllib
from dataclasses import fields
from pathlib import Path

import pytest

from kiosk import where, words
from kiosk.rules.outcomes import Reason
from kiosk.settings import Settings


@pytest.mark.parametrize("language", words.LANGUAGES)
@pytest.mark.parametrize("reason", [reason for reason in Reason if reason is not Reason.POCKET_BLOCKED])
def test_every_refusal_says_why_and_what_to_do(language: str, reason: Reason) -> None:
    catalogue = words.catalogue(language)
    for key in (f"refused.{reason.value}", f"remedy.{reason.value}"):
        assert any(name == key or name.startswith(f"{key}.") for name in catalogue.words), key


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_every_refusal_has_a_short_word_for_reports_and_the_shift(language: str) -> None:
    known = words.catalogue(language).words
    assert [reason.value for reason in Reason if f"term.reason.{reason.value}" not in known] == []


@pytest.mark.parametrize("language", words.LANGUAGES[1:])
def test_every_language_says_the_same_with_the_same_values(language: str) -> None:
    english, other = words.catalogue("en").words, words.catalogue(language).words
    assert english.keys() == other.keys()
    for key, pattern in english.items():
        fields = {name for _, name, _, _ in string.Formatter().parse(pattern) if name}
        theirs = {name for _, name, _, _ in string.Formatter().parse(other[key]) if name}
        assert fields == theirs, key


@pytest.mark.parametrize("path", sorted(where.assets().glob("translations/*.toml")), ids=lambda path: path.name)
def test_no_key_is_written_twice_for_one_language(path: Path) -> None:
    mine = set(words._flat(tomllib.loads(path.read_text("utf-8"))))
    language = path.name.split(".")[0]
    for other in path.parent.glob(f"{language}*.toml"):
        if other != path:
            assert not mine & set(words._flat(tomllib.loads(other.read_text("utf-8")))), other.name


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_every_setting_that_a_screen_lists_has_a_name(language: str) -> None:
    known = words.catalogue(language).words
    for group in fields(Settings):
        for one in fields(type(getattr(Settings(), group.name))):
            if isinstance(one.default, str) and "options" not in one.metadata:
                continue  # set in the file
            assert f"setting.{group.name}.{one.name}" in known
            for option in one.metadata.get("options", ()):
                assert f"option.{option}" in known


def test_lengths_are_shown_in_inches_where_the_shop_wants_it() -> None:
    try:
        words.show_inches(True)
        assert words.catalogue("en").figure("length_mm", 25.4) == "1\u00a0in"
        assert words.catalogue("de").figure("diameter_mm", 12.0) == "0,4724\u00a0in"
        assert words.catalogue("en").figure("hottest_c", 43.0) == "43\u00a0°C"
    finally:
        words.show_inches(False)
    assert words.catalogue("en").figure("length_mm", 25.4) == "25.4\u00a0mm"
