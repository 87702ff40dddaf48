"""A layout of panels to workingsteps, every number resolved with its reason."""

from __future__ import annotations

from dataclasses import replace
from math import radians

from cam.errors import PlanRefused
from cam.findings import error
from cam.panel.panel import Role
from cam.plan.choose_cutters import Choice, choose_cutters
from cam.plan.holding import find_lift, find_start, lay_bridges
from cam.plan.means import Means, find_usable_cutters, resolve
from cam.plan.order import order_stops
from cam.plan.placed import PlacedFeature, place_features
from cam.plan.room import check_room
from cam.plan.sequence import Cut, find_stops
from cam.plan.waste import Waste, find_unheld, find_waste
from cam.plan.workingstep import Bridge, Operation, Plan, Workingstep
from cam.sheet.layout import Layout
from cam.tables.job import Hold, HoldKind
from cam.tables.rows import Cutter

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
    if means.material.finish_allowance_mm <= 0.0:
        raise PlanRefused(
            error(
                "no-finish-allowance",
                f"material {means.material.name} leaves nothing for the finishing pass, which would rub on the wall",
                remedy="give finish_allowance_mm in the material's row, such as 0.3",
            )
        )
    features = place_features(layout)
    choice = choose_cutters(
        tuple(feature.task for feature in features),
        cutters=find_usable_cutters(means),
        named=means.cutters_named,
        depth_mm=layout.max_top_mm + means.heights.into_bed_mm,
        thickness_mm=layout.thickness_mm,
        machine=means.machine,
    )
    check_room(layout, features=features, choice=choice, means=means)
    waste = find_waste(layout, features=features, choice=choice, allowance_mm=means.material.finish_allowance_mm)
    steps = {
        feature.task.key: _plan_step(feature, choice=choice, waste=waste[feature.task.key], layout=layout, means=means)
        for feature in features
    }
    cuts = [Cut(key=f.task.key, placement=f.placement, level=f.level, step=steps[f.task.key]) for f in features]
    visits = order_stops(find_stops(cuts), from_mm=(0.0, 0.0))
    return Plan(
        workingsteps=tuple(
            replace(steps[visit.key], number=number, start_mm=visit.at_mm)
            for number, visit in enumerate(visits, start=1)
        ),
        rapid_mm=layout.max_top_mm + means.heights.clearance_mm,
        air_mm=layout.max_top_mm + AIR_GAP_MM,
        top_mm=layout.max_top_mm,
    )


def _plan_step(feature: PlacedFeature, *, choice: Choice, waste: Waste, layout: Layout, means: Means) -> Workingstep:
    task, hold = feature.task, means.hold
    cutter, wall = choice.cutter[task.key], feature.wall
    operation, why = _choose_operation(feature, waste=waste, hold=hold)
    bridges: tuple[Bridge, ...] = ()
    if hold.by is HoldKind.BRIDGES and operation in (Operation.INSIDE, Operation.OUTSIDE):
        try:
            bridges = _lay_holding(feature, cutter=cutter, waste=waste, means=means)
        except PlanRefused as refusal:
            if operation is Operation.OUTSIDE or waste.holds_panel:
                raise
            operation = _find_clearing(feature)
            why = f"cleared wholly: its slug cannot be held: {refusal.findings[0].message}"
    held = operation in (Operation.INSIDE, Operation.OUTSIDE)
    floor = hold.skin_mm if held and hold.by is HoldKind.SKIN else -means.heights.into_bed_mm
    bridged = bool(bridges)
    lift = find_lift(hold, cutter=cutter) if bridged else None
    depth = layout.max_top_mm - floor
    allowance = means.material.finish_allowance_mm
    rough = resolve(cutter, depth_mm=depth, radial_mm=None, means=means)
    finish = resolve(cutter, depth_mm=depth, radial_mm=allowance, means=means, rough_rpm=rough.spindle_rpm)
    holding = _say_holding(hold, bridges=len(bridges), held=held)
    return Workingstep(
        number=0,
        panel=task.panel,
        feature=task.feature.label,
        operation=operation,
        wall=wall,
        start_mm=find_start(wall, bridges=bridges, lift=lift, floor_mm=floor),
        diameter_mm=task.feature.diameter_mm,
        cutter=cutter,
        rough=rough,
        finish=finish,
        rough_direction=means.material.rough_direction,
        finish_direction=means.material.finish_direction,
        pass_heights_mm=find_pass_heights(top_mm=layout.max_top_mm, floor_mm=floor, passes=rough.passes),
        allowance_mm=allowance,
        # two rings farther apart than a radius would leave points in sharp corners to neither
        stepover_mm=min(means.material.max_stepover_diameters * cutter.diameter_mm, cutter.radius_mm),
        ramp_rad=radians(min(means.material.ramp_deg, cutter.max_ramp_deg)),
        bridges=bridges,
        lift=lift,
        holding=holding,
        reasons=(
            choice.reason[task.key],
            f"{operation}: {why}",
            *(str(reason) for reason in rough.reasons),
            f"finishing: {allowance:g} mm left for one pass over the full depth",
            *(f"finishing: {reason}" for reason in finish.reasons),
            f"holding: {holding}",
        ),
    )


def find_pass_heights(*, top_mm: float, floor_mm: float, passes: int) -> tuple[float, ...]:
    """Return the height of each pass's bottom, in equal steps from the top; the last is the floor itself.

    Examples
    --------
    >>> find_pass_heights(top_mm=4.0, floor_mm=-0.5, passes=2)
    (1.75, -0.5)
    """
    step = (top_mm - floor_mm) / passes
    return (*(top_mm - step * i for i in range(1, passes)), floor_mm)


def _choose_operation(feature: PlacedFeature, *, waste: Waste, hold: Hold) -> tuple[Operation, str]:
    """Return how a feature is cut, and why."""
    if feature.task.feature.role is Role.OUTLINE:
        return Operation.OUTSIDE, "an outline, its waste outside"
    if waste.holds_panel:
        return Operation.INSIDE, "another panel lies inside it"
    # of several slugs the smallest decides: it is the one that would be thrown
    slug = min((piece.area for piece in waste.slugs), default=0.0)
    if slug >= hold.clear_slug_below_mm2 and slug > 0.0:
        return Operation.INSIDE, f"a slug of {slug:.0f} mm2 stays, large enough to be held"
    what = "no slug would stay" if slug == 0.0 else f"its slug of {slug:.0f} mm2 would be thrown"
    why = f"cleared wholly: {what} (limit {hold.clear_slug_below_mm2:g} mm2)"
    return _find_clearing(feature), why


def _lay_holding(feature: PlacedFeature, *, cutter: Cutter, waste: Waste, means: Means) -> tuple[Bridge, ...]:
    """Return a feature's bridges, which hold all of its waste.

    Raises
    ------
    PlanRefused
        If bridges find no place, or some of the waste has too few.
    """
    origin = feature.task.origin
    bridges = lay_bridges(
        feature.wall,
        hold=means.hold,
        cutter=cutter,
        floor_mm=-means.heights.into_bed_mm,
        waste=waste,
        origin=origin,
    )
    slug = find_unheld(waste, bridges=bridges)
    if slug is not None:
        point = slug.representative_point()
        raise PlanRefused(
            error(
                "waste-not-held",
                f"a piece of waste of {slug.area:.0f} mm2 would have fewer than two bridges and come loose",
                remedy="lower bridge_spacing_mm, hold by a skin, choose a smaller cutter, or widen the neck beside it",
                origin=replace(origin, x_mm=point.x, y_mm=point.y),
            )
        )
    return bridges


def _find_clearing(feature: PlacedFeature) -> Operation:
    """Return how all the waste inside a feature is cut away."""
    return Operation.BORE if feature.task.feature.role is Role.HOLE else Operation.CLEAR


def _say_holding(hold: Hold, *, bridges: int, held: bool) -> str:
    if not held:
        return "nothing loose is left"
    if hold.by is HoldKind.SKIN:
        return f"skin of {hold.skin_mm:g} mm"
    return f"{bridges} bridges, {hold.bridge_length_mm:g} mm long, {hold.bridge_height_mm:g} mm high"
