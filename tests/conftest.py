"""What many tests share: traces written move by move, and rows of tables."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import atan2, hypot, pi
from pathlib import Path

import numpy as np
import pytest

from cam.backplot.clock import time_trace
from cam.backplot.interpret import interpret_program
from cam.backplot.trace import Kind, PathMode, Trace
from cam.geometry.contour import Contour, Region, circle, rectangle
from cam.geometry.measure import find_min_radius_mm
from cam.geometry.transform import reverse
from cam.panel.panel import Feature, Finish, Panel, Role
from cam.report.judge import judge_program
from cam.report.verdict import Verdict
from cam.sheet.layout import Layout, Placement
from cam.tables.job import Heights, Job
from cam.tables.read import find_controller, find_machine, find_material, read_tables
from cam.tables.rows import Controller, Cutter, CutterKind, Machine, PowerPoint, Tables


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--renew-goldens", action="store_true", help="write the golden files anew")


@dataclass
class TraceWriter:
    """Writes a trace move by move, one line each, from a point above the work zero."""

    at: tuple[float, float, float] = (0.0, 0.0, 20.0)
    feed: float = 3000.0
    rpm: float = 18000.0
    tool: int = 1
    mode: PathMode = PathMode.CONTINUOUS
    rows: list[tuple] = field(default_factory=list)

    def _row(self, kind, to=None, centre=None, sweep=0.0, duration=0.0):
        to = self.at if to is None else tuple(now if new is None else new for now, new in zip(self.at, to, strict=True))
        feed = 0.0 if kind is Kind.RAPID else self.feed
        centre = (np.nan,) * 3 if centre is None else (*centre, self.at[2])
        self.rows.append((kind, self.at, to, centre, sweep, feed, self.rpm, self.tool, duration, self.mode))
        self.at = to
        return self

    def rapid(self, x=None, y=None, z=None):
        return self._row(Kind.RAPID, (x, y, z))

    def line(self, x=None, y=None, z=None):
        return self._row(Kind.LINE, (x, y, z))

    def arc(self, x, y, z=None, *, centre, clockwise=False):
        """An arc in XY about a centre; a full circle where it ends on its start."""
        start = atan2(self.at[1] - centre[1], self.at[0] - centre[0])
        turn = (atan2(y - centre[1], x - centre[0]) - start) % (2 * pi)
        turn = turn or 2 * pi
        if hypot(x - self.at[0], y - self.at[1]) < 1e-9:
            turn = 2 * pi
        elif clockwise:
            turn -= 2 * pi
        if clockwise and turn > 0:
            turn = -turn
        return self._row(Kind.ARC, (x, y, z), centre, turn)

    def dwell(self, seconds):
        return self._row(Kind.DWELL, duration=seconds)

    def spindle(self, rpm):
        self.rpm = rpm
        return self._row(Kind.SPINDLE)

    def change(self, tool):
        self.tool, self.rpm = tool, 0.0
        return self._row(Kind.TOOL_CHANGE)

    def end(self):
        self.rpm = 0.0
        return self._row(Kind.END)

    def trace(self, *, comments=(), findings=()) -> Trace:
        columns = list(zip(*self.rows, strict=True)) if self.rows else [()] * 10
        kind, start, end, centre, sweep, feed, rpm, tool, duration, mode = columns
        count = len(kind)
        points = [np.array(p, dtype=np.float64).reshape(count, 3) for p in (start, end, centre)]
        return Trace(
            kind=np.array(kind, dtype=np.int8),
            line=np.arange(1, count + 1, dtype=np.int64),
            start_mm=points[0],
            end_mm=points[1],
            centre_mm=points[2],
            sweep_rad=np.array(sweep, dtype=np.float64),
            plane=np.full(count, 17, dtype=np.int8),
            feed_mm_per_min=np.array(feed, dtype=np.float64),
            spindle_rpm=np.array(rpm, dtype=np.float64),
            tool=np.array(tool, dtype=np.int64),
            duration_s=np.array(duration, dtype=np.float64),
            path_mode=np.array(mode, dtype=np.int8),
            air=np.zeros(count, dtype=np.bool_),
            comments=tuple(comments),
            findings=tuple(findings),
            lines=count,
        )


@pytest.fixture
def write_trace():
    """Return the class that writes traces, so that a test says ``write_trace().rapid(...)``."""
    return TraceWriter


@pytest.fixture
def make_machine():
    """Return a function that makes a machine row, with changes by name."""

    def make(**changes) -> Machine:
        row = {
            "name": "test-gantry",
            "title": "a gantry for tests",
            "travel_mm": (1300.0, 2500.0, 150.0),
            "rapid_mm_per_min": (12000.0, 12000.0, 6000.0),
            "max_feed_mm_per_min": 9000.0,
            "acceleration_mm_per_s2": (500.0, 500.0, 300.0),
            "junction_deviation_mm": 0.02,
            "block_time_s": 0.0,
            "min_rpm": 6000.0,
            "max_rpm": 24000.0,
            "power_curve": (PowerPoint(rpm=6000.0, power_w=550.0), PowerPoint(rpm=24000.0, power_w=2200.0)),
            "spin_up_s": 4.0,
            "tool_change_s": 30.0,
            "max_collet_mm": 13.0,
            "source": "invented for tests",
        }
        return Machine(**{**row, **changes})

    return make


@pytest.fixture
def make_cutter():
    """Return a function that makes a cutter row, with changes by name."""

    def make(**changes) -> Cutter:
        row = {
            "name": "test-6",
            "title": "a 6 mm cutter for tests",
            "tool": 1,
            "kind": CutterKind.FLAT,
            "flutes": 1,
            "form": "o-flute",
            "diameter_mm": 6.0,
            "edge_length_mm": 22.0,
            "shank_mm": 6.0,
            "stick_out_mm": 30.0,
            "centre_cutting": True,
            "max_ramp_deg": 10.0,
            "max_rpm": 24000.0,
            "point_angle_deg": 180.0,
            "source": "invented for tests",
        }
        return Cutter(**{**row, **changes})

    return make


@pytest.fixture(scope="session")
def ngc() -> Controller:
    """Return the shipped row of the controller that has the whole language of NISTIR 6556."""
    return find_controller(read_tables(), name="ngc")


PLATE_TEXT = Path(__file__).parent / "faults" / "programs" / "plate.ngc"


@dataclass(frozen=True)
class Bench:
    """A layout and a job to judge programs against, and a program that is right."""

    layout: Layout
    job: Job
    text: str
    tables: Tables

    def read(self, text: str) -> Trace:
        controller = find_controller(self.tables, name=self.job.controller)
        return interpret_program(text, controller=controller, file="plate.ngc")

    def judge(self, text: str | None = None, *, trace: Trace | None = None, **changes) -> Verdict:
        """Judge a text, or a trace; ``layout`` and fields of the job may be changed by name."""
        layout = changes.pop("layout", self.layout)
        job = replace(self.job, **changes)
        machine = find_machine(self.tables, name=job.machine)
        trace = trace or self.read(self.text if text is None else text)
        return judge_program(
            trace,
            timing=time_trace(trace, machine=machine),
            layout=layout,
            job=job,
            tables=self.tables,
            machine=machine,
            material=find_material(self.tables, name=layout.material),
            controller=find_controller(self.tables, name=job.controller),
            program="plate.ngc",
        )


def make_panel(outer: Contour, *, cutouts=(), holes=(), name="plate", thickness_mm=4.0) -> Panel:
    """A panel of contours made by hand, its inner ones given counter-clockwise."""
    inner = [(contour, Role.CUTOUT) for contour in cutouts] + [(contour, Role.HOLE) for contour in holes]
    features = [Feature(index=0, role=Role.OUTLINE, label="outline", finish=Finish.SHOWN)]
    for i, (contour, role) in enumerate(inner, start=1):
        diameter = 2.0 * find_min_radius_mm(contour) if role is Role.HOLE else None
        label = f"{role} {sum(other is role for _, other in inner[:i])}"
        features.append(Feature(index=i, role=role, label=label, finish=Finish.HIDDEN, diameter_mm=diameter))
    return Panel(
        name=name,
        thickness_mm=thickness_mm,
        region=Region(outer=outer, holes=tuple(reverse(contour) for contour, _ in inner)),
        features=tuple(features),
    )


def rounded_rectangle(x: float, y: float, *, width: float, height: float, radius: float) -> Contour:
    """A counter-clockwise rectangle with round corners."""
    b = float(np.tan(pi / 8))
    r, x1, y1 = radius, x + width, y + height
    return Contour(
        np.array(
            [
                *[(x + r, y, 0.0), (x1 - r, y, b), (x1, y + r, 0.0), (x1, y1 - r, b)],
                *[(x1 - r, y1, 0.0), (x + r, y1, b), (x, y1 - r, 0.0), (x, y + r, b)],
            ]
        )
    )


@pytest.fixture(scope="session")
def plate() -> Bench:
    """A plate of 200 x 120 mm with a rounded cut-out and a hole, and the program by hand that cuts it."""
    panel = make_panel(
        rectangle((30.0, 30.0), width_mm=200.0, height_mm=120.0),
        cutouts=[rounded_rectangle(120.0, 60.0, width=80.0, height=60.0, radius=5.0)],
        holes=[circle((70.0, 90.0), radius_mm=5.5)],
    )
    return Bench(
        layout=Layout(
            sheet="plate-4-300x200",
            material="cast-acrylic",
            width_mm=300.0,
            height_mm=200.0,
            thickness_mm=4.0,
            min_top_mm=4.0,
            max_top_mm=4.0,
            placements=(Placement(panel=panel, by_mm=(0.0, 0.0)),),
        ),
        job=Job(title="Plate", panels=(), sheet="plate-4-300x200", heights=Heights(measured_thickness_mm=(4.0,))),
        text=PLATE_TEXT.read_text(encoding="ascii"),
        tables=read_tables(),
    )
