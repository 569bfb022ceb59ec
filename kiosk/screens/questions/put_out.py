"""Questions of files that go out: the shop, the tools as a table or as assets, a control's file by a template.

Everything below the second rule asks nothing of the desk and may wait for a slow stick: it belongs on a `Press`.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from kiosk import filing, where
from kiosk.desk import Desk, far_folder
from kiosk.desk.inbox import Inbox, folder, papers
from kiosk.desk.session import GivenUp
from kiosk.desk.sticks import drives
from kiosk.exchange.shop_out import ShopData, write_shop
from kiosk.screens.questions import Question

__all__ = [
    "CAME_ALONG", "EXPORTS", "Made", "Offer", "ShopData", "Template", "goals", "keep", "keep_shop", "needs_pin",
    "offer", "offsets", "shop", "table",
]  # fmt: skip

EXPORTS = "exports"
CAME_ALONG = ("inch_card", "offset_program", "tool_table")  # templates, by their files' names
FOLDER = "holder-kiosk"  # on a stick
MAKING = "not-whole-yet"  # in it, while a shop is written there
_IN_NO_NAME = str.maketrans(dict.fromkeys('/\\:*?"<>|', "-"))  # of a file, on any stick


class Template(NamedTuple):
    """A template.  `sample`: which of `CAME_ALONG` it is, word for word; empty: it is the shop's own."""

    path: Path
    sample: str = ""


class Offer(NamedTuple):
    """What can go out: the data folder, machines by name, and templates: the shop's, else those that came along."""

    data: Path
    machines: tuple[str, ...]
    templates: tuple[Template, ...]


class Made(NamedTuple):
    """A file that is to be written, by its name."""

    name: str
    content: bytes


def offer() -> Question[Offer]:
    """What there is."""

    def answer(desk: Desk) -> Offer:
        data = desk.session.book.path.parent
        own = papers(data, Inbox.TEMPLATES) or papers(where.demo_tags(), Inbox.TEMPLATES)
        return Offer(data, tuple(desk.papers.magazines()), tuple(_template(paper.path) for paper in own))

    return answer


def _template(path: Path) -> Template:
    """A file that only has the name of one that came along is the shop's own."""
    if path.stem in CAME_ALONG:
        with suppress(OSError):
            if filing.take(path) == filing.take(folder(where.demo_tags(), Inbox.TEMPLATES) / path.name):
                return Template(path, path.stem)
    return Template(path)


def shop() -> Question[ShopData]:
    """The whole shop, without what happened in it, and without badges where no PIN guards them.  Raises Locked."""
    return lambda desk: desk.intake.whole()


def needs_pin() -> Question[bool]:
    """Whether a supervisor has to give the PIN before the whole shop, with everybody's badge, is taken along."""
    return lambda desk: desk.shop.setting_up.needs_supervisor


def table(assets: bool) -> Question[Made]:
    """Every holder with what is in it: as MTConnect's CuttingTool assets, else as a table with ISO 13399 columns."""

    def answer(desk: Desk) -> Made:
        if assets:
            return Made("tools.xml", desk.papers.as_mtconnect())
        return Made("tools.csv", desk.papers.as_csv().encode("utf-8"))

    return answer


def offsets(machine: str, template: Path) -> Question[Made]:
    """What a machine's control is told, by a template.  Raises FileFaults, CardFault, OSError."""

    def answer(desk: Desk) -> Made:
        content = desk.papers.offsets(machine, filing.take_text(template), template.name)
        return Made(f"{machine} {template.stem}.txt".translate(_IN_NO_NAME), content)

    return answer


# Files ----------------------------------------------------------------------------------------------------------


def goals(data: Path) -> tuple[Path, ...]:
    """Where files can be put: on each stick or shared folder, and in the kiosk's own folder."""
    return (*(drive / FOLDER for drive in drives()), data / EXPORTS)


def keep_shop(goal: Path, shop: ShopData, cancelled: Callable[[], bool]) -> Path:
    """Writes the whole shop as files that an import takes in again, all of them or none: where they lie.

    A goal that hangs is not waited for.  Raises GivenUp where somebody wants it no more, OSError.
    """
    return far_folder.work(goal.parent, lambda: _keep_shop(goal, shop, cancelled))


def _keep_shop(goal: Path, shop: ShopData, cancelled: Callable[[], bool]) -> Path:
    def between(_: int) -> None:
        if cancelled():
            raise GivenUp

    making = goal / MAKING
    try:
        made = write_shop(making, shop, between=between)
        between(len(made))
        for path in made:
            path.replace(goal / path.name)
    finally:
        shutil.rmtree(making, ignore_errors=True)
    return goal


def keep(goal: Path, made: Made) -> Path:
    """Writes a file, whole or not at all: where it lies.  Raises OSError."""

    def write() -> Path:
        goal.mkdir(parents=True, exist_ok=True)
        return filing.write(goal / made.name, made.content)

    return far_folder.work(goal.parent, write)
