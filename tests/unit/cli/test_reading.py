"""How a drawing is read, from the command line and from a job file: the same options, through to the program."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from cam.cli import main
from cam.cli.delivery import read_source
from cam.tables.job import Tolerances

DRAWINGS = Path(__file__).parents[2] / "drawings"
CHORDS = DRAWINGS / "chord-circles.dxf"


def test_a_job_file_says_how_its_drawings_are_read(tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(
        'format = 1\ntitle = "t"\nsheet = "cast-4-600x400"\n[[panel]]\ndrawing = "a.dxf"\nhatches = true\n'
        "[tolerances]\njoin_mm = 0.02\nfit_arcs_mm = 0.05\n"
    )
    job = read_source(path)
    assert job.tolerances == Tolerances(join_mm=0.02, fit_arcs_mm=0.05)
    assert job.panels[0].hatches
    job = read_source(path, tolerances={"join_mm": 0.5, "fit_mm": None, "fit_arcs_mm": 0.1})
    assert job.tolerances == Tolerances(join_mm=0.5, fit_arcs_mm=0.1)
    assert job.panels[0].hatches


def test_without_a_word_nothing_is_fitted_and_no_hatch_is_a_contour():
    job = read_source(CHORDS)
    assert job.tolerances == Tolerances()
    assert job.tolerances.fit_arcs_mm is None
    assert not job.panels[0].hatches
    assert read_source(CHORDS, hatches=True).panels[0].hatches


def test_inspect_reads_a_drawing_as_the_job_does(tmp_path):
    """The sheet's own layers ignored by the job's rules; inches and chords as the job's entry says."""
    sheet = tmp_path / "sheet.toml"
    rules = "".join(f'[[layer]]\nmatch = "{name}"\nmeans = "ignore"\n' for name in ("SHEET", "CENTRES", "SHADING"))
    head = 'format = 1\ntitle = "t"\nsheet = "cast-4-1220x850"\n'
    sheet.write_text(f'{head}[[panel]]\ndrawing = "{DRAWINGS / "dimensioned-sheet.dxf"}"\n{rules}')

    def look(drawing, job):
        result = CliRunner().invoke(main, ["inspect", str(DRAWINGS / drawing), "--job", str(job), "--json"])
        return result.exit_code, json.loads(result.stdout)

    exit_code, document = look("dimensioned-sheet.dxf", sheet)
    assert (exit_code, [loop["role"] for loop in document["loops"]]) == (0, ["outline", "hole"])
    shelf = tmp_path / "shelf.toml"
    shelf.write_text(f'{head}[[panel]]\ndrawing = "{DRAWINGS / "inches-without-units.dxf"}"\nunits = "in"\n')
    assert look("inches-without-units.dxf", shelf)[1]["units"] == "in"
    assert look("curve-fitting.dxf", shelf)[0] == 2  # another drawing than the job's: its unit is not that one's
    bores = tmp_path / "bores.toml"
    bores.write_text(f'{head}[[panel]]\ndrawing = "{CHORDS}"\n[tolerances]\nfit_arcs_mm = 0.05\n')
    assert [loop["role"] for loop in look("chord-circles.dxf", bores)[1]["loops"]].count("hole") == 3


@pytest.mark.parametrize("words", [("--join-tol-mm", "0"), ("--join-tol-mm", "1.5"), ("--fit-arcs-mm", "-1")])
@pytest.mark.parametrize("command", ["make", "inspect"])
def test_distances_out_of_range_are_refused(command, words):
    result = CliRunner().invoke(main, [command, str(CHORDS), *words])
    assert result.exit_code == 2
    assert words[0] in result.stderr


def test_chords_made_arcs_are_holes_in_the_program(tmp_path):
    """64 chords are a cut-out with 64 sides; fitted, they are a hole of 35 mm, bored."""
    words = ["make", str(CHORDS), "--fit-arcs-mm", "0.05", "--out", str(tmp_path), "--json", "--quiet"]
    result = CliRunner().invoke(main, [*words, "--sheet", "cast-4-600x400"], catch_exceptions=False)
    document = json.loads(result.stdout)
    assert document["verdict"] == "proven", document["findings"]
    assert [finding["code"] for finding in document["findings"]].count("chords-fitted") == 3
    looked = CliRunner().invoke(main, ["inspect", str(CHORDS), "--fit-arcs-mm", "0.05", "--json"])
    assert sorted(loop["role"] for loop in json.loads(looked.stdout)["loops"]) == ["hole", "hole", "hole", "outline"]
