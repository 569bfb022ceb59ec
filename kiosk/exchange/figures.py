"""Figures out of files, held against the one table of what they can be (`rules.bounds_of_lines`)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeVar

from kiosk.exchange.faults import FieldFault
from kiosk.rules.bounds_of_lines import faults

Made = TypeVar("Made")
_AS_WRITTEN: Mapping[str, str] = {}


def possible(made: Made, columns: Mapping[str, str] = _AS_WRITTEN) -> Made:
    """`made`, unless a figure in it cannot be.  columns: what the file calls a field, where it calls it otherwise.

    Raises FieldFault for the first.
    """
    for fault in faults(made):
        column = columns.get(fault.field, fault.field)
        raise FieldFault(column, "cannot_be", said=f"{fault.value:g}", bound=str(fault.bound))
    return made
