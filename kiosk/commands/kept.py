"""The command that shows a supervisor what the camera saw of labels nobody could read or that were refused."""

from __future__ import annotations

import argparse
from datetime import datetime

from kiosk.commands.output import DONE, complain, data_folder, print_json


def unread(arguments: argparse.Namespace) -> int:
    """Lists the pictures that are kept, oldest first, with what they take; or removes them."""
    from kiosk.reader.kept import FOLDER, MOST, Ring

    ring = Ring(data_folder(arguments) / FOLDER)
    try:
        if arguments.clear:
            removed = ring.clear()
            if arguments.json:
                print_json({"removed": removed})
            else:
                print(f"{removed} pictures removed from {ring.folder}")
            return DONE
        kept = ring.pictures()
    except (OSError, ValueError) as fault:  # ValueError: a NUL in the folder's name
        return complain(fault)
    for picture in kept:
        when = datetime.fromtimestamp(picture.at_s).isoformat(" ", "seconds")
        if arguments.json:
            print_json({"at": when, "why": picture.why, "bytes": picture.size_bytes, "file": str(picture.path)})
        else:
            print(f"{when}  {picture.why:8}  {picture.size_bytes / 1e3:7.1f} kB  {picture.path}")
    if not arguments.json:
        total_kb = sum(picture.size_bytes for picture in kept) / 1e3
        print(f"{len(kept)} of at most {MOST} pictures, {total_kb:.1f} kB in {ring.folder}")
    return DONE
