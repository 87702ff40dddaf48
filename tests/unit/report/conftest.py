"""A wall panel of 1200 x 600 mm and a hand-made trace that cuts it, for the report's pages."""

import re
from dataclasses import dataclass, field
from math import acos, cos, hypot, pi, sin, sqrt, tau

import numpy as np
import pytest

from cam.backplot.clock import Timing, time_trace
from cam.backplot.trace import Kind, Trace
from cam.findings import Finding, Origin, error, note, warning
from cam.geometry.contour import Contour, Region, circle, find_segments
from cam.geometry.transform import reverse
from cam.panel.panel import Feature, Finish, Panel, Role, RoundedCorner
from cam.report.plan_row import PlanRow
from cam.report.verdict import CornersAsCut, Deviation, Verdict
from cam.sheet.layout import Layout, Placement
from cam.tables.rows import Cutter, CutterKind, Machine, PowerPoint, Tables

CUTTER_RADIUS_MM = 3.0
TOP_MM = 4.8
QUARTER = float(np.tan(pi / 8.0))


@dataclass
class Moves:
    """Moves under construction; every call starts where the last one ended."""

    rows: list[dict] = field(default_factory=list)
    at: tuple[float, float, float] = (0.0, 0.0, 50.0)
    tool: int = 1
    rpm: float = 0.0

    def add(self, kind, to=None, *, feed=0.0, centre=None, sweep=0.0, duration=0.0, plane=17):
        to = self.at if to is None else to
        centre = (np.nan,) * 3 if centre is None else centre
        self.rows.append(
            {
                "kind": kind, "start_mm": self.at, "end_mm": to, "centre_mm": centre, "sweep_rad": sweep,
                "plane": plane, "feed_mm_per_min": feed, "spindle_rpm": self.rpm, "tool": self.tool,
                "duration_s": duration,
            }
        )  # fmt: skip
        self.at = to

    def rapid(self, *, x=None, y=None, z=None):
        self.add(Kind.RAPID, self._to(x, y, z))

    def line(self, *, x=None, y=None, z=None, feed=3000.0):
        self.add(Kind.LINE, self._to(x, y, z), feed=feed)

    def arc(self, to, *, centre, sweep, feed=3000.0):
        self.add(Kind.ARC, to, centre=centre, sweep=sweep, feed=feed)

    def spin(self, rpm):
        self.rpm = rpm
        self.add(Kind.SPINDLE)

    def _to(self, x, y, z):
        return tuple(float(new if new is not None else old) for new, old in zip((x, y, z), self.at, strict=True))

    def as_trace(self, findings=()) -> Trace:
        columns = {name: np.array([row[name] for row in self.rows]) for name in self.rows[0]}
        n = len(self.rows)
        return Trace(
            **columns, line=np.arange(1, n + 1) + 12, path_mode=np.full(n, 2, dtype=np.int8),
            air=np.ones(n, dtype=bool), comments=(), findings=findings, lines=n + 14,
        )  # fmt: skip


def rounded(points, radii) -> Contour:
    """Return a contour through points, each corner rounded by a tangent arc of its radius (0 for none)."""
    points, vertices = np.asarray(points, dtype=float), []
    for i, radius in enumerate(radii):
        here, back, on = points[i], points[i - 1], points[(i + 1) % len(points)]
        u, w = (here - back) / np.hypot(*(here - back)), (on - here) / np.hypot(*(on - here))
        turn = np.arctan2(u[0] * w[1] - u[1] * w[0], u @ w)
        if radius == 0.0:
            vertices.append((*here, 0.0))
            continue
        cut = radius * abs(np.tan(turn / 2.0))
        vertices += [(*(here - cut * u), np.tan(turn / 4.0)), (*(here + cut * w), 0.0)]
    return Contour(np.array(vertices))


def centre_path(contour: Contour, *, away_mm: float):
    """Yield (start, end, centre, sweep) of the cutter's centre to the right of a contour."""
    segments = find_segments(contour.vertices)
    pieces = []
    for i in range(len(segments)):
        start, end = segments.start_mm[i], segments.end_mm[i]
        if segments.sweep_rad[i] == 0.0:
            along = (end - start) / hypot(*(end - start))
            right = np.array([along[1], -along[0]]) * away_mm
            pieces.append((start + right, end + right, None, 0.0, end))
        else:
            centre, sweep = segments.centre_mm[i], segments.sweep_rad[i]
            grow = 1.0 + np.sign(sweep) * away_mm / segments.radius_mm[i]
            pieces.append((centre + (start - centre) * grow, centre + (end - centre) * grow, centre, sweep, end))
    for piece, after in zip(pieces, pieces[1:] + pieces[:1], strict=True):
        start, end, centre, sweep, corner = piece
        yield start, end, centre, sweep
        if hypot(*(after[0] - end)) > 1e-9:
            one, other = end - corner, after[0] - corner
            yield end, after[0], corner, float(np.arctan2(one[0] * other[1] - one[1] * other[0], one @ other))


def cut_round(moves: Moves, contour: Contour, *, bridges: bool) -> None:
    """Cut round a contour: ramp in, two level passes, one at full depth with bridges on long lines."""
    for depth, z in enumerate((3.2, 1.6, -0.3)):
        for number, (start, end, centre, sweep) in enumerate(centre_path(contour, away_mm=CUTTER_RADIUS_MM)):
            if number == 0 and depth == 0:
                moves.rapid(x=start[0], y=start[1])
                moves.rapid(z=7.0)
                moves.line(z=TOP_MM + 0.2, feed=800.0)
            if number == 0:
                middle = (start + end) / 2.0
                ramp = start + (middle - start) * min(1.0, 30.0 / max(1.0, hypot(*(middle - start))))
                moves.line(x=ramp[0], y=ramp[1], z=z, feed=900.0)
                moves.line(x=start[0], y=start[1], feed=900.0)
            if centre is not None:
                moves.arc((*end, z), centre=(*centre, z), sweep=sweep)
                continue
            if bridges and depth == 2 and hypot(*(end - start)) > 150.0:
                along, middle = (end - start) / hypot(*(end - start)), (start + end) / 2.0
                for share, height in ((-9.0, -0.3), (-5.0, 0.8), (5.0, 0.8), (9.0, -0.3)):
                    moves.line(x=(middle + along * share)[0], y=(middle + along * share)[1], z=height)
            moves.line(x=end[0], y=end[1])
    moves.rapid(z=15.0)


def lay_wall() -> Layout:
    outline = rounded(
        [(0, 0), (1200, 0), (1200, 420), (760, 420), (760, 600), (330, 600), (330, 540), (0, 540)],
        [0, 25, 0, 5, 60, 0, 5, 0],
    )
    holes = [
        reverse(rounded([(x, y), (x + 134, y), (x + 134, y + 74), (x, y + 74)], [5, 5, 5, 5]))
        for x, y in ((140, 120), (905, 120))
    ]
    holes.append(reverse(rounded([(470, 0.0 + 250), (650, 250), (650, 370), (470, 370)], [5, 5, 5, 5])))
    holes.append(reverse(circle((1080.0, 330.0), radius_mm=22.0)))
    labels = ("outline", "cut-out 1", "cut-out 2", "cut-out 3", "hole 1")
    roles = (Role.OUTLINE, Role.CUTOUT, Role.CUTOUT, Role.CUTOUT, Role.HOLE)
    features = tuple(
        Feature(index=i, role=role, label=label, finish=Finish.HIDDEN)
        for i, (role, label) in enumerate(zip(roles, labels, strict=True))
    )
    corners = tuple(
        RoundedCorner(feature=name, x_mm=x, y_mm=y, radius_before_mm=before, radius_mm=5.0)
        for name, x, y, before in (
            ("outline", 760.0, 420.0, 0.0), ("outline", 330.0, 540.0, 2.0), ("cut-out 1", 140.0, 120.0, 0.0),
            ("cut-out 1", 274.0, 120.0, 0.0),
        )
    )  # fmt: skip
    panel = Panel(
        name="hob wall", thickness_mm=4.0, region=Region(outer=outline, holes=tuple(holes)), features=features,
        rounded=corners,
    )  # fmt: skip
    return Layout(
        sheet="cast-4-1250x650", material="cast-acrylic", width_mm=1250.0, height_mm=650.0, thickness_mm=4.0,
        min_top_mm=3.2, max_top_mm=TOP_MM, placements=(Placement(panel=panel, by_mm=(25.0, 25.0)),),
    )  # fmt: skip


def cut_wall(layout: Layout) -> Trace:
    """Return the trace that cuts the wall: holes first, then the outline with bridges."""
    by = np.array([25.0, 25.0, 0.0])
    region = layout.placements[0].panel.region
    moves = Moves()
    moves.spin(18000.0)
    moves.add(Kind.DWELL, duration=4.0)
    moves.rapid(z=15.0)
    x, y = (np.array([1080.0, 330.0]) + by[:2]).tolist()
    for z in (3.2, 1.6, -0.3):
        if z == 3.2:
            moves.rapid(x=x + 19.0, y=y)
            moves.line(z=TOP_MM + 0.2, feed=800.0)
        moves.arc((x + 19.0, y, z), centre=(x, y, moves.at[2]), sweep=tau, feed=900.0)
        moves.arc((x + 19.0, y, z), centre=(x, y, z), sweep=tau)
    moves.rapid(z=15.0)
    for hole in region.holes[:3]:
        cut_round(moves, Contour(hole.vertices + by), bridges=False)
    cut_round(moves, Contour(region.outer.vertices + by), bridges=True)
    moves.rapid(x=0.0, y=0.0)
    moves.spin(0.0)
    moves.add(Kind.END)
    return moves.as_trace()


@pytest.fixture(scope="session")
def layout() -> Layout:
    return lay_wall()


@pytest.fixture(scope="session")
def trace(layout) -> Trace:
    return cut_wall(layout)


@pytest.fixture(scope="session")
def cutter() -> Cutter:
    return Cutter(
        name="one-flute-6", title="6 mm one-flute spiral", tool=1, kind=CutterKind.FLAT, flutes=1, form="upcut",
        diameter_mm=6.0, edge_length_mm=18.0, shank_mm=6.0, stick_out_mm=28.0, centre_cutting=True, max_ramp_deg=10.0,
        max_rpm=24000.0, point_angle_deg=180.0, source="from memory",
    )  # fmt: skip


@pytest.fixture(scope="session")
def machine() -> Machine:
    return Machine(
        name="workshop-gantry", title="Workshop gantry", travel_mm=(2600.0, 1400.0, 120.0),
        rapid_mm_per_min=(10000.0, 10000.0, 4000.0), max_feed_mm_per_min=8000.0,
        acceleration_mm_per_s2=(800.0, 800.0, 400.0), junction_deviation_mm=0.02, block_time_s=0.002, min_rpm=8000.0,
        max_rpm=24000.0, power_curve=(PowerPoint(rpm=24000.0, power_w=2200.0),), spin_up_s=4.0, tool_change_s=30.0,
        max_collet_mm=13.0, source="common practice, no source",
    )  # fmt: skip


@pytest.fixture(scope="session")
def tables(cutter, machine) -> Tables:
    return Tables(cutters=(cutter,), materials=(), machines=(machine,), sheets=(), controllers=())


@pytest.fixture(scope="session")
def timing(trace, machine) -> Timing:
    return time_trace(trace, machine=machine)


@pytest.fixture(scope="session")
def findings() -> tuple[Finding, ...]:
    return (
        note("air-off", "the air is off for one move", origin=Origin(line=40)),
        warning(
            "tight-corner", "a corner is cut at 4.8 mm & <below> the rule", remedy="use a smaller cutter",
            origin=Origin(line=212, x_mm=785.0, y_mm=445.0),
        ),
        error(
            "gouge-found", "the cut goes 0.120 mm into the panel", remedy="check the cutter's diameter",
            origin=Origin(file="/home/nobody/out/hob wall.ngc", line=231, x_mm=610.0, y_mm=24.0), size_mm=0.12,
        ),
        error(
            "rapid-in-material", "a rapid move runs through the sheet", remedy="retract first",
            origin=Origin(line=233, x_mm=612.0, y_mm=30.0, z_mm=1.0),
        ),
        error("outside-travel", "a move leaves the machine", remedy="move it", origin=Origin(x_mm=9e9, y_mm=-1.0)),
    )  # fmt: skip


@pytest.fixture(scope="session")
def proven() -> Verdict:
    return Verdict(
        findings=(),
        deviation=Deviation(gouge_max_mm=0.0, uncut_max_mm=0.0041, bound_mm=0.003),
        corners=CornersAsCut(count=14, rounded=4, min_radius_mm=5.0),
    )


@pytest.fixture(scope="session")
def faulty(findings) -> Verdict:
    return Verdict(
        findings=findings,
        deviation=Deviation(gouge_max_mm=0.12, uncut_max_mm=0.0041, bound_mm=0.003),
        corners=CornersAsCut(count=14, rounded=4, min_radius_mm=4.8),
    )


@pytest.fixture(scope="session")
def plan_rows() -> tuple[PlanRow, ...]:
    return (
        PlanRow(
            number=1, feature="hole 1", operation="bore", cutter="one-flute-6", rpm=18000.0, feed_mm_per_min=2052.0,
            passes=2, holding="slug cleared", finish_feed_mm_per_min=2700.0, allowance_mm=0.3,
            entry="helix of at most 3 degrees", time_s=7.2,
            reasons=("chip load 0.19 mm: materials row", "rpm 18000: material's start"),
        ),
        PlanRow(
            number=2, feature="outline", operation="rough and finish", cutter="one-flute-6", rpm=18000.0,
            feed_mm_per_min=3420.0, passes=4, holding="8 bridges", reasons=(),
        ),
    )  # fmt: skip


@pytest.fixture
def moves() -> Moves:
    """Moves that have reached full depth in the sheet."""
    moves = Moves()
    moves.spin(18000.0)
    moves.rapid(z=5.0)
    moves.line(z=-0.3)
    return moves


@pytest.fixture
def empty_trace() -> Trace:
    moves = Moves()
    moves.add(Kind.END)
    return moves.as_trace()


@pytest.fixture(scope="session")
def read_path():
    """A reader of path data, independent of the writer."""
    return _read_path


def _read_path(data: str) -> list[dict]:
    """Return the pieces of path data; arcs by SVG 2, appendix B.2.4: from end points to centre."""
    pieces, at, begun = [], (0.0, 0.0), (0.0, 0.0)
    for letter, numbers in re.findall(r"([MLHVAZ])([^MLHVAZ]*)", data):
        values = [float(each) for each in numbers.split()]
        if letter == "M":
            at = begun = tuple(values)
            continue
        if letter == "A":
            pieces.append(_read_arc(at, values))
            at = (values[5], values[6])
            continue
        to = {
            "L": lambda v, a=at: (v[0], v[1]),
            "H": lambda v, a=at: (v[0], a[1]),
            "V": lambda v, a=at: (a[0], v[0]),
            "Z": lambda v, b=begun: b,
        }[letter](values)
        pieces.append({"length": hypot(to[0] - at[0], to[1] - at[1]), "points": [at, to]})
        at = to
    return pieces


def _read_arc(start, values) -> dict:
    radius, _, turned, large, sweep, x, y = values
    assert turned == 0
    half = ((start[0] - x) / 2.0, (start[1] - y) / 2.0)
    square = half[0] ** 2 + half[1] ** 2
    radius = max(radius, sqrt(square))  # B.2.5, step 3
    factor = sqrt(max(0.0, radius**2 / square - 1.0)) * (-1.0 if large == sweep else 1.0)
    centre = (factor * half[1] + (start[0] + x) / 2.0, -factor * half[0] + (start[1] + y) / 2.0)
    one = ((start[0] - centre[0]) / radius, (start[1] - centre[1]) / radius)
    other = ((x - centre[0]) / radius, (y - centre[1]) / radius)
    turn = acos(min(1.0, max(-1.0, one[0] * other[0] + one[1] * other[1])))
    turn *= 1.0 if one[0] * other[1] - one[1] * other[0] >= 0 else -1.0
    if sweep and turn < 0.0:
        turn += tau
    if not sweep and turn > 0.0:
        turn -= tau
    angles = np.arctan2(one[1], one[0]) + turn * np.linspace(0.0, 1.0, 65)
    points = [(centre[0] + radius * cos(a), centre[1] + radius * sin(a)) for a in angles]
    return {"length": radius * abs(turn), "points": points, "turn": turn, "centre": centre}
