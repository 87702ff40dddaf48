"""Restart after a stop: what is put back in force, where the cutter comes in, and the proof."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from click.testing import CliRunner

from cam.backplot.interpret import interpret_program
from cam.backplot.trace import Kind
from cam.cli import main
from cam.errors import ProgramRefused
from cam.pipeline import make_job
from cam.restarting import restart_program
from cam.tables.read import find_controller, find_machine, read_tables
from cam.tables.read_job import default_job, read_job

TABLES = read_tables()
ACCENTS = ["ngc", "ngc-inch", "steps", "iso-numbered", "small"]


@pytest.fixture(scope="module")
def make(tmp_path_factory: pytest.TempPathFactory):
    document = ezdxf.new(units=4)
    document.modelspace().add_lwpolyline([(0, 0), (150, 0), (150, 60), (90, 60), (90, 100), (0, 100)], close=True)
    document.modelspace().add_circle((40, 50), radius=12)
    path = tmp_path_factory.mktemp("restart") / "bracket.dxf"
    document.saveas(path)
    job = default_job(path, cutters=("o1-6-up",), machine="industrial", sheet="cast-4-2440x1220")
    made: dict[str, object] = {}

    def do(controller: str):
        if controller not in made:
            made[controller] = make_job(replace(job, controller=controller), tables=TABLES)
        return made[controller]

    return do


def restart(made, line: int, *, judged: bool = True):
    file = made.programs[0].files[0]
    controller = find_controller(TABLES, name=made.job.controller)
    speeds = np.abs(file.trace.spindle_rpm)
    return restart_program(
        file.text,
        line=line,
        file=file.name,
        controller=controller,
        machine=find_machine(TABLES, name=made.job.machine),
        tables=TABLES,
        job=made.job if judged else None,
        tool=int(file.trace.tool[-1]) if controller.facts.tool_change == "file" else 0,
        hand_rpm=0.0 if controller.facts.spindle_speed_word else float(speeds.max()),
    )


def find_cutting_lines(made, *, kind: Kind) -> list[int]:
    trace = made.programs[0].trace
    return trace.line[(trace.kind == kind) & (trace.end_mm[:, 2] < 3.0)].tolist()


@pytest.mark.parametrize("controller", ACCENTS)
def test_both_parts_cut_what_the_whole_does(make, controller) -> None:
    made = make(controller)
    lines = find_cutting_lines(made, kind=Kind.LINE)
    for line in lines[5 :: max(1, len(lines) // 3)][:3]:
        found = restart(made, line)
        assert found.proven, (line, [str(f) for f in (*found.findings, *found.verdict.findings)])
        assert found.point.line <= line


def test_a_stop_within_an_arc_goes_back_before_it(make) -> None:
    made = make("ngc")
    line = find_cutting_lines(made, kind=Kind.ARC)[-4]
    found = restart(made, line)
    assert found.point.line <= line
    assert found.proven


def test_everything_is_back_in_force(make) -> None:
    made = make("ngc")
    whole = made.programs[0].trace
    line = find_cutting_lines(made, kind=Kind.LINE)[12]
    found = restart(made, line)
    last = [np.flatnonzero(trace.kind != Kind.END)[-1] for trace in (whole, found.trace)]
    for name in ("tool", "units", "distance_mode", "work_offset", "path_mode"):
        assert getattr(whole, name)[last[0]] == getattr(found.trace, name)[last[1]]
    cutting = found.trace.kind == Kind.LINE
    assert (found.trace.spindle_rpm[cutting] == whole.spindle_rpm[whole.kind == Kind.LINE][0]).all()
    assert found.trace.air[cutting].all()
    first_feed = int(np.flatnonzero(found.trace.kind != Kind.RAPID)[-1])
    assert found.trace.feed_mm_per_min[cutting].min() > 0.0
    # travels at the program's own height, above everything, before it comes down
    across = (found.trace.kind == Kind.RAPID) & (
        np.abs(found.trace.end_mm - found.trace.start_mm)[:, :2].max(axis=1) > 0
    )
    assert found.trace.end_mm[np.flatnonzero(across)[0], 2] == pytest.approx(whole.end_mm[:, 2].max())
    assert first_feed > 0


def test_the_cutter_comes_down_where_it_has_been(make) -> None:
    made = make("ngc")
    whole = made.programs[0].trace
    line = find_cutting_lines(made, kind=Kind.LINE)[-6]
    point = restart(made, line).point
    done = whole.line < line
    # an independent look: every point of the cutter's circle lies within a radius of a path already run at that depth
    angles = np.linspace(0.0, 2.0 * np.pi, 60, endpoint=False)
    rim = np.array(point.down_mm) + 2.99 * np.column_stack((np.cos(angles), np.sin(angles)))
    deep = done & (whole.end_mm[:, 2] <= point.at_mm[2] + 1e-6) & (whole.start_mm[:, 2] <= point.at_mm[2] + 1e-6)
    shares = np.linspace(0.0, 1.0, 200)
    along = []
    for i in np.flatnonzero(deep):
        start, end = whole.start_mm[i, :2], whole.end_mm[i, :2]
        if whole.kind[i] == Kind.ARC:
            spoke, turn = start - whole.centre_mm[i, :2], whole.sweep_rad[i] * shares
            along.append(
                whole.centre_mm[i, :2]
                + np.column_stack(
                    (
                        spoke[0] * np.cos(turn) - spoke[1] * np.sin(turn),
                        spoke[0] * np.sin(turn) + spoke[1] * np.cos(turn),
                    )
                )
            )
        else:
            along.append(start + shares[:, None] * (end - start))
    path = np.concatenate(along)
    assert max(np.hypot(*(path - each).T).min() for each in rim) <= 3.02


@pytest.mark.parametrize(
    ("line", "change", "why"),
    [
        (100_000, lambda text: text, "has lines 1 to"),
        (30, lambda text: text.replace("G54", "G54\n#1=2"), "parameters"),
        (30, lambda text: text.replace("G54", "G54\nG92 X0"), "moves its own zero"),
        (30, lambda text: text.replace("T26", "T99"), "no cutter of the table"),
    ],
)
def test_what_cannot_be_taken_up_is_refused(make, line, change, why) -> None:
    made = make("ngc")
    file = made.programs[0].files[0]
    text = change(file.text)
    if line == 30:
        line = find_cutting_lines(made, kind=Kind.LINE)[8]
    with pytest.raises(ProgramRefused) as caught:
        restart_program(
            text, line=line, file=file.name, controller=find_controller(TABLES, name="ngc"),
            machine=find_machine(TABLES, name="industrial"), tables=TABLES,
        )  # fmt: skip
    assert caught.value.findings[0].code == "restart-impossible"
    assert why in caught.value.findings[0].message


def test_after_the_last_cut_there_is_nothing_to_restart(make) -> None:
    made = make("ngc")
    with pytest.raises(ProgramRefused, match="nothing is left"):
        restart(made, made.programs[0].trace.lines)


def test_a_broken_restart_is_not_called_proven(make, monkeypatch) -> None:
    from cam import restarting  # noqa: PLC0415

    made = make("ngc")
    line = find_cutting_lines(made, kind=Kind.LINE)[20]
    honest = restarting.write_restart
    monkeypatch.setattr(
        restarting, "write_restart", lambda lines, **how: honest(lines, **{**how, "from_line": how["from_line"] + 25})
    )
    assert not restart(made, line).proven


def test_the_command_writes_and_proves(make, tmp_path: Path) -> None:
    made = make("ngc")
    file = made.programs[0].files[0]
    program = tmp_path / file.name
    program.write_text(file.text)
    line = find_cutting_lines(made, kind=Kind.LINE)[15]
    drawing = made.job.panels[0].drawing
    arguments = ["restart", str(program), "--line", str(line), "--job", str(drawing), "--out", str(tmp_path)]
    result = CliRunner().invoke(main, [*arguments, "--machine", "industrial"])
    assert result.exit_code == 0, result.output
    assert "PROVEN" in result.output
    assert (tmp_path / f"bracket.restart-{line}.ngc").exists()
    assert CliRunner().invoke(main, arguments).exit_code == 2


MODAL = """G20 G90 G17 G40 G80 G94 G98
(panel #4, not G92)
T52 M6
S4200 M3
G0 Z1
G0 X0.5 Y0.5
G81 X0.5 Y0.5 Z-0.1 R0.2 F8
X1.5
X2.5
G80
G0 Z1
M5
M2
"""


def restart_text(text: str, line: int, *, controller=None):
    return restart_program(
        text,
        line=line,
        file="foreign.ngc",
        controller=controller or find_controller(TABLES, name="ngc"),
        machine=find_machine(TABLES, name="industrial"),
        tables=TABLES,
    )


def find_hole_bottoms(text: str) -> set[tuple[float, ...]]:
    trace = interpret_program(text, controller=find_controller(TABLES, name="ngc"))
    return {tuple(row) for row in trace.end_mm[trace.kind == Kind.LINE].round(4).tolist()}


@pytest.mark.parametrize("line", [7, 8, 9])
def test_a_stop_in_a_modal_cycle_drills_every_hole_that_is_left(line) -> None:
    found = restart_text(MODAL, line)
    assert found.proven
    bottoms = find_hole_bottoms(found.text)
    # the program's own words: inches, 0.1 deep
    assert {(round(25.4 * x, 4), 12.7, -2.54) for x in (0.5, 1.5, 2.5)} <= bottoms
    assert found.point.line == 7


def test_unit_and_retract_mode_are_the_programs_own_not_the_controllers() -> None:
    found = restart_text(MODAL, 9)
    before = found.text[: found.text.index("G81")]
    assert "G20" in before and "G21" not in before
    assert "G98" in before


def test_a_hole_left_out_is_not_called_proven(monkeypatch) -> None:
    from cam import restarting  # noqa: PLC0415

    honest = restarting.write_restart
    monkeypatch.setattr(
        restarting, "write_restart", lambda lines, **how: honest(lines, **{**how, "from_line": how["from_line"] + 1})
    )
    found = restart_text(MODAL, 8)
    assert found.uncut_mm > 0.1
    assert not found.proven


def test_the_work_offset_is_the_one_in_force_wherever_the_controller_lists_it() -> None:
    ngc = find_controller(TABLES, name="ngc")
    two = replace(ngc, facts=replace(ngc.facts, work_offsets=("G55", "G56")))
    found = restart_text(MODAL.replace("T52 M6", "G55\nT52 M6"), 9, controller=two)
    assert found.text.split("\n")[3] == "G55"


@pytest.mark.parametrize("text", ["G 92 X0", "g92x0", "G10 L2 P1 X3", "G092 X1"])
def test_a_moved_zero_is_found_however_it_is_written(text) -> None:
    with pytest.raises(ProgramRefused, match="moves its own zero"):
        restart_text(MODAL.replace("S4200", f"{text}\nS4200"), 9)


def test_a_program_in_steps_comes_down_to_where_its_next_step_counts_from(make) -> None:
    made = make("steps")
    trace = made.programs[0].trace
    travel = trace.end_mm[:, 2].max()
    low = (trace.kind == Kind.RAPID) & (trace.start_mm[:, 2] < travel - 1.0) & (trace.distance_mode == 91)
    line = int(trace.line[np.flatnonzero(low)[0]])
    found = restart(made, line)
    assert found.point.at_mm[2] < travel - 1.0
    assert found.proven


DRILLED = """
format = 1
title = "Drilled #1"
sheet = "cast-4-600x400"
machine = "industrial"
controller = "{controller}"
cutters = ["o1-6-up", "drill-3"]
[[panel]]
drawing = "drilled.dxf"
units = "mm"
[heights]
drill_into_bed_mm = 3.0
measured_thickness_mm = [3.98, 3.99, 4.0, 3.97, 3.98]
"""


@pytest.fixture(scope="module")
def drilled(tmp_path_factory: pytest.TempPathFactory):
    folder = tmp_path_factory.mktemp("drilled")
    document = ezdxf.new(units=4)
    document.modelspace().add_lwpolyline([(0, 0), (120, 0), (120, 80), (0, 80)], close=True)
    for x in (15, 105):
        document.modelspace().add_circle((x, 40), radius=1.5)
    document.saveas(folder / "drilled.dxf")

    def do(controller: str):
        path = folder / f"{controller}.toml"
        path.write_text(DRILLED.format(controller=controller))
        return make_job(read_job(path), tables=TABLES)

    return do


def test_drilled_holes_as_cycles_are_proven_and_restart(drilled) -> None:
    made = drilled("drill-cycles")
    program = made.programs[0]
    assert program.verdict.proven, [str(finding) for finding in program.verdict.findings]
    lines = program.text.split("\n")
    cycles = [number for number, text in enumerate(lines, start=1) if "G83" in text or "G81" in text]
    assert len(cycles) >= 4
    # the same holes as those drilled without cycles
    deepest = [
        {tuple(at) for at in trace.end_mm[trace.tool == 52].round(3).tolist() if at[2] < 0.0}
        for trace in (program.trace, drilled("ngc").programs[0].trace)
    ]
    assert deepest[0] == deepest[1]
    for line in (cycles[1], cycles[-1]):
        assert restart(made, line).proven


def test_one_of_several_files_is_not_held_against_the_whole_job(drilled) -> None:
    made = drilled("cutter-files")
    assert len(made.programs[0].files) == 2
    with pytest.raises(ProgramRefused, match="not proven against the job either"):
        restart(made, 30)
    assert restart(made, 30, judged=False).proven


def test_findings_name_the_file_and_line_of_several(drilled, tmp_path: Path) -> None:
    from cam.pipeline import prove_program  # noqa: PLC0415

    made = drilled("cutter-files")
    paths = []
    for file in made.programs[0].files:
        paths.append(tmp_path / file.name)
        paths[-1].write_text(file.text)
    assert prove_program(*paths, job=made.job, tables=TABLES).verdict.proven
    lines = paths[1].read_text().split("\n")
    trace = made.programs[0].files[1].trace
    # a level cut turned into a rapid at the cutting height
    move = np.flatnonzero((trace.kind == Kind.LINE) & (trace.end_mm[:, 2] < 1.0) & (trace.start_mm[:, 2] < 1.0))[3]
    number = int(trace.line[move])
    at = " ".join(f"{letter}{value:.4f}" for letter, value in zip("XYZ", trace.end_mm[move], strict=True))
    lines[number - 1] = f"G0 {at}\nG1"
    paths[1].write_text("\n".join(lines))
    proof = prove_program(*paths, job=made.job, tables=TABLES)
    rapid = [finding for finding in proof.verdict.findings if "rapid" in finding.code]
    assert rapid
    assert {(finding.origin.file, finding.origin.line) for finding in rapid} == {(paths[1].name, number)}


def test_a_spindle_whose_speed_nobody_said_is_started_all_the_same(make) -> None:
    made = make("small")
    file = made.programs[0].files[0]
    line = find_cutting_lines(made, kind=Kind.LINE)[12]
    how = {"line": line, "file": file.name, "controller": find_controller(TABLES, name="small"), "tables": TABLES}
    found = restart_program(file.text, machine=find_machine(TABLES, name="industrial"), tool=26, **how)
    feeding = np.isin(found.trace.kind, (Kind.LINE, Kind.ARC))
    assert (found.trace.turning[feeding] == 1).all()
    with pytest.raises(ProgramRefused, match="nothing says which cutter"):
        restart_program(file.text, machine=find_machine(TABLES, name="industrial"), **how)


def test_a_restart_that_forgets_the_spindle_is_not_called_proven(make, monkeypatch) -> None:
    from cam import restarting  # noqa: PLC0415

    made = make("ngc")
    line = find_cutting_lines(made, kind=Kind.LINE)[12]
    honest = restarting.write_restart
    monkeypatch.setattr(restarting, "write_restart", lambda *lines, **how: honest(*lines, **how).replace(" M3", ""))
    found = restart(made, line, judged=False)
    assert [finding.code for finding in found.findings] == ["spindle-stopped"]
    assert not found.proven
