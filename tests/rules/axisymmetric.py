"""A second opinion on cooling, written without the model it judges: plain finite volumes, tiny steps.

Axisymmetric cells of 0.5 by 1 mm on a square grid, implicit Euler steps of 0.5 s, radiation taken from the step
before.  Slow and simple on purpose.  Shares nothing with kiosk.rules but the layout of a case.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
import scipy.sparse as sparse
from scipy.sparse.linalg import splu

SIGMA = 5.670374419e-8
DR_MM, DZ_MM, DT_S = 0.5, 1.0, 0.5


class Solution(NamedTuple):
    """safe_s: last step with any exposed cell above the limit.  curve: (steps, 2) time and hottest exposed °C."""

    safe_s: float
    curve: np.ndarray


def solve(case: dict[str, Any], until_s: float = 20_000.0) -> Solution:
    """The case to the moment when no cell is above the limit any more (or until_s)."""
    tool, segments = case["tool"], case["holder"]
    length = sum(segment["length_mm"] for segment in segments)
    tip = -tool["stickout_mm"]
    radius = max(tool["shank_mm"], *(max(s["od_start_mm"], s["od_end_mm"]) for s in segments)) / 2
    z = tip + (np.arange(round((length - tip) / DZ_MM)) + 0.5) * DZ_MM
    r = (np.arange(math.ceil(radius / DR_MM)) + 0.5) * DR_MM
    od, bore = np.zeros(len(z)), np.zeros(len(z))
    start = 0.0
    for segment in segments:
        here = (z >= start) & (z < start + segment["length_mm"])
        share = (z[here] - start) / segment["length_mm"]
        od[here] = segment["od_start_mm"] + share * (segment["od_end_mm"] - segment["od_start_mm"])
        bore[here] = segment["bore_mm"]
        start += segment["length_mm"]
    zz, rr = np.meshgrid(z, r, indexing="ij")
    steel = (rr < od[:, None] / 2) & (rr > bore[:, None] / 2)
    cutter = (rr < tool["shank_mm"] / 2) & (zz < tool["insert_mm"])
    solid = steel | cutter
    empty_bore = ~solid & (rr < bore[:, None] / 2) & (zz > 0)

    of_steel, of_cutter = case["steel"], case["tools"][tool["material"]]
    k = np.where(cutter, of_cutter["k"], of_steel["k"])
    rho_c = np.where(cutter, of_cutter["rho"] * of_cutter["c"], of_steel["rho"] * of_steel["c"])
    ring_m2 = 2 * math.pi * rr * DR_MM * 1e-6
    heat = (rho_c * ring_m2 * DZ_MM * 1e-3)[solid]
    number = np.full(solid.shape, -1)
    number[solid] = np.arange(len(heat))
    side_m2 = 2 * math.pi * (rr + DR_MM / 2) * DZ_MM * 1e-6
    rows, columns, flows = [], [], []
    for axis, face, step in ((1, side_m2[:, :-1], DR_MM), (0, ring_m2[:-1], DZ_MM)):
        one = (slice(None), slice(None, -1)) if axis else (slice(None, -1), slice(None))
        two = (slice(None), slice(1, None)) if axis else (slice(1, None), slice(None))
        both = solid[one] & solid[two]
        rows.append(number[one][both])
        columns.append(number[two][both])
        flows.append((face * 2 / (step * 1e-3) / (1 / k[one] + 1 / k[two]))[both])
    row, column, flow = (np.concatenate(parts) for parts in (rows, columns, flows))
    size = (len(heat), len(heat))
    conducts = sparse.coo_matrix((np.r_[-flow, -flow], (np.r_[row, column], np.r_[column, row])), size).tocsr()
    conducts = conducts - sparse.diags(np.asarray(conducts.sum(axis=1)).ravel())
    outside = np.pad(~solid & ~empty_bore, 1, constant_values=True)
    exposed_m2 = (side_m2 * outside[1:-1, 2:] + ring_m2 * outside[:-2, 1:-1] + ring_m2 * outside[2:, 1:-1])[solid]
    skin = exposed_m2 > 0

    ambient, limit = case["ambient_c"], case["limit_c"]
    hot = steel & ~cutter & (zz >= 0) & (zz < case["heat"]["length_mm"])
    at = np.where(hot, case["heat"]["temp_c"], ambient)[solid].astype(float)
    now_s, safe_s, curve = 0.0, 0.0, []
    for stage in case["stages"]:
        if stage.get("heated_again"):
            at = np.where(hot[solid], np.maximum(at, case["heat"]["temp_c"]), at)
        end_s = until_s if stage["end_s"] is None else stage["end_s"]
        wet = zz[solid] < stage.get("cooled_length_mm", math.inf)
        way, air = case["methods"][stage["method"]], case["methods"]["free_air"]
        film = np.where(wet, way["film_w_m2k"], air["film_w_m2k"])
        emits = np.where(wet, way["emissivity"], air["emissivity"]) * SIGMA
        factored, about = None, at
        while now_s < end_s - 1e-9:
            radiant = emits * ((at + 273.15) ** 2 + (ambient + 273.15) ** 2) * (at + ambient + 546.3)
            if factored is None or np.abs(at - about).max() > 2.0:
                leaves, about = exposed_m2 * (film + radiant), at
                system = (conducts + sparse.diags(heat / DT_S + leaves)).tocsc()
                factored = splu(system, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
            drift = (leaves - exposed_m2 * (film + radiant)) * (at - ambient)
            at = factored.solve(heat / DT_S * at + leaves * ambient + drift)
            now_s += DT_S
            hottest = float(at[skin].max())
            curve.append((now_s, hottest))
            if hottest > limit:
                safe_s = now_s
            elif stage["end_s"] is None and at.max() < limit:
                return Solution(safe_s, np.array(curve))
    return Solution(safe_s, np.array(curve))
