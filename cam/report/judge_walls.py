"""Material left on walls, walls not cut through, and what holds the panels."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from math import radians, tan

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from cam.backplot.portions import cut_portions
from cam.backplot.sweep import Side, sweep_portions
from cam.findings import Finding, Origin, error, warning
from cam.geometry.contour import FloatArray, IntArray
from cam.report.judge_case import BOUND_MM, CHORD_TOL_MM, Case, PlacedPanel, Wall, WallSegments, locate_move
from cam.report.judge_drill import find_drilled_zone
from cam.report.judge_paths import PathTree, find_floor_mm
from cam.report.judge_places import Place, gather_places
from cam.tables.job import HoldKind
from cam.tables.rows import CutterKind

HEIGHT_TOL_MM = 0.02
"""How far a bridge's or a skin's height may be off before it is another height."""
FILM_START_MM = BOUND_MM + 0.0005
"""Nearer to a wall than this, material left cannot be told from the bound and the last decimal of the text."""
STANDING_MM2 = 1.0
"""Waste inside a wall of less area than this has been cleared."""
SHORT_MM = 0.05
LONG_MM = 0.5
"""How much shorter or longer than asked a bridge's neck may be; beside a curved wall it is a little longer."""
CRUMB_MM = 0.2
"""A loose sliver thinner than this is a crumb."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Removal:
    """What was removed at the heights that matter.

    Attributes
    ----------
    wall
        Just above the holding: here every wall must be free. At least this is removed.
    bed
        At the bed. At least this is removed.
    holding
        Just below the top of the holding. At most this is removed.
    wall_mm
        The height of the first.
    """

    wall: BaseGeometry
    bed: BaseGeometry
    holding: BaseGeometry
    wall_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WallRest:
    """What stands along a wall.

    ``ring`` is the line that the cutter's centre takes along the wall; the others are the parts of it
    that were not removed, each one line: at the wall's height, at the bed, and below the holding's top.
    ``standing`` tells whether waste stands behind the wall, so that it must be held.
    """

    ring: BaseGeometry
    wall: tuple[BaseGeometry, ...]
    bed: tuple[BaseGeometry, ...]
    holding: tuple[BaseGeometry, ...]
    radius_mm: float
    standing: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """The separate parts of a region, (n,) polygons, in a tree: what is asked for near one wall touches few of them."""

    parts: npt.NDArray[np.object_]
    tree: shapely.STRtree


def lay_ground(region: BaseGeometry) -> Ground:
    """Return a region's parts in a tree."""
    parts = np.asarray(shapely.get_parts(region))
    return Ground(parts=parts, tree=shapely.STRtree(parts))


def find_near_parts(ground: Ground, geometry: BaseGeometry) -> BaseGeometry:
    """Return the parts of a region whose boxes meet a geometry's: no other part takes anything from it."""
    near = np.sort(ground.tree.query(geometry))
    return shapely.MultiPolygon(list(ground.parts[near]))


def find_removal(case: Case) -> Removal:
    """Return the regions removed at the heights that matter, each from the safe side."""
    high = case.hold_mm + HEIGHT_TOL_MM
    # with Z zero on the top the holding is thinner where the sheet is; half of it must be there anyhow
    spread = find_spread_mm(case)
    low = max(case.hold_mm - HEIGHT_TOL_MM - spread, case.hold_mm / 2.0)
    above = cut_portions(case.high, below_mm=high)
    asked = ((above, high, Side.WITHIN), (above, 0.0, Side.WITHIN), (case.low, low, Side.BEYOND))
    # the polygon engine lets go of the interpreter; each region is the same whichever is done first
    with ThreadPoolExecutor(max_workers=len(asked)) as pool:
        sweeps = [
            pool.submit(
                sweep_portions, portions, cutters=case.cutters, height_mm=height, side=side, chord_tol_mm=CHORD_TOL_MM
            )
            for portions, height, side in asked
        ]
        wall, bed, holding = (sweep.result() for sweep in sweeps)
    return Removal(wall=wall, bed=bed, holding=holding, wall_mm=high)


def find_spread_mm(case: Case) -> float:
    """Return how much the height of the program's Z zero above the bed may vary."""
    if not len(case.high):
        return 0.0
    return float(case.high.end_mm[0, 2] - case.low.end_mm[0, 2])


def find_wall_rests(case: Case, *, removal: Removal, tools: Mapping[int, int]) -> tuple[WallRest, ...]:
    """Return what stands along each wall.

    Parameters
    ----------
    tools
        The T number that makes each wall; for a wall that nothing makes, the program's smallest
        cutter is taken.
    """
    used = {int(tool) for tool in np.unique(case.below.tool)} & set(case.cutters)
    grounds = [lay_ground(removed) for removed in (removal.wall, removal.bed, removal.holding)]
    smallest = min((case.cutters[tool].radius_mm for tool in used), default=0.5)
    rests = []
    for index, wall in enumerate(case.walls):
        radius = case.cutters[tools[index]].radius_mm if index in tools else smallest
        face = shapely.Polygon(wall.ring_mm)
        ring: BaseGeometry = face.buffer(radius).exterior
        standing = True
        if wall.inside:
            # empty in a hole no wider than the cutter
            ring = face.buffer(-radius).boundary
            inner = face.buffer(-2.0 * HEIGHT_TOL_MM)
            standing = inner.difference(find_near_parts(grounds[1], inner)).area > STANDING_MM2
        parts = [_find_parts(ring, find_near_parts(ground, ring)) for ground in grounds]
        rests.append(
            WallRest(ring=ring, wall=parts[0], bed=parts[1], holding=parts[2], radius_mm=radius, standing=standing)
        )
    return tuple(rests)


def _find_parts(ring: BaseGeometry, removed: BaseGeometry) -> tuple[BaseGeometry, ...]:
    rest = shapely.line_merge(ring.difference(removed))
    return tuple(part for part in shapely.get_parts(rest) if part.length > 1e-6)


def judge_films(case: Case, *, removal: Removal, rests: tuple[WallRest, ...]) -> tuple[float, list[Finding]]:
    """Return the thickest material left on the walls, mm, and a finding for each place beyond the tolerance.

    Notes
    -----
    At the wall's height all of the wall counts; at the bed what stands between bridges. The removed
    region is the inscribed one, so that too much is found rather than too little.
    """
    thickest, findings = 0.0, []
    drilled = find_drilled_zone(case)
    grounds = [lay_ground(removed) for removed in (removal.wall, removal.bed)]
    for panel in case.panels:
        own = [i for i, wall in enumerate(case.walls) if wall.panel == panel.name]
        heights = [(grounds[0], removal.wall_mm, [rests[i].wall for i in own])]
        if case.job.hold.by is HoldKind.BRIDGES:
            heights.append((grounds[1], 0.0, [rests[i].bed for i in own]))
        band = _lay_band(case, panel, width_mm=min((rests[i].radius_mm for i in own), default=0.5))
        for removed, height, crossings in heights:
            zone = shapely.union_all(
                [
                    # beside a wall the disc at a bridge's end reaches 1.42 radii from that end
                    shapely.buffer(part, 1.45 * rests[i].radius_mm)
                    for i, parts in zip(own, crossings, strict=True)
                    if not _is_uncut(rests[i], parts)
                    for part in parts
                ]
                + [drilled]
            )
            for size, point in _measure_films(case, band=band, removed=removed, zone=zone):
                thickest = max(thickest, size)
                if size > case.job.tolerances.finish_uncut_mm:
                    findings.append(_say_film(case, panel, size=size, point=point, height_mm=height))
    return thickest, findings


def _is_uncut(rest: WallRest, parts: tuple[BaseGeometry, ...]) -> bool:
    """Return whether what stands along a wall is so much that the wall itself was not cut."""
    return sum(part.length for part in parts) > 0.5 * rest.ring.length


def _lay_band(case: Case, panel: PlacedPanel, *, width_mm: float) -> BaseGeometry:
    """Return what lies on the sheet beside a panel's walls, but for the last of it that no film can be told from."""
    return panel.polygon.buffer(width_mm).difference(panel.polygon.buffer(FILM_START_MM)).intersection(case.sheet)


def _measure_films(
    case: Case, *, band: BaseGeometry, removed: Ground, zone: BaseGeometry
) -> Iterable[tuple[float, tuple[float, float]]]:
    """Yield thickness and place of each patch of material left beside a panel, none where it is clean."""
    for part in shapely.get_parts(band.difference(find_near_parts(removed, band)).difference(zone)):
        if part.geom_type != "Polygon" or part.is_empty:
            continue
        yield find_farthest(case.segments, part)


def find_farthest(segments: WallSegments, region: shapely.Polygon) -> tuple[float, tuple[float, float]]:
    """Return how far a region reaches from the walls, mm, and where; to within 0.0005 mm.

    Notes
    -----
    Along a line the distance to one straight segment has no maximum between the ends. The distance to
    all walls may have one where the nearest segment changes by an angle t: it exceeds the ends' by
    ``L sin(t) / 2`` at most over the length L. Such pieces are halved until that is small.
    """
    rings = shapely.get_parts(shapely.segmentize(region, 0.2).boundary)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    near, apart = _find_nearest(segments, points)
    same = ring[1:] == ring[:-1]
    start, end, start_near, end_near, start_apart, end_apart = (
        each[same] for each in (points[:-1], points[1:], near[:-1], near[1:], apart[:-1], apart[1:])
    )
    worst = int(np.argmax(apart))
    best, place = float(apart[worst]), points[worst]
    while len(start):
        length = np.hypot(*(end - start).T)
        turn = segments.heading_rad[start_near] - segments.heading_rad[end_near]
        excess = length * np.abs(np.sin(turn)) / 2.0
        open_ = (excess > 0.0005) & (np.maximum(start_apart, end_apart) + length / 2.0 > best)
        start, end = start[open_], end[open_]
        middle = (start + end) / 2.0
        near, apart = _find_nearest(segments, middle)
        if len(apart) and apart.max() > best:
            worst = int(np.argmax(apart))
            best, place = float(apart[worst]), middle[worst]
        start, end = np.concatenate((start, middle)), np.concatenate((middle, end))
        start_near, end_near = np.concatenate((start_near[open_], near)), np.concatenate((near, end_near[open_]))
        start_apart, end_apart = np.concatenate((start_apart[open_], apart)), np.concatenate((apart, end_apart[open_]))
    return best, (float(place[0]), float(place[1]))


def _find_nearest(segments: WallSegments, points_mm: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return the nearest wall segment of each point, and its distance."""
    if not len(points_mm):
        return np.empty(0, dtype=np.int64), np.empty(0)
    found, distance = segments.tree.query_nearest(
        np.asarray(shapely.points(points_mm)), return_distance=True, all_matches=False
    )
    return found[1], distance


def _say_film(case: Case, panel: PlacedPanel, *, size: float, point: tuple[float, float], height_mm: float) -> Finding:
    spot = shapely.Point(point)
    walls = [wall for wall in case.walls if wall.panel == panel.name]
    wall = min(walls, key=lambda each: shapely.LineString(each.ring_mm).distance(spot))
    return error(
        "material-left",
        f"{size:.3f} mm of material is left on {wall.label}, {height_mm:.2f} mm above the bed; "
        f"{case.job.tolerances.finish_uncut_mm:g} mm is allowed",
        remedy="look whether the finishing pass runs all along this wall, and with the cutter that the program names",
        origin=_locate(case, wall, point=point, height_mm=height_mm),
        size_mm=size,
    )


def _locate(case: Case, wall: Wall, *, point: tuple[float, float], height_mm: float) -> Origin:
    return Origin(
        file=case.program,
        panel=wall.panel,
        feature=wall.feature.label,
        x_mm=float(point[0]),
        y_mm=float(point[1]),
        z_mm=height_mm,
    )


def may_come_free(case: Case, wall: Wall) -> bool:
    """Return whether a wall is the outline of a panel that vacuum or tape holds by itself, by its area."""
    if wall.inside:
        return False
    panel = next(each for each in case.panels if wall in each.walls)
    return case.job.hold.holds_by_grip(float(panel.polygon.area))


def judge_walls(case: Case, *, rests: tuple[WallRest, ...]) -> list[Finding]:
    """Return walls not cut through, and bridges or skins that are not as the job asks."""
    if case.job.hold.by is HoldKind.SKIN:
        return [
            finding
            for wall, rest in zip(case.walls, rests, strict=True)
            for finding in _judge_skin(case, wall, rest=rest)
        ]
    return [
        finding
        for wall, rest in zip(case.walls, rests, strict=True)
        for finding in _judge_bridged(case, wall, rest=rest)
    ]


def _judge_bridged(case: Case, wall: Wall, *, rest: WallRest) -> list[Finding]:
    """Judge one wall that bridges hold, or that needs no hold because its waste is gone."""
    if rest.ring.length > 0.0 and sum(part.length for part in rest.bed) > 0.999 * rest.ring.length:
        return [_say_not_through(case, wall, part=rest.bed[0], whole=True)]
    hold, findings, thin = case.job.hold, [], 0
    # beside each flank the tip is still above the bed: no program needs flatter flanks than its ramps
    longest = hold.bridge_length_mm + 2.0 * hold.bridge_height_mm / tan(radians(case.material.ramp_deg)) + 1.0
    for part in rest.bed:
        held = [bridge for bridge in rest.holding if bridge.distance(part) < 1e-3]
        if not held:
            floor = find_floor_mm(case.paths, _find_middle(part))
            if floor >= 0.25 * hold.bridge_height_mm and part.length < longest:
                thin += 1
                findings.append(_say_thin(case, wall, part=part, floor_mm=floor))
            else:
                findings.append(_say_not_through(case, wall, part=part, whole=False))
        elif part.length > longest:
            findings.append(_say_not_through(case, wall, part=part, whole=False))
    if rest.standing and (rest.holding or not may_come_free(case, wall)):
        findings += _judge_bridges(case, wall, rest=rest, thin=thin)
    return findings


def _judge_bridges(case: Case, wall: Wall, *, rest: WallRest, thin: int) -> list[Finding]:
    """Judge number, length and height of the bridges along a wall."""
    hold, findings = case.job.hold, []
    length = shapely.LineString(wall.ring_mm).length
    # a chord less than the arc must not ask for one bridge more
    asked = hold.count_bridges(length * (1.0 - 1e-9))
    if len(rest.holding) + thin < asked:
        point = _find_middle(rest.holding[0]) if rest.holding else shapely.Point(wall.ring_mm[0])
        findings.append(
            error(
                "bridge-missing",
                f"{wall.label} has {len(rest.holding)} bridges of full height; the job asks for {asked}",
                remedy="do not cut: the part would come loose; look for a pass that does not rise over its bridges",
                origin=_locate(case, wall, point=(point.x, point.y), height_mm=hold.bridge_height_mm),
            )
        )
    # just below its top a bridge is longer by what its flanks reach out there
    reach = LONG_MM + 2.0 * HEIGHT_TOL_MM / tan(radians(case.material.ramp_deg))
    for bridge in rest.holding:
        middle = _find_middle(bridge)
        short, long = bridge.length < hold.bridge_length_mm - SHORT_MM, bridge.length > hold.bridge_length_mm + reach
        if short or long:
            findings.append(
                error(
                    "bridge-short" if short else "bridge-long",
                    f"a bridge of {wall.label} is {bridge.length:.2f} mm long at its neck; the job asks for "
                    f"{hold.bridge_length_mm:g} mm",
                    remedy="let the cutter stay up for the bridge's length and its own diameter, no more and no less",
                    origin=_locate(case, wall, point=(middle.x, middle.y), height_mm=hold.bridge_height_mm),
                    size_mm=float(bridge.length),
                )
            )
    for part in rest.wall if not _is_uncut(rest, rest.wall) else ():
        middle = _find_middle(part)
        floor = find_floor_mm(case.paths, middle)
        findings.append(
            error(
                "bridge-high",
                f"what is left standing along {wall.label} is {floor:.2f} mm high; the job asks for "
                f"{hold.bridge_height_mm:g} mm",
                remedy="look whether every pass goes down to the bridge's height there",
                origin=_locate(case, wall, point=(middle.x, middle.y), height_mm=floor),
                size_mm=floor,
            )
        )
    return findings


def _judge_skin(case: Case, wall: Wall, *, rest: WallRest) -> list[Finding]:
    """Judge one wall that a skin holds: where waste stands behind it, the skin is whole and no thicker than asked."""
    if not rest.standing or (may_come_free(case, wall) and not rest.bed):
        return []
    findings = []
    if sum(part.length for part in rest.holding) <= 0.999 * rest.ring.length:
        gaps = shapely.line_merge(rest.ring.difference(shapely.union_all(list(rest.holding))))
        gap = max(shapely.get_parts(gaps), key=lambda part: part.length)
        findings.append(_say_skin(case, wall, code="skin-missing", part=gap, paths=case.low_paths))
    if rest.wall:
        thick = max(rest.wall, key=lambda part: part.length)
        findings.append(_say_skin(case, wall, code="skin-thick", part=thick, paths=case.paths))
    return findings


def _say_skin(case: Case, wall: Wall, *, code: str, part: BaseGeometry, paths: PathTree) -> Finding:
    middle = _find_middle(part)
    floor = max(0.0, find_floor_mm(paths, middle))
    loose = code == "skin-missing"
    return error(
        code,
        f"the skin under {wall.label} is {floor:.2f} mm thick over {part.length:.1f} mm; the job asks for "
        f"{case.job.hold.skin_mm:g} mm",
        remedy="do not cut: the part would come loose; look for a pass that goes too deep"
        if loose
        else "look whether the last pass goes down to the skin there",
        origin=_locate(case, wall, point=(middle.x, middle.y), height_mm=floor),
        size_mm=floor,
    )


def _find_middle(line: BaseGeometry) -> shapely.Point:
    return line.interpolate(0.5, normalized=True)


def _say_not_through(case: Case, wall: Wall, *, part: BaseGeometry, whole: bool) -> Finding:
    middle = _find_middle(part)
    floor = find_floor_mm(case.paths, middle)
    where = "all along" if whole else f"over {part.length:.1f} mm of"
    return error(
        "not-through",
        f"{floor:.2f} mm of material stands {where} {wall.label}; it is not cut through to the bed",
        remedy="look at the depth of the last pass there, and at where Z is zero",
        origin=_locate(case, wall, point=(middle.x, middle.y), height_mm=floor),
        size_mm=floor,
    )


def _say_thin(case: Case, wall: Wall, *, part: BaseGeometry, floor_mm: float) -> Finding:
    middle = _find_middle(part)
    return error(
        "bridge-thin",
        f"a bridge of {wall.label} is {floor_mm:.2f} mm high; the job asks for {case.job.hold.bridge_height_mm:g} mm",
        remedy="let every pass stay up over the bridge at the height that the job asks for",
        origin=_locate(case, wall, point=(middle.x, middle.y), height_mm=floor_mm),
        size_mm=floor_mm,
    )


def judge_pieces(case: Case, *, removal: Removal) -> list[Finding]:
    """Return panels that nothing holds, and waste that comes loose.

    Notes
    -----
    What is connected below the holding's top is connected at all; a piece is held if it reaches the
    sheet's rim. Nothing that the cut removes comes back, so that what holds at the end held all along.
    """
    rest = case.sheet.difference(removal.holding)
    rim = case.sheet.exterior
    pieces = [part for part in shapely.get_parts(rest) if part.area > 0.0]
    held = [piece for piece in pieces if piece.distance(rim) < 1e-6]
    loose = [piece for piece in pieces if piece.distance(rim) >= 1e-6]
    findings = []
    owners: list[BaseGeometry] = []
    for panel in case.panels:
        # what of a panel survives is its own; one that a gouge has divided is a gouge first
        inner = panel.polygon.representative_point()
        owner = next((piece for piece in loose if piece.intersects(inner)), None)
        if owner is None:
            continue
        owners.append(owner)
        if may_come_free(case, panel.walls[0]):
            continue
        findings.append(
            error(
                "part-released",
                f"{panel.name} is cut free and nothing holds it",
                remedy="do not cut: leave bridges or a skin, or look why they are cut away",
                origin=Origin(
                    file=case.program, panel=panel.name, x_mm=float(inner.x), y_mm=float(inner.y), z_mm=case.hold_mm
                ),
            )
        )
    for piece in loose:
        if not any(piece is owner for owner in owners):
            findings.append(_say_loose(case, piece))
    if not held:
        findings.append(
            error(
                "sheet-gone",
                "nothing of the sheet reaches its rim any more",
                remedy="look whether the program cuts outside the sheet",
                origin=Origin(file=case.program),
            )
        )
    return findings


def _say_loose(case: Case, piece: BaseGeometry) -> Finding:
    point = piece.representative_point()
    origin = Origin(file=case.program, x_mm=float(point.x), y_mm=float(point.y), z_mm=0.0)
    if piece.buffer(-CRUMB_MM / 2.0).is_empty:
        return warning(
            "crumb-left",
            f"a sliver of {piece.area:.2f} mm2, thinner than {CRUMB_MM:g} mm, is left loose",
            remedy="let the passes overlap more",
            origin=origin,
        )
    limit = case.job.hold.clear_slug_below_mm2
    small = f"; below {limit:g} mm2 a slug is thrown" if piece.area < limit else ""
    return error(
        "slug-loose",
        f"a piece of waste of {piece.area:.1f} mm2 comes loose{small}",
        remedy="clear it wholly, or hold it by bridges",
        origin=origin,
    )


def judge_depth(case: Case) -> list[Finding]:
    """Return a finding for each run of moves that goes deeper into the bed than the job allows."""
    heights = case.job.heights
    drills = [tool for tool, cutter in case.cutters.items() if cutter.kind is CutterKind.DRILL]
    drilling = np.isin(case.low.tool, drills)
    deepest = max(heights.max_into_bed_mm, heights.drill_into_bed_mm)
    limit = np.where(drilling, deepest, heights.max_into_bed_mm)
    tips = np.minimum(case.low.start_mm[:, 2], case.low.end_mm[:, 2])
    # half of the last decimal of the text is no depth
    rows = np.flatnonzero(-tips > limit + 0.0001)
    places = [Place(move=int(case.low.move[i]), size=float(-tips[i]), group=int(drilling[i])) for i in rows]
    return [
        error(
            "bed-gouged",
            f"the {'drill' if place.group else 'cutter'} goes {place.size:.2f} mm into the bed; the job allows "
            f"{deepest if place.group else heights.max_into_bed_mm:g} mm{more}",
            remedy="look at this line's depth, and at where Z is zero",
            origin=locate_move(case, place.move),
            size_mm=place.size,
        )
        for place, more in gather_places(places)
    ]
