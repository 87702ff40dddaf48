"""Which drill takes which hole, and what keeps one from it."""

from __future__ import annotations

from collections.abc import Sequence

from cam.errors import PlanRefused, TableRefused
from cam.findings import Finding, error
from cam.plan.choose_cutters import Drills, Task
from cam.plan.drill_data import resolve_drilling
from cam.plan.means import Means
from cam.tables.drill_feed import SAME_DIAMETER_MM, find_point_length_mm
from cam.tables.rows import Cutter, CutterKind

PILOT_SHARES = (0.3, 0.6)
"""A pilot's diameter as a share of the hole's: thicker it takes no load off, thinner it does not lead (common
practice, no source)."""


def find_drills(tasks: Sequence[Task], *, means: Means, top_mm: float) -> Drills:
    """Return the drills that fit holes: of the hole's diameter within `SAME_DIAMETER_MM`, the nearest one.

    Whether a hole is drilled at all is for the choice of cutters to say: a bored one has the better wall.
    """
    drills = [cutter for cutter in means.cutters if cutter.kind is CutterKind.DRILL]
    drill: dict[int, Cutter] = {}
    pilot: dict[int, Cutter] = {}
    obstacle: dict[int, Finding] = {}
    for task in tasks:
        diameter = task.feature.diameter_mm
        if diameter is None:
            continue
        near = [d for d in drills if abs(d.diameter_mm - diameter) <= SAME_DIAMETER_MM + 1e-9]
        for candidate in sorted(near, key=lambda d: (abs(d.diameter_mm - diameter), d.tool)):
            found = _find_obstacle(candidate, task=task, means=means, top_mm=top_mm)
            lead = None
            if found is None and _wants_pilot(diameter, means=means):
                lead = _find_pilot(drills, task=task, means=means, top_mm=top_mm)
                found = None if lead else _say_no_pilot(candidate, task=task)
            if found is None:
                drill[task.key] = candidate
                if lead is not None:
                    pilot[task.key] = lead
                break
            obstacle.setdefault(task.key, found)
    return Drills(drill=drill, pilot=pilot, obstacle=obstacle)


def find_drill_floor_mm(drill: Cutter, *, means: Means) -> float:
    """Return where a drill's tip ends, above the bed: its full diameter clears the sheet like any cutter's."""
    return -(find_point_length_mm(drill) + means.heights.into_bed_mm)


def find_pilot_floor_mm(*, means: Means) -> float:
    """Return where a pilot's tip ends: it has only to lead the drill."""
    return -means.heights.into_bed_mm


def _wants_pilot(diameter_mm: float, *, means: Means) -> bool:
    drilling = means.material.drilling
    return drilling is not None and diameter_mm > drilling.pilot_above_mm + 1e-9


def _find_obstacle(drill: Cutter, *, task: Task, means: Means, top_mm: float) -> Finding | None:
    floor = find_drill_floor_mm(drill, means=means)
    allowed = max(means.heights.drill_into_bed_mm, means.heights.max_into_bed_mm)
    if -floor > allowed + 1e-9:
        return error(
            "drill-into-bed",
            f"the point of {drill.name} is {find_point_length_mm(drill):.2f} mm long; for the full diameter of "
            f"{task.feature.label} to come through it must go {-floor:.2f} mm into the bed, and the job allows "
            f"{allowed:g} mm",
            remedy=f"give drill_into_bed_mm = {_round_up(-floor):g} in [heights] if the scrap board is thicker than "
            f"that, or name a flat cutter of at most {drill.diameter_mm / 1.15:.2f} mm to bore the hole",
            origin=task.origin,
        )
    return _find_misfit(drill, task=task, floor_mm=floor, means=means, top_mm=top_mm)


def _find_misfit(drill: Cutter, *, task: Task, floor_mm: float, means: Means, top_mm: float) -> Finding | None:
    depth = top_mm - floor_mm
    if drill.edge_length_mm < depth:
        return error(
            "flutes-too-short",
            f"{drill.name} cuts {drill.edge_length_mm:g} mm deep, but goes {depth:.2f} mm below the highest top, its "
            "point included",
            remedy="choose a longer drill, measure the sheet (measured_thickness_mm), or take a thinner sheet",
            origin=task.origin,
        )
    if drill.shank_mm > means.machine.max_collet_mm:
        return error(
            "shank-too-large",
            f"{drill.name} has a {drill.shank_mm:g} mm shank; machine {means.machine.name} holds up to "
            f"{means.machine.max_collet_mm:g} mm",
            remedy="choose a drill with a thinner shank",
            origin=task.origin,
        )
    try:
        resolve_drilling(drill, depth_mm=depth, means=means)
    except (PlanRefused, TableRefused) as refusal:
        first = refusal.findings[0]
        return error(
            first.code, f"{drill.name}: {first.message}", remedy=first.remedy, origin=task.origin, size_mm=first.size_mm
        )
    return None


def _find_pilot(drills: Sequence[Cutter], *, task: Task, means: Means, top_mm: float) -> Cutter | None:
    assert task.feature.diameter_mm is not None
    low, high = (share * task.feature.diameter_mm for share in PILOT_SHARES)
    floor = find_pilot_floor_mm(means=means)
    fitting = [
        drill
        for drill in drills
        if low <= drill.diameter_mm <= high
        and _find_misfit(drill, task=task, floor_mm=floor, means=means, top_mm=top_mm) is None
    ]
    return max(fitting, key=lambda drill: (drill.diameter_mm, -drill.tool), default=None)


def _say_no_pilot(drill: Cutter, *, task: Task) -> Finding:
    assert task.feature.diameter_mm is not None
    low, high = (share * task.feature.diameter_mm for share in PILOT_SHARES)
    return error(
        "no-pilot-drill",
        f"{task.feature.label} would be drilled with {drill.name} after a pilot of {low:.1f} to {high:.1f} mm, and no "
        "such drill fits",
        remedy="name a drill of that size as well, or a flat cutter that bores the hole",
        origin=task.origin,
    )


def _round_up(value_mm: float) -> float:
    return float(int(value_mm * 10.0 + 1.0 - 1e-9)) / 10.0
