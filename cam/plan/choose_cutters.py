"""Which cutter takes which feature: the fewest that fit, and what forced each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from math import inf

import numpy as np

from cam.errors import PlanRefused
from cam.findings import Finding, Origin, error
from cam.geometry.contour import Contour, find_segments
from cam.panel.panel import Feature, Role
from cam.tables.rows import Cutter, CutterKind, Machine

CORNER_SHARE = 0.9
"""A cutter's radius is at most this share of a corner's, so that it goes round instead of stopping."""
CORNER_TOL_MM = 1e-6
"""A corner of exactly the cutter's radius takes it, whatever the last digit of the drawing's arcs."""
BORE_RATIO = 1.15
"""A bored hole is at least this many cutter diameters wide, so that the helix clears its chips."""
MAX_CUTTERS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One feature to be cut, with what limits its cutter. ``min_corner_mm`` is inf without corners."""

    key: int
    panel: str
    feature: Feature
    min_corner_mm: float
    drawing: str | None = None

    @property
    def origin(self) -> Origin:
        """Where the feature is, for messages."""
        return Origin(
            file=self.drawing,
            panel=self.panel,
            feature=self.feature.label,
            layer=self.feature.layer,
            handle=self.feature.handle,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Drills:
    """By a task's key: the drill that can take the hole, its pilot, and why none can where one nearly does."""

    drill: Mapping[int, Cutter] = field(default_factory=dict)
    pilot: Mapping[int, Cutter] = field(default_factory=dict)
    obstacle: Mapping[int, Finding] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """The cutter for each task, by the task's key, and the reason in words."""

    cutter: Mapping[int, Cutter]
    reason: Mapping[int, str]


def find_min_corner_mm(contour: Contour) -> float:
    """Return the smallest re-entrant radius of a panel's contour, material on its left; inf if none."""
    segments = find_segments(contour.vertices)
    return float(np.where(segments.sweep_rad < 0.0, segments.radius_mm, inf).min())


def find_obstacle(cutter: Cutter, *, task: Task, depth_mm: float, machine: Machine) -> Finding | None:
    """Return why a cutter cannot cut a task, or None."""
    return _find_misfit(cutter, task=task, depth_mm=depth_mm, machine=machine) or _find_tightness(cutter, task=task)


def _find_misfit(cutter: Cutter, *, task: Task, depth_mm: float, machine: Machine) -> Finding | None:
    """Return why a cutter cannot cut this sheet on this machine, or None."""
    if cutter.kind is not CutterKind.FLAT:
        return error(
            "wrong-cutter-kind",
            f"cutter {cutter.name} is a {cutter.kind} cutter; {task.feature.label} needs a flat one",
            remedy="name a flat cutter in the job; castcut list cutters shows them",
            origin=task.origin,
        )
    if cutter.edge_length_mm < depth_mm:
        return error(
            "flutes-too-short",
            f"cutter {cutter.name} cuts {cutter.edge_length_mm:g} mm deep, but the cut is {depth_mm:.2f} mm deep "
            "(thickest sheet and cut into the bed)",
            remedy="choose a cutter with longer flutes, measure the sheet (measured_thickness_mm), or take a "
            "thinner sheet",
            origin=task.origin,
        )
    if cutter.shank_mm > machine.max_collet_mm:
        return error(
            "shank-too-large",
            f"cutter {cutter.name} has a {cutter.shank_mm:g} mm shank; machine {machine.name} holds up to "
            f"{machine.max_collet_mm:g} mm",
            remedy="choose a cutter with a thinner shank",
            origin=task.origin,
        )
    if cutter.max_ramp_deg <= 0.0:
        return error(
            "no-ramp",
            f"cutter {cutter.name} may not go down into solid material (max_ramp_deg is 0)",
            remedy="choose a cutter that may ramp",
            origin=task.origin,
        )
    return None


def _find_tightness(cutter: Cutter, *, task: Task) -> Finding | None:
    """Return why a cutter is too large for a feature, or None."""
    diameter = task.feature.diameter_mm
    if diameter is not None and diameter < BORE_RATIO * cutter.diameter_mm:
        return error(
            "hole-too-small",
            f"{task.feature.label} of {diameter:.2f} mm is smaller than {BORE_RATIO:g} x cutter {cutter.name} "
            f"({cutter.diameter_mm:g} mm), the least that a helix can bore",
            remedy=f"choose a cutter of at most {diameter / BORE_RATIO:.2f} mm, or name a drill of the hole's diameter",
            origin=task.origin,
        )
    if task.min_corner_mm < cutter.radius_mm - CORNER_TOL_MM:
        return error(
            "cutter-too-large",
            f"{task.feature.label} has a re-entrant radius of {task.min_corner_mm:.2f} mm; cutter {cutter.name} leaves "
            f"{cutter.radius_mm:g} mm",
            remedy=f"choose a cutter of at most {2.0 * CORNER_SHARE * task.min_corner_mm:.1f} mm, or raise the corner "
            "rule's radius_mm in the job",
            origin=task.origin,
        )
    return None


def choose_cutters(
    tasks: tuple[Task, ...],
    *,
    cutters: tuple[Cutter, ...],
    named: bool,
    depth_mm: float,
    thickness_mm: float,
    machine: Machine,
    drills: Drills | None = None,
) -> Choice:
    """Return the fewest cutters that take all tasks, the outlines' own before those that others force.

    Parameters
    ----------
    cutters
        Candidates: those that the job names, in its order, or all that have cutting data.
    named
        Whether the job named them; then its order is the preference. Otherwise the preferred one is
        the largest up to 1.5 times the sheet's thickness (shop rule: stiff, yet a narrow kerf), then
        ever larger ones.
    depth_mm
        From the highest sheet top to the deepest cut.
    drills
        What could be drilled: a hole is, if no flat cutter bores it.

    Raises
    ------
    PlanRefused
        If a task has no cutter, or more than `MAX_CUTTERS` flat ones would be needed.

    Notes
    -----
    Outlines take the fewest cutters that fit all of them, and so does whatever these fit as well. For the
    rest the fewest further cutters are brought in: a small hole gets a small cutter, and the outline
    keeps the stiff one. Only where that makes more than `MAX_CUTTERS` does a smaller cutter do all.
    """
    ranked = cutters if named else tuple(sorted(cutters, key=lambda c: _rank(c, thickness_mm)))
    fits: dict[int, frozenset[int]] = {}
    for place, cutter in enumerate(ranked):
        able = [t for t in tasks if find_obstacle(cutter, task=t, depth_mm=depth_mm, machine=machine) is None]
        # a cutter that only just enters a corner stops in it: it is used where the job names it alone
        easy = [t for t in able if named or cutter.radius_mm <= CORNER_SHARE * t.min_corner_mm + 1e-9]
        fits[place] = frozenset(t.key for t in easy)
    drills = drills or Drills()
    routed, drilled = [], {}
    for task in tasks:
        if any(task.key in keys for keys in fits.values()):
            routed.append(task)
            continue
        obstacle = _find_nearest_obstacle(task, ranked, depth_mm=depth_mm, machine=machine)
        if task.key not in drills.drill:
            nearly = drills.obstacle.get(task.key)
            raise PlanRefused(obstacle, *([nearly] if nearly else []))
        drilled[task.key] = (drills.drill[task.key], f"no flat cutter bores it: {obstacle.message}")
    places = _find_places(routed, fits=fits)
    if places is None:
        raise PlanRefused(
            error(
                "too-many-cutters",
                f"no {MAX_CUTTERS} cutters together take every feature",
                remedy="cut the panels in two jobs, or name cutters in the job that take several features each",
                origin=tasks[0].origin,
            )
        )
    choice = _choose(routed, [(ranked[place], fits[place]) for place in places], named=named, drills=drills)
    return Choice(
        cutter={**choice.cutter, **{key: drill for key, (drill, _) in drilled.items()}},
        reason={**choice.reason, **{key: f"cutter {drill.name}: {why}" for key, (drill, why) in drilled.items()}},
    )


def _find_places(tasks: Sequence[Task], *, fits: Mapping[int, frozenset[int]]) -> tuple[int, ...] | None:
    """Return the ranks of the cutters to be used, the outlines' first; None if more than `MAX_CUTTERS` are needed."""
    main = _find_fewest([t for t in tasks if t.feature.role is Role.OUTLINE], fits=fits, most=MAX_CUTTERS)
    if main is not None:
        rest = [t for t in tasks if not any(t.key in fits[place] for place in main)]
        more = _find_fewest(rest, fits=fits, most=MAX_CUTTERS - len(main))
        if more is not None:
            return main + more
    return _find_fewest(tasks, fits=fits, most=MAX_CUTTERS)


def _find_fewest(tasks: Sequence[Task], *, fits: Mapping[int, frozenset[int]], most: int) -> tuple[int, ...] | None:
    """Return the ranks of the fewest cutters that fit tasks, of these the first; None if more than so many are."""
    every = frozenset(task.key for task in tasks)
    for count in range(most + 1):
        for places in combinations(fits, count):
            if every <= frozenset().union(*(fits[place] for place in places)):
                return places
    return None


def _rank(cutter: Cutter, thickness_mm: float) -> tuple[bool, float, int, int]:
    too_large = cutter.diameter_mm > 1.5 * thickness_mm + 1e-9
    return (
        too_large,
        cutter.diameter_mm if too_large else -cutter.diameter_mm,
        cutter.flutes,
        cutter.tool,
    )


def _find_nearest_obstacle(task: Task, ranked: tuple[Cutter, ...], *, depth_mm: float, machine: Machine) -> Finding:
    """Return the obstacle of the cutter that comes closest: the smallest flat one."""
    flat = [cutter for cutter in ranked if cutter.kind is CutterKind.FLAT] or list(ranked)
    if not flat:
        return error(
            "no-cutter-fits",
            "no cutter of the table has cutting data for this material",
            remedy="add a cutter or chip loads to the shop's own tables, or name another material",
            origin=task.origin,
        )
    deep = [cutter for cutter in flat if cutter.edge_length_mm >= depth_mm]
    if not deep:
        longest = max(flat, key=lambda cutter: cutter.edge_length_mm)
        obstacle = find_obstacle(longest, task=task, depth_mm=depth_mm, machine=machine)
    else:
        smallest = min(deep, key=lambda cutter: cutter.diameter_mm)
        obstacle = find_obstacle(smallest, task=task, depth_mm=depth_mm, machine=machine)
    return obstacle or error(
        "cutter-too-large",
        f"{task.feature.label} has a re-entrant radius of {task.min_corner_mm:.2f} mm, which no cutter goes round with "
        f"a radius of at most {CORNER_SHARE:g} times that",
        remedy="name a smaller cutter in the job, or raise the corner rule's radius_mm",
        origin=task.origin,
    )


def _choose(
    tasks: Sequence[Task], chosen: list[tuple[Cutter, frozenset[int]]], *, named: bool, drills: Drills
) -> Choice:
    cutter: dict[int, Cutter] = {}
    reason: dict[int, str] = {}
    how = "the job's first" if named else "the preferred"
    for task in tasks:
        # the first cutter that fits: the later ones were brought in for what the first cannot do
        place, (taken, _) = next((i, pair) for i, pair in enumerate(chosen) if task.key in pair[1])
        cutter[task.key] = taken
        if place == 0:
            reason[task.key] = f"cutter {taken.name}: {how} cutter that fits"
        else:
            reason[task.key] = f"cutter {taken.name}: {chosen[0][0].name} does not fit {task.feature.label}"
        if task.key in drills.drill:
            reason[task.key] += f"; bored rather than drilled with {drills.drill[task.key].name}: a better wall"
    return Choice(cutter=cutter, reason=reason)
