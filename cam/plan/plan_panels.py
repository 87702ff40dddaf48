"""A layout of panels to workingsteps, every number resolved with its reason."""

from __future__ import annotations

from dataclasses import replace

from cam.plan.allowance import Allowance, find_allowances
from cam.plan.chamfer_step import plan_chamfers
from cam.plan.choose_cutters import Choice, Drills, choose_cutters
from cam.plan.contour_step import plan_contour
from cam.plan.drill_choice import find_drills
from cam.plan.drill_step import plan_drilling, plan_pilot
from cam.plan.hold_feature import find_panel_areas_mm2, hold_feature
from cam.plan.keep_out import check_keep_outs, find_rapid_mm
from cam.plan.means import Means, find_usable_cutters
from cam.plan.obstacles import find_obstacles
from cam.plan.order import order_stops
from cam.plan.placed import PlacedFeature, place_features
from cam.plan.recess_step import plan_recesses
from cam.plan.room import check_room
from cam.plan.sequence import Cut, find_stops
from cam.plan.waste import Waste, find_waste
from cam.plan.workingstep import Obstacle, Plan, Workingstep
from cam.sheet.layout import Layout
from cam.tables.rows import CutterKind

AIR_GAP_MM = 0.5
"""How far above the highest sheet top a rapid approach ends."""


def plan_panels(layout: Layout, *, means: Means) -> Plan:
    """Return the workingsteps that cut a layout, in order.

    Raises
    ------
    PlanRefused
        If a feature has no cutter, no cutting data or no place for its bridges, or panels stand too
        close to one another, to the sheet's edge or to the machine's travel.
    """
    features = place_features(layout)
    tasks = tuple(feature.task for feature in features)
    drills = find_drills(tasks, means=means, top_mm=layout.max_top_mm)
    choice = choose_cutters(
        tasks,
        cutters=find_usable_cutters(means),
        named=means.cutters_named,
        depth_mm=layout.max_top_mm + means.heights.into_bed_mm,
        thickness_mm=layout.thickness_mm,
        machine=means.machine,
        drills=drills,
    )
    allowances = find_allowances(features, choice=choice, allowances=means.allowances, material=means.material)
    kerfs = {key: choice.cutter[key].diameter_mm + allowance.mm for key, allowance in allowances.items()}
    check_room(layout, features=features, choice=choice, kerfs_mm=kerfs, means=means)
    waste = find_waste(layout, features=features, kerfs_mm=kerfs)
    areas = find_panel_areas_mm2(features)
    obstacles = find_obstacles(
        features, cutters=choice.cutter, floor_mm=-means.heights.into_bed_mm, keep_outs=means.keep_outs
    )
    steps = {
        feature.task.key: _plan_step(
            feature,
            choice=choice,
            allowance=allowances[feature.task.key],
            waste=waste[feature.task.key],
            panel_mm2=areas[feature.placement],
            obstacles=obstacles[feature.task.key],
            layout=layout,
            means=means,
        )
        for feature in features
    }
    chamfers = plan_chamfers(features, layout=layout, means=means)
    steps |= {
        feature.task.key: replace(steps[feature.task.key], groove_mm=step.chamfer.aside_mm + step.chamfer.reach_mm)
        for feature, step in chamfers
        if step.chamfer is not None
    }
    cuts = [Cut(key=f.task.key, placement=f.placement, level=f.level, step=steps[f.task.key]) for f in features]
    further = _plan_pilots(features, choice=choice, drills=drills, layout=layout, means=means)
    further += chamfers
    further += plan_recesses(
        features,
        cutters=find_usable_cutters(means),
        used=tuple(choice.cutter.values()),
        layout=layout,
        means=means,
    )
    cuts += [
        Cut(key=len(cuts) + number, placement=feature.placement, level=feature.level, step=step)
        for number, (feature, step) in enumerate(further)
    ]
    steps = {cut.key: cut.step for cut in cuts}
    check_keep_outs(layout, steps=tuple(steps.values()), keep_outs=means.keep_outs)
    visits = order_stops(find_stops(cuts), from_mm=(0.0, 0.0))
    return Plan(
        workingsteps=tuple(
            replace(steps[visit.key], number=number, start_mm=visit.at_mm)
            for number, visit in enumerate(visits, start=1)
        ),
        rapid_mm=find_rapid_mm(layout, clearance_mm=means.heights.clearance_mm, keep_outs=means.keep_outs),
        air_mm=layout.max_top_mm + AIR_GAP_MM,
        top_mm=layout.max_top_mm,
    )


def _plan_pilots(
    features: tuple[PlacedFeature, ...], *, choice: Choice, drills: Drills, layout: Layout, means: Means
) -> list[tuple[PlacedFeature, Workingstep]]:
    """Return the pilots of the holes that are drilled and want one."""
    return [
        (feature, plan_pilot(feature, pilot=drills.pilot[feature.task.key], layout=layout, means=means))
        for feature in features
        if feature.task.key in drills.pilot and choice.cutter[feature.task.key].kind is CutterKind.DRILL
    ]


def _plan_step(
    feature: PlacedFeature,
    *,
    choice: Choice,
    allowance: Allowance,
    waste: Waste,
    panel_mm2: float,
    obstacles: tuple[Obstacle, ...],
    layout: Layout,
    means: Means,
) -> Workingstep:
    task = feature.task
    cutter = choice.cutter[task.key]
    if cutter.kind is CutterKind.DRILL:
        return plan_drilling(feature, drill=cutter, reason=choice.reason[task.key], layout=layout, means=means)
    held = hold_feature(
        feature,
        cutter=cutter,
        waste=waste,
        hold=means.hold,
        heights=means.heights,
        panel_mm2=panel_mm2,
    )
    return plan_contour(
        feature,
        cutter=cutter,
        reason=choice.reason[task.key],
        allowance=allowance,
        held=held,
        obstacles=obstacles,
        layout=layout,
        means=means,
    )
