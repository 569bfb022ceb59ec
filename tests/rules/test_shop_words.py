"""The sentences are a setter's: words of the program's inside, and second words for one thing, do not come back."""

from __future__ import annotations

import re

import pytest

from kiosk import words
from kiosk.rules.assembly import Coupling

NEVER = {
    "en": {
        r"\bbook(ed|s)?\b": "a ledger is not the setter's business: the kiosk, or what is the case",
        r"nowhere": "place unknown",
        r"taken down": "noted; torn down is another thing",
        r"take this figure": "Enter",
        r"\bseats? in\b|\bseat in\?": "the taper in the spindle",
        r"hollow taper": "HSK with its form letter",
        r"play for": "insertion clearance",
        r"\bstands? for\b|\banswers (to|for)\b": "the label of",
        r"\bproving\b": "trying whether it can be read",
        r"\bledger\b|\bhash\b": "record, checksum",
        r"\bforgotten\b": "cancelled",
        r"\bsaid to be\b": "marked as",
    },
    "de": {
        r"\bbuch(s|es)?\b|\bgebucht": "der Kiosk, oder was der Fall ist",
        r"verschollen|ort unbekannt|nirgends": "Platz unbekannt",
        r"tastthermometer|\bfühler\b(?! \{)": "Kontaktfühler",
        r"\beinstellgerät|\bvoreinsteller\b": "Voreinstellgerät",
        r"hohlschaft": "HSK mit Formbuchstabe",
        r"spiel zum": "Fügespiel",
        r"\bausbauen\b|\bausgebaut\b": "ausspannen",
        r"erhitzt|geheizt": "erwärmt",
        r"abgewiesen": "abgelehnt",
        r"messbar|berührbar": "vermessen, anfassbar",
        r"\bleitung\b": "Aufsicht",
        r"steht ab jetzt für|antwortet ab": "das Etikett von",
        r"\bfräser\b": "Werkzeug: gebohrt wird auch",
        r"\bzange\b": "Spannzange",
    },
}
MEASURES_LENGTH = re.compile(r"^(card_to_type\.not_m|measuring\.|offsets\.(not_measured|measured)|build_up\.next)")
PROBES = re.compile(r"^(reading\.|heat\.|refused\.hot|remedy\.hot|strip\.probe)")


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_no_sentence_uses_a_word_that_a_setter_would_not_say(language: str) -> None:
    found = [
        f"{key}: {sentence!r}: say {better}"
        for key, sentence in words.catalogue(language).words.items()
        for never, better in NEVER.get(language, {}).items()
        if re.search(never, sentence.lower())
    ]
    assert found == [], "\n".join(found)


def test_german_has_one_word_for_probing_heat_and_another_for_presetting() -> None:
    for key, sentence in words.catalogue("de").words.items():
        if MEASURES_LENGTH.match(key):
            assert not re.search(r"\b(ge)?messen\b|\bmesst?\b", sentence.lower()), f"{key}: {sentence}"
        if PROBES.match(key):
            assert not re.search(r"\bvermess", sentence.lower()), f"{key}: {sentence}"


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_each_clock_of_a_hot_holder_says_what_it_counts_to(language: str) -> None:
    say = words.catalogue(language).say
    clocks = [say("hot.take_out", left_s=20.0), say("hot.touch"), say("hot.measure", left_s=900.0)]
    bare = [re.sub(r"[\d:\s]+", " ", said).strip() for said in clocks]
    assert all(bare) and len(set(bare)) == 3, clocks
    assert say("hot.take_out", left_s=20.0).endswith("00:20")


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_taking_a_step_back_and_leaving_a_screen_are_two_words(language: str) -> None:
    said = words.catalogue(language).words
    leaving = {said[key] for key in said if key.endswith(".back")}
    undoing = {said[key] for key in said if key.endswith((".undo", ".undone")) and key.startswith("card.")}
    assert leaving and undoing and not leaving & undoing


def test_a_hollow_taper_is_written_with_its_form_letter_and_read_with_or_without() -> None:
    assert {Coupling.parse(said).designation for said in ("HSK63", "HSK-A 63", "hsk-a63")} == {"HSK-A 63"}
    assert Coupling.parse("A40").designation == "A 40"
    for other in ("HSK-E 63", "A-A40"):
        with pytest.raises(ValueError, match="no coupling"):
            Coupling.parse(other)
