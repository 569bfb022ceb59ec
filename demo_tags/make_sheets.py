"""Draws the demo shop's labels, badges and command cards, as sheets for A4 and Letter and a few as pictures.

Run `python demo_tags/make_sheets.py` after changing the shop; it writes into `demo_tags/labels`, the same bytes each
time.  It must never invent a code: they are the ones written in the shop's files.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))  # started as a script from anywhere

from kiosk import words
from kiosk.exchange.shop import read_shop
from kiosk.labels import batch
from kiosk.labels.content import (
    HotWords,
    LabelContent,
    badge,
    command_card,
    holder_label,
    hot_tag,
    place_label,
)
from kiosk.labels.sizes import PAPERS, parse_size, sheet
from kiosk.rules.assembly import Holder
from kiosk.rules.cards import Command
from kiosk.rules.codes import Code, CodeKind, make, parse
from kiosk.rules.lines import CodeBound, Entry, HolderRegistered, OperatorAdded, PlaceAdded
from kiosk.rules.places import Kind as PlaceKind
from kiosk.rules.places import Place

SHOP = Path(__file__).resolve().parent
DPI = 300


class Stack(NamedTuple):
    """Labels that go on the same sheets."""

    name: str
    size: str
    contents: Sequence[LabelContent]


def stacks(lines: Sequence[Entry]) -> list[Stack]:
    """All labels of a shop: holders small, slots and pockets small, other places and cards large."""
    bound = {line.subject: parse(line.text) for line in lines if isinstance(line, CodeBound)}
    places = {line.place.code: line.place for line in lines if isinstance(line, PlaceAdded)}
    small: list[LabelContent] = []
    large: list[LabelContent] = []
    for line in lines:
        if isinstance(line, PlaceAdded):
            label = place_label(parse(line.place.code), line.place, " · ".join(_within(line.place, places)))
            (small if line.place.kind in (PlaceKind.SLOT, PlaceKind.POCKET) else large).append(label)
    return [
        Stack("holders", "25x25", [holder_label(bound[holder.key], holder) for holder in _holders(lines)]),
        Stack("slots-and-pockets", "50x25", small),
        Stack("places", "60x30", large),
        Stack("badges", "60x30", _badges(lines, bound)),
        Stack("commands", "60x30", _cards()),
    ]


def _within(place: Place, places: dict[str, Place]) -> list[str]:
    """Names of what a place lies in, outermost first."""
    parent = places.get(place.parent or "")
    return [*_within(parent, places), parent.name] if parent else []


def _holders(lines: Sequence[Entry]) -> list[Holder]:
    return [line.holder for line in lines if isinstance(line, HolderRegistered)]


def _badges(lines: Sequence[Entry], bound: dict[str, Code]) -> list[LabelContent]:
    return [
        badge(bound[line.operator], line.name, words.t(f"role.{line.role}"))
        for line in lines
        if isinstance(line, OperatorAdded)
    ]


def _cards() -> list[LabelContent]:
    return [
        command_card(
            make(CodeKind.COMMAND, command.value),
            words.t(f"label.card.{command.name.lower()}"),
            words.t(f"label.card_explains.{command.name.lower()}"),
        )
        for command in Command
    ]


def _hot_words() -> HotWords:
    said = (words.t(f"label.hot.{name}") for name in HotWords.__dataclass_fields__)
    return HotWords(*said)


def write(out: Path, shop: Path = SHOP) -> None:
    """All sheets and pictures into a folder."""
    out.mkdir(parents=True, exist_ok=True)
    made = stacks(read_shop(shop))
    for stack in made:
        size = parse_size(stack.size)
        layouts = batch.prepare(stack.contents, size, DPI)
        for paper in PAPERS:
            batch.write_pdf(layouts, out / f"{stack.name}-{paper.name}.pdf", sheet(paper.name, size))
        batch.write_pngs(layouts[:1], out / f"{stack.name}.png")
    first = made[0].contents[0]
    tag = hot_tag(first.code, first.name, "14:05", "14:41", _hot_words())
    layouts = batch.prepare([tag], parse_size("100x50"), DPI, colour=True)
    batch.write_pdf(layouts, out / "hot-tag.pdf")
    batch.write_pngs(layouts, out / "hot-tag.png")


if __name__ == "__main__":
    write(SHOP / "labels")
