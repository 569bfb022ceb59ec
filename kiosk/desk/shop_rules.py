"""What the shop goes by, as its lines set it.

Where two kiosks set one of the values that holds rest on and did not hear each other, nobody's word is picked: until a
hand says which is right, the one that holds longer counts, at every kiosk.
"""

from __future__ import annotations

import msgspec

from kiosk.ledger import tables as T
from kiosk.ledger.book import rows
from kiosk.rules.hold_facts import strictest
from kiosk.rules.merge import Made, Matter

_made = msgspec.json.Decoder(tuple[Made, ...])
_HEAT = "heat."


def gone_by() -> dict[str, str]:
    """Every setting the book knows, by table and key, with the value that counts now."""
    known = {row["name"]: str(row["value"]) for row in rows(T.Setting.select())}
    settings = (T.Difference.matter == Matter.SETTING.value) & T.Difference.closed_line.is_null()
    for row in rows(T.Difference.select().where(settings, T.Difference.subject.startswith(_HEAT))):
        if (name := row["subject"]) in known:
            told = [known[name], *(each.value for each in _made.decode(row["claims"]))]
            known[name] = strictest(name.removeprefix(_HEAT), told)
    return known
