"""Commands for those who prefer files: a shop's folder begun, and things added to it with codes made for them."""

from __future__ import annotations

import argparse

from kiosk.commands.output import DONE, WANTING, complain
from kiosk.words import say


def shop(arguments: argparse.Namespace) -> int:
    """`shop new FOLDER`, `shop add FOLDER KIND FIELD=VALUE ...`."""
    from kiosk.exchange import shop_adding as files
    from kiosk.exchange.faults import FileFaults
    from kiosk.filing import FileUnusable
    from kiosk.rules.shop_things.forms import Thing

    try:
        if arguments.act == "new":
            for path in files.begin(arguments.folder, arguments.folder.absolute().name):
                print(path)
            return DONE
        if arguments.kind in files.PERSON:
            said = dict(part.partition("=")[::2] for part in arguments.fields)
            made: tuple[str, ...] = (files.add_person(arguments.folder, said.get("name", ""), arguments.kind),)
        else:
            thing = Thing(arguments.kind or "")
            made = files.add(arguments.folder, thing, files.answers(thing, arguments.fields))
    except files.ThingFault as fault:
        print(say(fault.why))
        return WANTING
    except (files.FolderTaken, FileUnusable, FileFaults, OSError, ValueError) as fault:
        return complain(fault)
    for code in made:
        print(code)
    return DONE
