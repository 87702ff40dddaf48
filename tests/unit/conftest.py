"""What the tests of the left leg share: rows of the shipped tables, panels, steps and plans built without a drawing."""

from __future__ import annotations

from dataclasses import replace
from math import radians

import pytest

from cam.geometry.contour import Region, circle
from cam.geometry.transform import reverse
from cam.motion.lay_moves import lay_moves
from cam.panel.nesting import find_diameter_mm
from cam.panel.panel import Feature, Finish, Panel, Role
from cam.plan.cutting_data import resolve_cutting_data
from cam.plan.means import Means
from cam.plan.plan_panels import plan_panels
from cam.plan.workingstep import Operation, Workingstep, find_pass_heights
from cam.program.write import Heading, emit_files, format_program
from cam.sheet.lay import Group, lay_panels
from cam.tables.job import Heights, Hold, Job
from cam.tables.read import read_tables
from cam.tables.rows import Direction
from tests.conftest import Bench


@pytest.fixture(scope="session")
def shipped():
    """Return castcut's own tables, whatever a folder's tests call ``tables``."""
    return read_tables()


@pytest.fixture(scope="session")
def tables(shipped):
    return shipped


@pytest.fixture(scope="session")
def find_row(shipped):
    """Return a function that finds a row of the shipped tables by its name."""
    rows = {
        row.name: row
        for row in (*shipped.cutters, *shipped.materials, *shipped.machines, *shipped.sheets, *shipped.controllers)
    }
    return rows.__getitem__


@pytest.fixture(scope="session")
def build_panel():
    """Return a function that builds a panel from its outline and what is cut out, all counter-clockwise."""

    def build(outer, *inside, name="test", thickness_mm=4.0) -> Panel:
        features = [Feature(index=0, role=Role.OUTLINE, label="outline", finish=Finish.SHOWN)]
        counts = {Role.CUTOUT: 0, Role.HOLE: 0}
        for index, contour in enumerate(inside, start=1):
            diameter = find_diameter_mm(contour)
            role = Role.CUTOUT if diameter is None else Role.HOLE
            counts[role] += 1
            label = f"{role} {counts[role]}"
            features.append(Feature(index=index, role=role, label=label, finish=Finish.HIDDEN, diameter_mm=diameter))
        region = Region(outer=outer, holes=tuple(reverse(contour) for contour in inside))
        return Panel(name=name, thickness_mm=thickness_mm, region=region, features=tuple(features))

    return build


@pytest.fixture(scope="session")
def lay(find_row):
    """Return a function that lays panels on a sheet, each at a place of its own."""

    def do(*panels, at_mm=None, sheet="cast-4-2440x1220", margin_mm=20.0, measured_mm=()):
        row = find_row(sheet)
        places = at_mm or [None] * len(panels)
        groups = tuple(
            Group(drawing=f"{panel.name}.dxf", panels=(panel,), at_mm=place, turn_deg=0.0)
            for panel, place in zip(panels, places, strict=True)
        )
        return lay_panels(
            groups,
            sheet=row,
            material=find_row(row.material),
            margin_mm=margin_mm,
            measured_thickness_mm=measured_mm,
        )

    return do


@pytest.fixture(scope="session")
def make_means(find_row, shipped):
    """Return a function that makes what a plan may draw on, cutters by name (none for all of the table)."""

    def make(*cutters, machine="workshop-gantry", material="cast-acrylic", hold=None, heights=None) -> Means:
        return Means(
            cutters=tuple(find_row(c) if isinstance(c, str) else c for c in cutters) or shipped.cutters,
            cutters_named=bool(cutters),
            material=find_row(material) if isinstance(material, str) else material,
            machine=find_row(machine) if isinstance(machine, str) else machine,
            hold=hold or Hold(),
            heights=heights or Heights(),
            limits=find_row("ngc").limits,
        )

    return make


@pytest.fixture(scope="session")
def plan(lay, make_means):
    """Return a function that plans panels on a 4 mm sheet with a 6 mm cutter, or as told."""

    def do(*panels, cutters=("o1-6-up",), **options):
        means = {key: options.pop(key) for key in ("machine", "material", "hold", "heights") if key in options}
        return plan_panels(lay(*panels, **options), means=make_means(*cutters, **means))

    return do


@pytest.fixture(scope="session")
def make_step(find_row):
    """Return a function that makes a workingstep round a wall in 4 mm cast acrylic, with changes by name."""

    def make(
        wall, operation=Operation.OUTSIDE, *, cutter="o1-6-up", top_mm=4.8, floor_mm=-0.3, **changes
    ) -> Workingstep:
        row = find_row(cutter) if isinstance(cutter, str) else cutter
        material, machine = find_row("cast-acrylic"), find_row("workshop-gantry")
        depth = top_mm - floor_mm
        allowance = changes.get("allowance_mm", 0.3)

        def data(radial_mm):
            return resolve_cutting_data(
                cutter=row, material=material, machine=machine, depth_mm=depth, radial_mm=radial_mm
            )

        rough, finish = data(None), data(0.3)
        diameter = find_diameter_mm(wall)
        x, y = wall.points_mm[0]
        step = Workingstep(
            number=1,
            panel="test",
            feature="feature 1",
            operation=operation,
            wall=wall,
            start_mm=(float(x), float(y)),
            diameter_mm=diameter,
            cutter=row,
            rough=rough,
            finish=finish,
            rough_direction=Direction.CLIMB,
            finish_direction=Direction.CONVENTIONAL,
            pass_heights_mm=find_pass_heights(top_mm=top_mm, floor_mm=floor_mm, passes=rough.passes),
            allowance_mm=allowance,
            stepover_mm=row.radius_mm,
            ramp_rad=radians(3.0),
            bridges=(),
            lift=None,
            holding="nothing",
            reasons=(),
        )
        return replace(step, **changes)

    return make


@pytest.fixture
def hole():
    """Return a round hole of 30 mm about (50, 40)."""
    return circle((50.0, 40.0), radius_mm=15.0)


@pytest.fixture(scope="session")
def make_bench(find_row, shipped):
    """Return a function that plans and writes the program of a layout, and returns it with what it is judged by."""

    def make(layout, means, **job) -> Bench:
        made = plan_panels(layout, means=means)
        controller = find_row("ngc")
        heading = Heading(
            title="test",
            panels=("test",),
            sheet=layout.sheet,
            thickness="measured",
            zero="on the bed",
            zero_mm=0.0,
            rapid_mm=made.rapid_mm,
            work_offset="G54",
            air=means.material.air_blast,
            spin_up_s=means.machine.spin_up_s,
        )
        (file,) = emit_files(lay_moves(made), heading=heading, controller=controller)
        lines = file.lines
        return Bench(
            layout=layout,
            job=Job(
                title="Test",
                panels=(),
                sheet=layout.sheet,
                machine=means.machine.name,
                heights=means.heights,
                hold=means.hold,
                **{"allowances": means.allowances, "keep_outs": means.keep_outs, **job},
            ),
            text=format_program(lines, controller=controller),
            tables=shipped,
        )

    return make
