"""Random panels with edges of several classes, chamfered and drilled: what is planned is proven.

The panels are stars of straight and curved sides with their re-entrant corners rounded; each contour's
segments get classes in runs, and small holes stand where there is room. A refusal must be one of those that
such a panel may deserve.
"""

from __future__ import annotations

import random
from dataclasses import replace
from math import cos, pi, sin

import numpy as np
import pytest
import shapely

from cam.backplot.clock import time_trace
from cam.backplot.interpret import interpret_program
from cam.errors import Refusal
from cam.geometry.contour import Contour, Region, circle
from cam.geometry.flatten import flatten
from cam.geometry.rounding import round_corners
from cam.geometry.transform import reverse
from cam.motion.lay_moves import lay_moves
from cam.panel.nesting import find_diameter_mm
from cam.panel.panel import Feature, Finish, Panel, Role
from cam.plan.means import Means
from cam.plan.plan_panels import plan_panels
from cam.plan.workingstep import Operation
from cam.program.write import Heading, emit_files, format_program
from cam.report.judge import judge_program
from cam.sheet.lay import Group, lay_panels
from cam.tables.job import Chamfer, Heights, Hold, HoldKind, Job
from cam.tables.read import find_controller, find_cutter, find_machine, find_material, find_sheet, read_tables

DESERVED = {"chamfer-edge-short", "no-vee-fits", "no-room-for-lead", "no-place-for-bridges", "slot-too-narrow"}
SEEDS = (1, 2, 3)


def draw_star(rng, *, corners, radii_mm, share) -> Contour:
    angles = [2.0 * pi * (i + rng.uniform(0.2, 0.8)) / corners for i in range(corners)]
    return Contour(
        np.array(
            [
                [130.0 + radius * cos(a), 110.0 + radius * sin(a), rng.uniform(-0.3, 0.4) * (rng.random() < share)]
                for a, radius in ((a, rng.uniform(*radii_mm)) for a in angles)
            ]
        )
    )


def draw_classes(rng, count) -> tuple[Finish, ...]:
    classes = [rng.choice(list(Finish))]
    while len(classes) < count:
        classes.append(classes[-1] if rng.random() < 0.65 else rng.choice(list(Finish)))
    return tuple(classes)


def draw_panel(rng) -> Panel:
    outer = draw_star(rng, corners=rng.randint(4, 8), radii_mm=(70.0, 100.0), share=0.3)
    opening = draw_star(rng, corners=rng.randint(4, 6), radii_mm=(22.0, 32.0), share=0.0)
    rounded = round_corners(Region(outer=outer, holes=(reverse(opening),)), radius_mm=5.0).region
    shell, *openings = (flatten(contour, chord_tol_mm=0.1) for contour in rounded.contours)
    free = shapely.Polygon(shell, openings).buffer(-12.0)
    holes = []
    while len(holes) < 2:
        x, y = rng.uniform(30.0, 230.0), rng.uniform(10.0, 210.0)
        if free.contains(shapely.Point(x, y)):
            holes.append(reverse(circle((x, y), radius_mm=rng.choice([1.0, 1.25, 1.49, 1.5]))))
            free = free.difference(shapely.Point(x, y).buffer(12.0))
    region = Region(outer=rounded.outer, holes=(*rounded.holes, *holes))
    features = []
    for index, contour in enumerate(region.contours):
        diameter = find_diameter_mm(contour)
        role = Role.OUTLINE if index == 0 else Role.CUTOUT if diameter is None else Role.HOLE
        classes = draw_classes(rng, len(contour)) if diameter is None else ()
        features.append(
            Feature(
                index=index,
                role=role,
                label=f"{role} {index}",
                finish=rng.choice([Finish.SHOWN, Finish.HIDDEN]),
                finishes=classes,
                diameter_mm=diameter,
            )
        )
    return Panel(
        name="star",
        thickness_mm=4.0,
        region=region,
        features=tuple(features),
        chamfer_mm=rng.choice([0.3, 0.5, 1.0, 1.5]),
        chamfer_on=tuple(rng.sample(list(Finish), 2)),
    )


@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_planned_is_proven(seed):
    rng = random.Random(seed)
    panel, tables = draw_panel(rng), read_tables()
    sheet = find_sheet(tables, name="cast-4-2440x1220")
    material, machine = find_material(tables, name=sheet.material), find_machine(tables, name="workshop-gantry")
    controller = find_controller(tables, name="ngc")
    spread = rng.choice([0.0, 0.02])
    heights = Heights(measured_thickness_mm=(4.0 - spread, 4.0 + spread), drill_into_bed_mm=3.2)
    hold = Hold(by=rng.choice(list(HoldKind)))
    try:
        layout = lay_panels(
            (Group(drawing="star.dxf", panels=(panel,), at_mm=(30.0, 30.0), turn_deg=rng.choice([0.0, 90.0, 17.0])),),
            sheet=sheet,
            material=material,
            margin_mm=20.0,
            measured_thickness_mm=heights.measured_thickness_mm,
        )
        plan = plan_panels(
            layout,
            means=Means(
                cutters=tuple(find_cutter(tables, name=n) for n in ("o1-6-up", "drill-2", "drill-2.5", "drill-3")),
                cutters_named=True,
                material=material,
                machine=machine,
                hold=hold,
                heights=heights,
                limits=controller.limits,
                vees=(find_cutter(tables, name="vee-90-12"),),
            ),
        )
        steps = lay_moves(plan)
    except Refusal as refusal:
        assert {finding.code for finding in refusal.findings} <= DESERVED
        return
    made = {step.operation for step in plan.workingsteps}
    assert {Operation.DRILL, Operation.OUTSIDE} <= made
    heading = Heading(
        title="star",
        panels=("star",),
        sheet=sheet.name,
        thickness="measured",
        zero="on the bed",
        zero_mm=0.0,
        rapid_mm=plan.rapid_mm,
        work_offset="G54",
        air=material.air_blast,
        spin_up_s=machine.spin_up_s,
    )
    (file,) = emit_files(steps, heading=heading, controller=controller)
    trace = interpret_program(format_program(file.lines, controller=controller), controller=controller, file="star.ngc")
    job = Job(title="star", panels=(), sheet=sheet.name, machine=machine.name, heights=heights, hold=hold)
    chamfer = Chamfer(width_mm=panel.chamfer_mm, on=tuple(str(each) for each in panel.chamfer_on))
    verdict = judge_program(
        trace,
        timing=time_trace(trace, machine=machine),
        layout=layout,
        job=replace(job, chamfer=chamfer),
        tables=tables,
        machine=machine,
        material=material,
        controller=controller,
        program="star.ngc",
    )
    assert [str(finding) for finding in verdict.findings] == []
