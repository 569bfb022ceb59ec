"""Questions about labels, and the work of drawing and printing them.

Everything below the second rule asks nothing of the desk: it lays out, proves and prints, and what takes long of
it belongs on a `Press`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

from kiosk.desk import Desk
from kiosk.labels.command import Made, Request
from kiosk.labels.command import make as _make
from kiosk.labels.content import LabelContent, Tag
from kiosk.labels.faults import LabelError
from kiosk.labels.layout import Layout, lay_out
from kiosk.labels.queue import Job, Queue, system_printing
from kiosk.labels.sizes import STANDARD, LabelSize, parse_size
from kiosk.rules.cards import PlaceCard
from kiosk.rules.holder_drawing import Drawing
from kiosk.rules.places import Kind
from kiosk.screens.questions import Question

__all__ = [
    "Job", "LabelContent", "LabelError", "LabelSize", "Layout", "Made", "Queue", "Request",  "Tag", "WholePlace",
    "all_of", "drawn_place", "fresh", "hot_tag", "inside", "label_of", "last_code", "layout",
    "make", "new", "noted", "queues", "remember", "request", "retry", "sizes", "whole_places",
]  # fmt: skip


class WholePlace(NamedTuple):
    """A cabinet or machine.  `places`: how many are in it."""

    card: PlaceCard
    places: int


def label_of(code: str) -> Question[tuple[LabelContent, str | None]]:
    """What stands on the label of this code, and the key of the holder it is on, if it is on one."""

    def answer(desk: Desk) -> tuple[LabelContent, str | None]:
        content = desk.labels.content(code)
        holder = getattr(desk.session.cards.subject(code), "holder", None)
        return content, getattr(holder, "key", None)

    return answer


def last_code() -> Question[str | None]:
    """The code of the holder scanned last."""

    def answer(desk: Desk) -> str | None:
        key = desk.session.last_holder
        return desk.session.holder(key).code if key else None

    return answer


def hot_tag(key: str) -> Question[tuple[LabelContent, ...]]:
    """The tag that is hung on a hot holder."""
    return lambda desk: (desk.labels.hot_tag(key),)


def inside(place: str) -> Question[tuple[LabelContent, ...]]:
    """A place and everything in it."""
    return lambda desk: desk.labels.inside(place)


def all_of(kind: str) -> Question[tuple[LabelContent, ...]]:
    """Every holder, place, badge or command."""
    return lambda desk: desk.labels.all_of(kind)


def new() -> Question[tuple[LabelContent, ...]]:
    """Everything whose label was never printed."""
    return lambda desk: desk.labels.new()


def noted(contents: Sequence[LabelContent]) -> Question[None]:
    """These labels were printed."""
    return lambda desk: desk.labels.noted(contents)


def drawn_place(content: LabelContent) -> Question[Drawing | None]:
    """A holder's drawing with the spot where its label goes; None: it cannot be drawn."""

    def answer(desk: Desk) -> Drawing | None:
        from kiosk.rules.label_place import drawn

        key = content.subject or getattr(desk.session.cards.subject(content.code.text), "holder", None)
        return drawn(desk.session.holder(key).holder if isinstance(key, str) else key) if key else None

    return answer


def fresh(key: str) -> Question[tuple[LabelContent, ...]]:
    """A holder's replacement label, with a code that is its own once it was scanned."""
    return lambda desk: (desk.labels.fresh_label(key),)


def whole_places() -> Question[tuple[WholePlace, ...]]:
    """The cabinets and machines."""

    def answer(desk: Desk) -> tuple[WholePlace, ...]:
        places = desk.session.cards.places
        cards = (card for card in desk.shop.places() if card.place.kind in (Kind.CABINET, Kind.MACHINE))
        return tuple(WholePlace(card, len(places.within(card.place.code))) for card in cards)

    return answer


def remember(setting: str, value: str) -> Question[None]:
    """This kiosk's size or queue from now on."""
    return lambda desk: desk.labels.remember(setting, value)


def request(contents: tuple[LabelContent, ...], size: str, queue: str) -> Question[Request]:
    """What is to be made of these; queue "": files beside the book.  Raises LabelError, OSError."""

    def answer(desk: Desk) -> Request:
        if queue:
            return desk.labels.request(contents, size=size, queue=queue)
        folder = desk.session.book.path.parent / "labels"
        folder.mkdir(exist_ok=True)
        text = contents[0].code.text
        out: Path = folder / (f"{text}.png" if len(contents) == 1 else f"{text}-etc.pdf")
        return replace(desk.labels.request(contents, size=size, out=out), queue=None)

    return answer


# Ink ------------------------------------------------------------------------------------------------------------


def sizes() -> tuple[LabelSize, ...]:
    """The sizes that can be chosen."""
    return STANDARD


def layout(content: LabelContent, size: str, dpi: int) -> Layout:
    """How a label is drawn.  Raises LabelError where it does not fit."""
    return lay_out(content, parse_size(size), dpi)


def queues() -> tuple[Queue, ...]:
    """The printers this kiosk can send to.  Raises LabelError."""
    return system_printing().queues()


def make(request: Request, progress: Callable[[int, int], None], cancelled: Callable[[], bool]) -> Made:
    """Prove and print; the job as the printer has it by then.  Raises LabelError, OSError."""
    made = _make(request, progress=progress, cancelled=cancelled)
    if made.job is None:
        return made
    try:
        return replace(made, job=system_printing().job(made.job))
    except LabelError:  # it was sent, and that is what counts
        return made


def retry(job: Job) -> Job:
    """Send a job once more, after somebody has looked at the printer.  Raises LabelError."""
    return system_printing().retry(job, looked=True)
