"""Recesses, rebates and grooves from a plate built by hand to the judge, and damaged programs."""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import pi
from pathlib import Path

import numpy as np
import pytest

from cam.backplot.clock import time_trace
from cam.backplot.interpret import interpret_program
from cam.geometry.contour import Contour, Region, polygon, rectangle
from cam.geometry.offset.widen import widen_path
from cam.geometry.transform import reverse
from cam.motion.lay_moves import lay_moves
from cam.panel.panel import Feature, Finish, Panel, Recess, Role
from cam.plan.means import Means
from cam.plan.plan_panels import plan_panels
from cam.program.write import Heading, emit_files, format_program
from cam.report.judge import judge_program
from cam.sheet.layout import Layout, Placement
from cam.tables.job import Heights, Job, PanelEntry, ZeroFace
from cam.tables.read import read_tables
from cam.tables.read_job import find_job_rows

AT_MM = (30.0, 30.0)
HEIGHTS = Heights(measured_thickness_mm=(5.9, 6.0))
QUARTER = float(np.tan(pi / 8.0))


@dataclass(frozen=True)
class Bench:
    """A plate on a sheet, its program, and what judges it."""

    job: Job
    layout: Layout
    rows: object
    tables: object
    text: str

    def judge(self, text: str):
        trace = interpret_program(text, controller=self.rows.controller, file="plate.ngc")
        return judge_program(
            trace,
            timing=time_trace(trace, machine=self.rows.machine),
            layout=self.layout,
            job=self.job,
            tables=self.tables,
            machine=self.rows.machine,
            material=self.rows.material,
            controller=self.rows.controller,
            program="plate.ngc",
        )


def box(x, y, width, height, *, radius=5.0) -> Contour:
    """A rectangle with round corners, counter-clockwise."""
    r, far_x, far_y = radius, x + width, y + height
    rows = [
        (x + r, y, 0), (far_x - r, y, QUARTER), (far_x, y + r, 0), (far_x, far_y - r, QUARTER),
        (far_x - r, far_y, 0), (x + r, far_y, QUARTER), (x, far_y - r, 0), (x, y + r, QUARTER),
    ]  # fmt: skip
    return Contour(np.array(rows, dtype=float))


def sink(region, *, depth=2.0) -> Recess:
    return Recess(label="recess 1", role=Role.RECESS, region=region, depth_mm=depth)


def groove(path, *, width, depth=2.0) -> Recess:
    line = np.array(path, dtype=float)
    region = widen_path(line, width_mm=width)
    return Recess(label="groove 1", role=Role.GROOVE, region=region, depth_mm=depth, centre_line=line, width_mm=width)


def make(recess, *, size=(110.0, 80.0), heights=HEIGHTS, cutters=("o1-6-up",), more=()) -> Bench:
    """Return the plate's program, from plan to text."""
    plate = Panel(
        name="plate",
        thickness_mm=6.0,
        region=Region(outer=rectangle((0.0, 0.0), width_mm=size[0], height_mm=size[1])),
        features=(Feature(index=0, role=Role.OUTLINE, label="outline", finish=Finish.HIDDEN),),
        recesses=(recess,),
    )
    tables = read_tables()
    job = Job(
        title="plate",
        panels=(PanelEntry(drawing=Path("plate.dxf")),),
        sheet="cast-6-1830x1220",
        cutters=cutters,
        heights=heights,
    )
    rows = find_job_rows(job, tables=tables)
    layout = Layout(
        sheet=rows.sheet.name,
        material=rows.material.name,
        width_mm=rows.sheet.width_mm,
        height_mm=rows.sheet.height_mm,
        thickness_mm=6.0,
        min_top_mm=min(heights.measured_thickness_mm),
        max_top_mm=max(heights.measured_thickness_mm),
        placements=(Placement(panel=plate, by_mm=AT_MM), *(Placement(panel=plate, by_mm=at) for at in more)),
    )
    means = Means(
        cutters=rows.cutters,
        cutters_named=True,
        material=rows.material,
        machine=rows.machine,
        hold=job.hold,
        heights=job.heights,
        limits=rows.controller.limits,
    )
    plan = plan_panels(layout, means=means)
    heading = Heading(
        title="plate",
        panels=("plate",),
        sheet="sheet",
        thickness="6 mm",
        zero="zero",
        zero_mm=0.0 if heights.zero is ZeroFace.BED else layout.max_top_mm,
        rapid_mm=plan.rapid_mm,
        work_offset="G54",
        air=True,
        spin_up_s=rows.machine.spin_up_s,
        notes=(),
    )
    (file,) = emit_files(lay_moves(plan), heading=heading, controller=rows.controller)
    return Bench(
        job=job,
        layout=layout,
        rows=rows,
        tables=tables,
        text=format_program(file.lines, controller=rows.controller),
    )


ISLAND = Region(outer=box(10, 10, 85, 60), holes=(reverse(box(45, 32, 15, 15)),))
SHAPES = {
    "recess": sink(Region(outer=box(20, 15, 55, 45))),
    "recess with an island": sink(ISLAND, depth=2.5),
    "narrow recess": sink(Region(outer=box(20, 15, 60, 10.2, radius=4.9))),
    "rebate that shares the outline": sink(
        Region(
            outer=Contour(
                np.array(
                    [[20, 0, 0], [80, 0, 0], [80, 20, QUARTER], [75, 25, 0], [25, 25, QUARTER], [20, 20, 0]],
                    dtype=float,
                )
            )
        )
    ),
    "rebate past a corner": sink(
        Region(
            outer=Contour(
                np.array([[-4, -4, 0], [50, -4, 0], [50, 20, QUARTER], [45, 25, 0], [-4, 25, 0]], dtype=float)
            )
        )
    ),
    "rebate all along an edge": sink(Region(outer=polygon([(0, 0), (110, 0), (110, 15), (0, 15)]))),
    "groove as wide as the cutter": groove([(20, 20, 0.3), (80, 20, 0), (90, 60, 0)], width=6.0, depth=3.5),
    "wide groove": groove([(20, 20, 0.3), (70, 20, 0), (90, 60, 0)], width=10.0),
    "groove out of the edge": groove([(-8, 40, 0), (60, 40, 0)], width=6.0),
    "closed groove": Recess(
        label="groove 1",
        role=Role.GROOVE,
        region=Region(outer=box(17, 17, 66, 46, radius=11), holes=(reverse(box(23, 23, 54, 34, radius=5)),)),
        depth_mm=2.0,
        centre_line=np.vstack((v := box(20, 20, 60, 40, radius=8).vertices, v[:1] * [1, 1, 0])),
        width_mm=6.0,
    ),
}


@pytest.mark.parametrize("name", SHAPES)
def test_a_right_program_is_proven(name):
    bench = make(SHAPES[name])
    verdict = bench.judge(bench.text)
    assert verdict.proven, [str(finding) for finding in verdict.findings]
    assert verdict.deviation.gouge_max_mm <= 0.003
    assert verdict.deviation.uncut_max_mm <= 0.01


def test_a_recess_is_right_with_zero_on_the_top():
    bench = make(SHAPES["recess"], heights=Heights(measured_thickness_mm=(5.9, 6.0), zero=ZeroFace.TOP))
    assert bench.judge(bench.text).proven
    assert re.search(r"Z-2 F", bench.text), "the floor is the depth below the zero"


@pytest.fixture(scope="module")
def plain() -> Bench:
    return make(SHAPES["recess"])


@pytest.fixture(scope="module")
def island() -> Bench:
    return make(SHAPES["recess with an island"])


def codes(bench: Bench, text: str) -> set[str]:
    assert text != bench.text, "the damage did nothing"
    return {finding.code for finding in bench.judge(text).findings}


@pytest.mark.parametrize(("height", "code"), [("Z3.89", "recess-floor-deep"), ("Z4.02", "recess-floor-high")])
def test_a_floor_at_the_wrong_height_is_found(plain, height, code):
    # the floor belongs at 5.95 - 2 = 3.95 mm, 0.05 mm is allowed
    found = codes(plain, plain.text.replace("Z3.95", height))
    assert code in found
    assert found <= {code, "pass-too-deep"}


@pytest.mark.parametrize("height", ["Z3.92", "Z3.98"])
def test_a_floor_within_the_tolerance_is_right(plain, height):
    assert not any(code.startswith("recess") for code in codes(plain, plain.text.replace("Z3.95", height)))


def cut_out_part(text: str, *, word: str) -> str:
    """Return a program without what follows the first comment of a word, up to the next retraction."""
    lines = text.splitlines()
    first = next(i for i, line in enumerate(lines) if line == f"({word})")
    last = next(i for i in range(first + 4, len(lines)) if lines[i].startswith("G0 Z"))
    return "\n".join(lines[:first] + lines[last:]) + "\n"


def test_a_wall_without_its_finishing_pass_is_found(plain):
    found = codes(plain, cut_out_part(plain.text, word="finish"))
    assert found == {"recess-wall-left"}


def test_a_missing_ring_leaves_a_ridge(plain):
    lines = plain.text.splitlines()
    # the rings: the longest run of the recess that roughs, without its first half
    starts = [i for i, line in enumerate(lines[: lines.index("(finish)")]) if line.startswith("(") and "rough" in line]
    ends = [next(j for j in range(i + 4, len(lines)) if lines[j].startswith("G0 Z")) for i in starts]
    start, end = max(zip(starts, ends, strict=True), key=lambda pair: pair[1] - pair[0])
    found = codes(plain, "\n".join(lines[: (start + end) // 2] + lines[end:]) + "\n")
    assert "recess-floor-high" in found


def test_a_cut_through_an_island_is_found(island):
    lines = island.text.splitlines()
    at = lines.index("(finish)")
    first = next(i for i in range(at, len(lines)) if lines[i].startswith("G1 Z3.45"))
    # to the island's middle, on the sheet (30 + 52.5, 30 + 39.5), at the floor
    lines.insert(first + 1, "X82.5 Y69.5")
    found = codes(island, "\n".join(lines) + "\n")
    assert "recess-gouged" in found


def test_a_scratch_beside_the_recess_between_floor_and_top_is_found(plain):
    lines = plain.text.splitlines()
    at = max(i for i, line in enumerate(lines) if line == "(finish)")
    first = next(i for i in range(lines.index("(finish)"), at) if lines[i].startswith("G1 Z3.95"))
    # 5 mm beyond the wall at x = 30 + 75, half a millimetre deep
    lines[first + 1 : first + 1] = ["Z5.5", "X107"]
    found = codes(plain, "\n".join(lines) + "\n")
    assert found & {"recess-gouged", "panel-gouged"}


def test_a_recess_that_nobody_cut_is_found(plain):
    text = plain.text
    without = make(sink(Region(outer=box(20, 15, 20, 20))))
    found = codes(
        Bench(job=plain.job, layout=plain.layout, rows=plain.rows, tables=plain.tables, text=text), without.text
    )
    assert "recess-floor-high" in found


def test_a_lip_left_at_the_open_side_of_a_rebate_is_found():
    bench = make(SHAPES["rebate all along an edge"])
    # cut as a recess that stops 2 mm short of the edge
    short = make(sink(Region(outer=box(8, 2, 94, 13))))
    found = codes(bench, short.text)
    assert "recess-floor-high" in found
