"""Which form of a sentence suits a number, language by language.

The rules are those of the Unicode CLDR (supplemental/plurals.xml) for whole numbers, written down because a library
that carries every language of the world would be loaded for these few lines.  Of its names a sentence has `one`, `few`
where the language has it, and `many` for all the rest.  Nothing here knows words.
"""

from __future__ import annotations

FRENCH = frozenset(("fr",))  # nought counts as one
WEST_SLAVIC = frozenset(("cs", "sk"))  # 2 to 4 have a form of their own
POLISH = frozenset(("pl",))  # so do 22 to 24 and so on, but not 12 to 14


def forms(language: str, count: float) -> tuple[str, ...]:
    """The forms that suit, the best first."""
    if count == 1 or (language in FRENCH and 0 <= count < 2):
        return ("one", "many")
    if count == int(count):
        last, teens = int(count) % 10, 12 <= int(count) % 100 <= 14
        few = 2 <= count <= 4 if language in WEST_SLAVIC else 2 <= last <= 4 and not teens
        if few and language in WEST_SLAVIC | POLISH:
            return ("few", "many")
    return ("many",)

