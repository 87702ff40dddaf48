"""The form of a chamfer's cut: which vee cutter, how deep its tip goes and how far from the wall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import radians, tan

from cam.errors import PlanRefused, TableRefused
from cam.findings import Finding, Origin, error
from cam.plan.means import Means, resolve
from cam.plan.technology import CuttingData
from cam.sheet.layout import Layout
from cam.tables.job import HoldKind, ZeroFace
from cam.tables.rows import Cutter

LEAST_ASIDE_MM = 0.5
"""How far outside the wall the tip runs at least: its dead centre rubs, and must not rub on the wall."""
LEAST_BITE_MM = 2.0
"""Twice the cutter's radius at the sheet's top is at least as much: the thinnest cutter with a chip load."""
HOLD_GAP_MM = 0.2
"""How far above the bridges or the skin the tip stays."""
UNEVEN_MM = 0.08
"""How much a chamfer's width may differ by the thickness of the sheet that was measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChamferForm:
    """How a vee cutter makes a chamfer.

    ``half_angle_rad`` is half the point's angle; ``depth_mm`` how far the chamfer reaches below the top;
    ``aside_mm`` how far outside the wall the axis runs; ``reach_mm`` the cutter's radius at the top;
    ``tip_mm`` the tip's height above the bed; ``top_mm`` the top that the width is meant for.

    Notes
    -----
    At a height h the cone's radius is ``(h - tip) tan(a)``; it meets the wall at the chamfer's lower edge,
    ``aside / tan(a)`` above the tip, and takes the width off at the top.
    """

    cutter: Cutter
    width_mm: float
    half_angle_rad: float
    depth_mm: float
    aside_mm: float
    reach_mm: float
    tip_mm: float
    top_mm: float
    cut: CuttingData


def find_chamfer_form(layout: Layout, *, width_mm: float, means: Means, origin: Origin) -> ChamferForm:
    """Return how the chamfer is cut: by the first vee that leans 45 degrees, or else by the first that fits.

    Raises
    ------
    PlanRefused
        ``thickness-not-measured``, ``sheet-too-uneven`` or ``no-vee-fits``.
    """
    if not means.heights.measured_thickness_mm:
        raise PlanRefused(
            error(
                "thickness-not-measured",
                f"a chamfer's width hangs on the height of the sheet's top, and a sheet of {layout.thickness_mm:g} mm "
                f"may be {layout.min_top_mm:.1f} to {layout.max_top_mm:.1f} mm thick",
                remedy="measure the sheet and give measured_thickness_mm in [heights], or take the chamfer out",
                origin=origin,
            )
        )
    # a zero on the top goes up and down with it; one on the bed meets the middle of what was measured
    on_top = means.heights.zero is ZeroFace.TOP
    top = layout.max_top_mm if on_top else (layout.min_top_mm + layout.max_top_mm) / 2.0
    faults: list[Finding] = []
    for cutter in _rank(means.vees):
        try:
            return _fit(cutter, layout=layout, top_mm=top, width_mm=width_mm, means=means, origin=origin)
        except (PlanRefused, TableRefused) as refusal:
            faults += [
                replace(found, origin=origin, message=f"{cutter.name}: {found.message}") for found in refusal.findings
            ]
    raise PlanRefused(
        error(
            "no-vee-fits",
            f"no vee cutter takes a chamfer of {width_mm:g} mm off this sheet",
            remedy="make the chamfer narrower, name another cutter in [chamfer], or add one to the shop's own tables",
            origin=origin,
        ),
        *faults,
    )


def _rank(vees: Sequence[Cutter]) -> list[Cutter]:
    return sorted(vees, key=lambda cutter: cutter.point_angle_deg != 90.0)


def _fit(
    cutter: Cutter, *, layout: Layout, top_mm: float, width_mm: float, means: Means, origin: Origin
) -> ChamferForm:
    slope = tan(radians(cutter.point_angle_deg) / 2.0)
    aside = max(LEAST_ASIDE_MM, LEAST_BITE_MM / 2.0 - width_mm)
    reach = width_mm + aside
    tip = top_mm - reach / slope
    depth = layout.max_top_mm - tip
    hold = means.hold.bridge_height_mm if means.hold.by is HoldKind.BRIDGES else means.hold.skin_mm
    uneven = (layout.max_top_mm - layout.min_top_mm) / 2.0 * slope
    faults = []
    if means.heights.zero is ZeroFace.BED and uneven > UNEVEN_MM:
        faults.append(
            error(
                "sheet-too-uneven",
                f"the sheet was measured {layout.min_top_mm:g} to {layout.max_top_mm:g} mm thick: the chamfer would be "
                f"{uneven:.2f} mm too narrow here and too wide there; {UNEVEN_MM:g} mm is allowed",
                remedy='set zero = "top" in [heights], or take a more even sheet',
                origin=origin,
                size_mm=uneven,
            )
        )
    if tip < hold + HOLD_GAP_MM:
        faults.append(
            error(
                "chamfer-too-deep",
                f"a chamfer of {width_mm:g} mm puts its tip {tip:.2f} mm above the bed, {HOLD_GAP_MM:g} mm above what "
                f"holds the panel ({hold:g} mm) is the least",
                remedy="make the chamfer narrower, or name a blunter vee cutter in [chamfer]",
                origin=origin,
            )
        )
    if reach > cutter.radius_mm + 1e-9 or depth > cutter.edge_length_mm:
        faults.append(
            error(
                "edge-too-short",
                f"the cut is {2.0 * reach:.2f} mm wide at the top and {depth:.2f} mm deep; the cutter has "
                f"{cutter.diameter_mm:g} mm and flutes of {cutter.edge_length_mm:g} mm",
                remedy="make the chamfer narrower, or name a larger vee cutter in [chamfer]",
                origin=origin,
            )
        )
    if faults:
        raise PlanRefused(*faults)
    # where it cuts widest, at the sheet's top, the cone is a cutter of that diameter; on average it cuts half as deep
    bite = replace(cutter, diameter_mm=2.0 * depth * slope)
    cut = resolve(bite, depth_mm=depth / 2.0, radial_mm=None, means=means)
    if cut.passes > 1:
        raise PlanRefused(
            error(
                "chamfer-too-deep",
                f"a cut {depth:.2f} mm deep and {2.0 * reach:.2f} mm wide would take {cut.passes} passes, the first of "
                "them with no more than the cone's tip",
                remedy="name a blunter vee cutter in [chamfer]",
                origin=origin,
            )
        )
    return ChamferForm(
        cutter=cutter,
        width_mm=width_mm,
        half_angle_rad=radians(cutter.point_angle_deg) / 2.0,
        depth_mm=width_mm / slope,
        aside_mm=aside,
        reach_mm=reach,
        tip_mm=tip,
        top_mm=top_mm,
        # a ramp in the groove takes no more than the level pass that follows
        cut=replace(cut, ramp_feed_mm_per_min=cut.feed_mm_per_min),
    )
