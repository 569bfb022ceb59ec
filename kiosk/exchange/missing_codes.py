"""Codes for the rows of a table that have none: a spreadsheet filled by hand gets them before it is read.

They are written into the table itself, so that file, labels and record agree; every other cell stays as it was.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path

from kiosk import filing
from kiosk.exchange.shop_adding import fresh
from kiosk.exchange.tables_csv import MOST_LINES, decoded, delimiter_of
from kiosk.rules.codes import CodeKind

# What tells a table by a column only it has.
_KINDS = (("coupling", CodeKind.HOLDER), ("role", CodeKind.BADGE), ("kind", CodeKind.PLACE))


def fill(path: Path) -> int:
    """Makes a code for each row of holders, places or people without one; how many there were.

    A table of another kind, and one that cannot be split into its columns, stays as it is: the import says why.
    Raises FileFaults (no text), FileUnusable, OSError.
    """
    text = decoded(filing.take(path), path.name)
    if text.count("\n") > MOST_LINES:
        return 0
    mark = delimiter_of(text)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True))
    except csv.Error:
        return 0
    at = next((number for number, row in enumerate(rows) if any(cell.strip() for cell in row)), None)
    header = [cell.strip() for cell in rows[at]] if at is not None else []
    kind = next((kind for column, kind in _KINDS if column in header), None)
    if at is None or kind is None or "code" not in header:
        return 0
    column, make, made = header.index("code"), fresh(kind), 0
    for row in rows[at + 1 :]:
        if any(cell.strip() for cell in row) and len(row) == len(header) and not row[column].strip():
            row[column] = make()
            made += 1
    if made:
        out = io.StringIO()
        csv.writer(out, delimiter=mark, lineterminator="\r\n").writerows(rows)
        filing.write(path, out.getvalue())
    return made
