"""What stands on a label, before anybody asks how large it is.

A holder's, a place's or a person's data become a code and a few short lines; words come from the caller, so
that a label speaks the shop's language.  It must never invent a code: every one here was checked before.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from kiosk.labels.faults import WrongUse
from kiosk.rules.assembly import Holder
from kiosk.rules.codes import Code, CodeKind
from kiosk.rules.holder_drawing import Drawing
from kiosk.rules.places import Place


class Tag(Enum):
    """Kinds of label; the value is how messages name them."""

    HOLDER = "holder"
    PLACE = "place"
    BADGE = "badge"
    COMMAND = "command"
    HOT = "hot"


_CODED = {
    Tag.HOLDER: CodeKind.HOLDER,
    Tag.PLACE: CodeKind.PLACE,
    Tag.BADGE: CodeKind.BADGE,
    Tag.COMMAND: CodeKind.COMMAND,
    Tag.HOT: CodeKind.HOLDER,
}


@dataclass(frozen=True, slots=True)
class LabelContent:
    """One label.  `name` is the short name, `details` the small lines, `number` what is drawn largest.

    heading: a word above everything (`HOT` on a hot tag).  drawing: the holder, where there is room for it.  Raises
    WrongUse for a code of another kind.
    """

    tag: Tag
    code: Code
    name: str
    details: tuple[str, ...] = ()
    number: str = ""
    heading: str = ""
    drawing: Drawing | None = None
    subject: str = ""  # key of the holder that it is for, where its code is nobody's yet

    def __post_init__(self) -> None:
        if self.code.kind is not _CODED[self.tag]:
            raise WrongUse(
                f"code {self.code.grouped} is a {self.code.kind.name.lower()} code and cannot stand on a "
                f"{self.tag.value} label"
            )


_OF_KIND = {kind: tag for tag, kind in _CODED.items() if tag is not Tag.HOT}


def bare_label(code: Code) -> LabelContent:
    """The code alone, for a thing that is not in the book yet."""
    return LabelContent(_OF_KIND[code.kind], code, "")


def holder_label(code: Code, holder: Holder) -> LabelContent:
    """Short name, coupling and bore."""
    return LabelContent(Tag.HOLDER, code, holder.name, (f"{holder.coupling.designation} · {bore(holder)}",))


def bore(holder: Holder) -> str:
    """`Ø12`, or a collet's range `Ø2–16`."""
    if holder.bore_min_mm is None or holder.bore_min_mm == holder.bore_mm:
        return f"Ø{holder.bore_mm:g}"
    return f"Ø{holder.bore_min_mm:g}–{holder.bore_mm:g}"


def place_label(code: Code, place: Place, within: str = "") -> LabelContent:
    """Name, large number of a drawer, slot or pocket, and what it lies in.  `within`: the parent's name."""
    number = "" if place.number is None else str(place.number)
    details = (within,) if within and within not in place.name else ()
    return LabelContent(Tag.PLACE, code, place.name, details, number)


def badge(code: Code, name: str, role: str = "") -> LabelContent:
    """An operator's badge."""
    return LabelContent(Tag.BADGE, code, name, (role,) if role else ())


def command_card(code: Code, words: str, explanation: str = "") -> LabelContent:
    """A card that is scanned instead of touching glass."""
    return LabelContent(Tag.COMMAND, code, words, (explanation,) if explanation else ())


@dataclass(frozen=True, slots=True)
class HotWords:
    """What a hot tag says; a translation gives others."""

    hot: str = "HOT"
    since: str = "Heated"
    safe_from: str = "Safe from"
    earliest: str = "at the earliest"
    no_end: str = "Safe only by a reading"
    gloves: str = "Heat-resistant gloves"
    scan: str = "Scan before you touch"


def hot_tag(
    code: Code,
    name: str,
    since: str,
    safe_from: str | None,
    words: HotWords | None = None,
    drawing: Drawing | None = None,
) -> LabelContent:
    """A tag to hang at a hot holder; its symbol is the holder's own.

    since, safe_from: times of day as people read them; `safe_from` None when only a reading ends the hold.  The
    time is an earliest one, because time nobody watched does not count.  drawing: how warm each part may be now.
    """
    say = words or HotWords()
    safe = say.no_end if safe_from is None else f"{say.safe_from} {safe_from}"
    details = (f"{say.since} {since}", safe, *(() if safe_from is None else (say.earliest,)), say.gloves, say.scan)
    return LabelContent(Tag.HOT, code, name, details, heading=say.hot, drawing=drawing)
