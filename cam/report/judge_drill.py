"""Drilled holes: where, how wide, how deep, how far at a stretch, and how fast."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot

import numpy as np
import shapely

from cam.backplot.sweep import find_radius_mm
from cam.backplot.trace import Kind
from cam.errors import TableRefused
from cam.findings import Finding, Severity, error, warning
from cam.geometry.contour import IntArray
from cam.geometry.measure import find_bounds_mm
from cam.panel.panel import Role
from cam.report.judge_case import Case, Wall, locate_move
from cam.report.judge_places import Place, gather_places
from cam.tables.drill_feed import SAME_DIAMETER_MM, DrillWindow, find_drill_window
from cam.tables.rows import Cutter, CutterKind

PLACE_TOL_MM = 0.02
"""How far a drilled hole may stand off its place: what a drill wanders anyway is far more."""
SIDEWAYS_MM = 1e-6
PECK_SLACK_MM = 0.02
"""How much deeper than the table's a peck may be: pecks are divided evenly, the text rounded."""
FULL_MM = 0.001
"""How much less than the drill's radius counts as its full diameter: the text's last digit on the point."""
FEED_STEP_MM_PER_MIN = 0.5
RPM_STEP = 0.5
"""Half of the last digit of F and S words."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrilledHole:
    """A hole of a panel that a drill makes: its middle and diameter, and the deepest trip of the widest drill.

    ``tip_mm`` is the lowest height of that drill's tip above the bed, ``off_mm`` how far from the hole's middle.
    """

    wall: Wall
    centre_mm: tuple[float, float]
    diameter_mm: float
    cutter: Cutter
    move: int
    tip_mm: float
    off_mm: float


def judge_drill(case: Case) -> list[Finding]:
    """Return the findings on drills; none if the program uses none.

    Notes
    -----
    A drill goes straight down, into a wide hole after a thinner one. In a hole of a panel it must stand
    in the middle, be as wide as the hole and come through with its full diameter; anywhere else it must
    keep off the panels as any cutter does. Between two trips out of the sheet it goes no deeper than the
    table's peck; the first counts from the highest top.
    """
    rows = _find_drilling(case)
    if not len(rows):
        return []
    return [
        *_judge_sideways(case, rows=rows),
        *_judge_holes(case, holes=find_drilled_holes(case)),
        *_judge_pilots(case, rows=rows, holes=find_drilled_holes(case)),
        *_judge_gouges(case, rows=rows),
        *(
            finding
            for tool in np.unique(case.below.tool[rows]).tolist()
            for finding in _judge_way(case, rows=rows[case.below.tool[rows] == tool], cutter=case.cutters[tool])
        ),
    ]


def _find_drilling(case: Case) -> IntArray:
    drills = [tool for tool, cutter in case.cutters.items() if cutter.kind is CutterKind.DRILL]
    return np.flatnonzero(np.isin(case.below.tool, drills))


def find_drilled_holes(case: Case) -> tuple[DrilledHole, ...]:
    """Return the holes that a drill goes down in and no other cutter works in, but a vee at its edge."""
    rows = _find_drilling(case)
    if not len(rows):
        return ()
    pointed = [tool for tool, cutter in case.cutters.items() if cutter.kind in (CutterKind.DRILL, CutterKind.VEE)]
    others = np.flatnonzero(~np.isin(case.below.tool, pointed))
    spots, tips = case.below.end_mm[rows, :2], case.below.end_mm[rows, 2]
    found = []
    for panel in case.panels:
        for wall, contour in zip(panel.walls, panel.region.contours, strict=True):
            if wall.feature.role is not Role.HOLE:
                continue
            min_x, min_y, max_x, max_y = find_bounds_mm(contour)
            centre, radius = ((min_x + max_x) / 2.0, (min_y + max_y) / 2.0), (max_x - min_x) / 2.0
            off = np.hypot(*(spots - np.array(centre)).T)
            inside = np.flatnonzero(off < radius)
            routed = np.hypot(*(case.below.end_mm[others, :2] - np.array(centre)).T) < radius
            if not len(inside) or routed.any():
                continue
            widest = max(case.cutters[int(tool)].diameter_mm for tool in case.below.tool[rows[inside]])
            own = [i for i in inside if case.cutters[int(case.below.tool[rows[i]])].diameter_mm == widest]
            deepest = min(own, key=lambda i: float(tips[i]))
            found.append(
                DrilledHole(
                    wall=wall,
                    centre_mm=centre,
                    diameter_mm=2.0 * radius,
                    cutter=case.cutters[int(case.below.tool[rows[deepest]])],
                    move=int(case.below.move[rows[deepest]]),
                    tip_mm=float(tips[deepest]),
                    off_mm=float(off[deepest]),
                )
            )
    return tuple(found)


def find_drilled_zone(case: Case) -> shapely.Geometry:
    """Return the discs of the drilled holes, whose walls are judged here alone."""
    return shapely.union_all(
        [shapely.Point(hole.centre_mm).buffer(hole.diameter_mm / 2.0 + 0.1) for hole in find_drilled_holes(case)]
    )


def _judge_sideways(case: Case, *, rows: IntArray) -> list[Finding]:
    below = case.below
    run = np.hypot(*(below.end_mm[rows] - below.start_mm[rows])[:, :2].T)
    run = np.where(below.sweep_rad[rows] != 0.0, np.inf, run)
    aside = np.flatnonzero(run > SIDEWAYS_MM)
    return [
        error(
            "drill-moved-sideways",
            f"the drill moves sideways below the sheet's top{more}",
            remedy="retract the drill above the sheet before it moves on; route with a flat cutter",
            origin=locate_move(case, place.move),
        )
        for place, more in gather_places(
            (Place(move=int(below.move[rows[i]]), size=float(run[i])) for i in aside), gap=3
        )
    ]


def _judge_holes(case: Case, *, holes: tuple[DrilledHole, ...]) -> list[Finding]:
    findings = []
    for hole in holes:
        cutter = hole.cutter
        told = {
            "hole-off-place": (
                hole.off_mm > PLACE_TOL_MM,
                f"{hole.wall.label} is drilled {hole.off_mm:.3f} mm off its middle; {PLACE_TOL_MM:g} mm is allowed",
                "look at the X and Y of this line",
                hole.off_mm,
            ),
            "hole-wrong-size": (
                abs(cutter.diameter_mm - hole.diameter_mm) > SAME_DIAMETER_MM + 1e-6,
                f"{hole.wall.label} of {hole.diameter_mm:.2f} mm is drilled with T{cutter.tool} {cutter.name} of "
                f"{cutter.diameter_mm:g} mm; {SAME_DIAMETER_MM:g} mm of difference is allowed",
                "name the drill of the hole's diameter, or bore the hole",
                abs(cutter.diameter_mm - hole.diameter_mm),
            ),
            "drilled-too-shallow": (
                find_radius_mm(cutter, above_tip_mm=-hole.tip_mm) < cutter.radius_mm - FULL_MM,
                f"the point of T{cutter.tool} {cutter.name} ends {-hole.tip_mm:.2f} mm below the bed's height in "
                f"{hole.wall.label}: the full diameter does not come through",
                "drill deeper, by the length of the drill's point below the bed, into a scrap board thick enough",
                max(0.0, cutter.radius_mm - find_radius_mm(cutter, above_tip_mm=-hole.tip_mm)),
            ),
        }
        for code, (wrong, message, remedy, size) in told.items():
            if wrong:
                origin = locate_move(case, hole.move, panel=hole.wall.panel, feature=hole.wall.feature.label)
                findings.append(error(code, message, remedy=remedy, origin=origin, size_mm=size))
    return findings


def _judge_pilots(case: Case, *, rows: IntArray, holes: tuple[DrilledHole, ...]) -> list[Finding]:
    """Return a finding for each wide hole that no thinner drill has led before the drill first goes down in it."""
    drilling = case.material.drilling
    findings = []
    for hole in holes:
        if drilling is None or hole.diameter_mm <= drilling.pilot_above_mm + 1e-9:
            continue
        off = np.hypot(*(case.below.end_mm[rows, :2] - np.array(hole.centre_mm)).T)
        here = rows[off < hole.diameter_mm / 2.0]
        first = next(row for row in here.tolist() if int(case.below.tool[row]) == hole.cutter.tool)
        led = case.below.move[here] < case.below.move[first]
        thinner = [case.cutters[int(tool)].diameter_mm < hole.cutter.diameter_mm for tool in case.below.tool[here]]
        through = np.minimum(case.below.start_mm[here, 2], case.below.end_mm[here, 2]) <= 0.0
        if not (led & np.array(thinner) & through).any():
            findings.append(
                error(
                    "pilot-missing",
                    f"{hole.wall.label} of {hole.diameter_mm:g} mm is drilled without a pilot; {case.material.name} "
                    f"asks for one above {drilling.pilot_above_mm:g} mm",
                    remedy="drill through with a thinner drill first",
                    origin=locate_move(
                        case,
                        int(case.below.move[first]),
                        panel=hole.wall.panel,
                        feature=hole.wall.feature.label,
                    ),
                )
            )
    return findings


def _judge_gouges(case: Case, *, rows: IntArray) -> list[Finding]:
    """Return where a drill goes into a panel beside its holes, or out of a hole that is wider than it."""
    places = []
    own = {(round(h.centre_mm[0], 3), round(h.centre_mm[1], 3)): h.diameter_mm for h in find_drilled_holes(case)}
    for row in rows.tolist():
        x, y = (float(v) for v in case.below.end_mm[row, :2])
        if any(hypot(x - cx, y - cy) < d / 2.0 for (cx, cy), d in own.items()):
            continue  # a drilled hole's place and width are judged by themselves
        spot = shapely.Point(x, y)
        nearest = int(case.segments.tree.nearest(spot))
        apart = float(shapely.distance(spot, case.segments.lines[nearest]))
        within = any(shapely.contains_xy(panel.polygon, x, y) for panel in case.panels)
        cutter = case.cutters[int(case.below.tool[row])]
        tip = float(min(case.below.start_mm[row, 2], case.below.end_mm[row, 2]))
        depth = find_radius_mm(cutter, above_tip_mm=case.top_mm - tip) + (apart if within else -apart)
        if depth > case.job.tolerances.gouge_mm:
            wall = int(case.segments.wall[nearest])
            places.append(Place(move=int(case.below.move[row]), size=depth, group=wall))
    return [
        error(
            "panel-gouged",
            f"the drill goes {place.size:.3f} mm into {case.walls[place.group].label}{more}",
            remedy="do not cut: look at this line, at the drill's number, and at where the panel lies on the sheet",
            origin=locate_move(
                case,
                place.move,
                panel=case.walls[place.group].panel,
                feature=case.walls[place.group].feature.label,
            ),
            size_mm=place.size,
        )
        for place, more in gather_places(places, gap=20)
    ]


def _judge_way(case: Case, *, rows: IntArray, cutter: Cutter) -> list[Finding]:
    """Judge pecks, feed, speed and air of one drill along its way."""
    try:
        window = find_drill_window(cutter=cutter, material=case.material)
    except TableRefused as refusal:
        origin = locate_move(case, int(case.below.move[rows[0]]))
        return [replace(found, severity=Severity.ERROR, origin=origin) for found in refusal.findings]
    cutting, pecks = _find_cutting(case, rows=rows)
    findings = [
        error(
            "peck-too-deep",
            f"T{cutter.tool} {cutter.name} goes {place.size:.2f} mm deeper without coming out of the sheet; "
            f"{case.material.name} allows {window.peck_mm:g} mm{more}",
            remedy="retract above the sheet to clear the chips, and go on in shallower pecks",
            origin=locate_move(case, place.move),
            size_mm=place.size,
        )
        for place, more in gather_places([peck for peck in pecks if peck.size > window.peck_mm + PECK_SLACK_MM])
    ]
    moves = np.unique(case.below.move[cutting])
    return [
        *findings,
        *_judge_feed(case, moves=moves, cutter=cutter, window=window, most_mm=window.high_mm),
        *_judge_exit(case, rows=cutting, cutter=cutter, window=window),
        *_judge_speed(case, moves=moves, cutter=cutter, window=window),
        *_judge_air(case, moves=moves),
    ]


def _find_cutting(case: Case, *, rows: IntArray) -> tuple[IntArray, list[Place]]:
    """Return the rows that take a hole deeper, and how much deeper each has come since the drill was out."""
    below, top = case.below, case.top_mm
    deepest: dict[tuple[float, float], float] = {}
    since: dict[tuple[float, float], float] = {}
    cutting, pecks = [], []
    for row in rows.tolist():
        start, end = below.start_mm[row], below.end_mm[row]
        spot = (round(float(end[0]), 3), round(float(end[1]), 3))
        floor = deepest.setdefault(spot, top)
        if float(start[2]) >= top - 1e-6:
            since[spot] = floor
        if float(end[2]) < floor:
            cutting.append(row)
            pecks.append(Place(move=int(below.move[row]), size=since.get(spot, top) - float(end[2])))
            deepest[spot] = float(end[2])
    return np.array(cutting, dtype=np.int64), pecks


def _judge_exit(case: Case, *, rows: IntArray, cutter: Cutter, window: DrillWindow) -> list[Finding]:
    """Judge the feed where the point breaks through: at most the material's share of the table's highest."""
    drilling = case.material.drilling
    if drilling is None:
        return []
    leaving = np.unique(case.below.move[rows[case.below.end_mm[rows, 2] < 0.0]])
    most = max(window.low_mm, window.high_mm * drilling.exit_share)
    return _judge_feed(
        case, moves=leaving, cutter=cutter, window=window, most_mm=most, where=" while it breaks through"
    )


def _judge_feed(
    case: Case, *, moves: IntArray, cutter: Cutter, window: DrillWindow, most_mm: float, where: str = ""
) -> list[Finding]:
    rpm, feed = np.abs(case.trace.spindle_rpm[moves]), case.trace.feed_mm_per_min[moves]
    turning = (rpm > 0.0) & (case.trace.kind[moves] != Kind.RAPID)
    turn = np.divide(feed, rpm, out=np.zeros_like(feed), where=turning)
    slack = turn * (FEED_STEP_MM_PER_MIN / np.maximum(feed, 1e-9) + RPM_STEP / np.maximum(rpm, 1e-9))
    wrong = turning & ((turn + slack < window.low_mm) | (turn - slack > most_mm))
    return [
        error(
            "drill-feed-wrong",
            f"T{cutter.tool} {cutter.name} goes {place.size:.3f} mm down in a turn{where}; {case.material.name} takes "
            f"{window.low_mm:.3f} to {most_mm:.3f} mm there{more}",
            remedy="change the F or the S word: too slow it rubs and melts, too fast it breaks out",
            origin=locate_move(case, place.move),
            size_mm=place.size,
        )
        for place, more in gather_places(
            (Place(move=int(moves[i]), size=float(turn[i])) for i in np.flatnonzero(wrong)), gap=50
        )
    ]


def _judge_speed(case: Case, *, moves: IntArray, cutter: Cutter, window: DrillWindow) -> list[Finding]:
    rpm = case.trace.spindle_rpm[moves]
    low = max(window.min_rpm, case.machine.min_rpm)
    high = min(window.max_rpm, case.machine.max_rpm, case.controller.limits.max_rpm)
    wrong = (rpm > 0.0) & ((rpm < low - RPM_STEP) | (rpm > high + RPM_STEP))
    return [
        error(
            "speed-outside-window",
            f"T{cutter.tool} {cutter.name} turns outside {low:.0f} to {high:.0f} rpm, what machine, material and drill "
            f"allow together{more}",
            remedy="change the S word, or the row that sets the limit",
            origin=locate_move(case, place.move),
        )
        for place, more in gather_places((Place(move=int(m), size=0.0) for m in moves[wrong]), gap=50)
    ]


def _judge_air(case: Case, *, moves: IntArray) -> list[Finding]:
    off = moves[~case.trace.air[moves]] if case.material.air_blast else moves[:0]
    return [
        warning(
            "air-off",
            f"the drill cuts with the air blast off; {case.material.name} asks for it{more}",
            remedy=f"turn air on ({case.controller.facts.air_on_word}) before this line",
            origin=locate_move(case, place.move),
        )
        for place, more in gather_places((Place(move=int(m), size=0.0) for m in off), gap=1000)
    ]
