"""Restart after a stop: what is put back in force, where the cutter comes in, and the proof."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from click.testing import CliRunner

from cam.backplot.trace import Kind
from cam.cli import main
from cam.errors import ProgramRefused
from cam.pipeline import make_job
from cam.restarting import restart_program
from cam.tables.read import find_controller, find_machine, read_tables
from cam.tables.read_job import default_job

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
