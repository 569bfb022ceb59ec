"""A language beside English: what it lacks, has too much, or says with other values.

    .venv/bin/python -m tests.rules.compared fr       # one line a key that is not as it should be
"""

from __future__ import annotations

import string
import sys
import tomllib

from kiosk import plural, where, words


def written(language: str) -> dict[str, str]:
    """The words in a language's files, offered yet or not."""
    found: dict[str, str] = {}
    for path in sorted((where.assets() / "translations").glob(f"{language}.*")):
        found |= words._flat(tomllib.loads(path.read_text("utf-8")))
    return found


def fields(sentence: str) -> set[str]:
    """What is put into a sentence."""
    return {name for _, name, _, _ in string.Formatter().parse(sentence) if name}


def unlike(language: str) -> list[str]:
    """What differs, in the order of the English files; empty: the language is whole."""
    english, other = written("en"), written(language)
    forms = {plural.forms(language, count)[0] for count in range(126)}
    wanted = dict(english)
    for key in english:
        if key.endswith(".many") and f"{key.removesuffix('many')}one" in english and "few" in forms:
            wanted[f"{key.removesuffix('many')}few"] = english[key]
    found = []
    for key, sentence in wanted.items():
        if key not in other:
            found.append(f"{key}: lacking: {sentence}")
        elif fields(sentence) != fields(other[key]):
            found.append(f"{key}: values {sorted(fields(sentence))}, not {sorted(fields(other[key]))}")
        elif not other[key].strip() and sentence.strip():
            found.append(f"{key}: empty")
    return found + [f"{key}: is not in English" for key in other if key not in wanted]


if __name__ == "__main__":
    for language in sys.argv[1:] or words.LANGUAGES[1:]:
        print(*(f"{language} {line}" for line in unlike(language)), sep="\n")
