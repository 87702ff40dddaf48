"""Workingsteps of the recesses and grooves of all panels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import radians

import shapely
from shapely.geometry.base import BaseGeometry

from cam.errors import PlanRefused
from cam.findings import Origin, error
from cam.panel.panel import Recess, Role
from cam.plan.means import Means, resolve
from cam.plan.placed import PlacedFeature
from cam.plan.recess_open import open_to_waste, refuse_meeting
from cam.plan.recess_room import SAME_WIDTH_MM, choose_recess_cutter, lay_polygon
from cam.plan.workingstep import Operation, RecessCut, Workingstep, find_pass_heights
from cam.sheet.layout import Layout, Placement, place_recess, place_region
from cam.tables.job import Face, ZeroFace
from cam.tables.rows import Cutter

UNEVEN_MM = 0.1
"""Half the spread of the measured thicknesses may be so much: the depth is off by it here and there."""


def plan_recesses(
    features: tuple[PlacedFeature, ...],
    *,
    cutters: Sequence[Cutter],
    used: Sequence[Cutter],
    layout: Layout,
    means: Means,
) -> list[tuple[PlacedFeature, Workingstep]]:
    """Return the step of each recess and groove, with the outline of its panel.

    Parameters
    ----------
    cutters, used
        Those that may be used, and those that other features take already.

    Raises
    ------
    PlanRefused
        ``recess-face-down``, ``recess-uneven``, ``recess-too-narrow`` or ``rebate-meets-panel``.
    """
    planned = []
    taken = list(dict.fromkeys(used))
    for feature in features:
        if feature.task.feature.role is not Role.OUTLINE:
            continue
        for recess in layout.placements[feature.placement].panel.recesses:
            step = _plan(recess, feature=feature, cutters=cutters, used=taken, layout=layout, means=means)
            if step.cutter not in taken:
                taken.append(step.cutter)
            planned.append((feature, step))
    return planned


def find_floor_mm(layout: Layout, *, depth_mm: float, zero: ZeroFace) -> float:
    """Return the height of a recess's floor above the bed, as the program is written.

    Notes
    -----
    With Z zero on the sheet's top the program's heights are counted from its highest place; from the bed
    they are counted to the middle of what was measured.
    """
    top = layout.max_top_mm if zero is ZeroFace.TOP else (layout.min_top_mm + layout.max_top_mm) / 2.0
    return top - depth_mm


def _plan(
    recess: Recess,
    *,
    feature: PlacedFeature,
    cutters: Sequence[Cutter],
    used: Sequence[Cutter],
    layout: Layout,
    means: Means,
) -> Workingstep:
    placement = layout.placements[feature.placement]
    origin = replace(feature.task.origin, feature=recess.label, layer=recess.layer, handle=recess.handle)
    _refuse_unfit(placement, origin=origin, layout=layout, means=means)
    allowance = means.material.finish_allowance_mm
    floor = find_floor_mm(layout, depth_mm=recess.depth_mm, zero=means.heights.zero)
    depth = layout.max_top_mm - floor
    placed = place_recess(placement, recess)
    drawn = placed.region
    outline = feature.contour
    widest = max((cutter.diameter_mm for cutter in cutters), default=0.0)
    cutter, why = choose_recess_cutter(
        open_to_waste(drawn, outline=outline, reach_mm=widest + allowance),
        panel=lay_polygon(place_region(placement)),
        width_mm=recess.width_mm,
        cutters=cutters,
        first=used,
        allowance_mm=allowance,
        depth_mm=depth,
        thickness_mm=layout.thickness_mm,
        machine=means.machine,
        origin=origin,
    )
    region = open_to_waste(drawn, outline=outline, reach_mm=cutter.diameter_mm + allowance)
    refuse_meeting(region, others=_lay_others(feature, layout=layout), origin=origin)
    along = recess.width_mm is not None and abs(cutter.diameter_mm - recess.width_mm) <= SAME_WIDTH_MM
    line = placed.centre_line if along else None
    rough = resolve(cutter, depth_mm=depth, radial_mm=None, means=means)
    finish = resolve(cutter, depth_mm=depth, radial_mm=allowance, means=means, rough_rpm=rough.spindle_rpm)
    start = line[0, :2] if line is not None else region.outer.points_mm[0]
    how = "one way along the centre line" if line is not None else "cleared from the middle outwards"
    return Workingstep(
        number=0,
        panel=feature.task.panel,
        feature=recess.label,
        operation=Operation.GROOVE if recess.role is Role.GROOVE else Operation.RECESS,
        wall=region.outer,
        start_mm=(float(start[0]), float(start[1])),
        diameter_mm=None,
        cutter=cutter,
        rough=rough,
        finish=finish,
        rough_direction=means.material.rough_direction,
        finish_direction=means.material.finish_direction,
        pass_heights_mm=find_pass_heights(top_mm=layout.max_top_mm, floor_mm=floor, passes=rough.passes),
        allowance_mm=0.0 if line is not None else allowance,
        stepover_mm=min(means.material.max_stepover_diameters * cutter.diameter_mm, cutter.radius_mm),
        ramp_rad=radians(min(means.material.ramp_deg, cutter.max_ramp_deg)),
        bridges=(),
        lift=None,
        holding="nothing loose is left",
        reasons=(
            why,
            f"{recess.role}: {recess.depth_mm:g} mm deep, {how}; before anything of the panel is cut through",
            *(str(reason) for reason in rough.reasons),
            *(f"finishing: {reason}" for reason in (finish.reasons if line is None else ())),
        ),
        recess=RecessCut(region=region, centre_line=line),
    )


def _lay_others(feature: PlacedFeature, *, layout: Layout) -> BaseGeometry:
    """Return all panels of the sheet but a feature's own."""
    return shapely.union_all(
        [
            lay_polygon(place_region(placement))
            for number, placement in enumerate(layout.placements)
            if number != feature.placement
        ]
    )


def _refuse_unfit(placement: Placement, *, origin: Origin, layout: Layout, means: Means) -> None:
    if placement.face is Face.DOWN:
        raise PlanRefused(
            error(
                "recess-face-down",
                f"panel {placement.panel.name} lies face down: the recess would be cut on its back",
                remedy='lay it with face = "up", or take the recess out',
                origin=origin,
            )
        )
    uneven = (layout.max_top_mm - layout.min_top_mm) / 2.0
    if means.heights.zero is ZeroFace.BED and uneven > UNEVEN_MM + 1e-9:
        raise PlanRefused(
            error(
                "recess-uneven",
                f"the sheet was measured {layout.min_top_mm:g} to {layout.max_top_mm:g} mm thick: the recess would be "
                f"{uneven:.2f} mm too shallow here and too deep there; {UNEVEN_MM:g} mm is allowed",
                remedy='set zero = "top" in [heights] and touch off where the recess lies, or take a more even sheet',
                origin=origin,
                size_mm=uneven,
            )
        )
