"""Things of a shop as hypothesis makes them: every figure anywhere within its bounds, every name as odd as may be."""

from __future__ import annotations

from typing import Any, get_args, get_type_hints

from hypothesis import strategies as st

from kiosk.exchange.tables_csv import Dialect
from kiosk.rules.assembly import Clamping, Coupling, Cutter, Holder, Material, Measured
from kiosk.rules.bounds_of_lines import BOUNDS

ODD_NAMES = st.sampled_from(
    ["=1+1", "+x", "-5", "@a", "'quoted", 'say "when"', "a;b,c", "Ä ö ß", "''", "1,5", "yes", "Fräser\u00a0Ø 12", "#"]
)
NAMES = ODD_NAMES | st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Zl", "Zp", "Zs"]), min_size=1, max_size=12
)
COUPLINGS = st.sampled_from([Coupling.parse(text) for text in ("HSK63", "HSK25", "A40", "J50")])
DIALECTS = st.builds(
    Dialect,
    delimiter=st.sampled_from([",", ";", "\t"]),
    decimal=st.sampled_from([".", ","]),
    byte_order_mark=st.booleans(),
)


def figures(kind: type) -> dict[str, st.SearchStrategy[Any]]:
    """A strategy for each figure of a dataclass, the bounds themselves included; None where it may be unknown."""
    found: dict[str, st.SearchStrategy[Any]] = {}
    hints = get_type_hints(kind)
    for name, (least, most, *_) in BOUNDS[kind].items():
        hint = {hints[name], *get_args(hints[name])}
        if int in hint:
            made: st.SearchStrategy[Any] = st.integers(int(least), int(most))
        else:
            edges = st.sampled_from([float(least), float(most)])
            made = edges | st.floats(least, most).map(lambda value: round(value, 3) + 0.0).filter(
                lambda value, low=least, high=most: low <= value <= high
            )
        found[name] = st.none() | made if type(None) in hint else made
    return found


CUTTERS = st.builds(
    Cutter,
    key=NAMES,
    name=NAMES,
    material=st.sampled_from(Material),
    flat=st.booleans(),
    shank_h6=st.booleans(),
    coolant=st.booleans(),
    **figures(Cutter),
)
HOLDERS = st.builds(
    Holder,
    key=NAMES,
    name=NAMES,
    coupling=COUPLINGS,
    clamping=st.sampled_from(Clamping),
    coolant=st.booleans(),
    knob=st.none() | NAMES,
    **figures(Holder),
)
MEASURED = st.builds(Measured, **figures(Measured))
