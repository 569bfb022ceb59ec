"""Puts messages into the words of a language.

Rules and desk say a message id with values; here it becomes a sentence, with codes grouped, lengths and
temperatures with their unit and times as minutes and seconds.  It never guesses: a message without words, or
words that ask for a value which is not there, is an error.  Words come from `assets/translations/*.toml`, where
a sentence is a text, or a table: `words`, `one` and `many` by `count`, `without_x` where the value x is missing.
"""

from __future__ import annotations

import re
import threading
import tomllib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import cache

from kiosk import plural, where
from kiosk.rules.codes import CodeFault, parse
from kiosk.rules.say import Say, Value

ENGLISH = "en"  # what is spoken where nobody has chosen, and what every other language is compared with
OF_LANGUAGE = ".language.toml"  # the file of a language that says its own name, signs, dates and letters


def _there() -> tuple[str, ...]:
    """The languages there are: those that say their own name, English first."""
    found = {path.name.removesuffix(OF_LANGUAGE) for path in (where.assets() / "translations").glob(f"*{OF_LANGUAGE}")}
    return tuple(sorted(found, key=lambda each: (each != ENGLISH, each)))


LANGUAGES = _there()
MM_PER_INCH = 25.4

_UNITS = {
    "mm": ("mm", 3), "um": ("µm", 0), "c": ("°C", 0), "k": ("K", 0), "kg": ("kg", 2), "g": ("g", 0),
    "rpm": ("1/min", 0), "min": ("min", 0), "nm": ("Nm", 1), "gmm": ("g·mm", 2), "percent": ("%", 0),
}  # fmt: skip
_OF_A_FILE = ("said", "known")  # what stands in a file, or may stand there, reads in every language as it does there
# A full stop after what a value ends with: a screen's name that asks, a reason that was cut or brings its own stop.
_ENDED_TWICE = re.compile(r"(?<!\.)([.?!…])\.(?=\s|$)")
_TWO_PAIRS_OF_I = frozenset(("tr", "az"))
_NARROW = "\u00a0"  # a figure and its unit stay on one line


class NoWords(LookupError):
    """A message that the catalogue of a language has no words for.  `language`, `key`, `lacking`."""

    def __init__(self, language: str, key: str, lacking: str = "") -> None:
        what = f"value {lacking!r} for its words" if lacking else "words"
        super().__init__(f"assets/translations/{language}.toml: message {key!r} has no {what}")
        self.language = language
        self.key = key
        self.lacking = lacking


@dataclass(frozen=True, slots=True)
class Catalogue:
    """The words of one language by message id; ids are dotted paths of the TOML file's tables."""

    language: str
    words: dict[str, str]
    decimal: str

    def say(self, key: str, **values: Value) -> str:
        """Raises NoWords."""
        pattern = self._pattern(key, values)
        try:
            said = pattern.format(**{name: self.figure(name, value) for name, value in values.items()})
        except KeyError as lacking:
            raise NoWords(self.language, key, str(lacking.args[0])) from None
        return _ENDED_TWICE.sub(r"\1", said)

    def _pattern(self, key: str, values: dict[str, Value]) -> str:
        """The sentence for these values: `key` alone, or the row of the table `key` that suits them."""
        rows = [f"{key}.without_{name}" for name, value in values.items() if value is None]
        count = values.get("count")
        if isinstance(count, int | float):
            rows += (f"{key}.{form}" for form in plural.forms(self.language, count))
        for name in (*rows, f"{key}.words", key):
            words = self.words.get(name)
            if words is not None and (count == 1 or "{count" in words or not name.endswith(".one")):
                return words
        raise NoWords(self.language, key)

    def figure(self, name: str, value: Value) -> str:
        """A value as people read it; the last part of its name is its unit."""
        if value is None:
            return "–"
        if isinstance(value, Say):
            return self.say(value.key, **dict(value.values))
        unit = name.rsplit("_", 1)[-1]
        if name == "code" or name.endswith("_code"):
            return grouped(str(value))
        if unit in _OF_A_FILE:
            return str(value)
        if isinstance(value, str):
            return self.words.get(value if value.startswith("term.") else f"term.{value}", value)
        if unit == "s":
            return clock(value)
        if unit == "at":
            at = datetime.fromtimestamp(value)
            return f"{at:%H:%M}{zone_if_twice(at)}"
        if unit == "on":
            at = datetime.fromtimestamp(value)
            return at.strftime("%H:%M") if at.date() == datetime.now().date() else f"{self.date(at)} {at:%H:%M}"
        if unit in _UNITS and unit != name:
            sign, places = _UNITS[unit]
            if unit == "mm" and _Spoken.inches:
                return f"{self.number(value / MM_PER_INCH, 4)}{_NARROW}in"
            return f"{self.number(value, places)}{_NARROW}{sign}"
        return self.number(value, 3)

    def date(self, at: datetime, year: bool = True) -> str:
        """A day as the language writes it: `22.09.2026`, or `22.09.` without the year."""
        return at.strftime(self.words["dates.day_month_year" if year else "dates.day_month"])

    def number(self, value: float, places: int) -> str:
        """At most `places` decimals, none that are nought, in the language's decimal sign."""
        text = f"{value:.{places}f}"
        text = text.rstrip("0").rstrip(".") if "." in text else text
        return ("0" if text == "-0" else text).replace("-", "−").replace(".", self.decimal)


def zone_if_twice(at: datetime) -> str:
    """` CEST`, in the hour that the clocks go through twice when they are put back; else nothing.

    at: local time as `fromtimestamp` gives it.  A list over that hour is in order, and says so.
    """
    twice = at.replace(fold=0).timestamp() != at.replace(fold=1).timestamp()
    return f" {at.astimezone().tzname()}" if twice else ""


def clock(seconds: float) -> str:
    """`6:12`, or `1:06:12` from an hour on.  Rounded up: never less than what is left."""
    whole = max(0, -int(-seconds // 1))
    minutes, rest = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{rest:02}" if hours else f"{minutes:02}:{rest:02}"


def grouped(text: str) -> str:
    """A code of ours in groups; any other text as it is."""
    try:
        return parse(text).grouped
    except CodeFault:
        return text


def _flat(table: dict[str, object], before: str = "") -> dict[str, str]:
    found: dict[str, str] = {}
    for key, value in table.items():
        if isinstance(value, dict):
            found |= _flat(value, f"{before}{key}.")
        else:
            found[before + key] = str(value)
    return found


@cache
def catalogue(language: str) -> Catalogue:
    """The words of a language of `LANGUAGES`.  Raises FileNotFoundError for another.

    A language is one file for the screens (`en.toml`), one for each room that speaks (`en.messages.toml`) and one
    for what it is itself (`en.language.toml`).
    """
    folder = where.assets() / "translations"
    words = _flat(tomllib.loads((folder / f"{language}.toml").read_text(encoding="utf-8")))
    for path in sorted(folder.glob(f"{language}.*.toml")):
        words |= _flat(tomllib.loads(path.read_text(encoding="utf-8")))
    return Catalogue(language, words, words.get("number.decimal", "."))


@cache
def own_name(language: str) -> str:
    """A language in itself: `Deutsch`.  Raises FileNotFoundError for one that is not there."""
    path = where.assets() / "translations" / f"{language}{OF_LANGUAGE}"
    return _flat(tomllib.loads(path.read_text(encoding="utf-8")))["language.name"]


class _Spoken:
    language = ENGLISH  # in the window, to whoever is at work
    shop = ENGLISH  # on what is for everybody: labels, papers, telephones
    inches = False  # lengths are shown in inches; they are entered and kept in millimetres all the same


_Mine = threading.local()  # `shop`: this thread says what it says in the shop's language, whoever is at work


def speak(language: str, shop: str | None = None) -> None:
    """From now on `say` and `t` use this language, and what is for everybody the shop's.

    shop: the same, where it is not given.  Raises FileNotFoundError for one without a catalogue.
    """
    catalogue(language)
    _Spoken.language, _Spoken.shop = language, shop or language


@contextmanager
def for_everybody() -> Iterator[None]:
    """Meanwhile this thread speaks the shop's language."""
    before, _Mine.shop = getattr(_Mine, "shop", False), True
    try:
        yield
    finally:
        _Mine.shop = before


def to_everybody(said: Callable[[], str]) -> str:
    """The same in the shop's language, for whoever stands by; empty where that is spoken.

    said: says it, in whatever language is spoken then.
    """
    spoken = language()
    with for_everybody():
        return "" if language() == spoken else said()


def show_inches(yes: bool) -> None:
    """From now on lengths are shown in inches, or in millimetres again."""
    _Spoken.inches = yes


def language() -> str:
    return _Spoken.shop if getattr(_Mine, "shop", False) else _Spoken.language


def capitals(text: str) -> str:
    """A text in the capitals of the language spoken: of Turkish the one of `i` is `İ`, and `I` is that of `ı`."""
    return (text.replace("i", "İ") if language() in _TWO_PAIRS_OF_I else text).upper()


def date(at: datetime, year: bool = True) -> str:
    """A day in the language spoken: `22.09.2026`, or `22.09.` without the year."""
    return catalogue(language()).date(at, year)


def say(message: Say) -> str:
    """A message of rules or desk in the language spoken.  Raises NoWords."""
    return catalogue(language()).say(message.key, **dict(message.values))


def t(key: str, **values: Value) -> str:
    """The words for a message id; what screens write themselves.  Raises NoWords."""
    return catalogue(language()).say(key, **values)
