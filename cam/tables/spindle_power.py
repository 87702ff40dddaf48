"""What a cut needs of the spindle, and what the spindle can give."""

from __future__ import annotations

from itertools import pairwise

from cam.tables.rows import Machine


def find_removal_rate(*, width_mm: float, depth_mm: float, feed_mm_per_min: float) -> float:
    """Return the material removed, mm3/s, by a cut of a width and depth.

    Examples
    --------
    >>> find_removal_rate(width_mm=6.0, depth_mm=6.0, feed_mm_per_min=3600.0)
    2160.0
    """
    return width_mm * depth_mm * feed_mm_per_min / 60.0


def find_cutting_power(*, removal_mm3_per_s: float, cutting_energy_j_per_mm3: float, efficiency: float = 1.0) -> float:
    """Return the power, W, that a removal rate takes.

    Notes
    -----
    P = MRR x u / eta (tool-maker's technical formulas). The power curves of the machines give the
    power at the cutter, so their efficiency is 1.

    Examples
    --------
    >>> find_cutting_power(removal_mm3_per_s=2160.0, cutting_energy_j_per_mm3=0.3)
    648.0
    """
    return removal_mm3_per_s * cutting_energy_j_per_mm3 / efficiency


def find_power_available(machine: Machine, *, rpm: float) -> float:
    """Return the power, W, that a machine's spindle can give at a speed; linear between points.

    Raises
    ------
    ValueError
        If the speed lies outside the power curve, which reaches over all speeds of the spindle.
    """
    for before, after in pairwise(machine.power_curve):
        if before.rpm <= rpm <= after.rpm:
            share = (rpm - before.rpm) / (after.rpm - before.rpm)
            return before.power_w + share * (after.power_w - before.power_w)
    if len(machine.power_curve) == 1 and rpm == machine.power_curve[0].rpm:
        return machine.power_curve[0].power_w
    raise ValueError(f"{rpm:g} rpm lies outside the power curve of {machine.name}")
