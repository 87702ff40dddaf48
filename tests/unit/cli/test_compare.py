"""``castcut compare``, with the real pipeline on a small drawing."""

from __future__ import annotations

import json
from pathlib import Path

import ezdxf
import pytest
from click.testing import CliRunner

from cam.cli import main


@pytest.fixture
def drawing(tmp_path: Path) -> Path:
    document = ezdxf.new(units=4)
    document.modelspace().add_lwpolyline([(0, 0), (300, 0), (300, 200), (0, 200)], close=True)
    path = tmp_path / "small.dxf"
    document.saveas(path)
    return path


def run(*arguments: object):
    return CliRunner().invoke(main, ["compare", *map(str, arguments)])


def test_combinations_are_made_proven_and_compared(drawing: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    result = run(drawing, "--machine", "light-gantry", "--machine", "industrial", "--json", "--out", out)
    assert result.exit_code == 0, result.output
    document = json.loads(result.stdout)
    slow, fast = document["rows"]
    assert (slow["machine"], fast["machine"]) == ("light-gantry", "industrial")
    assert slow["verdict"] == fast["verdict"] == "proven"
    assert fast["cycle_s"] < slow["cycle_s"]
    for row in document["rows"]:
        parts = sum(row[key] for key in ("cutting_s", "entry_s", "corners_s", "rapid_s", "other_s"))
        assert parts == pytest.approx(row["cycle_s"], abs=1e-6)
        assert row["machine_bound_s"] <= row["lower_bound_s"] <= row["cycle_s"]
    assert "machine: industrial instead of light-gantry" in document["lever"]
    assert (out / "compare.csv").read_text().count("\n") == 3
    assert "<svg" in (out / "compare.html").read_text()
    assert run(drawing, "--out", out).exit_code == 2


def test_a_refused_combination_is_a_row_that_says_why(drawing: Path) -> None:
    result = run(drawing, "--cutter", "o1-6-up", "--cutter", "vee-90-12", "--quiet")
    assert result.exit_code == 1, result.output
    assert "proven" in result.output
    assert "refused" in result.output


def test_programs_are_timed_whoever_wrote_them(tmp_path: Path) -> None:
    for name, feed in (("a.ngc", 1000), ("b.ngc", 2000)):
        (tmp_path / name).write_text(
            f"G21 G17 G90 G94 G61\nT1 M6\nM3 S18000\nG0 X0 Y0 Z10\nG1 Z0 F500\nG1 X1000 F{feed}\nG0 Z10\nM5\nM2\n"
        )
    result = run(tmp_path / "a.ngc", tmp_path / "b.ngc", "--json")
    document = json.loads(result.stdout)
    assert result.exit_code == 0, result.output
    a, b = document["rows"]
    assert (a["program"], a["verdict"]) == ("a.ngc", "not judged")
    # closed form: 1,000 mm at 1,000 and at 2,000 mm/min
    assert (a["cutting_s"], b["cutting_s"]) == pytest.approx((60.0, 30.0))


@pytest.mark.parametrize("arguments", [("a.dxf", "b.dxf"), ("a.ngc", "--cutter", "o1-6-up")])
def test_what_cannot_be_compared_is_a_usage_error(arguments) -> None:
    assert run(*arguments).exit_code == 2


def test_programs_are_not_laid_on_a_sheet(tmp_path: Path) -> None:
    program = tmp_path / "a.ngc"
    program.write_text("G21\nM2\n")
    for option in (("--sheet", "cast-4-600x400"), ("--units", "mm"), ("--hold", "skin")):
        result = run(program, *option)
        assert result.exit_code == 2
        assert "no --cutter, --hold, --sheet or --units" in result.output


def test_faulty_text_is_said_with_its_place(tmp_path: Path) -> None:
    program = tmp_path / "a.ngc"
    program.write_text("G21\nG0 X1 Y1 Z1\n")
    result = run(program)
    assert result.exit_code == 1
    assert "program-end-missing: a.ngc: line 2" in result.output


def test_cutters_changed_by_hand_are_no_lever(drawing: Path) -> None:
    result = run(drawing, "--machine", "industrial", "--controller", "ngc", "--controller", "cutter-files", "--quiet")
    assert result.exit_code == 0, result.output
    assert "not counted: cutters changed by hand, 1" in result.output
    assert "lever is the controller" not in result.output
