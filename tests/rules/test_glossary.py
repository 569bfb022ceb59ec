"""The trade's terms: one word a term in each language, and every translation uses it."""

from __future__ import annotations

import re
import tomllib
from typing import Any

import pytest

from kiosk import where, words
from kiosk.rules.finding_words import folded
from tests.rules.compared import written

GLOSSARY: dict[str, Any] = tomllib.loads((where.assets() / "translations" / "glossary.toml").read_text("utf-8"))
BESIDES: dict[str, dict[str, list[str]]] = GLOSSARY.pop("besides")
NO_TERM = re.compile(r"\{.*?\}|\S+\.toml|Holder Kiosk")  # values, files, and what the kiosk is called
ALL = ("en", "de", "fr", "es", "it", "pt", "pl", "cs", "tr")


def parts(cell: str) -> list[str]:
    """A term and the stems it is known by."""
    return [part.strip() for part in cell.split("|")]


def test_every_term_has_a_word_in_every_language() -> None:
    assert set(words.LANGUAGES) <= set(ALL)
    for term, row in GLOSSARY.items():
        assert tuple(row) == ALL, term
        assert all(row[language].strip() for language in ALL), term


@pytest.mark.parametrize("language", ALL)
def test_no_two_terms_share_a_word(language: str) -> None:
    owner: dict[str, str] = {}
    for term, row in GLOSSARY.items():
        for alternative in parts(row[language])[: None if language == "en" else 1]:
            for word in set(folded(alternative).split()) - SMALL:
                assert owner.setdefault(word, term) == term, f"{word}: {owner[word]} and {term}"


SMALL = {"shrink", "place", "station", "fit", "holder", "up", "down", "side", "screw", "air", "line"}  # of pairs


@pytest.mark.parametrize("language", words.LANGUAGES[1:])
def test_a_sentence_uses_the_term_where_the_english_one_does(language: str) -> None:
    english, other = written("en"), written(language)
    found = []
    for term, row in GLOSSARY.items():
        said = re.compile("|".join(rf"\b{re.escape(each)}s?\b" for each in parts(row["en"])), re.IGNORECASE)
        stems = [folded(each) for each in parts(row[language])]
        besides = BESIDES.get(language, {}).get(term, [])
        for key, sentence in english.items():
            if not said.search(NO_TERM.sub("", sentence)) or key not in other:
                continue
            uses = any(stem in folded(other[key]) for stem in stems)
            if uses == (key in besides):
                why = "needs no exception" if uses else f"without {row[language]!r}"
                found.append(f"{term} {key}: {why}: {other[key]!r} for {sentence!r}")
    gone = [key for keys in BESIDES.get(language, {}).values() for key in keys if key not in english]
    assert found + gone == [], "\n".join(found + gone)
