"""What the judge holds against each other: placed panels, walls, and the trace's portions by height."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from cam.backplot.clock import Timing
from cam.backplot.portions import Portions, cut_portions, find_portions
from cam.backplot.trace import Trace
from cam.findings import Origin
from cam.geometry.contour import FloatArray, IntArray, Region
from cam.geometry.flatten import flatten
from cam.panel.panel import Feature
from cam.report.judge_paths import PathTree, lay_paths
from cam.sheet.layout import Layout, place_region
from cam.tables.job import Heights, HoldKind, Job, ZeroFace
from cam.tables.rows import Controller, Cutter, Machine, Material, Tables

CHORD_TOL_MM = 0.0002
"""How far the judge's chords lie off arcs of paths and walls."""
SWEEP_BOUND_MM = 4.0 * CHORD_TOL_MM
"""How far a swept region lies from the truth: see :func:`cam.backplot.sweep.sweep_trace`."""
BOUND_MM = SWEEP_BOUND_MM + CHORD_TOL_MM
"""How far a measured deviation lies from the truth."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wall:
    """One contour of a placed panel: ``ring_mm`` (m, 2) on the sheet, closed, within the chord tolerance."""

    panel: str
    feature: Feature
    ring_mm: FloatArray
    inside: bool

    @property
    def label(self) -> str:
        """What the wall is, for messages."""
        return f"{self.feature.label} of {self.panel}"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedPanel:
    """A panel where it lies on the sheet, exact and as a polygon of chords."""

    name: str
    region: Region
    polygon: shapely.Polygon
    walls: tuple[Wall, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WallSegments:
    """The chords of all walls in a tree; ``wall`` (m,) tells whose each is, ``heading_rad`` (m,) their directions."""

    lines: FloatArray
    heading_rad: FloatArray
    wall: IntArray
    tree: shapely.STRtree


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """Everything that a program is judged by.

    Attributes
    ----------
    high, low
        The portions of all moves, z their height above the bed if the sheet is as thick, or as thin,
        as it may be. The same where Z zero is the bed.
    below
        What of ``high`` has the cutter's tip below the sheet's top.
    paths, low_paths
        The portions of ``high`` and of ``low`` in trees.
    sheet
        The sheet seen from above.
    """

    trace: Trace
    timing: Timing
    layout: Layout
    job: Job
    cutters: Mapping[int, Cutter]
    machine: Machine
    material: Material
    controller: Controller
    program: str
    panels: tuple[PlacedPanel, ...]
    walls: tuple[Wall, ...]
    segments: WallSegments
    sheet: shapely.Polygon
    high: Portions
    low: Portions
    below: Portions
    paths: PathTree
    low_paths: PathTree

    @property
    def top_mm(self) -> float:
        """The greatest height of the sheet's upper face."""
        return self.layout.max_top_mm

    @property
    def hold_mm(self) -> float:
        """The height above the bed up to which the holding may stand."""
        hold = self.job.hold
        return hold.bridge_height_mm if hold.by is HoldKind.BRIDGES else hold.skin_mm


def build_case(
    trace: Trace,
    *,
    timing: Timing,
    layout: Layout,
    job: Job,
    tables: Tables,
    machine: Machine,
    material: Material,
    controller: Controller,
    program: str,
) -> Case:
    """Return the case of a program: panels placed, moves turned into portions."""
    panels = tuple(_place(placement_index, layout=layout) for placement_index in range(len(layout.placements)))
    walls = tuple(wall for panel in panels for wall in panel.walls)
    low_zero, high_zero = find_zero_heights_mm(layout, heights=job.heights)
    high = find_portions(trace, zero_height_mm=high_zero, chord_tol_mm=CHORD_TOL_MM)
    low = high if low_zero == high_zero else find_portions(trace, zero_height_mm=low_zero, chord_tol_mm=CHORD_TOL_MM)
    # a tip that just touches the top cuts nothing
    below = cut_portions(high, below_mm=float(np.nextafter(layout.max_top_mm, -np.inf)))
    cutters: dict[int, Cutter] = {}
    for cutter in tables.cutters:
        # a shop's own rows come first and win
        cutters.setdefault(cutter.tool, cutter)
    paths = lay_paths(below, cutters=cutters, top_mm=layout.max_top_mm)
    return Case(
        trace=trace,
        timing=timing,
        layout=layout,
        job=job,
        cutters=cutters,
        machine=machine,
        material=material,
        controller=controller,
        program=program,
        panels=panels,
        walls=walls,
        segments=_lay_segments(walls),
        sheet=shapely.box(0.0, 0.0, layout.width_mm, layout.height_mm),
        high=high,
        low=low,
        below=below,
        paths=paths,
        low_paths=paths if low is high else lay_paths(low, cutters=cutters, top_mm=layout.min_top_mm),
    )


def find_zero_heights_mm(layout: Layout, *, heights: Heights) -> tuple[float, float]:
    """Return the least and the greatest height of the program's Z zero above the bed."""
    if heights.zero is ZeroFace.BED:
        return 0.0, 0.0
    return layout.min_top_mm, layout.max_top_mm


def _place(index: int, *, layout: Layout) -> PlacedPanel:
    placement = layout.placements[index]
    region = place_region(placement)
    rings = [flatten(contour, chord_tol_mm=CHORD_TOL_MM) for contour in region.contours]
    polygon = shapely.Polygon(rings[0], rings[1:])
    shapely.prepare(polygon)
    features = {feature.index: feature for feature in placement.panel.features}
    return PlacedPanel(
        name=placement.panel.name,
        region=region,
        polygon=polygon,
        walls=tuple(
            Wall(
                panel=placement.panel.name,
                feature=features[i],
                ring_mm=np.concatenate((ring, ring[:1])),
                inside=i > 0,
            )
            for i, ring in enumerate(rings)
        ),
    )


def _lay_segments(walls: tuple[Wall, ...]) -> WallSegments:
    ends = [np.stack((wall.ring_mm[:-1], wall.ring_mm[1:]), axis=1) for wall in walls]
    every = np.concatenate(ends) if ends else np.empty((0, 2, 2))
    lines = np.asarray(shapely.linestrings(every)) if ends else np.empty(0, dtype=object)
    along = every[:, 1] - every[:, 0]
    return WallSegments(
        lines=lines,
        heading_rad=np.arctan2(along[:, 1], along[:, 0]),
        wall=np.repeat(np.arange(len(walls)), [len(each) for each in ends]).astype(np.int64),
        tree=shapely.STRtree(lines),
    )


def locate_move(
    case: Case, move: int, *, at_mm: FloatArray | None = None, panel: str | None = None, feature: str | None = None
) -> Origin:
    """Return where a move is: the program's line, and a place in the program's coordinates."""
    x, y, z = (float(v) for v in (case.trace.end_mm[move] if at_mm is None else at_mm))
    return Origin(
        file=case.program, line=int(case.trace.line[move]), panel=panel, feature=feature, x_mm=x, y_mm=y, z_mm=z
    )
