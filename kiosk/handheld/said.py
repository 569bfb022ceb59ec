"""Answers of the desk as a page shows them: words, figures and signs, ready to be put on glass.

Values in, plain values out; nothing is asked and nothing decided.  Sentences are those of the window
(`kiosk.telling`, `assets/translations`); `tone` is what a colour says besides: done, stop, heat, missing or plain.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from kiosk import words
from kiosk.desk.audits import AuditRow, AuditStatus, DifferenceCard, LookFor, PhotoMark, PhotoSeen
from kiosk.desk.desk import Scanned
from kiosk.desk.finding import Found, FoundRow, WayThere
from kiosk.desk.handover import MachineView, Pocket
from kiosk.rules import audit as A
from kiosk.rules.as_of import AsOf, as_of
from kiosk.rules.cards import Command, HolderCard, PlaceCard, Until
from kiosk.rules.finding import Usable
from kiosk.rules.offsets import Card, CardFault
from kiosk.rules.outcomes import Done, Outcome, Reason, Refused, Step, Wait, undo_offered_s
from kiosk.rules.places import Kind
from kiosk.rules.say import Value
from kiosk.telling import found_words, old_words, place_words, told
from kiosk.words import grouped, say, t

Body = dict[str, Any]

MOST_HOT = 60  # rows of the board
_LEADS = {Command.SHOW_HOT: "hot", Command.START_AUDIT: "audit", Command.CLOSE_AUDIT: "audit"}
_USABLE = {
    Usable.READY: ("✓", "done"), Usable.NEAR: ("✓", "plain"), Usable.COOLING: ("!", "heat"),
    Usable.UNPROVEN: ("!", "heat"), Usable.IN_MACHINE: ("→", "plain"), Usable.NOWHERE: ("?", "missing"),
    Usable.OUT: ("–", "plain"), Usable.REMEASURE: ("!", "plain"), Usable.WORN: ("×", "stop"),
    Usable.BROKEN: ("×", "stop"),
}  # fmt: skip
_SHOWS = {
    A.Shows.EMPTY: ("–", "plain"), A.Shows.MISSING: ("?", "missing"), A.Shows.SEEN: ("✓", "done"),
    A.Shows.MISPLACED: ("↔", "stop"), A.Shows.HOT: ("!", "heat"), A.Shows.UNKNOWN: ("×", "stop"),
}  # fmt: skip
_DIFFERS = {
    A.Difference.HOT: ("!", "heat"), A.Difference.NOT_PROVEN_COOL: ("!", "heat"),
    A.Difference.MISSING: ("?", "missing"), A.Difference.MISPLACED: ("↔", "stop"),
    A.Difference.UNEXPECTED: ("↔", "stop"), A.Difference.EMPTY_HOLDER: ("–", "stop"),
}  # fmt: skip
_SEEN_AS = {
    Step.AUDIT_TWIN: "term.difference.duplicate_label", Step.AUDIT_RETIRED: "term.difference.retired_label",
    Step.AUDIT_BY_HAND: "photo.by_hand",
}  # fmt: skip


# Scans ----------------------------------------------------------------------------------------------------------


def is_alarm(outcome: Outcome) -> bool:
    """Whether it fills the page, here and at the kiosk: something hot is where a hand would reach for it."""
    return outcome.reason is Reason.HOT if isinstance(outcome, Refused) else isinstance(outcome, Done) and outcome.alarm


def outcome(scanned: Scanned, number: int, pair_s: float) -> Body:
    """What came of a scan.  number: grows from outcome to outcome of a telephone, so that an older one is never shown
    for a newer.  pair_s: between the two scans of a pair."""
    made, card = scanned.outcome, scanned.holder or scanned.outcome.holder
    what = told(made, card)
    body: Body = {
        "kind": "outcome", "number": number, "state": what.state, "word": what.word, "title": what.title,
        "detail": what.detail, "origin": what.origin, "goal": what.goal, "why": what.why, "remedy": what.remedy,
        "next": what.next, "undo_s": 0.0, "wait_s": None, "holder": card.holder.key if card else "", "lead": "",
        "offer": what.offer if what.offer in ("pocket", "adopt") else "",
    }  # fmt: skip
    if is_alarm(made):
        body |= {"state": "hot", "word": t("heat.word")} | _heat(made, card)
    elif isinstance(made, Wait):
        if made.step is not Step.AUDIT_AT:  # where an audit stands is no half of a pair
            body["wait_s"] = made.pending.left_s(scanned.moment, pair_s)
    elif isinstance(made, Done):
        body["undo_s"] = 0.0 if made.step is Step.HEATING else undo_offered_s(scanned.undo_s or 0.0)
        body["lead"] = _LEADS.get(made.then, "") if made.then else ""
        in_machine = made.goal is not None and made.goal.place.kind in (Kind.POCKET, Kind.SPINDLE)
        if scanned.undo_s and in_machine:
            body["lead"] = "card"
        elif scanned.undo_s and _came_back(made):
            body["lead"] = "condition"
    elif isinstance(made, Refused) and made.reason is Reason.HOLDS_NOTHING and made.goal is not None:
        waiting = made.pending.card if made.pending else None
        body |= {"lead": "machine", "machine": made.goal.place.code}
        body["holder"] = waiting.holder.key if isinstance(waiting, HolderCard) else ""
    return body


def _came_back(outcome: Done) -> bool:
    before, goal = outcome.holder, outcome.goal
    if before is None or before.assembly is None or before.at is None or goal is None:
        return False
    return before.at.place.kind.in_machine and not goal.place.kind.in_machine


def _heat(outcome: Outcome, card: HolderCard | None) -> Body:
    """What fills the page: what is hot, until when, where it must not go and where it should."""
    hold = card.hold if card else None
    about = t("heat.about", hottest_c=hold.hottest_c, where=hold.where) if hold else ""
    refused = isinstance(outcome, Refused)
    place = t("heat.not_to", place=outcome.goal.name) if refused and outcome.goal else ""
    return {
        "about": about,
        "until": t(hold.until.value if hold else Until.READING.value),
        "left_s": hold.counts_s if hold else None,
        "place": place,
        "why": "" if isinstance(outcome, Refused) else say(outcome.say),
        "remedy": say(outcome.remedy) if isinstance(outcome, Refused) else t("auditing.alarm"),
    }


def board(hot: Sequence[HolderCard], warm: Sequence[HolderCard]) -> Body:
    """What is hot, most dangerous first, and what is too warm to measure."""
    held = {card.holder.key for card in hot}
    cards = [*hot, *(card for card in warm if card.holder.key not in held)]
    return {
        "kind": "board", "hot": len(hot), "more": max(0, len(cards) - MOST_HOT),
        "rows": [_hot_row(card) for card in cards[:MOST_HOT]],
    }  # fmt: skip


def _hot_row(card: HolderCard) -> Body:
    hold = card.hold
    says, left_s = t("hot.touch_only"), card.measure_in_s
    if hold is not None:
        says, left_s = t("hot.touch"), hold.safe_in_s
        if hold.take_out_in_s is not None and hold.take_out_in_s <= 0:
            says, left_s = t("hot.take_it_out"), None
        elif hold.until is Until.PROBE_NOW:
            says = t("hot.probe_now", where=hold.where)
        elif left_s is None:
            says, left_s = t(hold.until.value), hold.counts_s
    return {
        "holder": card.holder.key, "name": card.name,
        "place": place_words(card.at.name if card.at else t("hot.nowhere"), as_of(card.apart, card.last_kiosk)),
        "about": t("hot.temperature", hottest_c=hold.hottest_c) if hold else "",
        "says": says, "left_s": left_s, "tone": "heat" if hold else "plain",
    }  # fmt: skip


# Finding and machines -------------------------------------------------------------------------------------------


def found(answer: Found) -> Body:
    """Rows of what was found, soonest usable first."""
    return {
        "kind": "found", "total": answer.total, "nothing": t("find.nothing"),
        "rows": [_found_row(row) for row in answer.rows],
    }  # fmt: skip


def _found_row(row: FoundRow) -> Body:
    sign, tone = _USABLE[row.usable]
    word = t(f"find.now.{row.usable.name.lower()}", place=row.place_name, left_s=row.left_s)
    place = row.place_name if row.place_name and row.place_name not in word else ""
    return {
        "holder": row.key, "name": row.name, "word": word, "sign": sign, "tone": tone,
        "note": " · ".join(part for part in (place, old_words(row.as_of)) if part),
    }  # fmt: skip


def way(answer: WayThere) -> Body:
    """The way to a holder, from outside in."""
    sign, tone = _USABLE[answer.usable]
    word = t(f"find.now.{answer.usable.name.lower()}", place=answer.path[0] if answer.path else None,
             left_s=answer.left_s)  # fmt: skip
    stations: list[str] = []
    for at, name in enumerate(answer.path):
        for before in answer.path[:at]:
            name = name.removeprefix(f"{before} · ")
        stations.append(name)
    return {
        "kind": "way", "name": answer.name, "code": grouped(answer.code), "sign": sign, "tone": tone,
        "word": " · ".join(part for part in (word, old_words(answer.as_of)) if part),
        "stations": stations or [t("find.nowhere")],
    }  # fmt: skip


def machines(answer: Sequence[MachineView]) -> Body:
    """Every machine, and how full it is."""
    rows = [{"code": each.code, "name": each.name, "note": _full(each)} for each in answer]
    return {"kind": "machines", "rows": rows}


def _full(machine: MachineView) -> str:
    full = sum(pocket.holder is not None for pocket in machine.pockets)
    old = old_words(AsOf(machine.as_of_utc_s) if machine.may_differ else None)
    return " · ".join(part for part in (t("machine.filled", full=full, pockets=len(machine.pockets)), old) if part)


def machine(answer: MachineView, holder: HolderCard | None) -> Body:
    """A magazine, and for a holder asked about what each pocket has against it."""
    return {
        "kind": "machine", "code": answer.code, "name": answer.name, "note": _full(answer),
        "holder": holder.holder.key if holder else "", "title": holder.name if holder else "",
        "best": answer.best, "no_room": t("machine.no_room") if holder and answer.no_room else "",
        "pockets": [_pocket(pocket, answer.best, holder is not None) for pocket in answer.pockets],
    }  # fmt: skip


def _pocket(pocket: Pocket, best: int | None, asked: bool) -> Body:
    sign, tone = " ", "plain"
    about, remedy = t("machine.free", pocket=pocket.number), ""
    if pocket.closed:
        sign, about = "×", t("machine.closed", pocket=pocket.number)
    elif pocket.name is not None:
        sign, about = "●", t("machine.holds", pocket=pocket.number, name=pocket.name)
    elif pocket.owner:
        sign, about = "★", t("machine.kept", pocket=pocket.number)
    if asked and pocket.refused is not None:
        sign = sign if sign != " " else "×"
        about, remedy = say(pocket.refused.why), say(pocket.refused.remedy)
    elif asked and pocket.number == best:
        sign, tone = "→", "act"
    return {
        "code": pocket.code, "label": f"{pocket.number:02}", "sign": sign, "tone": tone, "about": about,
        "remedy": remedy, "may": asked and pocket.refused is None, "holder": pocket.holder or "",
    }  # fmt: skip


def card(answer: Card | CardFault, number: int | None) -> Body:
    """What is typed at the control, in the order it is typed; or why nothing may be."""
    if isinstance(answer, CardFault):
        return {
            "kind": "card", "name": answer.name, "good": False, "rows": [],
            "mind": f"{say(answer.reason)}. {say(answer.remedy)}",
        }  # fmt: skip
    radius = answer.value("R")
    across = (t("offsets.r"), radius) if radius is not None else (t("card_to_type.diameter"), answer.value("DC"))
    coolant = answer.value("COOLANT")
    rows = (
        (t("card_to_type.number"), "–" if number is None else str(number)),
        (t("card_to_type.length"), _figure(answer.value("LF"))),
        (across[0], _figure(across[1])),
        (t("card_to_type.radius"), _figure(answer.value("RE"))),
        (t("card_to_type.edges"), str(answer.value("ZEFP") or "–")),
        (
            t("card_to_type.coolant"),
            "–" if coolant is None else t("card_to_type.on") if coolant else t("card_to_type.off"),
        ),
    )
    return {
        "kind": "card", "name": answer.name, "good": not answer.cautions, "rows": rows,
        "mind": ". ".join(map(say, answer.cautions)),
    }  # fmt: skip


def _figure(value_mm: Value) -> str:
    """Three decimals always, as controls show them."""
    return "–" if not isinstance(value_mm, int | float) else f"{value_mm:.3f}".replace(".", t("number.decimal"))


# Audits ---------------------------------------------------------------------------------------------------------


def audits(running: Sequence[AuditRow], places: Sequence[PlaceCard]) -> Body:
    """What can be gone on with, and what can be audited."""
    open_there = {row.place for row in running}
    rows = [
        {
            "place": row.place, "name": t("auditing.go_on", place=_named(row.name)),
            "note": t("auditing.since", at=clock(row.opened_utc_s), who=row.opened_by),
        }
        for row in running
    ]  # fmt: skip
    rows += [
        {"place": each.place.code, "name": each.name, "note": t(f"kind.{each.place.kind.value}")}
        for each in places
        if each.place.code not in open_there
    ]
    if A.HOT not in open_there:
        rows.append({"place": A.HOT, "name": t("auditing.everything_hot"), "note": ""})
    return {"kind": "audits", "rows": rows}


def audit(status: AuditStatus) -> Body:
    """How an audit stands: what is seen, drawer by drawer, and what waits for a hand."""
    return {
        "kind": "audit", "key": status.row.key, "place": _named(status.row.name), "at": status.at or "",
        "seen": status.counts.seen, "expected": status.counts.expected, "missing": len(status.missing),
        "people": ", ".join(status.people),
        "groups": [
            {
                "code": group.group.code, "name": group.group.name, "spots": [_spot(spot) for spot in group.spots],
                "note": t("auditing.group", seen=group.seen, count=group.seen + group.missing),
            }
            for group in status.groups
        ],
        "differences": [_difference(each) for each in status.differences],
        "reasons": [{"reason": each, "word": t(f"auditing.reason.{each}")} for each in A.REASONS],
    }  # fmt: skip


def _spot(spot: A.SpotState) -> Body:
    sign, tone = _SHOWS[spot.state]
    state = t("auditing.not_seen") if spot.state is A.Shows.MISSING else t(f"term.state.{spot.state.value}")
    return {
        "label": spot.spot.name.rsplit(" · ", 1)[-1], "name": grouped(spot.name), "sign": sign, "tone": tone,
        "state": state, "holder": spot.holder or "" if spot.state is A.Shows.MISSING else "",
    }  # fmt: skip


def _difference(each: DifferenceCard) -> Body:
    sign, tone = _DIFFERS.get(each.difference, ("×", "stop"))
    missing = each.difference is A.Difference.MISSING
    return {
        "key": each.key, "name": grouped(each.name), "sign": sign, "tone": tone,
        "what": t("auditing.not_seen") if missing else t(f"term.difference.{each.difference.value}"),
        "places": found_words(each.difference, each.booked_name, None if missing else each.found_name),
        "actions": [
            {
                "action": action.value, "word": t(f"auditing.do.{action.value}"),
                "reason": action is A.Action.CARRIED_OVER,
            }
            for action in each.actions
            if action is not A.Action.REGISTERED  # whose a label is takes the kiosk's own screens
        ],
    }  # fmt: skip


def settled(outcome: Outcome) -> Body:
    """What came of a touch."""
    if isinstance(outcome, Refused):
        return {"kind": "said", "good": False, "say": f"{say(outcome.why)}. {say(outcome.remedy)}"}
    return {"kind": "said", "good": True, "say": say(outcome.say)}


def look_for(answer: LookFor) -> Body:
    """Where a missing holder was last, and where to look first."""
    at = clock(answer.utc_s) if answer.utc_s is not None else None
    last = t("auditing.last_seen", place=answer.place, at=at, who=answer.by) if at else ""
    places = ", ".join(name for _, name in answer.places[:2])
    return {"kind": "said", "good": True, "say": f"{last} {t('auditing.look_in', places=places) if places else ''}"}


def photograph(answer: PhotoSeen) -> Body:
    """What to draw over a drawer's picture; corners in its pixels."""
    return {"kind": "photo", "alarm": answer.alarm, "marks": [_mark(mark) for mark in answer.marks]}


def _mark(mark: PhotoMark) -> Body:
    sign, tone = _SHOWS[mark.state]
    word = t(_SEEN_AS.get(mark.step, f"term.state.{mark.state.value}"))
    return {
        "corners": mark.corners, "name": grouped(mark.name), "sign": sign, "tone": tone, "word": word,
        "say": word if mark.state is A.Shows.SEEN else say(mark.say),
    }  # fmt: skip


def clock(utc_s: float) -> str:
    """`14:05`, with the day before it where that is not today."""
    at = datetime.fromtimestamp(utc_s)
    return f"{at:%H:%M}" if at.date() == datetime.now().date() else f"{words.date(at, year=False)} {at:%H:%M}"


def _named(name: str) -> str:
    return t(name) if name.startswith("term.") else name


# What a page says in the window's own words.
_SHARED = (
    "rail.scan", "rail.hot", "rail.find", "rail.audit", "card.undo", "heat.word", "heat.understood", "scan.idle",
    "scan.type", "scan.pocket", "typed.title", "pad.wrong", "hot.none", "hot.none_remedy", "strip.quiet",
    "strip.opening", "machine.choose", "machine.put", "card_to_type.title", "card_to_type.typed", "auditing.pause",
    "auditing.close", "auditing.which_note", "photo.button", "photo.not_read", "photo.not_read_said", "photo.aim",
    "reading.back", "condition.good", "condition.worn", "condition.broken", "condition.unknown", "step.of",
    "hint.into_picture", "hint.closer", "hint.more_light", "hint.tilt_it", "hint.turn_it", "hint.hold_still",
    "hint.refocus", "hint.wipe_it", "strip.hot.one", "strip.hot.few", "strip.hot.many", "auditing.total", "photo.again",
)  # fmt: skip


def page_words() -> dict[str, str]:
    """The words a page says by itself, by their keys."""
    spoken = words.catalogue(words.language()).words
    return {key: text for key, text in spoken.items() if key.startswith("phone.") or key in _SHARED}
