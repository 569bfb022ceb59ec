"""The label command: labels to PDF, PNG or a print queue."""

from __future__ import annotations

import argparse
from dataclasses import replace

from kiosk import words
from kiosk.commands.output import DONE, complain, counting, desk_read
from kiosk.desk.labels import LabelCounter
from kiosk.desk.session import NotThere
from kiosk.labels.command import SheetWish
from kiosk.labels.content import LabelContent, bare_label
from kiosk.labels.faults import LabelError
from kiosk.labels.lists import read_list
from kiosk.rules.cards import HolderCard
from kiosk.rules.codes import Code, CodeFault, parse


def label(arguments: argparse.Namespace) -> int:

    with desk_read(arguments) as desk:
        labels = desk.labels

        def known(code: Code) -> LabelContent | None:
            try:
                return labels.content(code.text)
            except NotThere:
                return None

        try:
            contents = [_content(labels, code) for code in arguments.codes]
            if arguments.hot_tag:
                subjects = [desk.session.cards.subject(code) for code in arguments.codes]
                contents = [labels.hot_tag(card.holder.key) for card in subjects if isinstance(card, HolderCard)]
            if arguments.kind:
                contents += labels.all_of(arguments.kind)
            if arguments.inside:
                place = desk.session.cards.find_place(arguments.inside)
                if place is None:
                    raise NotThere("place", arguments.inside)
                contents += labels.inside(place)
            if arguments.from_csv:
                contents += read_list(arguments.from_csv, known)
            request = labels.request(
                contents,
                size=arguments.size,
                dpi=arguments.dpi,
                out=arguments.out,
                queue=arguments.queue,
                wrap_mm=arguments.wrap_mm,
                first=arguments.first,
            )
            request = replace(
                request,
                media=arguments.media or request.media,
                copies=arguments.copies,
                module_dots=arguments.module_dots,
                sheet=_sheet(arguments),
            )
            made = labels.make(request, progress=counting("labels"))
        except LabelError as fault:
            return complain(fault)
    if made.advice and not made.advice.ok:
        complain(made.advice)
    if made.left_out:
        complain(f"left out, no room: {', '.join(made.left_out)}")
    if made.queue_dpi is not None:
        complain(words.t("label.other_dpi", queue=request.queue or "", queue_dpi=made.queue_dpi, dpi=request.dpi))
    where_to = f"job {made.job.number} on {made.job.queue}" if made.job else ", ".join(map(str, made.files))
    print(f"{made.labels} labels: {where_to}")
    return DONE


def _content(labels: LabelCounter, text: str) -> LabelContent:
    """The label of a code; of one that is not in the book yet, the code alone."""
    try:
        return labels.content(text)
    except NotThere:
        try:
            code = parse(text)
        except CodeFault:
            raise NotThere("label", text) from None
        complain(f"{code.grouped} is not in the book; its label carries the code alone")
        return bare_label(code)


def _sheet(arguments: argparse.Namespace) -> SheetWish | None:
    if not arguments.sheet:
        return None
    return SheetWish(
        arguments.sheet,
        arguments.start,
        arguments.rows,
        arguments.columns,
        arguments.left_mm,
        arguments.top_mm,
        arguments.gap_mm,
    )
