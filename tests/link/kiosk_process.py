"""A kiosk in a process of its own, for tests that kill it: real ledger, real desk, real link; told what to do by lines.

    python -m tests.link.kiosk_process FOLDER

Commands come on standard input; every line written is acknowledged on standard output, as a JSON object with kiosk,
number and digest, once it is on the disk and not before.  What it printed is what a checker believes.
"""

from __future__ import annotations

import gc
import json
import select
import sys
import time
import tracemalloc
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from kiosk.desk import Desk
from kiosk.desk.kiosks import KiosksCounter
from kiosk.desk.session import ActRefused
from kiosk.ledger import tables as T
from kiosk.ledger.book import Written, rows
from kiosk.link import link as link_module
from kiosk.rules.assembly import Clamping, Coupling, Holder
from kiosk.rules.checkin import warmth
from kiosk.rules.codes import CodeKind
from kiosk.rules.lines import CodeBound, Entry, HolderRegistered, KioskStands, Moved, PlaceAdded
from kiosk.rules.outcomes import Refused
from kiosk.rules.places import Kind, Place

STEEL = Holder("H1", "Shrink 12", Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0)
PLACES = (
    Place("bench", "Bench", Kind.BENCH),
    Place("station", "Station", Kind.SHRINK),
    Place("rack", "Rack", Kind.COOLING, way="free_air"),
    Place("slot", "Slot", Kind.SLOT),
    Place("slot2", "Slot 2", Kind.SLOT),
)
SHOP = (
    *(PlaceAdded(place) for place in PLACES),
    *(CodeBound(f"at-{place.code}", place.code, "place", foreign=True) for place in PLACES),
    HolderRegistered(STEEL, stood_cold=True),
    CodeBound("steel-1", "H1", "holder", foreign=True),
    Moved("H1", None, "bench"),
)

OFFICE = ("adds", "unlock", "set", "pin", "retire", "settle", "settle_as", "calls", "imports", "takes_back")


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
            reason = scanned.outcome.reason.value if isinstance(scanned.outcome, Refused) else None
            outcome = type(scanned.outcome).__name__
            return {"outcome": outcome, "reason": reason, "lines": _told(scanned.lines)}
        case ["place", name]:
            _admitted(desk)
            code = desk.session.fresh_code(CodeKind.PLACE)
            lines = desk.session.write(PlaceAdded(Place(code.text, name, Kind.CABINET)))
            return {"lines": _told(lines), "code": code.text}
        case ["shop"]:
            _admitted(desk)
            desk.session.write(*SHOP)
            return {}
        case ["steel", count]:
            desk.session.write(*_steel(int(count)))
            return {}
        case ["stands", place]:
            return {"lines": _told(desk.session.write(KioskStands("K", place, heats=False)))}
        case ["undo"]:
            undone = desk.undo()
            reason = undone.outcome.reason.value if isinstance(undone.outcome, Refused) else None
            return {"reason": reason, "lines": _told(undone.lines)}
        case ["lock_out", kiosk]:
            told = desk.lock_out(kiosk)
            return {"shared": told.shared, "unshared": told.unshared}
        case ["wait", seconds]:
            until_s = time.monotonic() + float(seconds)
            while time.monotonic() < until_s:
                desk.tick()
                time.sleep(0.05)
            return {}
        case ["card", key]:
            desk.tick()
            card, apart = desk.session.holder(key), desk.session.cards.apart
            assert apart is not None
            return {
                "warmth": warmth(card).value, "place": card.at.name if card.at else None, "held": card.hold is not None,
                "unheard": card.hold is not None and card.hold.unheard, "heard": apart.stations_heard,
                "all_heard": apart.all_heard, "caught_up": apart.caught_up, "station": apart.station,
                "awake": apart.awake,
                "remaining_s": card.hold.remaining_s if card.hold else None,
                "differences": [row["key"] for row in rows(T.Difference.select()) if row["closed_line"] is None],
            }  # fmt: skip
        case [word, *_] if word in OFFICE:
            return _of_the_office(desk, words)
        case ["rules"]:
            desk.tick()
            session = desk.session
            return {
                "names": {row["key"]: row["name"] for row in rows(T.Holder.select())},
                "limit_c": session.settings.heat.limit_c, "badge_required": session.settings.kiosk.badge_required,
                "retired": [row["key"] for row in rows(T.Operator.select()) if row["retired"]],
                "unlocked": session.unlocked_by(), "differences": [each.key for each in desk.differences.open()],
            }  # fmt: skip
        case ["standing"]:
            standing = kiosks.standing()
            fault = str(standing.fault) if standing.fault else None
            return {"state": standing.state.value, "fault": fault, "applied": standing.applied,
                    "waiting": standing.waiting, "head": standing.head}  # fmt: skip
        case ["tables"]:
            return {"tables": {model.__name__: sorted(map(repr, rows(model.select()))) for model in T.DERIVED}}
        case ["trace"]:
            tracemalloc.start(8)
            return {}
        case ["grown"]:
            gc.collect()
            kept = tracemalloc.take_snapshot().filter_traces([tracemalloc.Filter(False, tracemalloc.__file__)])
            tracemalloc.stop()
            most = kept.statistics("traceback")[:8]
            told = [f"{each.size / 1e3:.0f} kB in {each.count}: " + " < ".join(
                f"{Path(frame.filename).name}:{frame.lineno}" for frame in reversed(each.traceback)) for each in most]
            return {"kb": sum(each.size for each in kept.traces) / 1e3, "most": told}
        case ["check"]:
            return {"wrong": [f"{wrong.where}: {wrong.what}" for wrong in desk.session.book.check()]}
        case _:
            raise ValueError(f"what is {words}?")


def _of_the_office(desk: Desk, words: list[str]) -> dict[str, Any]:
    """What a supervisor does; or why it was refused."""
    desk.tick()
    try:
        match words:
            case ["adds", key, role, pin]:
                desk.people.add(key, key.title(), role, f"badge-{key}", pin=pin)
            case ["unlock", key, pin]:
                desk.people.unlock(key, pin)
            case ["set", name, value]:
                table, _, setting = name.partition(".")
                desk.people.change_setting(table, setting, value, "as agreed")
            case ["pin", key, pin]:
                desk.people.set_pin(key, pin)
            case ["retire", key]:
                desk.people.retire(key, "left")
            case ["settle", key, value]:
                desk.differences.settle(key, value)
            case ["settle_as", key, kiosk]:
                found = next(each for each in desk.differences.open() if each.key == key)
                desk.differences.settle(key, next(each.value for each in found.claims if each.kiosk_id == kiosk))
            case ["calls", key, name]:
                desk.session.write(HolderRegistered(replace(desk.session.holder(key).holder, name=name), "as agreed"))
            case ["imports", path]:
                plan = desk.intake.plan(Path(path))
                desk.intake.take(plan, Path(path).name)
                return {"written": len(plan.lines)}
            case ["takes_back"]:
                return {"kept": desk.intake.undo(desk.intake.imports()[0].line, "the wrong file").kept}
    except ActRefused as refused:
        return {"refused": refused.reason.value}
    except (LookupError, PermissionError) as refused:
        return {"refused": type(refused).__name__}
    return {}


def _steel(count: int) -> Iterator[Entry]:
    """So many holders beside the first, every other one a collet chuck; labels `steel-0` and on, all on the bench."""
    for at in range(count):
        clamping, label = (Clamping.COLLET if at % 2 else Clamping.SHRINK_FIT), f"steel-{at}"
        if label == "steel-1":
            continue
        yield HolderRegistered(replace(STEEL, key=f"S{at}", name=f"Holder {at}", clamping=clamping), stood_cold=True)
        yield CodeBound(label, f"S{at}", "holder", foreign=True)
        yield Moved(f"S{at}", None, "bench")


def _told(lines: Sequence[Written]) -> list[dict[str, Any]]:
    return [{"number": line.id, "digest": line.hash} for line in lines]


def _admitted(desk: Desk) -> None:
    """Waits until every other kiosk knows of this one: before that nobody works at it."""
    until_s = time.monotonic() + 40.0
    while time.monotonic() < until_s:
        desk.tick()
        if desk.session.cards.apart is not None and desk.session.cards.apart.admitted:
            return
        time.sleep(0.05)


def _say(said: dict[str, Any]) -> None:
    print(json.dumps(said), flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
