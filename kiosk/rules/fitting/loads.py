"""What an assembly weighs, how hard it tilts its pocket and how fast its parts may turn.

Nothing is guessed low, but where less is the safe side (`least_cutter_mass_kg`): a mass that has to be worked out is
the solid cylinder around the cutter, and the tilting moment leaves out the taper behind the gauge line, which would
lighten it.  A value that cannot be bounded is None, never zero.  Densities: `trade` figures for steel 7800 and carbide
14500 kg/m3.
"""

from __future__ import annotations

from math import pi

from kiosk.rules.assembly import Assembly, Cutter, Material

DENSITY_KG_M3 = {Material.CARBIDE: 14500.0, Material.HSS: 8100.0}
GRAVITY_M_S2 = 9.80665
COOLED = 0.75  # of a shank with coolant bores: they are no wider than half of it


def cutter_mass_kg(cutter: Cutter) -> float:
    """Mass of a cutter: as entered, else of the solid round around it (flutes not taken off)."""
    if cutter.wt_kg is not None:
        return cutter.wt_kg
    head_mm = min(cutter.lu_mm if cutter.lu_mm is not None else cutter.oal_mm, cutter.oal_mm)
    wide_mm = max(cutter.dc_mm, cutter.dmm_mm) if cutter.lu_mm is None else cutter.dc_mm
    volume_mm3 = pi / 4 * (head_mm * wide_mm**2 + (cutter.oal_mm - head_mm) * cutter.dmm_mm**2)
    return volume_mm3 * 1e-9 * DENSITY_KG_M3[cutter.material]


def least_cutter_mass_kg(cutter: Cutter) -> float:
    """What a cutter weighs at least: as entered, else its shank behind the usable length, where that is known."""
    if cutter.wt_kg is not None:
        return cutter.wt_kg
    shank_mm = max(0.0, cutter.oal_mm - cutter.lu_mm) if cutter.lu_mm is not None else 0.0
    hollow = COOLED if cutter.coolant else 1.0
    return pi / 4 * shank_mm * cutter.dmm_mm**2 * 1e-9 * DENSITY_KG_M3[cutter.material] * hollow


def mass_kg(assembly: Assembly) -> float | None:
    """Mass of holder and cutter together, or None where the holder's is not known."""
    if assembly.holder.mass_kg is None:
        return None
    return assembly.holder.mass_kg + cutter_mass_kg(assembly.cutter)


def moment_nm(assembly: Assembly) -> float | None:
    """Upper bound of the tilting moment about the gauge line, or None where data is missing.

    The holder's whole mass is put half way to the nose and the cutter's at the cutter's middle.
    """
    projection_mm, length_mm = assembly.holder.projection_mm, assembly.length_mm
    if assembly.holder.mass_kg is None or projection_mm is None or length_mm is None:
        return None
    holder = assembly.holder.mass_kg * projection_mm / 2
    cutter = cutter_mass_kg(assembly.cutter) * max(0.0, length_mm - assembly.cutter.oal_mm / 2)
    return (holder + cutter) * GRAVITY_M_S2 / 1000


def rated_rpm(assembly: Assembly) -> float | None:
    """The lower of the speeds engraved on holder and cutter, or None where neither has one."""
    speeds = [rpm for rpm in (assembly.holder.rpm_max, assembly.cutter.rpmx_rpm) if rpm is not None]
    return min(speeds, default=None)
