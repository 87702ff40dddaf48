"""The workingstep of one contour that goes through the sheet, every number resolved with its reason."""

from __future__ import annotations

from dataclasses import replace
from math import radians

from cam.plan.allowance import Allowance
from cam.plan.hold_feature import FeatureHold
from cam.plan.means import Means, resolve
from cam.plan.placed import PlacedFeature
from cam.plan.reach import find_run_mm
from cam.plan.starts import find_start
from cam.plan.workingstep import LastPass, Obstacle, Operation, Workingstep, find_pass_heights
from cam.sheet.layout import Layout
from cam.tables.rows import Cutter


def plan_contour(
    feature: PlacedFeature,
    *,
    cutter: Cutter,
    reason: str,
    allowance: Allowance,
    held: FeatureHold,
    obstacles: tuple[Obstacle, ...],
    layout: Layout,
    means: Means,
) -> Workingstep:
    """Return the workingstep that bores or clears a feature, or goes round it.

    Parameters
    ----------
    reason
        Why this cutter.
    allowance
        What roughing leaves on the wall.
    held
        How the feature's waste is made safe.
    obstacles
        What the cutter must keep away from besides the wall.
    """
    depth = layout.max_top_mm - held.floor_mm
    run = find_run_mm(feature.wall, cutter_radius_mm=cutter.radius_mm, outside=held.operation is Operation.OUTSIDE)
    rough = resolve(cutter, depth_mm=depth, radial_mm=None, means=means, run_mm=run)
    finish = resolve(
        cutter, depth_mm=depth, radial_mm=allowance.mm, means=means, rough_rpm=rough.spindle_rpm, run_mm=run
    )
    last = None
    if held.last_floor_mm is not None:
        through = resolve(
            cutter,
            depth_mm=held.floor_mm - held.last_floor_mm,
            radial_mm=None,
            means=means,
            rough_rpm=rough.spindle_rpm,
        )
        last = LastPass(floor_mm=held.last_floor_mm, cut=through)
    step = Workingstep(
        number=0,
        panel=feature.task.panel,
        feature=feature.task.feature.label,
        operation=held.operation,
        wall=feature.wall,
        start_mm=(0.0, 0.0),
        diameter_mm=feature.task.feature.diameter_mm,
        cutter=cutter,
        rough=rough,
        finish=finish,
        rough_direction=means.material.rough_direction,
        finish_direction=means.material.finish_direction,
        pass_heights_mm=find_pass_heights(top_mm=layout.max_top_mm, floor_mm=held.floor_mm, passes=rough.passes),
        allowance_mm=allowance.mm,
        # two rings farther apart than a radius would leave points in sharp corners to neither
        stepover_mm=min(means.material.max_stepover_diameters * cutter.diameter_mm, cutter.radius_mm),
        ramp_rad=radians(min(means.material.ramp_deg, cutter.max_ramp_deg)),
        bridges=held.bridges,
        lift=held.lift,
        holding=held.holding,
        reasons=(
            reason,
            *held.reasons[:1],
            *(str(each) for each in rough.reasons),
            allowance.reason,
            *(f"finishing: {each}" for each in finish.reasons),
            *held.reasons[1:],
        ),
        finishes=feature.finishes,
        last=last,
        obstacles=obstacles,
    )
    return replace(step, start_mm=find_start(step))
