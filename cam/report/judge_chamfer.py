"""Chamfers: what vee cutters take off the upper face, against what the panels ask for, at several heights."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import radians, tan

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from cam.backplot.portions import Portions, take_portions
from cam.backplot.sweep import Side, sweep_portions
from cam.findings import Finding, Origin, error
from cam.geometry.contour import Contour
from cam.geometry.flatten import flatten_vertices
from cam.panel.panel import Feature, Panel
from cam.report.judge_case import Case
from cam.tables.job import Face, ZeroFace
from cam.tables.rows import Cutter, CutterKind

WIDTH_TOL_MM = 0.1
"""How far a chamfer's width may be off, at every height (shop rule: what an eye does not see on an arris)."""
SHARES = (0.25, 0.5, 0.75, 1.0)
"""At these shares of the chamfer's depth, from its lower edge up, its width is looked at."""
BELOW_MM = 0.02
"""So far below the chamfer's lower edge nothing more may be taken off, but for the tolerance."""
CHAMFER_CHORD_TOL_MM = 0.002
"""How far chords lie off arcs here: little beside the tolerance of the width."""
SLIVER_MM2 = 1e-3
"""Less area than this is what two approximations of one line leave between them."""
MOSTLY = 0.9
"""A chamfer of which so large a share is missing has not been cut."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edge:
    """Neighbouring edges of one wall that are to be chamfered, as a line; ``ends`` are where it ends, if it does."""

    panel: int
    label: str
    line: BaseGeometry
    ends: tuple[shapely.Point, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Level:
    """What vee cutters removed at a height, from both sides, and how wide the chamfer is there."""

    height_mm: float
    width_mm: float
    within: BaseGeometry
    beyond: BaseGeometry


def asks_for_chamfer(case: Case) -> bool:
    """Return whether any panel is to be chamfered: then vee cutters are judged here, height by height."""
    return any(placement.panel.chamfer_mm > 0.0 for placement in case.layout.placements)


def judge_chamfer(case: Case) -> list[Finding]:
    """Return the findings on the panels' chamfers.

    Notes
    -----
    At a height the chamfer takes off what lies nearer to its edges than its width there, which falls
    evenly from the whole width at the top to nothing at its lower edge; how deep that is follows from
    the angle of the vee cutter, the one that the job names or else the one that the program cuts most
    with. What was removed for certain must reach there, and what may have been removed no farther,
    nor past the ends of the edges, both but for `WIDTH_TOL_MM`. Where edges of the class end the
    chamfer may run out, over twice its width and 1 mm. The sheet's top is taken as high and as low as
    was measured.
    """
    if not asks_for_chamfer(case):
        return []
    down = _judge_face(case)
    if down:
        return down
    edges = find_edges(case)
    cutter = _find_cutter(case)
    if cutter is None:
        return [_say_missing(case, edge, whole=True, where=edge.line, height_mm=case.top_mm) for edge in edges]
    # the truth has one width: all panels of a job take the job's
    width = max(placement.panel.chamfer_mm for placement in case.layout.placements)
    findings: dict[tuple[str, int, str], Finding] = {}
    for portions, top in _find_tops(case):
        for level in _find_levels(case, portions, cutter=cutter, width_mm=width, top_mm=top):
            for key, finding in _judge_level(case, edges, level=level, width_mm=width):
                findings.setdefault(key, finding)
    return list(findings.values())


def _judge_face(case: Case) -> list[Finding]:
    return [
        error(
            "chamfer-face-down",
            f"{placement.panel.name} lies face down: a chamfer cut from above would be on its back",
            remedy='lay the panel with face = "up", or take the chamfer out of the job',
            origin=Origin(file=case.program, panel=placement.panel.name),
        )
        for placement in case.layout.placements
        if placement.panel.chamfer_mm > 0.0 and placement.face is Face.DOWN
    ]


def find_edges(case: Case) -> tuple[Edge, ...]:
    """Return the edges that are to be chamfered, where they lie on the sheet."""
    edges: list[Edge] = []
    for number, (panel, placement) in enumerate(zip(case.panels, case.layout.placements, strict=True)):
        if placement.panel.chamfer_mm <= 0.0:
            continue
        for wall, contour in zip(panel.walls, panel.region.contours, strict=True):
            for line, whole in _find_lines(contour, feature=wall.feature, panel=placement.panel):
                ends = () if whole else (shapely.Point(line.coords[0]), shapely.Point(line.coords[-1]))
                edges.append(Edge(panel=number, label=wall.label, line=line, ends=ends))
    return tuple(edges)


def _find_lines(contour: Contour, *, feature: Feature, panel: Panel) -> list[tuple[BaseGeometry, bool]]:
    """Return the lines of the edges of a contour that have a class to be chamfered, and which go all round."""
    points, segment = flatten_vertices(contour.vertices, chord_tol_mm=CHAMFER_CHORD_TOL_MM)
    asked = np.array([feature.find_finish(int(i)) in panel.chamfer_on for i in segment], dtype=np.bool_)
    if asked.all():
        return [(shapely.LinearRing(points), True)]
    count = len(points)
    lines: list[tuple[BaseGeometry, bool]] = []
    for first in range(count):
        if asked[first] and not asked[first - 1]:
            length = int(np.argmin(np.roll(asked, -first)))
            lines.append((shapely.LineString(points[np.arange(first, first + length + 1) % count]), False))
    return lines


def _find_cutter(case: Case) -> Cutter | None:
    """Return the vee cutter whose angle the chamfer has."""
    vees = [cutter for cutter in case.cutters.values() if cutter.kind is CutterKind.VEE]
    named = [cutter for cutter in vees if cutter.name == case.job.chamfer.cutter]
    if named:
        return named[0]
    way = {cutter.tool: _measure_way_mm(case, cutter.tool) for cutter in vees}
    best = max(vees, key=lambda cutter: way[cutter.tool], default=None)
    return best if best is not None and way[best.tool] > 0.0 else None


def _measure_way_mm(case: Case, tool: int) -> float:
    rows = case.below.tool == tool
    return float(np.hypot(*(case.below.end_mm - case.below.start_mm)[rows, :2].T).sum()) + float(rows.sum()) * 1e-9


def _find_tops(case: Case) -> list[tuple[Portions, float]]:
    """Return moves and the height of the sheet's top that they may meet: the highest and the lowest."""
    lowest, highest = case.layout.min_top_mm, case.layout.max_top_mm
    if case.job.heights.zero is ZeroFace.TOP:
        # the zero goes up and down with the top
        return [(case.high, highest)]
    return [(case.high, highest)] + ([(case.high, lowest)] if lowest < highest else [])


def _find_levels(case: Case, portions: Portions, *, cutter: Cutter, width_mm: float, top_mm: float) -> Iterable[_Level]:
    slope = tan(radians(cutter.point_angle_deg) / 2.0)
    depth = width_mm / slope
    vees = [tool for tool, each in case.cutters.items() if each.kind is CutterKind.VEE]
    own = take_portions(portions, np.isin(portions.tool, vees))
    for height, width in (
        (top_mm - depth - BELOW_MM, -BELOW_MM * slope),
        *((top_mm - depth * (1.0 - share), width_mm * share) for share in SHARES),
    ):
        within, beyond = (
            sweep_portions(own, cutters=case.cutters, height_mm=height, side=side, chord_tol_mm=CHAMFER_CHORD_TOL_MM)
            for side in (Side.WITHIN, Side.BEYOND)
        )
        yield _Level(height_mm=height, width_mm=width, within=within, beyond=beyond)


def _judge_level(
    case: Case, edges: tuple[Edge, ...], *, level: _Level, width_mm: float
) -> Iterable[tuple[tuple[str, int, str], Finding]]:
    """Yield what is wrong at one height, each with what tells it from others of its kind."""
    for number, panel in enumerate(case.panels):
        own = [edge for edge in edges if edge.panel == number]
        allowed = _lay_bands([_lengthen(edge) for edge in own], level.width_mm + WIDTH_TOL_MM)
        excess = shapely.difference(shapely.intersection(level.beyond, panel.polygon), allowed)
        for part in shapely.get_parts(excess):
            if part.area > SLIVER_MM2:
                edge = next((edge for edge in own if edge.line.distance(part) <= width_mm), None)
                code = "chamfer-off-edge" if edge is None else "chamfer-too-wide"
                label = panel.name if edge is None else edge.label
                yield (code, number, label), _say_excess(case, part, code=code, label=label, level=level, panel=number)
    if level.width_mm <= WIDTH_TOL_MM:
        return
    for number, edge in enumerate(edges):
        polygon = case.panels[edge.panel].polygon
        wanted = shapely.intersection(_lay_bands([edge], level.width_mm - WIDTH_TOL_MM), polygon)
        missing = shapely.difference(wanted, level.within)
        run_out = shapely.union_all([end.buffer(2.0 * width_mm + 1.0) for end in edge.ends])
        if missing.area > MOSTLY * wanted.area:
            yield (
                ("chamfer-missing", number, ""),
                _say_missing(case, edge, whole=True, where=missing, height_mm=level.height_mm),
            )
            continue
        short = [part for part in shapely.get_parts(shapely.difference(missing, run_out)) if part.area > SLIVER_MM2]
        if short:
            worst = max(short, key=lambda part: part.area)
            yield (
                ("chamfer-too-narrow", number, ""),
                _say_missing(case, edge, whole=False, where=worst, height_mm=level.height_mm),
            )


def _lengthen(edge: Edge) -> Edge:
    """Return an edge that goes straight on past its ends by the tolerance."""
    if not edge.ends:
        return edge
    points = np.asarray(edge.line.coords)
    for end, inner in ((0, 1), (-1, -2)):
        along = points[end] - points[inner]
        points[end] += along * WIDTH_TOL_MM / np.hypot(*along)
    return replace(edge, line=shapely.LineString(points))


def _lay_bands(edges: Iterable[Edge], width_mm: float) -> BaseGeometry:
    """Return what lies nearer to edges than a width, square at their ends."""
    return shapely.union_all(
        [shapely.buffer(edge.line, width_mm, cap_style="flat", quad_segs=32) for edge in edges if width_mm > 0.0]
    )


def _say_excess(case: Case, part: BaseGeometry, *, code: str, label: str, level: _Level, panel: int) -> Finding:
    point = part.representative_point()
    wide = code == "chamfer-too-wide"
    return error(
        code,
        f"the vee cutter takes more than the chamfer off {label}, {level.height_mm:.2f} mm above the bed: "
        f"{WIDTH_TOL_MM:g} mm is allowed"
        if wide
        else f"the vee cutter cuts into {label} where no edge is to be chamfered, {level.height_mm:.2f} mm above the "
        "bed",
        remedy="look at the depth of the vee cutter's pass, at its distance from the edge, and at the sheet's thickness"
        if wide
        else "do not cut: look at the line that leads there, and at the classes of the panel's edges",
        origin=Origin(
            file=case.program,
            panel=case.panels[panel].name,
            x_mm=float(point.x),
            y_mm=float(point.y),
            z_mm=level.height_mm,
        ),
    )


def _say_missing(case: Case, edge: Edge, *, whole: bool, where: BaseGeometry, height_mm: float) -> Finding:
    point = where.representative_point()
    origin = Origin(
        file=case.program,
        panel=case.panels[edge.panel].name,
        x_mm=float(point.x),
        y_mm=float(point.y),
        z_mm=height_mm,
    )
    if whole:
        return error(
            "chamfer-missing",
            f"{edge.label} has an edge of {edge.line.length:.1f} mm that is to be chamfered and is not",
            remedy="look for the vee cutter's pass along it, and at its depth",
            origin=origin,
        )
    return error(
        "chamfer-too-narrow",
        f"the chamfer of {edge.label} is too narrow in places, {height_mm:.2f} mm above the bed; {WIDTH_TOL_MM:g} mm "
        "is allowed",
        remedy="look at the depth of the vee cutter's pass, and at where it begins and ends",
        origin=origin,
    )
