"""Labels that the tests of this room print."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from kiosk.labels.content import LabelContent, holder_label
from kiosk.rules.assembly import Clamping, Coupling, Holder
from kiosk.rules.codes import CodeKind, make

Labels = Callable[..., LabelContent]


@pytest.fixture
def label() -> Labels:
    """A holder's label by the number of its code."""

    def holder(number: int = 123_456_789, name: str = "Shrink 12 x 90") -> LabelContent:
        steel = Holder("T001", name, Coupling.parse("HSK63"), Clamping.SHRINK_FIT, 12.0)
        return holder_label(make(CodeKind.HOLDER, number), steel)

    return holder
