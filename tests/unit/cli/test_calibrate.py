"""``castcut calibrate``: programs out, times in, a row that a job can name."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from cam.backplot.interpret import interpret_program
from cam.calibrating import lay_calibration_files
from cam.cli import main
from cam.findings import Severity
from cam.tables.read import find_controller, find_machine, read_tables


def run(*arguments: object):
    return CliRunner().invoke(main, ["calibrate", *map(str, arguments)])


def test_from_programs_to_a_row_that_tables_read(tmp_path: Path) -> None:
    assert run("--write", "--machine", "bench", "--out", tmp_path).exit_code == 0
    times = tmp_path / "times.csv"
    minutes = {"swing.ngc": 4.3, "plunge.ngc": 3.5, "corners.ngc": 1.1, "tools.ngc": 7.2}
    lines = [f"{name}{minutes.get(name[:-1], '')}" for name in times.read_text().split("\n")[1:] if name]
    assert len(lines) == 12
    times.write_text("program,minutes\n" + "\n".join(lines) + "\n")
    result = run(times, "--machine", "bench", "--name", "back-room", "--out", tmp_path, "--json")
    assert result.exit_code == 0, result.output
    document = json.loads(result.output)
    row = find_machine(read_tables(own=(tmp_path / "back-room.toml",)), name="back-room")
    # three changes of tool are 3 x tool_change_s, and what little the programs move
    assert row.tool_change_s == pytest.approx(7.2 * 60.0 / 3.0, rel=0.02)
    assert {each["name"]: each["value"] for each in document["settings"]}["tool change"] == pytest.approx(
        row.tool_change_s, rel=1e-4
    )
    assert "spindle start not determined" in row.source


@pytest.mark.parametrize(
    ("text", "code", "place"),
    [
        ("program,minutes\na.ngc,2:30\n", "timings-malformed", "line 2"),
        ("program,minutes\na.ngc,-1\n", "timings-malformed", "line 2"),
        ("name,time\na.ngc,1\n", "timings-malformed", "line 1"),
        ("program,minutes\na.ngc,\n", "timings-too-few", ""),
        ("program,minutes\na.ngc,1\n", "no-such-file", "a.ngc"),
    ],
)
def test_bad_times_are_refused_with_their_line(tmp_path: Path, text: str, code: str, place: str) -> None:
    path = tmp_path / "times.csv"
    path.write_text(text)
    result = run(path, "--out", tmp_path)
    assert result.exit_code == 2
    assert code in result.output
    assert place in result.output
    assert not (tmp_path / "our-machine.toml").exists()


def test_times_that_no_machine_takes_are_refused(tmp_path: Path) -> None:
    assert run("--write", "--out", tmp_path).exit_code == 0
    path = tmp_path / "times.csv"
    path.write_text("program,minutes\nplunge.ngc,0.001\nplunge.ngc,1000\ntools.ngc,6\ntools.ngc,6\n")
    result = run(path, "--out", tmp_path)
    assert result.exit_code == 2
    assert "timings-doubtful" in result.output
    assert "plunge.ngc" in result.output
    assert not (tmp_path / "our-machine.toml").exists()


@pytest.mark.parametrize("name", ["a/b", "../a", "", 'b "c"'])
def test_a_row_is_named_so_that_its_file_stays_in_the_folder(tmp_path: Path, name: str) -> None:
    result = run("--write", "--out", tmp_path, "--name", name)
    assert result.exit_code == 2
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("controller", ["small", "iso-numbered", "ngc-inch"])
def test_a_controller_takes_the_programs_written_for_it(controller: str) -> None:
    tables = read_tables()
    spoken = find_controller(tables, name=controller)
    files = lay_calibration_files(find_machine(tables, name="industrial"), controller=spoken)
    for name, text in files.items():
        if name != "times.csv":
            trace = interpret_program(text, controller=spoken, file=name, hand_rpm=18000.0)
            assert not [str(finding) for finding in trace.findings if finding.severity is Severity.ERROR]
