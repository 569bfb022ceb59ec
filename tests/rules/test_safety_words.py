"""What a language says about heat: it names it, and says no wherever English does.

A sentence that lost its "not" on the way into another language burns a hand, and nobody of that language has read them.
"""

from __future__ import annotations

import re

import pytest

from kiosk import words
from kiosk.rules.finding_words import folded

SAYS_HOT = re.compile(r"\bhot\b", re.IGNORECASE)
SAYS_COOL = re.compile(r"\bcool\b", re.IGNORECASE)
GLOVES = re.compile(r"\bgloves\b", re.IGNORECASE)
OF_HEAT = re.compile(
    r"\b(hot|cool|cold|heat\w*|warm\w*|safe|gloves|touch in|held|readings?|probe[ds]?)\b", re.IGNORECASE
)
SAYS_NO = re.compile(r"\b(not|no|never|nobody|nothing|none|cannot|without|only)\b", re.IGNORECASE)
NAMES = re.compile(
    r"^(rail|command|label\.card|label\.card_explains|history_filter|shop\.about|phone\.find|term\.tag|hot\.tag|remedy\.fits)\b"
)
HEAT_KEYS = re.compile(r"^(heat|refused|remedy|reading|hot|next|label\.hot)\.(?!fits|magazine|offsets|compare)")

# As `folded` leaves them: small, without accents.
HOT = {
    "de": "heiss", "fr": "chaud", "es": "caliente|quema", "it": "cald", "pt": "quente", "pl": "gorac", "cs": "hork",
    "tr": "sicak",
}  # fmt: skip
COOL = {
    "de": "kalt|kuhl|abkuhl", "fr": "froid|refroid", "es": "frio|fria|enfri", "it": "fredd|raffredd",
    "pt": "frio|fria|arrefec", "pl": "zimn|chlodz|chlodn|stygn|styg", "cs": "chlad|stude", "tr": "sogu",
}  # fmt: skip
GLOVE = {
    "de": "handschuh", "fr": "gant", "es": "guante", "it": "guant", "pt": "luva", "pl": "rekawic", "cs": "rukavic",
    "tr": "eldiven",
}  # fmt: skip
NO = {
    "de": r"\b(nicht|kein\w*|nie|niemand\w*|nichts|ohne|nur|allein|erst|nein)\b|\bun\w+",
    "fr": r"\b(ne|pas|aucun\w*|jamais|personne|rien|sans|seul\w*|plus|non|que|impossible|inconnue?)\b|\bn'",
    "es": r"\b(no|sin|ningun\w*|nadie|nunca|nada|solo|solamente|ni|tampoco|desconocid\w*)\b",
    "it": r"\b(non|nessun\w*|mai|senza|solo|niente|nulla|soltanto|ne|no|nemmeno|ignot\w*)\b",
    "pt": r"\b(nao|sem|nenhum\w*|ninguem|nunca|nada|so|apenas|nem|desconhecid\w*)\b",
    "pl": r"\b(nie|nikt|nic|zaden\w*|zadn\w*|bez|tylko|brak|nigdy|dopiero)\b|\bnie\w+",
    "cs": r"\b(ne\w+|ne|nikdo|nic|zadn\w*|bez|jen|pouze|az|nikdy|ani)\b",
    "tr": r"\b(degil|yok|hic\w*|asla|ancak|yalniz|kimse|olmadan|hayir)\b|\w(m[ae]z|m[ae]y?|mi|mu)\w*\b|s[iu]z\b",
}
OTHERS = words.LANGUAGES[1:]


def sentences(pattern: re.Pattern[str]) -> dict[str, str]:
    """What English says so, but for keys that only name a screen, a card or a list."""
    english = words.catalogue("en").words
    return {key: said for key, said in english.items() if pattern.search(said) and not NAMES.match(key)}


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize(("english", "word"), [(SAYS_HOT, HOT), (SAYS_COOL, COOL), (GLOVES, GLOVE)])
def test_hot_cool_and_gloves_are_named_wherever_english_names_them(
    language: str, english: re.Pattern[str], word: dict[str, str]
) -> None:
    mine = words.catalogue(language).words
    without = {key: mine[key] for key in sentences(english) if not re.search(word[language], folded(mine[key]))}
    without = {key: said for key, said in without.items() if (language, key) not in OTHERWISE}
    assert without == {}


@pytest.mark.parametrize("language", OTHERS)
def test_no_is_said_of_heat_wherever_english_says_it(language: str) -> None:
    mine = words.catalogue(language).words
    denied = {key: said for key, said in sentences(SAYS_NO).items() if OF_HEAT.search(said) or HEAT_KEYS.match(key)}
    lost = {key: (denied[key], mine[key]) for key in denied if not re.search(NO[language], folded(mine[key]))}
    lost = {key: said for key, said in lost.items() if (language, key) not in OTHERWISE}
    assert lost == {}


# Said another way, each read again.
OTHERWISE = {
    ("fr", "report.shift.figure.waited_min"),
    ("fr", "term.reason.undo_heat"),  # the heat stays
    ("it", "term.reason.undo_heat"),
    ("pl", "audit.hot.words"),  # is or may be hot
    ("pl", "audit.hot.without_place"),
    ("pl", "term.difference.not_proven_cool"),  # may be hot
    ("pl", "term.usable.unproven"),
    ("pl", "settings.changes.kiosk.muted"),
}
