"""``castcut backplot``: any program, without a job."""

from __future__ import annotations

import json
from math import pi
from pathlib import Path

import pytest
from click.testing import CliRunner

from cam.cli import main

PLATE = Path(__file__).parents[2] / "faults" / "programs" / "plate.ngc"
HEAD = "G21 G17 G90 G94 G61\nT26 M6\nS18000 M3\nG4 P5\n"


def run(*arguments: object):
    return CliRunner().invoke(main, ["backplot", *map(str, arguments)])


@pytest.fixture
def write(tmp_path: Path):
    def do(body: str) -> Path:
        path = tmp_path / "any.ngc"
        path.write_text(HEAD + body + "M5\nM2\n")
        return path

    return do


def test_moves_are_one_object_a_line(write) -> None:
    path = write("G0 Z10\nG0 X10 Y0\nG1 Z-1 F300\nG3 X0 Y10 I-10 J0 F600\nG4 P2\nG0 Z10\n")
    result = run(path, "--moves")
    assert result.exit_code == 0, result.output
    moves = [json.loads(line) for line in result.stdout.splitlines()]
    by_kind = {move["kind"]: move for move in moves}
    arc = by_kind["arc"]
    # closed form: a quarter turn of radius 10 at 10 mm/s, and a little for speeding up
    assert (arc["to_mm"], arc["centre_mm"], arc["plane"]) == ([0.0, 10.0, -1.0], [0.0, 0.0, -1.0], "G17")
    assert arc["sweep_rad"] == pytest.approx(pi / 2.0)
    assert arc["duration_s"] == pytest.approx(5.0 * pi / 10.0, rel=0.05)
    assert (arc["feed_mm_per_min"], arc["spindle_rpm"], arc["cutter"]) == (600.0, 18000.0, "o1-6-up")
    assert by_kind["dwell"]["duration_s"] == 2.0
    assert by_kind["tool change"]["to_mm"] == [None, None, None]
    assert [move["line"] for move in moves] == sorted(move["line"] for move in moves)


def test_a_sound_program_is_timed_and_shown(tmp_path: Path) -> None:
    result = run(PLATE, "--out", tmp_path, "--json")
    assert result.exit_code == 0, result.output
    document = json.loads(result.stdout)
    assert document["errors"] == []
    parts = sum(document[key] for key in ("cutting_s", "entry_s", "corners_s", "rapid_s", "other_s"))
    assert parts == pytest.approx(document["cycle_s"], abs=1e-6)
    page = (tmp_path / "plate.backplot.html").read_text()
    assert "Not judged against a panel" in page and "<svg" in page
    assert run(PLATE, "--out", tmp_path).exit_code == 2


@pytest.mark.parametrize(
    ("body", "code"),
    [
        ("G0 Z10\nG0 X0 Y0\nG1 Z-1 F20000\nG0 Z10\n", "feed-beyond-machine"),
        ("G0 Z10\nG0 X0 Y0\nM5\nG1 Z-1 F300\nG0 Z10\n", "spindle-stopped"),
        ("T99 M6\nS18000 M3\nG0 Z10\nG0 X0 Y0\nG1 Z-1 F300\nG0 Z10\n", "unknown-cutter"),
        ("G0 Z10\nG0 X0 Y0\nG0 X5000\n", "outside-travel"),
        ("G0 Z10\nG0 X0 Y0\nG1 Z-1 F300\n", "no-return-to-safety"),
        ("G0 Z10\nG0 X0 Y0\nG2 X5 Y9 I3 F300\nG0 Z10\n", "arc-radius-mismatch"),
        ("G0 Z10\nG0 X0 Y0\n", None),
    ],
)
def test_what_can_be_judged_without_a_panel(write, body, code) -> None:
    result = run(write(body), "--json")
    found = [finding["code"] for finding in json.loads(result.stdout)["findings"]]
    assert found == ([] if code is None else [code])
    assert result.exit_code == (0 if code in (None, "no-return-to-safety") else 1)


def test_a_file_that_is_none_is_refused(tmp_path: Path) -> None:
    assert run(tmp_path / "none.ngc").exit_code == 2
