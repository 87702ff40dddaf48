"""The chip: feed per tooth by cutter and depth, its window, and how a narrow bite thins it.

Both the plan, which chooses a feed, and the judge, which checks one, read the table here.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import sqrt

from cam.errors import TableRefused
from cam.findings import NOWHERE, Origin, error
from cam.tables.rows import ChipLoad, Cutter, CutterKind, Material

# Depths and diameters that differ by less are the same: they carry rounding of sums of decimals.
_SAME_MM = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class ChipWindow:
    """The chip load that a cutter may take at a depth: lowest, first choice, highest.

    ``depth_factor`` is already in them. ``source`` is that of the table rows used.
    """

    low_mm: float
    start_mm: float
    high_mm: float
    depth_factor: float
    source: str


def find_feed(*, rpm: float, flutes: int, chip_load_mm: float) -> float:
    """Return the feed, mm/min, that gives a chip load.

    Notes
    -----
    F = rpm x flutes x chip load (tool-maker and cutter-shop charts).

    Examples
    --------
    >>> find_feed(rpm=18000, flutes=2, chip_load_mm=0.1)
    3600.0
    """
    return rpm * flutes * chip_load_mm


def find_chip_load(*, feed_mm_per_min: float, rpm: float, flutes: int) -> float:
    """Return the chip load, mm per tooth, of a feed; 0 rpm is a ValueError.

    Examples
    --------
    >>> find_chip_load(feed_mm_per_min=3600, rpm=18000, flutes=2)
    0.1
    """
    if rpm <= 0.0 or flutes < 1:
        raise ValueError("a chip load needs a turning cutter with a flute")
    return feed_mm_per_min / (rpm * flutes)


def find_ramp_feed(*, feed_mm_per_min: float, flutes: int) -> float:
    """Return the feed, mm/min, down a ramp: feed / flutes (tool-maker chart).

    Examples
    --------
    >>> find_ramp_feed(feed_mm_per_min=3240.0, flutes=2)
    1620.0
    """
    return feed_mm_per_min / flutes


def find_chip_thinning(*, radial_mm: float, diameter_mm: float) -> float:
    """Return the thickest chip of a side cut as a share of the feed per tooth.

    Parameters
    ----------
    radial_mm
        The width of the bite, a_e.
    diameter_mm
        The cutter's, D.

    Notes
    -----
    2 sqrt[(a_e / D)(1 - a_e / D)], and 1 from half the diameter up (chord geometry).

    Examples
    --------
    >>> round(find_chip_thinning(radial_mm=0.3, diameter_mm=6.0), 3)
    0.436
    """
    share = radial_mm / diameter_mm
    if share <= 0.0:
        raise ValueError("a bite has a width")
    return 1.0 if share >= 0.5 else 2.0 * sqrt(share * (1.0 - share))


def find_depth_factor(material: Material, *, diameters: float, origin: Origin = NOWHERE) -> float:
    """Return what the chip load is multiplied by at a pass depth of so many diameters.

    Linear between the rows; above the shallowest row its factor holds.

    Raises
    ------
    TableRefused
        ``depth-beyond-table``, deeper than the last row.
    """
    rows = material.depth_factors
    if diameters <= rows[0].diameters:
        return rows[0].factor
    for before, after in pairwise(rows):
        if diameters <= after.diameters + _SAME_MM:
            share = (diameters - before.diameters) / (after.diameters - before.diameters)
            return before.factor + min(share, 1.0) * (after.factor - before.factor)
    raise TableRefused(
        error(
            "depth-beyond-table",
            f"a pass {diameters:.2f} diameters deep is deeper than the table of {material.name} reaches, "
            f"{rows[-1].diameters:g} diameters",
            remedy="take a thicker cutter or shallower passes",
            origin=origin,
        )
    )


def find_chip_window(*, cutter: Cutter, material: Material, depth_mm: float, origin: Origin = NOWHERE) -> ChipWindow:
    """Return the window of the chip load, mm per tooth, for a cutter at a pass depth.

    Parameters
    ----------
    cutter, material
        Rows of the tables.
    depth_mm
        How deep the pass is.
    origin
        Who asks, for messages.

    Raises
    ------
    TableRefused
        ``no-chip-load`` if the table has no rows around this diameter and flute count;
        ``depth-beyond-table``; ``chip-too-thin`` if the depth leaves no chip above the material's
        ``min_chip_mm``.

    Notes
    -----
    Low, start and high are interpolated linearly by diameter and multiplied by the depth factor;
    low is never below ``min_chip_mm``, under which any cutter rubs.
    """
    row = _interpolate_chip_load(cutter, material, origin)
    factor = find_depth_factor(material, diameters=depth_mm / cutter.diameter_mm, origin=origin)
    low = max(row.low_mm * factor, material.min_chip_mm)
    start, high = row.start_mm * factor, row.high_mm * factor
    if start < low:
        raise TableRefused(
            error(
                "chip-too-thin",
                f"{depth_mm:g} mm deep, {cutter.name} may take {start:.3f} mm a tooth; below {low:.3f} mm it rubs",
                remedy="take shallower passes, a thicker cutter or one with fewer flutes",
                origin=origin,
            )
        )
    return ChipWindow(low_mm=low, start_mm=start, high_mm=high, depth_factor=factor, source=row.source)


def _interpolate_chip_load(cutter: Cutter, material: Material, origin: Origin) -> ChipLoad:
    """Return the table's row for a cutter's diameter, made from the two rows around it if need be."""
    rows = sorted(
        (row for row in material.chip_loads if row.flutes == cutter.flutes and cutter.kind is not CutterKind.DRILL),
        key=lambda row: row.diameter_mm,
    )
    for row in rows:
        if abs(row.diameter_mm - cutter.diameter_mm) < _SAME_MM:
            return row
    for before, after in pairwise(rows):
        if before.diameter_mm < cutter.diameter_mm < after.diameter_mm:
            share = (cutter.diameter_mm - before.diameter_mm) / (after.diameter_mm - before.diameter_mm)
            return ChipLoad(
                diameter_mm=cutter.diameter_mm,
                flutes=cutter.flutes,
                low_mm=before.low_mm + share * (after.low_mm - before.low_mm),
                start_mm=before.start_mm + share * (after.start_mm - before.start_mm),
                high_mm=before.high_mm + share * (after.high_mm - before.high_mm),
                source=f"between {before.diameter_mm:g} mm ({before.source}) and {after.diameter_mm:g} mm "
                f"({after.source})",
            )
    reach = f"from {rows[0].diameter_mm:g} to {rows[-1].diameter_mm:g} mm" if rows else "for none"
    kind = "drills" if cutter.kind is CutterKind.DRILL else f"cutters with {cutter.flutes} flute(s)"
    raise TableRefused(
        error(
            "no-chip-load",
            f"{cutter.name} ({cutter.diameter_mm:g} mm) has no chip load in {material.name}: the table has rows for "
            f"{kind} {reach}",
            remedy="choose another cutter, or give the material rows of your own with their source",
            origin=origin,
        )
    )
