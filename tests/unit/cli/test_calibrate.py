"""``castcut calibrate``: programs out, times in, a row that a job can name."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from cam.cli import main
from cam.tables.read import find_machine, read_tables


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
