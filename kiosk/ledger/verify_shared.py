"""The check of a ledger with several chains: each chain, the order of all, and what the fold makes of them.

Replays into plain dictionaries like `verify`, which asks here where a kiosk has others.  Any line that was changed,
lost, swapped or put in by a hand is named, and so is an order that is not the one the book hashes say.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import msgspec

from kiosk.ledger.derive import Broken, MemoryState, mentions
from kiosk.ledger.fold import Placed, Tips, folded, referring
from kiosk.ledger.lineform import HASH_BEFORE_ANY_LINE
from kiosk.ledger.shared_form import SAID, WAITING, Kept, digest_of, kept
from kiosk.ledger.sharing import image_of
from kiosk.rules.chain import EMPTY_BOOK, next_book

Mentioned = Callable[[int, set[str]], None]


class Fold:
    """The tables folded from nothing into dictionaries."""

    def __init__(self) -> None:
        self.memory = MemoryState()
        self.images: list[tuple[str, str, str]] = []  # rows as they were before own waiting lines
        self._tips = Tips()
        self._ids: dict[tuple[str, int], int] = {}

    def tell(self, line: Kept) -> set[str]:
        """Moves the tables along with a line; gives back what it speaks of.  Raises as `fold.folded`."""
        said = line.said
        self._ids[line.chain, said.number] = line.line
        waits = line.line >= WAITING
        placed = Placed(line.line, line.chain, said, self._tips.behind(line.chain, said.seen), self._id_of)
        if not waits:
            self._tips.last[line.chain] = line.line
        entry = referring(said.entry, placed)
        for change in folded(placed, self.memory):
            if waits:
                self.images.append(image_of(change, self.memory))
            self.memory.apply(change)
        return mentions(entry, said.stamp(line.line))

    def _id_of(self, chain: str, number: int) -> int:
        return self._ids.get((chain, number), WAITING + number)


def replayed(
    execute: Callable[[str], Any], fold: Fold, mentioned: Mentioned, beaten: dict[int, str]
) -> Iterator[tuple[str, str]]:
    """Where something is wrong, and what.  beaten: filled with the hashes of the numbers of own lines in it."""
    own = " and ".join(row[0] for row in execute('SELECT "own" FROM "joined"').fetchall())
    lines = execute('SELECT COUNT(*) FROM "line"').fetchone()[0]
    chained = execute('SELECT COUNT(*) FROM "chained"').fetchone()[0]
    if lines != chained:
        yield "lines", f"are {lines} where the chains have {chained}"
    ends: dict[str, tuple[int, str, int]] = {}
    book, applied = EMPTY_BOOK, 0
    books = {0: EMPTY_BOOK}
    for line in kept(execute(f'{SAID} ORDER BY "line"."id"').fetchall()):
        said, where = line.said, f"line {line.said.number} of {line.chain}"
        number, digest, seen = ends.get(line.chain, (0, HASH_BEFORE_ANY_LINE, 0))
        if said.number != number + 1 or said.previous != digest or said.seen < seen:
            yield where, f"does not follow line {number} of its chain: lines are lost, swapped or put in"
        if digest_of(said.body) != line.digest:
            yield where, "does not match its hash: it was changed"
        ends[line.chain] = said.number, line.digest, said.seen
        if line.line < WAITING:
            book = next_book(book, line.digest)
            if line.line != applied + 1 or line.book != book:
                yield where, f"is not shared line {applied + 1} by the hash of the order"
            applied = line.line
            books[applied] = book
        elif line.chain != own or line.book is not None or line.line != WAITING + said.number:
            yield where, "waits for its place and is not this kiosk's"
        if said.seen and books.get(said.seen) != said.seen_book:
            yield where, "was written by a kiosk that knew another order"
        if line.chain == own and said.number in beaten:
            beaten[said.number] = line.digest
        try:
            mentioned(line.line, fold.tell(line))
        except (Broken, msgspec.MsgspecError, KeyError, TypeError) as error:
            yield where, f"cannot be replayed: {error}"
    images = [(number, *image) for number, image in enumerate(fold.images, 1)]
    if execute('SELECT "id", "what", "key", "before" FROM "image" ORDER BY "id"').fetchall() != images:
        yield "image", "does not hold the rows as they were before this kiosk's waiting lines"
    if [row[0] for row in execute('SELECT "kiosk" FROM "watch"').fetchall()] != [own]:
        yield "joined", "names another kiosk than the one whose time is kept"
