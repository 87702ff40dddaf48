"""The judge by its refusals: one word of a good program changed, one finding asked for."""

from __future__ import annotations

import re
from functools import cache

import pytest

from cam.backplot.clock import time_trace
from cam.backplot.interpret import interpret_program
from cam.findings import Finding
from cam.pipeline import make_job
from cam.report.judge_bites import find_bites, judge_bites
from cam.report.judge_case import Case, build_case
from cam.report.judge_entries import judge_entries
from cam.report.judge_setting import judge_setting
from cam.tables.places import find_data_folder
from cam.tables.read import read_tables
from cam.tables.read_job import find_job_rows, read_job


@cache
def _made(part: str = "shelf-back"):  # type: ignore[no-untyped-def]
    tables = read_tables()
    return make_job(read_job(find_data_folder("parts") / part / "job.toml"), tables=tables), tables


def _case(text: str, *, part: str = "shelf-back") -> Case:
    made, tables = _made(part)
    rows = find_job_rows(made.job, tables=tables)
    trace = interpret_program(text, controller=rows.controller, file="damaged.ngc")
    return build_case(
        trace,
        timing=time_trace(trace, machine=rows.machine),
        layout=made.layout,
        job=made.job,
        tables=tables,
        machine=rows.machine,
        material=rows.material,
        controller=rows.controller,
        program="damaged.ngc",
    )


def _judge(case: Case) -> list[Finding]:
    return [*judge_setting(case), *judge_entries(case), *judge_bites(case, bites=find_bites(case))]


def _codes(case: Case) -> set[str]:
    return {finding.code for finding in _judge(case)}


def _good(part: str = "shelf-back") -> str:
    return _made(part)[0].programs[0].text


@pytest.mark.parametrize("part", ["canteen-wall", "hatch-strip", "shelf-back"])
def test_good_programs_have_no_finding(part: str) -> None:
    assert _codes(_case(_good(part), part=part)) == set()


DAMAGE = {
    "unknown-cutter": lambda t: re.sub(r"T\d+ M6", "T998 M6", t),
    "spindle-stopped": lambda t: re.sub(r"S\d+ M3\n", "", t),
    "spindle-reversed": lambda t: t.replace(" M3\n", " M4\n"),
    "speed-outside-window": lambda t: re.sub(r"S\d+ M3", "S4000 M3", t),
    "no-spin-up": lambda t: re.sub(r"G4 P[\d.]+\n", "", t),
    "feed-beyond-machine": lambda t: re.sub(r"F\d+", "F9999", t, count=1),
    "chip-too-thick": lambda t: re.sub(r"S\d+ M3", "S10000 M3", t),
    "chip-too-thin-as-cut": lambda t: re.sub(r"F\d+", "F300", t),
    "outside-travel": lambda t: t.replace("M9\n", "G0 X2000\nM9\n"),
    "sheet-edge-crossed": lambda t: re.sub(r"\nG1 X", "\nG1 X-1\nX", t, count=1),
    "no-return-to-safety": lambda t: t.replace("M9\n", "G0 Z0.5\nM9\n"),
    "rapid-in-material": lambda t: t.replace("M9\n", "G0 X200 Y200\nZ2\nZ14\nM9\n"),
    "plunge-in-material": lambda t: t.replace("M9\n", "G0 X200 Y200\nG1 Z2 F1000\nG0 Z14\nM9\n"),
    "entry-too-steep": lambda t: t.replace("M9\n", "G0 X200 Y200\nZ5.3\nG1 X204 Z2 F1000\nG0 Z14\nM9\n"),
}


@pytest.mark.parametrize("code", sorted(DAMAGE))
def test_one_damage_one_finding(code: str) -> None:
    good = _good()
    damaged = DAMAGE[code](good)
    assert damaged != good
    case = _case(damaged)
    assert code in _codes(case)
    found = next(f for f in _judge(case) if f.code == code)
    assert found.origin.line is not None and found.remedy


def test_nothing_cut_is_said() -> None:
    lifted = re.sub(r"Z(-?[\d.]+)", lambda m: f"Z{float(m[1]) + 50.0:.4f}", _good())
    assert "nothing-cut" in _codes(_case(lifted))


def test_edges_and_collet() -> None:
    deep = re.sub(r"Z-0\.3\b", "Z-18.0", _good())
    assert "edge-too-short" in _codes(_case(deep))
    deeper = re.sub(r"Z-0\.3\b", "Z-40.0", _good())
    assert {"edge-too-short", "collet-in-stock"} <= _codes(_case(deeper))


def test_continuous_path_mode_is_warned_of() -> None:
    good = _good()
    assert " G61\n" in good
    found = judge_setting(_case(good.replace(" G61\n", " G64\n")))
    assert [(f.code, str(f.severity)) for f in found] == [("path-not-exact", "warning")]
