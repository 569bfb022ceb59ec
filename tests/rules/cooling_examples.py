"""Cases of our own for the cooling tests, as varied as a shop's."""

from __future__ import annotations

from typing import Any

METHODS = {
    "free_air": {"film_w_m2k": 7.0, "emissivity": 0.35},
    "forced_air": {"film_w_m2k": 45.0, "emissivity": 0.35},
    "sleeve": {"film_w_m2k": 900.0, "emissivity": 0.0},
    "mist": {"film_w_m2k": 350.0, "emissivity": 0.0},
}
STEEL = {"k": 28.0, "rho": 7800.0, "c": 470.0, "alpha": 1.15e-5}
TOOLS = {
    "carbide": {"k": 80.0, "rho": 14500.0, "c": 230.0, "alpha": 5.5e-6},
    "hss": {"k": 25.0, "rho": 8100.0, "c": 460.0, "alpha": 1.15e-5},
}


def case(
    name: str,
    segments: list[tuple[float, float, float, float]],
    tool: tuple[float, float, float, str],
    heat: tuple[float, float],
    stages: list[tuple[str, float, float | None, float | None]],
    ambient_c: float = 22.0,
    limit_c: float = 43.0,
) -> dict[str, Any]:
    """A case as a file would give it."""
    keys = ("length_mm", "od_start_mm", "od_end_mm", "bore_mm")
    stays = []
    for method, start_s, end_s, wet in stages:
        stay: dict[str, Any] = {"method": method, "start_s": start_s, "end_s": end_s}
        stays.append(stay if wet is None else stay | {"cooled_length_mm": wet})
    return {
        "name": name,
        "holder": [dict(zip(keys, segment, strict=True)) for segment in segments],
        "tool": dict(zip(("shank_mm", "insert_mm", "stickout_mm", "material"), tool, strict=True)),
        "heat": dict(zip(("length_mm", "temp_c"), heat, strict=True)),
        "ambient_c": ambient_c,
        "limit_c": limit_c,
        "stages": stays,
        "methods": METHODS,
        "steel": STEEL,
        "tools": TOOLS,
    }


SMALL = [(40, 15, 20, 4), (20, 32, 32, 0), (16, 24, 22, 17)]
MIDDLE = [(55, 24, 31, 10), (14, 36, 44, 0), (26, 50, 50, 0), (25, 38, 36, 26)]
STEEP = [(52, 27, 34, 16), (19, 63, 63, 0), (68, 44, 25, 17)]
WIDE = [(64, 44, 53, 25), (10, 57, 67, 0), (29, 100, 100, 0), (50, 75, 73, 53)]

CASES = [
    case("small_hss_air", SMALL, (4, 22, 14, "hss"), (25, 300), [("free_air", 0, None, None)], ambient_c=19),
    case(
        "middle_dipped_twice",
        MIDDLE,
        (10, 42, 33, "carbide"),
        (45, 330),
        [
            ("free_air", 0, 12, None),
            ("sleeve", 12, 34, 50),
            ("free_air", 34, 60, None),
            ("sleeve", 60, 82, 50),
            ("free_air", 82, None, None),
        ],
    ),
    case(
        "middle_long_sleeve",
        MIDDLE,
        (10, 42, 33, "carbide"),
        (45, 350),
        [("free_air", 0, 30, None), ("sleeve", 30, 150, 58), ("free_air", 150, None, None)],
        ambient_c=26,
    ),
    case(
        "steep_short_sleeve",
        STEEP,
        (16, 44, 40, "carbide"),
        (47, 310),
        [("free_air", 0, 18, None), ("sleeve", 18, 58, 52), ("free_air", 58, None, None)],
    ),
    case(
        "steep_blown",
        STEEP,
        (16, 44, 40, "hss"),
        (47, 340),
        [("free_air", 0, 10, None), ("forced_air", 10, 250, None), ("free_air", 250, None, None)],
        limit_c=48,
    ),
    case(
        "wide_mist",
        WIDE,
        (25, 56, 50, "carbide"),
        (60, 320),
        [("free_air", 0, 20, None), ("mist", 20, 140, None), ("free_air", 140, None, None)],
        ambient_c=20,
    ),
]
