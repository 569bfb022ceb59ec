"""A kiosk in a process of its own, for tests that kill it: real ledger, real desk, real link; told what to do by lines.

    python -m tests.link.kiosk_process FOLDER

Commands come on standard input; every line written is acknowledged on standard output, as a JSON object with kiosk,
number and digest, once it is on the disk and not before.  What it printed is what a checker believes.
"""

from __future__ import annotations

import json
import select
import sys
from pathlib import Path
from typing import Any

from kiosk.desk import Desk
from kiosk.desk.kiosks import KiosksCounter
from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.link import link as link_module
from kiosk.rules.codes import CodeKind
from kiosk.rules.lines import PlaceAdded
from kiosk.rules.places import Kind, Place


def main(folder: Path) -> None:
    link_module._RETRIES_S = (0.2,)
    link_module._STOPPED_S = 0.5
    with Desk.open(folder) as desk:
        desk.begin_sharing()
        assert desk.kiosks is not None, "it must have joined"
        _serve(desk, desk.kiosks)


def _serve(desk: Desk, kiosks: KiosksCounter) -> None:
    kiosks.wrote()
    _say({"ready": True})
    while True:
        while kiosks.take():
            pass
        if not select.select([sys.stdin], [], [], 0.01)[0]:
            continue
        words = sys.stdin.readline().split()
        if not words or words[0] == "quit":
            return
        _say(_done(desk, kiosks, words))


def _done(desk: Desk, kiosks: KiosksCounter, words: list[str]) -> dict[str, Any]:
    match words:
        case ["scan", text]:
            scanned = desk.scan(text)
            lines = [{"number": line.id, "digest": line.hash} for line in scanned.lines]
            return {"outcome": type(scanned.outcome).__name__, "lines": lines}
        case ["place", name]:
            code = desk.session.fresh_code(CodeKind.PLACE)
            (line,) = desk.session.write(PlaceAdded(Place(code.text, name, Kind.CABINET)))
            return {"lines": [{"number": line.id, "digest": line.hash}], "code": code.text}
        case ["standing"]:
            standing = kiosks.standing()
            fault = str(standing.fault) if standing.fault else None
            return {"state": standing.state.value, "fault": fault, "applied": standing.applied,
                    "waiting": standing.waiting, "head": standing.head}  # fmt: skip
        case ["tables"]:
            return {"tables": {model.__name__: sorted(map(repr, rows(model.select()))) for model in T.DERIVED}}
        case ["check"]:
            return {"wrong": [f"{wrong.where}: {wrong.what}" for wrong in desk.session.book.check()]}
        case _:
            raise ValueError(f"what is {words}?")


def _say(said: dict[str, Any]) -> None:
    print(json.dumps(said), flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
