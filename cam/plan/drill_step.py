"""Workingsteps of a drilled hole: the pilot where one is wanted, and the drill."""

from __future__ import annotations

from cam.plan.drill_choice import find_drill_floor_mm, find_pilot_floor_mm
from cam.plan.drill_data import resolve_drilling, slow_exit
from cam.plan.means import Means
from cam.plan.placed import PlacedFeature
from cam.plan.workingstep import Operation, Workingstep, find_pass_heights
from cam.sheet.layout import Layout
from cam.tables.rows import Cutter

HOLDING = "nothing loose is left"


def plan_drilling(feature: PlacedFeature, *, drill: Cutter, reason: str, layout: Layout, means: Means) -> Workingstep:
    """Return the workingstep that drills a hole through."""
    floor = find_drill_floor_mm(drill, means=means)
    why = f"drill: its full diameter comes through with the point {-floor:.2f} mm below the bed"
    return _plan(
        feature, Operation.DRILL, drill=drill, floor_mm=floor, reasons=(reason, why), layout=layout, means=means
    )


def plan_pilot(feature: PlacedFeature, *, pilot: Cutter, layout: Layout, means: Means) -> Workingstep:
    """Return the workingstep that drills a hole's pilot."""
    drilling = means.material.drilling
    limit = drilling.pilot_above_mm if drilling else 0.0
    why = f"cutter {pilot.name}: pilot for {feature.task.feature.label}, wider than {limit:g} mm"
    floor = find_pilot_floor_mm(means=means)
    return _plan(feature, Operation.PILOT, drill=pilot, floor_mm=floor, reasons=(why,), layout=layout, means=means)


def _plan(
    feature: PlacedFeature,
    operation: Operation,
    *,
    drill: Cutter,
    floor_mm: float,
    reasons: tuple[str, ...],
    layout: Layout,
    means: Means,
) -> Workingstep:
    depth = layout.max_top_mm - floor_mm
    data = resolve_drilling(drill, depth_mm=depth, means=means)
    leaving = slow_exit(data, means=means)
    x, y = (float(v) for v in feature.wall.points_mm.mean(axis=0))
    return Workingstep(
        number=0,
        panel=feature.task.panel,
        feature=feature.task.feature.label,
        operation=operation,
        wall=feature.wall,
        start_mm=(x, y),
        diameter_mm=feature.task.feature.diameter_mm,
        cutter=drill,
        rough=data,
        finish=leaving,
        rough_direction=means.material.rough_direction,
        finish_direction=means.material.finish_direction,
        pass_heights_mm=find_pass_heights(top_mm=layout.max_top_mm, floor_mm=floor_mm, passes=data.passes),
        allowance_mm=0.0,
        stepover_mm=0.0,
        ramp_rad=0.0,
        bridges=(),
        lift=None,
        holding=HOLDING,
        reasons=(
            *reasons,
            *(str(each) for each in data.reasons),
            f"breaking through at {leaving.feed_mm_per_min:.0f} mm/min",
        ),
    )
