"""A command line without its pipeline: a small cut that is proven or not, as a test asks for."""

import sys
from types import ModuleType, SimpleNamespace

import numpy as np
import pytest
from click.testing import CliRunner

import cam
from cam.backplot.clock import time_trace
from cam.cli import main
from cam.drawing.drawing import Drawing, Loop, OpenChain
from cam.findings import Origin, error, note
from cam.geometry.contour import Region, circle, rectangle
from cam.geometry.transform import reverse
from cam.panel.meanings import find_meanings
from cam.panel.panel import Feature, Finish, Panel, Role
from cam.report.plan_row import PlanRow
from cam.report.verdict import CornersAsCut, Deviation, Verdict
from cam.sheet.layout import Layout, Placement
from cam.tables.read import find_cutter, find_machine, read_tables

JOB = """\
format = 1
title = "Shelf back"
sheet = "cast-4-2440x1220"
machine = "{machine}"

[[panel]]
drawing = "shelf.dxf"
"""


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Return a function that runs castcut in an empty folder."""
    monkeypatch.chdir(tmp_path)

    def call(*words):
        return CliRunner().invoke(main, [str(word) for word in words], catch_exceptions=False)

    return call


@pytest.fixture(scope="session")
def tables():
    return read_tables()


@pytest.fixture
def bench(tables):
    return tables.machines[0]


@pytest.fixture
def shelf(tmp_path, bench):
    """Write a job; its drawing is never read, for the pipeline is not the real one."""
    path = tmp_path / "shelf" / "job.toml"
    path.parent.mkdir()
    path.write_text(JOB.format(machine=bench.name))
    return path


def make_verdict(proven: bool) -> Verdict:
    bad = error("gouge-found", "0.2 mm deep", remedy="look", origin=Origin(line=7, x_mm=30.0, y_mm=10.0), size_mm=0.2)
    return Verdict(
        findings=() if proven else (bad,),
        deviation=Deviation(gouge_max_mm=0.0 if proven else 0.2, uncut_max_mm=0.004, bound_mm=0.003),
        corners=CornersAsCut(count=0, rounded=0, min_radius_mm=float("inf")),
    )


@pytest.fixture
def pipeline(monkeypatch, write_trace, tables, bench):
    """Stand in for cam.pipeline; ``proven`` and ``refusal`` say what the next call does, ``jobs`` what came in."""
    cutter = find_cutter(tables, name="o1-6-up")
    moves = write_trace(tool=cutter.tool)
    trace = moves.rapid(20.0, 7.0).line(z=-0.3).line(80.0).line(y=53.0).rapid(z=20.0).end().trace()
    outline = rectangle((20.0, 10.0), width_mm=60.0, height_mm=40.0)
    region = Region(outer=outline, holes=(reverse(circle((50.0, 30.0), radius_mm=8.0)),))
    panel = Panel(
        name="shelf", thickness_mm=4.0, region=region,
        features=(Feature(index=0, role=Role.OUTLINE, label="outline", finish=Finish.SHOWN),),
    )  # fmt: skip
    layout = Layout(
        sheet="s", material="m", width_mm=100.0, height_mm=60.0, thickness_mm=4.0, min_top_mm=3.2, max_top_mm=4.8,
        placements=(Placement(panel=panel, by_mm=(0.0, 0.0)),),
    )  # fmt: skip
    stub = ModuleType("cam.pipeline")
    stub.proven, stub.refusal, stub.jobs = True, None, []
    shared = {"trace": trace, "timing": time_trace(trace, machine=find_machine(tables, name=bench.name))}
    notes = (note("passed-over", "passed over: 2 TEXT", origin=Origin(file="shelf.dxf")),)

    def take(job):
        stub.jobs.append(job)
        if stub.refusal is not None:
            raise stub.refusal

    def make_job(job, *, tables, progress):
        take(job)
        progress("making")
        name = f"{job.path.parent.name if job.path else job.panels[0].drawing.stem}.ngc"
        file = SimpleNamespace(name=name, text="G21\nM2\n", **shared)
        program = SimpleNamespace(
            name=name, controller="ngc", files=(file,), verdict=make_verdict(stub.proven), **shared
        )
        row = PlanRow(
            number=1, feature="outline", operation="profile", cutter="o1-6-up", rpm=18000.0, feed_mm_per_min=3420.0,
            passes=1, holding="4 bridges", reasons=("chip load from the table",),
        )  # fmt: skip
        return SimpleNamespace(
            job=job, drawings=(), layout=layout, programs=(program,), plan_rows=(row,), findings=notes, bed_z_mm=0.0,
            stages=(("making", 0.01),),
        )  # fmt: skip

    def prove_program(path, *, job, tables, cutters, rpm, progress):
        take(job)
        return SimpleNamespace(layout=layout, verdict=make_verdict(stub.proven), findings=notes, bed_z_mm=0.0, **shared)

    def inspect_drawing(path, *, units, **how):
        take(SimpleNamespace(path=path, units=units, **how))
        loops = tuple(
            Loop(contour=contour, layer=layer, handle="2F", handles=("2F",))
            for contour, layer in ((outline, "CUT"), (region.holes[0], "HOLES"))
        )
        chain = OpenChain(
            vertices=np.array([[0.0, 0.0, 0.0], [9.0, 0.0, 0.0]]), start_mm=(0.0, 0.0), end_mm=(9.0, 0.0),
            length_mm=9.0, gap_mm=float("inf"), layer="CUT", handle="30",
        )  # fmt: skip
        fault = error("open-chain", "open by 9 mm", remedy="join", origin=Origin(file=str(path), x_mm=9.0, y_mm=0.0))
        drawing = Drawing(
            path=path, units=units or "mm", mm_per_unit=1.0, loops=loops,
            open_chains=() if stub.proven else (chain,), findings=notes if stub.proven else (*notes, fault),
        )  # fmt: skip
        return SimpleNamespace(drawing=drawing, meant=find_meanings(drawing), names={0: "shelf"})

    stub.make_job, stub.prove_program, stub.inspect_drawing = make_job, prove_program, inspect_drawing
    monkeypatch.setitem(sys.modules, "cam.pipeline", stub)
    monkeypatch.setattr(cam, "pipeline", stub, raising=False)
    return stub
