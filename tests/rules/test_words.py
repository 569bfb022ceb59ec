"""Every message the decision can give has words, in every language."""

import tomllib
from dataclasses import fields
from datetime import datetime
from pathlib import Path
from string import ascii_lowercase

import pytest

from kiosk import plural, where, words
from kiosk.labels.letters import Face, has
from kiosk.rules.outcomes import Reason
from kiosk.settings import Settings
from tests.rules import compared

FOREIGN = "µøß"  # a unit, a diameter, and what is on the keyboard of German


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
    assert compared.unlike(language) == []


def test_the_forms_of_a_number_are_those_of_the_cldr() -> None:
    few = {2, 3, 4}
    for language, rule in {
        "en": lambda n: "one" if n == 1 else "many",
        "fr": lambda n: "one" if n in (0, 1) else "many",
        "cs": lambda n: "one" if n == 1 else "few" if n in few else "many",
        "pl": lambda n: "one" if n == 1 else "few" if n % 10 in few and n % 100 - 10 not in few else "many",
        "tr": lambda n: "one" if n == 1 else "many",
    }.items():
        assert [plural.forms(language, n)[0] for n in range(126)] == [rule(n) for n in range(126)], language
    assert plural.forms("pl", 2.5) == plural.forms("cs", 2.5) == ("many",)


def test_a_sentence_about_one_thing_alone_is_not_said_of_none() -> None:
    french = words.Catalogue("fr", {"wait.one": "il reste un", "wait.many": "{count} restent"}, ",")
    assert french.say("wait", count=0) == "0 restent"
    assert words.Catalogue("fr", {"wait.one": "{count} reste", "wait.many": ""}, ",").say("wait", count=0) == "0 reste"


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_the_fonts_have_every_letter_of_every_sentence_small_and_capital(language: str) -> None:
    said = set("".join(words.catalogue(language).words.values()))
    letters = said | set("".join(said).upper()) | set(words.own_name(language))
    for face in (Face.TEXT, Face.STRONG):
        assert {each for each in letters if not has(face, each)} == set()


def test_the_fonts_have_the_letters_of_the_languages_around() -> None:
    letters = "áčďéěíňóřšťúůýžąćęłńóśźżçğıöşüáéíñóúüàâæçèéêëîïôœùûüÿàèéìòùâãçêõäöüß"
    for face in Face:
        assert {each for each in letters + letters.upper() + "İ¿¡«»„”" if not has(face, each)} == set()


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_every_letter_of_a_language_is_on_its_keyboard(language: str) -> None:
    said = words.catalogue(language).words
    keys = set(ascii_lowercase + said["keyboard.letters"][:4] + said["keyboard.accents"][:30])
    mine = {letter for text in said.values() for letter in text.lower() if letter.isalpha() and letter not in FOREIGN}
    assert mine - keys == set()
    assert len(said["keyboard.letters"]) == 4


@pytest.mark.parametrize("shop", words.LANGUAGES)
@pytest.mark.parametrize("mine", words.LANGUAGES)
def test_an_alarm_is_said_to_whoever_is_there_and_in_the_shops_language(mine: str, shop: str) -> None:
    try:
        words.speak(mine, shop)
        said = words.to_everybody(lambda: words.t("heat.not_to", place="A · 1"))
        assert said == ("" if mine == shop else words.catalogue(shop).say("heat.not_to", place="A · 1"))
        assert words.t("heat.not_to", place="A · 1") == words.catalogue(mine).say("heat.not_to", place="A · 1")
    finally:
        words.speak(words.ENGLISH)


def test_capital_letters_are_those_of_the_language() -> None:
    try:
        words.speak("tr")
        assert words.capitals("ışık istasyonu") == "IŞIK İSTASYONU"
        words.speak("de")
        assert words.capitals("ein licht") == "EIN LICHT"
    finally:
        words.speak(words.ENGLISH)


def test_days_are_written_as_the_language_writes_them() -> None:
    at = datetime(2026, 9, 2, 14, 5)
    assert words.catalogue("de").date(at) == "02.09.2026"
    assert words.catalogue("de").date(at, year=False) == "02.09."
    assert words.catalogue("de").figure("made_on", at.timestamp()) == "02.09.2026 14:05"


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
            for option in one.metadata.get("options", ()) if one.name != "language" else ():
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


@pytest.mark.parametrize("language", words.LANGUAGES)
def test_no_full_stop_follows_a_value_that_ends_its_sentence_itself(language: str) -> None:
    catalogue = words.catalogue(language)
    for why in ("No space left on devic…", "Network is unreachable.", catalogue.words["health.key"]):
        said = catalogue.say("update.refused.libraries", why=why)
        assert f"{why} " in said and f"{why}." not in said
    assert "devic. " in catalogue.say("update.refused.libraries", why="devic")
    assert catalogue.say("heat.not_to", place="B..").endswith(("B..", "B..."))
