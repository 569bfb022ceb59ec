"""Commands that set right what the book says: a holder's facts and place, its label, a holder gone, a PIN.

All but a shop's first PIN take a supervisor's PIN once there is one, and a reason.  What may not stand somewhere is
refused here as at a scan; nothing here ends a hold.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

from kiosk import words
from kiosk.commands.output import DONE, WANTING, complain, data_folder
from kiosk.commands.whose import at_work, new_pin, supervisor_named
from kiosk.desk import Desk
from kiosk.desk.session import NotThere
from kiosk.rules import tries
from kiosk.rules.cards import HolderCard
from kiosk.rules.outcomes import Refused
from kiosk.rules.outline import OutlineError


def correct(arguments: argparse.Namespace) -> int:
    """Facts of a holder, and where it stands."""
    figures = {"bore_mm": arguments.bore, "nose_mm": arguments.nose, "projection_mm": arguments.reach}
    facts = {name: value for name, value in (*figures.items(), ("name", arguments.name)) if value is not None}
    if not facts and arguments.place is None and not arguments.nowhere:
        return complain("correct: say what is wrong: --bore, --nose, --reach, --name, --place or --nowhere")
    with Desk.open(data_folder(arguments)) as desk:
        at_work(desk, arguments)
        card = desk.session.holder(desk.records.subject(arguments.code))
        place = _place(desk, arguments.place)
        if facts:
            try:
                card = desk.shop.correct(replace(card.holder, **facts), arguments.reason)
            except OutlineError as fault:
                return complain(f"correct: {arguments.code}: {fault}")
        if place is not None or arguments.nowhere:
            moved = desk.shop.correct_place(card.holder.key, place, arguments.reason)
            if isinstance(moved, Refused):
                complain(f"{words.say(moved.why)}. {words.say(moved.remedy)}")
                return WANTING
            card = moved
    print(f"{card.holder.name}  {card.at.name if card.at else words.t('hot.nowhere')}")
    return DONE


def _place(desk: Desk, said: str | None) -> str | None:
    if said is None:
        return None
    place = desk.session.cards.find_place(said)
    if place is None:
        raise NotThere("place", said)
    return place


def retire_label(arguments: argparse.Namespace) -> int:
    """A holder's label is read no more; a new one is printed with `label`."""
    with Desk.open(data_folder(arguments)) as desk:
        at_work(desk, arguments)
        subject = desk.session.cards.subject(arguments.code)
        text = subject.code if isinstance(subject, HolderCard) else arguments.code
        desk.shop.retire_code(text, arguments.reason)
    return DONE


def retire(arguments: argparse.Namespace) -> int:
    """A holder is gone for good."""
    with Desk.open(data_folder(arguments)) as desk:
        at_work(desk, arguments)
        desk.shop.retire(desk.records.subject(arguments.code), arguments.reason)
    return DONE


def pin(arguments: argparse.Namespace) -> int:
    """A supervisor's first PIN, or another."""
    with Desk.open(data_folder(arguments)) as desk:
        at_work(desk, arguments)
        key = supervisor_named(desk, arguments.name)
        chosen = new_pin(arguments.new_pin_file)
        if chosen is None:
            return complain(f"pin: {tries.LEAST_FIGURES} to {tries.MOST_FIGURES} figures, twice the same")
        desk.people.choose_pin(key, chosen, by_owner=True)
    return DONE
