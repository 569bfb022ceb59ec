"""What the kiosk says, before any language: a message id with its values.

Rules, ledger and desk speak in these; the screen or the command line puts them into words.  A message never
holds a finished sentence, so that a translation needs no code.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias, Union

Plain: TypeAlias = str | int | float | None
Value: TypeAlias = Union[Plain, "Say"]


@dataclass(frozen=True, slots=True)
class Say:
    """A message id (`moved`, `refused.hot`) and the values its sentence needs, by name."""

    key: str
    values: tuple[tuple[str, Value], ...] = ()

    def __getitem__(self, name: str) -> Value:
        return dict(self.values)[name]


def say(key: str, **values: Value) -> Say:
    return Say(key, tuple(values.items()))
