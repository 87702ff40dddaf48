"""Every controller's program read in its own accent and in every other: equal in effect, or refused with a reason."""

from __future__ import annotations

from dataclasses import replace

import ezdxf
import numpy as np
import pytest

from cam.backplot.interpret import interpret_program
from cam.backplot.join import join_traces
from cam.backplot.trace import Kind, Trace
from cam.findings import Severity
from cam.pipeline import Made, make_job
from cam.tables.read import read_tables
from cam.tables.read_job import default_job
from cam.tables.rows import Controller

TABLES = read_tables()
NAMES = [controller.name for controller in TABLES.controllers]
BY_NAME = {controller.name: controller for controller in TABLES.controllers}
POINT_TOL_MM = 0.002
"""Three decimals, and chords of 0.0025 mm are compared by their ends, which lie on the arc."""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Made]:
    document = ezdxf.new(units=4)
    space = document.modelspace()
    space.add_lwpolyline([(0, 0), (180, 0), (180, 70), (120, 70), (120, 110), (0, 110)], close=True)
    space.add_circle((40, 50), radius=11)
    space.add_circle((80, 50), radius=3.6)
    path = tmp_path_factory.mktemp("accents") / "bracket.dxf"
    document.saveas(path)
    job = default_job(path, cutters=("o1-6-up",), machine="industrial", sheet="cast-4-2440x1220")
    return {name: make_job(replace(job, controller=name), tables=TABLES) for name in NAMES}


def read_as(made: Made, controller: Controller) -> Trace:
    """Read a program's files as a controller does, with what the operator has set by hand."""
    traces = []
    for file in made.programs[0].files:
        tools, speeds = file.trace.tool, np.abs(file.trace.spindle_rpm)
        traces.append(
            interpret_program(
                file.text, controller=controller, tool=int(tools[-1]), hand_rpm=float(speeds[speeds > 0.0][0])
            )
        )
    return join_traces(traces, files=[file.name for file in made.programs[0].files])[0]


def find_errors(trace: Trace) -> list[str]:
    return [finding.code for finding in trace.findings if finding.severity is Severity.ERROR]


def describe(trace: Trace) -> tuple[np.ndarray, np.ndarray]:
    """Return what a trace does: ends, feeds and states of its moves, and its waiting."""
    moving = np.isin(trace.kind, (Kind.RAPID, Kind.LINE, Kind.ARC))
    done = np.column_stack(
        (
            trace.kind[moving],
            trace.end_mm[moving],
            trace.sweep_rad[moving],
            trace.feed_mm_per_min[moving],
            trace.spindle_rpm[moving],
            trace.tool[moving],
            trace.air[moving],
        )
    )
    return done, trace.duration_s[trace.kind == Kind.DWELL]


@pytest.mark.parametrize("name", NAMES)
def test_each_program_is_proven_in_its_own_accent(made, name) -> None:
    program = made[name].programs[0]
    assert program.verdict.proven, [str(finding) for finding in program.verdict.findings]
    assert program.verdict.deviation.gouge_max_mm <= 0.003


@pytest.mark.parametrize("reader", NAMES)
@pytest.mark.parametrize("writer", NAMES)
def test_no_other_accent_reads_it_silently_as_something_else(made, writer, reader) -> None:
    own, other = made[writer].programs[0].trace, read_as(made[writer], BY_NAME[reader])
    if find_errors(other):
        assert all(finding.message and finding.remedy for finding in other.findings)
        return
    (moves, dwells), (others, other_dwells) = describe(own), describe(other)
    assert moves.shape == others.shape
    assert np.nan_to_num(moves) == pytest.approx(np.nan_to_num(others), abs=1e-6)
    assert dwells == pytest.approx(other_dwells)


def test_some_accents_are_equal_and_some_are_refused(made) -> None:
    # a test of the test: neither branch above is empty
    refused = [
        (writer, reader)
        for writer in ("ngc", "radius-arcs", "iso-numbered")
        for reader in NAMES
        if find_errors(read_as(made[writer], BY_NAME[reader]))
    ]
    assert ("radius-arcs", "ngc") not in refused
    assert ("ngc", "ngc-inch") not in refused
    assert {("radius-arcs", "quadrant-arcs"), ("iso-numbered", "ngc"), ("ngc", "no-arcs")} <= set(refused)


@pytest.mark.parametrize("name", NAMES)
def test_the_panel_is_the_same_to_within_its_decimals(made, name) -> None:
    """Feed moves on walls end where those of the reference do; pieces of arcs come on top."""
    own, reference = made[name].programs[0].trace, made["ngc"].programs[0].trace
    ends = [trace.end_mm[(trace.kind == Kind.LINE) | (trace.kind == Kind.ARC)] for trace in (own, reference)]
    for point in ends[1][:: max(1, len(ends[1]) // 60)]:
        assert np.abs(ends[0] - point).max(axis=1).min() <= POINT_TOL_MM
