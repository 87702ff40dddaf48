"""Clamps, screws and stops on the bed: what they keep the cutter, its shank and its holder away from."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, radians

import shapely

from cam.errors import PlanRefused
from cam.findings import Finding, Origin, error
from cam.geometry.contour import Contour, rectangle
from cam.geometry.flatten import flatten
from cam.geometry.transform import move, turn
from cam.plan.workingstep import Operation, Workingstep
from cam.sheet.layout import Layout, place_region
from cam.tables.job import KeepOut
from cam.tables.rows import Cutter

CHORD_TOL_MM = 0.01
KEEP_CLEAR_MM = 5.0
"""What the tool keeps from a keep-out beyond its own radius (common practice, no source)."""
HOLDER_RADIUS_MM = 25.0
"""Above the cutter's stick-out: collet nut and holder, whose size no table has (common practice, no source)."""
LEAD_SPARE_MM = 0.5
"""How far a lead on a curved wall may leave its slot."""


def find_reach_mm(cutter: Cutter, *, height_above_tip_mm: float) -> float:
    """Return the radius of the widest part of cutter, shank and holder up to a height above the tip."""
    if height_above_tip_mm <= 0.0:
        return 0.0
    if height_above_tip_mm <= cutter.edge_length_mm:
        return cutter.radius_mm
    shank = max(cutter.radius_mm, cutter.shank_mm / 2.0)
    return shank if height_above_tip_mm <= cutter.stick_out_mm else max(shank, HOLDER_RADIUS_MM)


def lay_keep_out(keep_out: KeepOut) -> Contour:
    """Return a keep-out's rectangle on the sheet, counter-clockwise."""
    width, height = keep_out.size_mm
    box = rectangle((-width / 2.0, -height / 2.0), width_mm=width, height_mm=height)
    return move(turn(box, angle_rad=radians(keep_out.turn_deg)), by_mm=keep_out.at_mm)


def find_rapid_mm(layout: Layout, *, clearance_mm: float, keep_outs: Sequence[KeepOut]) -> float:
    """Return the height of travel above the bed: clear of the sheet and of every keep-out."""
    return max([layout.max_top_mm, *(each.height_mm for each in keep_outs)]) + clearance_mm


def check_keep_outs(layout: Layout, *, steps: Sequence[Workingstep], keep_outs: Sequence[KeepOut]) -> None:
    """Refuse keep-outs that stand over a panel, or where the tool has to pass.

    Raises
    ------
    PlanRefused
        ``clamp-over-panel`` or ``clamp-in-path``, for each such pair.
    """
    panels = {placement.panel.name: _panel_polygon(layout, index) for index, placement in enumerate(layout.placements)}
    findings: list[Finding] = []
    for keep_out in keep_outs:
        box = _polygon(lay_keep_out(keep_out))
        over = [name for name, panel in panels.items() if shapely.intersects(panel, box)]
        findings += [_say_over(keep_out, panel=name) for name in over]
        findings += [
            _say_in_path(keep_out, step=step, short_mm=short)
            for step in steps
            if step.panel not in over and (short := _find_short_mm(step, keep_out=keep_out, box=box)) > 0.0
        ]
    if findings:
        raise PlanRefused(*findings)


def _find_short_mm(step: Workingstep, *, keep_out: KeepOut, box: shapely.Polygon) -> float:
    """Return by how much the tool would come too near to a keep-out; 0 or less if it does not.

    Notes
    -----
    Below the height of travel the cutter's centre stays where it roughs: beside a wall within a radius,
    the allowance and what a lead may leave its slot by; where all is cleared, all within the wall.
    """
    floor = min(step.floor_mm, step.last.floor_mm if step.last else inf)
    reach = find_reach_mm(step.cutter, height_above_tip_mm=keep_out.height_mm - floor)
    shape = _polygon(step.wall)
    if step.chamfer is not None:
        needed = step.chamfer.away_mm + reach + KEEP_CLEAR_MM
        apart = float(shapely.distance(shape.exterior, box))
    elif step.operation in (Operation.INSIDE, Operation.OUTSIDE):
        beside = step.cutter.radius_mm + step.allowance_mm + LEAD_SPARE_MM
        needed, apart = beside + reach + KEEP_CLEAR_MM, float(shapely.distance(shape.exterior, box))
    else:
        needed, apart = reach + KEEP_CLEAR_MM, float(shapely.distance(shape, box))
    return needed - apart


def _say_over(keep_out: KeepOut, *, panel: str) -> Finding:
    x, y = keep_out.at_mm
    return error(
        "clamp-over-panel",
        f"{keep_out.name} stands over panel {panel}, which is cut under it or held down by it",
        remedy="move the clamp on to waste (at_mm of [[keep_out]]), or the panel (at_mm of [[panel]], margin_mm)",
        origin=Origin(panel=panel, x_mm=x, y_mm=y),
    )


def _say_in_path(keep_out: KeepOut, *, step: Workingstep, short_mm: float) -> Finding:
    x, y = keep_out.at_mm
    return error(
        "clamp-in-path",
        f"{keep_out.name} stands {short_mm:.1f} mm too near to where cutter {step.cutter.name} makes this feature: the "
        f"tool keeps {KEEP_CLEAR_MM:g} mm from it",
        remedy="move the clamp (at_mm of [[keep_out]]) or the panel, lower the clamp (height_mm), or choose a smaller "
        "or longer cutter",
        origin=Origin(panel=step.panel, feature=step.feature, x_mm=x, y_mm=y),
        size_mm=short_mm,
    )


def _polygon(contour: Contour) -> shapely.Polygon:
    return shapely.Polygon(flatten(contour, chord_tol_mm=CHORD_TOL_MM))


def _panel_polygon(layout: Layout, index: int) -> shapely.Polygon:
    outer, *holes = (flatten(c, chord_tol_mm=CHORD_TOL_MM) for c in place_region(layout.placements[index]).contours)
    return shapely.Polygon(outer, holes)
