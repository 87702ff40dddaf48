"""How deep and how wide the cutter bites, and whether the chip and the power that follow are allowed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cam.backplot.portions import Portions, find_points_mm, take_portions
from cam.backplot.trace import Kind
from cam.errors import TableRefused
from cam.findings import Finding, Severity, error, warning
from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.report.judge_case import Case, locate_move
from cam.report.judge_facets import find_curvature_per_mm
from cam.report.judge_paths import find_floors_mm
from cam.report.judge_places import Place, gather_places
from cam.tables.chip_load import ChipWindow, find_chip_thinning, find_chip_window
from cam.tables.rows import Cutter, CutterKind
from cam.tables.spindle_power import find_cutting_power, find_power_available

SPACING_MM = 20.0
"""A long move is asked for its bite at places so far apart at most."""
SHORT_MM = 1.0
"""Of moves shorter than this one in so much way is asked, and stands for the next ones."""
EDGE_STEPS_MM = (0.05, 0.15, 0.25, 0.35, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0)
"""How far from the cutter's edge, sideways, material is looked for; a film thinner than the first is no bite."""
MIN_BITE_MM = 0.02
"""Less depth than this is no bite."""
BLOCK = 2000
"""Places asked at once, so that memory stays bounded."""
FEED_STEP_MM_PER_MIN = 0.5
RPM_STEP = 0.5
"""Half of the last digit of F and S words: a feed or speed may be off by as much."""
DEEP_SLACK_MM = 0.05
"""How much deeper than the material allows a pass may be: passes are divided evenly, the text rounded."""
LEVEL_SLOPE = 0.002
"""A path that falls by less than this share of its way is level."""
SLOW_SHARE = 0.2
"""The share of the way on which a chip below the lowest is worth a warning."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bites:
    """What the cutter bites at places along feed moves; m rows.

    Attributes
    ----------
    portion, move
        (m,) the row of the case's portions below the top, and of the trace.
    share
        (m,) where on the portion, 0 at its start and 1 at its end.
    way_mm
        (m,) the length of path that the place stands for.
    depth_mm, width_mm
        (m,) the greatest depth and the width of the bite; 0 where nothing is cut.
    area_mm2
        (m,) the bite's cross-section.
    deep_mm
        (m,) the width over which the bite is deeper than the material allows a pass to be.
    middle_mm, outermost_mm
        (m,) the bite's middle, and its edge away from an arc's centre, as distances from the cutter's
        axis, positive away from the centre; on straight moves to the left of the travel.
    path_mm
        (m,) the radius of the path, inf where it is straight; of an arc written in chords that of the arc.
    """

    portion: IntArray
    move: IntArray
    share: FloatArray
    way_mm: FloatArray
    depth_mm: FloatArray
    width_mm: FloatArray
    area_mm2: FloatArray
    deep_mm: FloatArray
    middle_mm: FloatArray
    outermost_mm: FloatArray
    path_mm: FloatArray


def find_bites(case: Case) -> Bites:
    """Return the bites of flat cutters along all feed moves below the sheet's top.

    Notes
    -----
    Material is looked for just inside the leading half of the cutter's circle; it stands as high as
    the lowest earlier move over the place has left it. The cutter's own move takes nothing in advance.
    """
    portion, share, way = _choose_places(case)
    curvature = find_curvature_per_mm(case.below)
    blocks = [
        _find_block(case, portion[i : i + BLOCK], share=share[i : i + BLOCK], curvature_per_mm=curvature)
        for i in range(0, len(portion), BLOCK)
    ]
    bent = np.abs(curvature[portion])
    measures = np.concatenate(blocks) if blocks else np.empty((0, 6))
    return Bites(
        portion=portion,
        move=case.below.move[portion],
        share=share,
        way_mm=way,
        depth_mm=measures[:, 0],
        width_mm=measures[:, 1],
        area_mm2=measures[:, 2],
        deep_mm=measures[:, 3],
        middle_mm=measures[:, 4],
        outermost_mm=measures[:, 5],
        path_mm=np.divide(1.0, bent, out=np.full(len(bent), np.inf), where=bent > 0.0),
    )


def _choose_places(case: Case) -> tuple[IntArray, FloatArray, FloatArray]:
    below = case.below
    flat = [tool for tool, cutter in case.cutters.items() if cutter.kind is CutterKind.FLAT]
    kind = case.trace.kind[below.move]
    rows = np.flatnonzero(((kind == Kind.LINE) | (kind == Kind.ARC)) & np.isin(below.tool, flat))
    length = find_lengths_mm(below)[rows]
    travelled = np.cumsum(length)
    # a run of short moves is asked once for each millimetre of its way
    asked = (length >= SHORT_MM) | (np.floor(travelled / SHORT_MM) > np.floor((travelled - length) / SHORT_MM))
    way = np.diff(np.concatenate(([0.0], travelled[asked])))
    rows, length = rows[asked], length[asked]
    count = np.maximum(1, np.ceil(length / SPACING_MM)).astype(np.int64)
    index = np.repeat(np.arange(len(rows)), count)
    nth = np.arange(len(index)) - (np.cumsum(count) - count)[index]
    return rows[index], (nth + 0.5) / count[index], way[index] / count[index]


def find_lengths_mm(portions: Portions) -> FloatArray:
    """Return the lengths of portions seen from above, (n,)."""
    chord = np.hypot(*(portions.end_mm - portions.start_mm)[:, :2].T)
    arc = portions.sweep_rad != 0.0
    return np.where(arc, np.where(arc, portions.radius_mm, 0.0) * np.abs(portions.sweep_rad), chord)


def _find_block(case: Case, portion: IntArray, *, share: FloatArray, curvature_per_mm: FloatArray) -> FloatArray:
    """Return depth, width, area, deep width, middle and outermost edge of the bites at places, (m, 6)."""
    portions = take_portions(case.below, portion)
    points = find_points_mm(portions, share=share)
    forward, outward = _find_directions(portions, points, curvature_per_mm=curvature_per_mm[portion])
    measures = np.zeros((len(portion), 6))
    limit = case.material.max_pass_depth_diameters
    for tool in np.unique(portions.tool):
        rows = np.flatnonzero(portions.tool == tool)
        radius = case.cutters[int(tool)].radius_mm
        sideways, widths = _lay_sideways(radius)
        ahead = np.sqrt((radius - 0.01) ** 2 - sideways**2)
        edge = (
            points[rows, None, :2]
            + outward[rows, None, :] * sideways[None, :, None]
            + forward[rows, None, :] * ahead[None, :, None]
        ).reshape(-1, 2)
        floors = find_floors_mm(
            case.paths, edge, before_move=np.repeat(portions.move[rows], len(sideways)), margin_mm=0.02
        )
        over = np.all((edge >= 0.0) & (edge <= np.array([case.layout.width_mm, case.layout.height_mm])), axis=1)
        # what is cut of the bed below the sheet is scrap board, and no work to speak of
        depth = np.where(over, floors, 0.0).reshape(len(rows), -1) - np.maximum(points[rows, 2], 0.0)[:, None]
        bitten = depth > MIN_BITE_MM
        any_ = bitten.any(axis=1)
        weight = bitten * widths
        width = weight.sum(axis=1)
        measures[rows, 0] = np.where(any_, depth.max(axis=1), 0.0)
        measures[rows, 1] = width
        measures[rows, 2] = (weight * depth).sum(axis=1)
        measures[rows, 3] = (weight * (depth > limit * 2.0 * radius + DEEP_SLACK_MM)).sum(axis=1)
        measures[rows, 4] = np.where(any_, (weight * sideways).sum(axis=1) / np.where(any_, width, 1.0), 0.0)
        measures[rows, 5] = np.where(any_, np.where(bitten, sideways, -np.inf).max(axis=1), 0.0)
    return measures


def _lay_sideways(radius_mm: float) -> tuple[FloatArray, FloatArray]:
    """Return distances from the cutter's axis, and the width that each stands for; together the diameter."""
    out = radius_mm - np.array([step for step in EDGE_STEPS_MM if step < radius_mm * 0.9])
    sideways = np.concatenate((-out, [0.0], out[::-1]))
    between = (sideways[1:] + sideways[:-1]) / 2.0
    limits = np.concatenate(([-radius_mm], between, [radius_mm]))
    return sideways, np.diff(limits)


def _find_directions(
    portions: Portions, points_mm: FloatArray, *, curvature_per_mm: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return unit directions of travel and sideways at points, each (n, 2); see :class:`Bites`."""
    chord = (portions.end_mm - portions.start_mm)[:, :2]
    arc = (portions.sweep_rad != 0.0)[:, None]
    spoke = np.where(arc, points_mm[:, :2] - portions.centre_mm, 0.0)
    turn = np.sign(portions.sweep_rad)[:, None]
    forward = np.where(arc, turn * np.column_stack((-spoke[:, 1], spoke[:, 0])), chord)
    size = np.hypot(forward[:, 0], forward[:, 1])[:, None]
    forward = np.divide(forward, size, out=np.zeros_like(forward), where=size > 0.0)
    left = np.column_stack((-forward[:, 1], forward[:, 0]))
    # counter-clockwise the centre lies to the left
    return forward, np.where((curvature_per_mm > 0.0)[:, None], -left, left)


def judge_bites(case: Case, *, bites: Bites) -> list[Finding]:
    """Return the findings on chip loads, pass depths, power and air, at every place where the cutter bites."""
    biting = np.flatnonzero((bites.depth_mm > 0.0) & (np.abs(case.trace.spindle_rpm[bites.move]) > 0.0))
    findings = _judge_air(case, np.unique(bites.move[biting]))
    tools = case.below.tool[bites.portion]
    for tool in np.unique(tools[biting]).tolist():
        rows = biting[tools[biting] == tool]
        windows, refused = _find_windows(case, bites, rows=rows, tool=tool)
        findings += refused
        known = np.isfinite(windows).all(axis=1)
        findings += _judge_chips(case, bites, rows=rows[known], windows=windows[known], tool=tool)
        findings += _judge_passes(case, bites, rows=rows, cutter=case.cutters[tool])
    return findings


def _find_windows(case: Case, bites: Bites, *, rows: IntArray, tool: int) -> tuple[FloatArray, list[Finding]]:
    """Return the lowest and highest chip at each place's depth, (m, 2) and nan where the table has none."""
    # a depth is taken a little deeper, so that few windows serve all places
    depth = np.ceil(bites.depth_mm[rows] / 0.02) * 0.02
    windows = np.full((len(rows), 2), np.nan)
    told: set[str] = set()
    findings: list[Finding] = []
    for each in np.unique(depth):
        at = np.flatnonzero(depth == each)
        # the depth itself, not the step above it, decides whether the table ends
        exact = min(float(each), float(bites.depth_mm[rows[at]].max()))
        try:
            window: ChipWindow = find_chip_window(cutter=case.cutters[tool], material=case.material, depth_mm=exact)
        except TableRefused as refusal:
            place = int(bites.move[rows[at[0]]])
            findings += [
                Finding(
                    code=found.code,
                    severity=Severity.ERROR,
                    message=found.message,
                    remedy=found.remedy,
                    origin=locate_move(case, place),
                )
                for found in refusal.findings
                if found.code not in told
            ]
            told |= {found.code for found in refusal.findings}
            continue
        windows[at] = window.low_mm, window.high_mm
    return windows, findings


def _judge_chips(case: Case, bites: Bites, *, rows: IntArray, windows: FloatArray, tool: int) -> list[Finding]:
    """Judge the programmed chip load, and warn of the true one.

    Notes
    -----
    On an arc of radius p the point of the cutter's edge at a distance d outwards from its axis feeds
    ``(p + d) / p`` times as fast as the axis. The highest chip counts at the bite's middle, the lowest
    at its fastest edge: a chip below the lowest there is so everywhere. A narrow bite thins the chip,
    which may be made up for up to the material's cap. While the cutter goes down, its bite grows from
    nothing, and only the material's least chip is asked for.
    """
    cutter, trace = case.cutters[tool], case.trace
    move = bites.move[rows]
    rpm = np.abs(trace.spindle_rpm[move])
    chip = trace.feed_mm_per_min[move] / (rpm * cutter.flutes)
    slack = (FEED_STEP_MM_PER_MIN / trace.feed_mm_per_min[move] + RPM_STEP / rpm) * chip
    path = np.maximum(bites.path_mm[rows], 1e-9)
    middle = chip * np.maximum(0.0, 1.0 + bites.middle_mm[rows] / path)
    fastest = chip * np.maximum(1.0, 1.0 + bites.outermost_mm[rows] / path)
    narrow = np.minimum(bites.width_mm[rows], cutter.diameter_mm)
    allowance = np.array(
        [
            min(
                case.material.finish_chip_cap,
                1.0 / find_chip_thinning(radial_mm=float(width), diameter_mm=cutter.diameter_mm),
            )
            for width in narrow
        ]
    )
    falling = _find_falling(case, bites, rows=rows)
    low = np.where(falling, case.material.min_chip_mm, windows[:, 0])
    thick = middle - slack > windows[:, 1] * allowance
    thin = fastest + slack < low
    findings: list[Finding] = []
    for code, bad, size, limit, words, remedy in (
        ("chip-too-thick", thick, middle, windows[:, 1], "above {:.3f} mm, the table's highest", "lower the feed"),
        (
            "chip-too-thin-as-cut",
            thin,
            fastest,
            low,
            "below {:.3f} mm, the least: the cutter rubs and melts the acrylic",
            "raise the feed, or slow the spindle",
        ),
    ):
        places = [Place(move=int(move[i]), size=float(size[i])) for i in np.flatnonzero(bad)]
        for place, more in gather_places(places, gap=50):
            i = int(np.flatnonzero(bad & (move == place.move))[0])
            findings.append(
                error(
                    code,
                    f"T{tool} {cutter.name} takes {size[i]:.3f} mm a tooth, {words.format(limit[i])} at a depth of "
                    f"{bites.depth_mm[rows[i]]:.2f} mm{more}",
                    remedy=remedy,
                    origin=locate_move(case, place.move),
                    size_mm=float(size[i]),
                )
            )
    if not thin.any():
        findings += _warn_of_slow_feed(case, bites, rows=rows, low_mm=low, fastest_mm=fastest, tool=tool)
    return findings


def _find_falling(case: Case, bites: Bites, *, rows: IntArray) -> BoolArray:
    portions = take_portions(case.below, bites.portion[rows])
    fall = portions.start_mm[:, 2] - portions.end_mm[:, 2]
    return np.asarray(fall > LEVEL_SLOPE * np.maximum(find_lengths_mm(portions), 1e-9))


def _warn_of_slow_feed(
    case: Case, bites: Bites, *, rows: IntArray, low_mm: FloatArray, fastest_mm: FloatArray, tool: int
) -> list[Finding]:
    """Warn where the machine, slowed by corners and arcs, does not reach the lowest chip on much of the way."""
    move, timing = bites.move[rows], case.timing
    along = bites.share[rows] * timing.length_mm[move]
    gain = 2.0 * timing.acceleration_mm_per_s2[move]
    rising = np.sqrt(timing.entry_mm_per_s[move] ** 2 + gain * along)
    braking = np.sqrt(timing.exit_mm_per_s[move] ** 2 + gain * (timing.length_mm[move] - along))
    speed = np.minimum(timing.peak_mm_per_s[move], np.minimum(rising, braking))
    programmed = case.trace.feed_mm_per_min[move] / 60.0
    slow = fastest_mm * np.minimum(1.0, speed / programmed) < low_mm
    way = bites.way_mm[rows]
    share = float(way[slow].sum() / way.sum()) if way.sum() > 0.0 else 0.0
    if share <= SLOW_SHARE:
        return []
    cutter = case.cutters[tool]
    first = int(move[np.flatnonzero(slow)[0]])
    return [
        warning(
            "feed-not-reached",
            f"on {100.0 * share:.0f} % of the way of T{tool} {cutter.name} machine {case.machine.name} is slowed so "
            "much by corners and arcs that the chip is thinner than the table's lowest",
            remedy="lower spindle speed and feed together, or cut on a machine that accelerates faster",
            origin=locate_move(case, first),
        )
    ]


def _judge_passes(case: Case, bites: Bites, *, rows: IntArray, cutter: Cutter) -> list[Finding]:
    """Judge depth of slots and power."""
    move, depth = bites.move[rows], bites.depth_mm[rows]
    limit = case.material.max_pass_depth_diameters * cutter.diameter_mm
    # deep over less than half the diameter it is a finishing cut, which may take the full depth
    deep = bites.deep_mm[rows] >= 0.5 * cutter.diameter_mm
    findings = [
        error(
            "pass-too-deep",
            f"a pass of T{cutter.tool} {cutter.name} is {place.size:.2f} mm deep over at least half its diameter; "
            f"{case.material.name} allows {limit:g} mm{more}",
            remedy="cut in more passes",
            origin=locate_move(case, place.move),
            size_mm=place.size,
        )
        for place, more in gather_places(
            (Place(move=int(move[i]), size=float(depth[i])) for i in np.flatnonzero(deep)), gap=50
        )
    ]
    power = [
        find_cutting_power(
            removal_mm3_per_s=float(bites.area_mm2[rows[i]] * case.trace.feed_mm_per_min[m]) / 60.0,
            cutting_energy_j_per_mm3=case.material.cutting_energy_j_per_mm3,
        )
        for i, m in enumerate(move)
    ]
    curve = case.machine.power_curve
    for place, more in gather_places(
        (
            Place(move=int(m), size=power[i] - find_power_available(case.machine, rpm=rpm))
            for i, m in enumerate(move)
            if curve[0].rpm <= (rpm := abs(float(case.trace.spindle_rpm[m]))) <= curve[-1].rpm
            and power[i] > find_power_available(case.machine, rpm=rpm)
        ),
        gap=50,
    ):
        findings.append(
            error(
                "power-exceeded",
                f"the cut takes {place.size:.0f} W more than the spindle of machine {case.machine.name} gives{more}",
                remedy="cut in shallower passes, or lower feed and spindle speed together",
                origin=locate_move(case, place.move),
            )
        )
    return findings


def _judge_air(case: Case, moves: IntArray) -> list[Finding]:
    if not case.material.air_blast:
        return []
    off = moves[~case.trace.air[moves]]
    return [
        warning(
            "air-off",
            f"the cutter bites with the air blast off; {case.material.name} asks for it{more}",
            remedy=f"turn air on ({case.controller.facts.air_on_word}) before this line",
            origin=locate_move(case, place.move),
        )
        for place, more in gather_places((Place(move=int(m), size=0.0) for m in off), gap=1000)
    ]
