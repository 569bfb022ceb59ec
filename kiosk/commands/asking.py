"""Commands that ask the book: what is hot, where a thing is, what happened to it, and whether all agrees."""

from __future__ import annotations

import argparse
from datetime import datetime

from kiosk import words
from kiosk.commands.output import (
    DONE,
    WANTING,
    complain,
    counting,
    desk_read,
    hot_line,
    place_of,
    print_json,
)
from kiosk.desk.records import Filter


def hot(arguments: argparse.Namespace) -> int:
    """What is hot, most dangerous first."""
    with desk_read(arguments) as desk:
        for card in desk.heat.board():
            if arguments.json:
                print_json({"code": card.code, "name": card.name, "place": place_of(card), "hold": card.hold})
            else:
                print(hot_line(card))
    return DONE


def find(arguments: argparse.Namespace) -> int:
    """Holders by what somebody says of them, soonest usable first."""
    with desk_read(arguments) as desk:
        found = desk.finding.find(" ".join(arguments.text), count=arguments.count)
        for row in found.rows:
            if arguments.json:
                print_json(row)
                continue
            left = f", touchable in {words.clock(row.left_s)}" if row.left_s else ""
            print(f"{row.name:32} {words.grouped(row.code)}  {row.place_name or 'nowhere known'}{left}")
        if found.total > len(found.rows) and not arguments.json:
            print(f"... and {found.total - len(found.rows)} more")
    return DONE if found.total else WANTING


def history(arguments: argparse.Namespace) -> int:
    """What happened to a holder, an assembly, a place or an operator; or where a holder was at a time."""
    with desk_read(arguments) as desk:
        subject = desk.records.subject(arguments.code)
        if arguments.at:
            try:
                when = datetime.fromisoformat(arguments.at).timestamp()
            except (ValueError, OverflowError, OSError):
                return complain(f"--at: {arguments.at!r} is no date and time, e.g. 2026-11-24T14:05")
            was = desk.records.where_at(subject, when)
            if arguments.json:
                print_json(was)
            else:
                print(was.place_name if was and was.place_name else "nowhere known")
            return DONE if was and was.place_name else WANTING
        for row in desk.records.history(subject, Filter(newest=arguments.count)):
            if arguments.json:
                print_json(row)
            else:
                when_ = datetime.fromtimestamp(row.utc_s).astimezone().isoformat(" ", "seconds")
                print(f"{when_}  {row.operator or '-':12}  {words.say(row.say)}")
    return DONE


def check(arguments: argparse.Namespace) -> int:
    """Verifies every line and table."""
    if (arguments.line is None) != (arguments.hash is None):
        return complain("check: --line and --hash go together; both stand on a printed report and are told of a copy")
    if arguments.line is not None:
        return _check_line(arguments)
    with desk_read(arguments) as desk:
        found = desk.session.book.check(counting("lines"))
        total = desk.session.book.last_id
    for wrong in found:
        if arguments.json:
            print_json(wrong)
        else:
            print(f"{wrong.where}: {wrong.what}")
    if not found and not arguments.json:
        print(f"{total} lines and every table agree")
    return WANTING if found else DONE


def _check_line(arguments: argparse.Namespace) -> int:
    """Whether the book has the line that a printed report or a copy names."""
    with desk_read(arguments) as desk:
        held = desk.records.line_check(arguments.line, arguments.hash)
        last = desk.session.book.last_id
    if arguments.json:
        print_json({"line": arguments.line, "genuine": held.genuine, "last": last})
    elif held.line is None:
        print(f"not genuine: the book ends with line {last}; either it lost lines, or this is from another book")
    elif held.genuine:
        print(f"genuine: line {arguments.line}: {words.say(held.line.say)}")
    else:
        print(f"not genuine: line {arguments.line} has another hash: {words.say(held.line.say)}")
    return DONE if held.genuine else WANTING
