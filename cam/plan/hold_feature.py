"""How one feature's waste is made safe: cleared, held by bridges or a skin, or left to the bed's own grip."""

from __future__ import annotations

from dataclasses import dataclass, replace

from cam.errors import PlanRefused
from cam.findings import error
from cam.geometry.measure import measure_area_mm2
from cam.panel.panel import Role
from cam.plan.holding import Footing, find_lift, lay_bridges
from cam.plan.placed import PlacedFeature
from cam.plan.waste import Waste, find_unheld
from cam.plan.workingstep import Bridge, Lift, Operation
from cam.tables.job import Grip, Heights, Hold, HoldKind
from cam.tables.rows import Cutter


@dataclass(frozen=True, slots=True, kw_only=True)
class FeatureHold:
    """How a feature is cut so that nothing comes loose.

    ``floor_mm`` is the height of the deepest pass but a last one; ``last_floor_mm`` that of a last pass
    round the finished wall, which cuts a skin through. ``holding`` says in words what holds, ``reasons`` why.
    """

    operation: Operation
    bridges: tuple[Bridge, ...]
    lift: Lift | None
    floor_mm: float
    last_floor_mm: float | None
    holding: str
    reasons: tuple[str, ...]


def hold_feature(
    feature: PlacedFeature, *, cutter: Cutter, waste: Waste, hold: Hold, heights: Heights, panel_mm2: float
) -> FeatureHold:
    """Return how a feature's waste is made safe.

    Parameters
    ----------
    panel_mm2
        The area of the feature's panel, its cut-outs taken off.

    Notes
    -----
    Clamps and screws hold the sheet alone, so every panel and every slug needs bridges or a skin.
    Vacuum and tape hold a panel that is large enough by itself (`Hold.grips_mm2`): its outline needs no
    bridges, and where a last pass is asked for its skin is cut through. A slug is never left to them.

    Raises
    ------
    PlanRefused
        If bridges find no place, or some of the waste has too few.
    """
    operation, why = _choose_operation(feature, waste=waste, hold=hold)
    reasons = [f"{operation}: {why}"]
    through = -heights.into_bed_mm
    if operation not in (Operation.INSIDE, Operation.OUTSIDE):
        return _leave(operation, floor_mm=through, holding="nothing loose is left", reasons=reasons)
    gripped = operation is Operation.OUTSIDE and hold.holds_by_grip(panel_mm2)
    if gripped and waste.slugs:
        gripped = False
        reasons.append(f"holding: {hold.grip} would hold the panel, but not the waste in its bays")
    if gripped:
        reasons.append(
            f"holding: {hold.grip} holds a panel of {panel_mm2:.0f} mm2 by itself (from {hold.grips_mm2:g} mm2); "
            "it comes last, when all inside it is cut"
        )
    if hold.by is HoldKind.SKIN:
        last = through if gripped and hold.skin_last_pass else None
        cut = ", cut through by a last pass" if last is not None else ""
        holding = f"skin of {hold.skin_mm:g} mm{cut}"
        return _leave(operation, floor_mm=hold.skin_mm, last_floor_mm=last, holding=holding, reasons=reasons)
    if gripped:
        return _leave(operation, floor_mm=through, holding=f"{hold.grip} alone", reasons=reasons)
    try:
        footing = _lay_holding(feature, cutter=cutter, waste=waste, hold=hold, floor_mm=through)
    except PlanRefused as refusal:
        if operation is Operation.OUTSIDE or waste.holds_panel:
            raise
        clearing = _find_clearing(feature)
        why = f"{clearing}: cleared wholly: its slug cannot be held: {refusal.findings[0].message}"
        return _leave(clearing, floor_mm=through, holding="nothing loose is left", reasons=[why])
    count = len(footing.bridges)
    holding = f"{count} bridges, {hold.bridge_length_mm:g} mm long, {hold.bridge_height_mm:g} mm high"
    reasons.append(f"holding: {holding}, {footing.ground}")
    return FeatureHold(
        operation=operation,
        bridges=footing.bridges,
        lift=find_lift(hold, cutter=cutter),
        floor_mm=through,
        last_floor_mm=None,
        holding=holding,
        reasons=tuple(reasons),
    )


def find_panel_areas_mm2(features: tuple[PlacedFeature, ...]) -> dict[int, float]:
    """Return the area of each panel, its cut-outs taken off, by the number of its placement."""
    areas: dict[int, float] = {}
    for feature in features:
        # outlines run counter-clockwise and what is cut out the other way round
        areas[feature.placement] = areas.get(feature.placement, 0.0) + measure_area_mm2(feature.contour)
    return areas


def _leave(
    operation: Operation, *, floor_mm: float, holding: str, reasons: list[str], last_floor_mm: float | None = None
) -> FeatureHold:
    """Return a hold without bridges."""
    return FeatureHold(
        operation=operation,
        bridges=(),
        lift=None,
        floor_mm=floor_mm,
        last_floor_mm=last_floor_mm,
        holding=holding,
        reasons=(*reasons, f"holding: {holding}"),
    )


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


def _lay_holding(feature: PlacedFeature, *, cutter: Cutter, waste: Waste, hold: Hold, floor_mm: float) -> Footing:
    """Return a feature's bridges, which hold all of its waste."""
    origin = feature.task.origin
    footing = lay_bridges(
        feature.wall,
        hold=hold,
        cutter=cutter,
        floor_mm=floor_mm,
        waste=waste,
        finishes=feature.finishes,
        origin=origin,
    )
    slug = find_unheld(waste, bridges=footing.bridges)
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
    return footing


def _find_clearing(feature: PlacedFeature) -> Operation:
    """Return how all the waste inside a feature is cut away."""
    return Operation.BORE if feature.task.feature.role is Role.HOLE else Operation.CLEAR


def say_grip(hold: Hold, *, into_bed_mm: float) -> str:
    """Return what holds the sheet, in words, and what that asks of the bed."""
    if hold.grip is Grip.VACUUM and into_bed_mm > 0.0:
        return f"held by vacuum on a scrap board: through-cuts go {into_bed_mm:g} mm into it, and leak"
    if hold.grip is Grip.VACUUM:
        return "held by vacuum: through-cuts leak"
    return f"held by {hold.grip}"
