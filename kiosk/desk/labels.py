"""The label counter: what stands on a label of the book's things, printing, and the first scan that binds.

A holder's new label gets a new code; it is the holder's only once it was scanned on the steel, so a label that
came out of the printer torn is simply printed again.  How a label looks and prints is `kiosk.labels`' business.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from kiosk import settings as shop_settings
from kiosk.desk.first_pin import opens_the_shop
from kiosk.desk.session import ActRefused, NotThere, Session
from kiosk.labels.batch import Progress
from kiosk.labels.command import Made, Request, make
from kiosk.labels.content import HotWords, LabelContent, badge, command_card, holder_label, hot_tag, place_label
from kiosk.labels.queue import Printing
from kiosk.labels.wrap import CameraView
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.ledger.places import Places
from kiosk.rules import codes
from kiosk.rules.cards import Command, CommandCard, HolderCard, OperatorCard, PlaceCard, RetiredCode
from kiosk.rules.holder_drawing import draw_holder
from kiosk.rules.lines import LabelPrinted, SettingChanged
from kiosk.rules.outcomes import Reason
from kiosk.rules.places import Kind
from kiosk.settings import LabelSettings
from kiosk.words import for_everybody, t

KINDS = ("holders", "places", "badges", "commands")


class LabelCounter:
    def __init__(self, session: Session) -> None:
        self._session = session
        self._fresh: dict[str, codes.Code] = {}  # codes for labels of holders that were not printed yet

    @property
    def settings(self) -> LabelSettings:
        return self._session.settings.labels

    def content(self, text: str) -> LabelContent:
        """The label of whatever has this code.  Raises NotThere, ActRefused for a badge kept back."""
        subject = self._session.cards.subject(text)
        match subject:
            case HolderCard():
                return holder_label(codes.parse(subject.code), subject.holder)
            case PlaceCard():
                return place_label(codes.parse(subject.place.code), subject.place, " · ".join(subject.path[:-1]))
            case OperatorCard():
                return self._badge(subject)
            case CommandCard():
                return self._card(subject.command)
            case RetiredCode():
                raise NotThere("label in use with code", text)
        raise NotThere("label", text)

    def all_of(self, kind: str) -> tuple[LabelContent, ...]:
        """Labels of all holders, places, badges or commands.  Raises NotThere for another word."""
        session = self._session
        if kind == "holders":
            found = rows(T.Holder.select(T.Holder.code).where(T.Holder.retired == 0).order_by(T.Holder.name))
            return tuple(self.content(row["code"]) for row in found if row["code"] and _ours(row["code"]))
        if kind == "places":
            places = session.cards.places
            return tuple(self.content(code) for code, row in places.rows.items() if not row["retired"])
        if kind == "badges":
            found = rows(T.Operator.select(T.Operator.key).where(T.Operator.retired == 0).order_by(T.Operator.name))
            cards = (session.cards.operator(row["key"]) for row in found)
            return tuple(self._badge(card) for card in cards if card and not self._kept_back(card))
        if kind == "commands":
            return tuple(self._card(command) for command in Command)
        raise NotThere("kind of label", kind)

    def inside(self, place_code: str, what: Sequence[Kind] = ()) -> tuple[LabelContent, ...]:
        """Labels of a place and everything in it, in walking order: a cabinet, all pockets of a machine."""
        places = self._session.cards.places
        if place_code not in places.rows:
            raise NotThere("place", place_code)
        found = places.within(place_code)
        return tuple(self.content(code) for code in found if not what or places.place(code).kind in what)

    @for_everybody()
    def hot_tag(self, holder_key: str) -> LabelContent:
        """A tag to hang at a hot holder.  Raises NotThere where it is not hot."""
        card = self._session.holder(holder_key)
        if card.hold is None:
            raise NotThere("hold on", card.name)
        moment = self._session.now()
        safe = None
        if card.hold.safe_in_s is not None:
            safe = _clock(moment.utc_s + card.hold.safe_in_s)
        names = ("hot", "since", "safe_from", "earliest", "no_end", "gloves", "scan")
        words = HotWords(**{name: t(f"label.hot.{name}") for name in names})
        facts = self._session.cards.hold_facts(holder_key)
        drawing = None
        if facts is not None:
            skin = replace(self._session.holds.skin(facts, moment), hands=())  # a tag stays where the steel moves
            drawing = draw_holder(card.holder, card.assembly, skin)
        return hot_tag(codes.parse(card.code), card.name, _clock(card.hold.since_utc_s), safe, words, drawing)

    def fresh_label(self, holder_key: str) -> LabelContent:
        """A label with a new code for a holder; bound by its first scan.  One printed before is used again."""
        session = self._session
        card = session.holder(holder_key)
        for row in rows(T.Printed.select().where(T.Printed.subject == holder_key, T.Printed.what == "holder")):
            return holder_label(codes.parse(row["text"]), card.holder)
        code = session.fresh_code(codes.CodeKind.HOLDER)
        session.write(LabelPrinted(code.text, holder_key, "holder"))
        return holder_label(code, card.holder)

    def new(self) -> tuple[LabelContent, ...]:
        """Labels that were never printed: places as they are walked, badges, holders that wear none.

        A holder's has a new code, which is its own once it was scanned on the steel; `noted` writes it down.
        """
        session = self._session
        printed = {row["text"]: row for row in rows(T.Printed.select())}
        places = session.cards.places
        found = [self.content(card) for card in _walked(places) if card not in printed]
        found += [each for each in self.all_of("badges") if each.code.text not in printed]
        waiting = {row["subject"] for row in printed.values() if row["what"] == "holder"}
        bare = T.Holder.select(T.Holder.key).where(T.Holder.retired == 0, T.Holder.code.is_null())
        for row in rows(bare.order_by(T.Holder.name, T.Holder.key)):
            if row["key"] not in waiting:
                holder = session.holder(row["key"]).holder
                found.append(replace(holder_label(self._for(holder.key), holder), subject=holder.key))
        return tuple(found)

    def _for(self, key: str) -> codes.Code:
        """The code that a holder's label is drawn with as long as this kiosk runs."""
        if key not in self._fresh:
            self._fresh[key] = self._session.fresh_code(codes.CodeKind.HOLDER)
        return self._fresh[key]

    def noted(self, contents: Sequence[LabelContent]) -> None:
        """These labels are on paper, or on the things already.  Raises ActRefused where a badge must be scanned first.

        What is not written down only counts as new once more.
        """
        session = self._session
        printed = {row["text"] for row in rows(T.Printed.select(T.Printed.text))}
        lines = []
        for content in contents:
            subject = session.cards.subject(content.code.text)
            if content.code.text in printed:
                continue
            if content.subject:
                self._fresh.pop(content.subject, None)
                lines.append(LabelPrinted(content.code.text, content.subject, "holder"))
            elif isinstance(subject, PlaceCard):
                lines.append(LabelPrinted(content.code.text, subject.place.code, "place"))
            elif isinstance(subject, OperatorCard):
                lines.append(LabelPrinted(content.code.text, subject.key, "operator"))
        if lines:
            session.write(*lines)

    def request(
        self,
        contents: Sequence[LabelContent],
        *,
        size: str | None = None,
        dpi: int | None = None,
        out: Path | None = None,
        queue: str | None = None,
        wrap_mm: float | None = None,
        first: int = 1,
    ) -> Request:
        """A request with this kiosk's own size, resolution, queue and stock where none is said."""
        mine = self.settings
        camera = self._session.settings.camera
        return Request(
            contents,
            size or mine.size,
            dpi or int(mine.dpi),
            out,
            None if out else queue or mine.queue or None,
            mine.media or None,
            first=first,
            wrap_mm=wrap_mm,
            view=CameraView(hfov_deg=camera.field_deg, distance_mm=camera.distance_mm),
        )

    def remember(self, key: str, value: str) -> None:
        """Keeps a choice of size, queue or stock for this kiosk.  Raises SettingsFault, ActRefused."""
        session = self._session
        session.signed_in()
        path = session.book.path.parent / shop_settings.NAME
        session.take_settings(shop_settings.changed(path, "labels", key, value))
        session.follow_rules()  # what the file cannot say beside it counts all the same
        session.write(SettingChanged(f"labels.{key}", value, "chosen while printing"))

    def make(
        self,
        request: Request,
        *,
        printing: Printing | None = None,
        progress: Progress | None = None,
        cancelled: Callable[[], bool] | None = None,
    ) -> Made:
        """Writes or prints, all or none.  Raises LabelError, OSError."""
        return make(request, printing=printing, progress=progress, cancelled=cancelled)

    def _kept_back(self, card: OperatorCard) -> bool:
        return not self._session.supervisor_at_work and opens_the_shop(card.key, card.role)

    @for_everybody()
    def _badge(self, card: OperatorCard) -> LabelContent:
        if self._kept_back(card):
            raise ActRefused(Reason.SUPERVISOR_FIRST)
        bound = T.Binding.select(T.Binding.text).where(
            T.Binding.subject == card.key, T.Binding.what == "operator", T.Binding.retired_line.is_null()
        )
        for row in rows(bound):
            return badge(codes.parse(row["text"]), card.name, t(f"role.{card.role}"))
        raise NotThere("badge of", card.name)

    @for_everybody()
    def _card(self, command: Command) -> LabelContent:
        code = codes.make(codes.CodeKind.COMMAND, command.value)
        name = command.name.lower()
        return command_card(code, t(f"label.card.{name}"), t(f"label.card_explains.{name}"))


def _walked(places: Places) -> Iterator[str]:
    """Codes of the places in use, each followed by what is in it."""
    tops = [code for code, row in places.rows.items() if not row["parent"]]
    for top in sorted(tops, key=lambda code: str(places.rows[code]["name"])):
        yield from (code for code in places.within(top) if not places.rows[code]["retired"])


def _ours(text: str) -> bool:
    try:
        codes.parse(text)
    except codes.CodeFault:
        return False
    return True


def _clock(utc_s: float) -> str:
    return time.strftime("%H:%M", time.localtime(utc_s))
