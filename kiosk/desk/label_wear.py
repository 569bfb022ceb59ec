"""How worn the shop's labels are: what cameras saw of them comes in, and what the book did not know is written down.

The last reads of a label are remembered here and nowhere else; `rules.label_wear` says when they make a line.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from contextlib import suppress

from kiosk.desk.session import Session
from kiosk.ledger.book import LedgerFault
from kiosk.rules.label_wear import READS, changed
from kiosk.rules.lines import LabelWorn


class LabelWear:
    def __init__(self, session: Session) -> None:
        self._session = session
        self._latest: dict[str, deque[float]] = {}

    def saw(self, spent: Mapping[str, float]) -> None:
        """Labels were read, each on one occasion.  spent: share of its error correction that damage took, by text.

        What a disk does not take is told again by the next read.
        """
        state, lines = self._session.book.state, []
        for text, share in spent.items():
            bound = state.get("binding", text)
            if bound is None or bound["retired_line"] is not None:
                self._latest.pop(text, None)
                continue
            latest = self._latest.setdefault(text, deque(maxlen=READS))
            latest.append(share)
            now = changed(self._session.cards.label_spent(text), tuple(latest))
            if now is not None:
                lines.append(LabelWorn(text, bound["subject"], bound["what"], now))
        if lines:
            with suppress(LedgerFault):
                self._session.write(*lines)
