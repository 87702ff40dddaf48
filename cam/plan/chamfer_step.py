"""Workingsteps of the chamfers of all panels."""

from __future__ import annotations

from math import radians

import shapely

from cam.errors import PlanRefused
from cam.findings import error
from cam.geometry.flatten import flatten
from cam.panel.panel import Role
from cam.plan.chamfer_edges import CHORD_TOL_MM, EdgeRun, Ground, find_runs, lay_ground
from cam.plan.chamfer_form import ChamferForm, find_chamfer_form
from cam.plan.chamfer_paths import lay_chamfer_run
from cam.plan.means import Means
from cam.plan.placed import PlacedFeature
from cam.plan.workingstep import ChamferCut, Operation, Workingstep, find_pass_heights
from cam.sheet.layout import Layout, place_region
from cam.tables.job import Face
from cam.tables.rows import Direction


def plan_chamfers(
    features: tuple[PlacedFeature, ...], *, layout: Layout, means: Means
) -> list[tuple[PlacedFeature, Workingstep]]:
    """Return the chamfer of each feature that has edges of the classes; none where no panel asks for one.

    Raises
    ------
    PlanRefused
        ``chamfer-face-down``, ``chamfer-meets-recess``, ``thickness-not-measured``, ``sheet-too-uneven``,
        ``no-vee-fits``, ``chamfer-no-room`` or ``chamfer-edge-short``.
    """
    runs: dict[int, tuple[EdgeRun, ...]] = {}
    for feature in features:
        panel = layout.placements[feature.placement].panel
        if panel.chamfer_mm > 0.0 and (own := find_runs(feature, on=panel.chamfer_on)):
            runs[feature.task.key] = own
    if not runs:
        return []
    chosen = [feature for feature in features if feature.task.key in runs]
    _refuse_wrong_face(chosen, layout=layout)
    first = chosen[0]
    width = layout.placements[first.placement].panel.chamfer_mm
    form = find_chamfer_form(layout, width_mm=width, means=means, origin=first.task.origin)
    _refuse_recesses(chosen, layout=layout, form=form)
    ground = lay_ground(
        _lay_panels(layout),
        runs=[run for own in runs.values() for run in own],
        form=form,
        sheet_mm=(layout.width_mm, layout.height_mm),
    )
    return [
        (feature, _plan(feature, runs=runs[feature.task.key], form=form, ground=ground, layout=layout, means=means))
        for feature in chosen
    ]


def _plan(
    feature: PlacedFeature,
    *,
    runs: tuple[EdgeRun, ...],
    form: ChamferForm,
    ground: Ground,
    layout: Layout,
    means: Means,
) -> Workingstep:
    outside = feature.task.feature.role is Role.OUTLINE
    direction = means.material.finish_direction
    # outside a wall, clockwise is climb (see turns_counter_clockwise)
    clockwise = (direction is Direction.CLIMB) == outside
    laid = tuple(
        lay_chamfer_run(run, outside=outside, clockwise=clockwise, form=form, ground=ground, origin=feature.task.origin)
        for run in runs
    )
    x, y = (float(v) for v in laid[0].vertices[0, :2])
    classes = ", ".join(layout.placements[feature.placement].panel.chamfer_on)
    return Workingstep(
        number=0,
        panel=feature.task.panel,
        feature=feature.task.feature.label,
        operation=Operation.CHAMFER,
        wall=feature.wall,
        start_mm=(x, y),
        diameter_mm=feature.task.feature.diameter_mm,
        cutter=form.cutter,
        rough=form.cut,
        finish=form.cut,
        rough_direction=direction,
        finish_direction=direction,
        pass_heights_mm=find_pass_heights(top_mm=layout.max_top_mm, floor_mm=form.tip_mm, passes=form.cut.passes),
        allowance_mm=0.0,
        stepover_mm=0.0,
        ramp_rad=radians(min(means.material.ramp_deg, form.cutter.max_ramp_deg)),
        bridges=(),
        lift=None,
        holding="nothing loose is left",
        reasons=(
            f"cutter {form.cutter.name}: forced by the chamfer on edges that are {classes}",
            f"chamfer: {form.width_mm:g} mm wide and {form.depth_mm:.2f} mm deep; the tip runs {form.aside_mm:g} mm "
            f"outside the wall and {form.top_mm - form.tip_mm:.2f} mm below the top of {form.top_mm:g} mm",
            f"at the top the cone is a cutter of {2.0 * form.reach_mm:g} mm",
            *(str(each) for each in form.cut.reasons),
        ),
        chamfer=ChamferCut(
            runs=laid,
            reach_mm=form.reach_mm,
            aside_mm=form.aside_mm,
            waste_left=(direction is Direction.CLIMB),
            away_mm=4.0 * form.reach_mm,
        ),
    )


def _lay_panels(layout: Layout) -> list[shapely.Polygon]:
    polygons = []
    for placement in layout.placements:
        outer, *holes = (flatten(c, chord_tol_mm=CHORD_TOL_MM) for c in place_region(placement).contours)
        polygons.append(shapely.Polygon(outer, holes))
    return polygons


def _refuse_wrong_face(chosen: list[PlacedFeature], *, layout: Layout) -> None:
    for feature in chosen:
        if layout.placements[feature.placement].face is Face.DOWN:
            raise PlanRefused(
                error(
                    "chamfer-face-down",
                    f"panel {feature.task.panel} lies face down: the chamfer would be cut on its back",
                    remedy='lay it with face = "up", or take the chamfer out',
                    origin=feature.task.origin,
                )
            )


def _refuse_recesses(chosen: list[PlacedFeature], *, layout: Layout, form: ChamferForm) -> None:
    """Refuse recesses so near to a chamfered edge that the chamfer would lie in them."""
    for placement in layout.placements:
        own = [f for f in chosen if layout.placements[f.placement] is placement]
        for recess in placement.panel.recesses:
            ring = shapely.Polygon(flatten(recess.region.outer, chord_tol_mm=CHORD_TOL_MM))
            for feature in own:
                drawn = placement.panel.region.contours[feature.task.feature.index]
                edge = shapely.LinearRing(flatten(drawn, chord_tol_mm=CHORD_TOL_MM))
                if shapely.dwithin(ring, edge, form.width_mm + form.reach_mm):
                    raise PlanRefused(
                        error(
                            "chamfer-meets-recess",
                            f"{recess.label} comes so near to {feature.task.feature.label} that the chamfer would lie "
                            "in it",
                            remedy="move the recess away from the edge, or give that edge another class",
                            origin=feature.task.origin,
                        )
                    )
