"""What a field of a thing is called, how it is asked, and how its answer reads."""

from __future__ import annotations

from kiosk.rules.assembly import Coupling
from kiosk.rules.shop_things.forms import Ask, Field, Value
from kiosk.words import catalogue, language, t

_COUPLINGS = ("coupling", "couplings")


def question(field: Field) -> str:
    """The question: a sentence where there is one, else what the field is called."""
    key = f"question.{field.name}"
    return t(key) if key in catalogue(language()).words else t(f"field.{field.name}")


def choice_words(field: Field, key: str) -> str:
    """One of the answers to choose from."""
    if field.ask is Ask.YES_NO:
        return t(f"enter.{key}")
    if field.name in _COUPLINGS:
        return ", ".join(map(_coupling, key.split())) or t("enter.any")
    if field.name == "clamping":
        return t(f"clamping.{key}")
    return t(f"enter.option.{key}")


def value_words(field: Field, value: Value | None) -> str:
    """An answer; a dash where there is none."""
    if value is None:
        return "–"
    if isinstance(value, tuple):
        return t("enter.drawers", drawers=len(value), count=sum(value))
    if field.ask is Ask.YES_NO:
        return choice_words(field, "yes" if value else "no")
    if field.ask is Ask.CHOICE:
        return choice_words(field, str(value))
    if field.ask is Ask.FIGURE and not isinstance(value, str):
        unit = field.bound.unit if field.bound else ""
        places = field.bound.decimals if field.bound else 0
        return f"{catalogue(language()).number(float(value), places)} {unit}".strip()
    return str(value)


def _coupling(text: str) -> str:
    coupling = Coupling.parse(text)
    return t(f"coupling.{coupling.family.value}", size=coupling.size)
