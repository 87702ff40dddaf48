"""``prove``, ``inspect``, ``list``, ``explain``, and what holds for every command."""

import json
import os
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest

from cam import __version__
from cam.cli import main
from cam.report.explain import find_codes

COMMANDS = sorted(main.commands)


@pytest.fixture
def program(tmp_path):
    path = tmp_path / "old.ngc"
    path.write_text("M2\n")
    return path


def test_prove_writes_nothing_unless_asked(run, shelf, program, pipeline, tmp_path):
    before = sorted(tmp_path.rglob("*"))
    result = run("prove", program, "--job", shelf)
    assert result.exit_code == 0
    assert "PROVEN" in result.stdout
    assert sorted(tmp_path.rglob("*")) == before


def test_prove_writes_a_page_of_its_own_name(run, shelf, program, pipeline, tmp_path):
    pipeline.proven = False
    result = run("prove", program, "--job", shelf, "--out", "look", "--json")
    document = json.loads(result.stdout)
    assert result.exit_code == 1
    assert document["verdict"] == "not proven"
    assert document["page"] == str(Path("look") / "old.proof.html")
    assert document["programs"][0]["path"] == str(program)
    assert "Program old.ngc" in (tmp_path / "look" / "old.proof.html").read_text()
    assert run("prove", program, "--job", shelf, "--out", "look").exit_code == 2
    assert run("prove", program, "--job", shelf, "--out", "look", "--force").exit_code == 1


def test_prove_needs_a_job(run, program):
    result = run("prove", program)
    assert result.exit_code == 2
    assert "--job" in result.stderr


def test_inspect_tells_loops_with_roles_and_sizes(run, pipeline):
    result = run("inspect", "shelf.dxf", "--units", "mm", "--join-tol-mm", "0.05", "--hatch")
    assert result.exit_code == 0
    asked = pipeline.jobs[0]
    assert (asked.units, asked.join_tol_mm, asked.fit_tol_mm, asked.fit_arcs_mm) == ("mm", 0.05, 0.005, None)
    assert asked.hatches
    rows = [line.split() for line in result.stdout.splitlines()]
    assert ["1", "outline", "60.00", "40.00", "24.00", "-", "shown", "CUT", "shelf"] in rows
    assert ["2", "hole", "16.00", "16.00", "2.01", "8.000", "hidden", "HOLES"] in rows


def test_inspect_prints_a_document_and_a_page_with_every_fault_at_its_place(run, pipeline, tmp_path):
    pipeline.proven = False
    result = run("inspect", "shelf.dxf", "--json", "--out", "look")
    assert result.exit_code == 1
    document = json.loads(result.stdout)
    assert set(document) >= {"units", "loops", "open_chains", "findings", "format"}
    assert set(document["loops"][0]) >= {"role", "area_mm2", "width_mm", "height_mm", "min_radius_mm", "layer"}
    assert document["loops"][0]["min_radius_mm"] is None
    assert document["loops"][1]["min_radius_mm"] == 8.0
    assert document["open_chains"][0]["gap_mm"] is None
    page = (tmp_path / "look" / "shelf.inspect.html").read_text()
    assert 'id="mark-1"' in page
    assert 'cx="9"' in page
    assert page.index('id="finding-1"') < page.index("open by 9 mm", page.index('id="finding-1"'))
    assert "passed over: 2 TEXT" in page


@pytest.mark.parametrize("kind", ["cutters", "materials", "machines", "controllers", "sheets"])
def test_list_shows_every_row(run, tables, kind):
    printed = run("list", kind)
    document = json.loads(run("list", kind, "--json").stdout)
    assert printed.exit_code == 0
    assert document["rows"]
    assert [row["name"] for row in document["rows"]] == [row.name for row in getattr(tables, kind)]
    assert all(row["name"] in printed.stdout for row in document["rows"])


def test_list_refuses_another_kind(run):
    result = run("list", "hammers")
    assert result.exit_code == 2
    assert "cutters" in result.stderr


def test_explain_prints_a_page_or_names_the_nearest(run):
    assert run("explain", "would-overwrite").stdout.startswith("# would-overwrite\n")
    listing = run("explain")
    assert listing.stdout.split() == list(find_codes())
    lost = run("explain", "would-overwite")
    assert lost.exit_code == 2
    assert "did you mean would-overwrite" in lost.stderr
    assert "lists all of them" in run("explain", "zzzz").stderr


@pytest.mark.parametrize("code", find_codes())
def test_every_explanation_is_short_and_begins_with_its_code(code):
    page = files("cam").joinpath("explanations", f"{code}.md").read_text(encoding="utf-8")
    assert page.splitlines()[0] == f"# {code}"
    assert 5 <= len(page.splitlines()) <= 40
    assert code.replace("-", "").isalnum()


@pytest.mark.parametrize("command", COMMANDS)
def test_every_help_text_shows_an_example(run, command):
    result = run(command, "--help")
    assert result.exit_code == 0
    assert f"Example:  castcut {command}" in result.stdout


def test_the_commands_of_the_design_are_there():
    assert {"demo", "make", "prove", "inspect", "list", "explain"} <= set(COMMANDS)


@pytest.mark.parametrize(
    "words", [("make",), ("make", "a", "b"), ("cut",), ("make", "a.dxf", "--nonsense"), ("inspect",)]
)
def test_wrong_usage_ends_with_2(run, words):
    result = run(*words)
    assert result.exit_code == 2
    assert "Traceback" not in result.stderr


def test_the_version_comes_fast_and_without_heavy_imports():
    """Processor time, interpreter's start included: what else the machine does is not castcut's doing."""
    code = (
        "import sys; from cam.cli import main; main(['--version'], standalone_mode=False);"
        "print(sorted({'numpy', 'shapely', 'ezdxf'} & set(sys.modules)))"
    )
    spent_s = []
    for _ in range(3):
        before = os.times()
        result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        after = os.times()
        spent_s.append(after.children_user + after.children_system - before.children_user - before.children_system)
    assert result.stdout == f"castcut {__version__}\n[]\n"
    assert min(spent_s) < 0.3
