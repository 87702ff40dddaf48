"""The layer convention and a job's layer rules on the command line, with nothing stood in for."""

from __future__ import annotations

import json

import ezdxf
import pytest
from click.testing import CliRunner

from cam.cli import main

JOB = """format = 1
title = "Panel"
sheet = "cast-6-2440x1220"
[[panel]]
drawing = "panel.dxf"
units = "mm"
"""
RULES = """[[layer]]
match = "TASCHE"
means = "recess"
depth_mm = 2.0
[[layer]]
match = "FRAME"
means = "ignore"
"""


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words], catch_exceptions=False)


@pytest.fixture
def folder(tmp_path):
    document = ezdxf.new(units=4)
    space = document.modelspace()
    for layer, x, y, width, height in (
        ("OUTLINE", 0, 0, 300, 200),
        ("TASCHE", 50, 50, 80, 60),
        ("FRAME", -50, -50, 400, 300),
        ("FRAME", -60, -60, 420, 320),
    ):
        points = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
        space.add_lwpolyline(points, close=True, dxfattribs={"layer": layer})
    document.saveas(tmp_path / "panel.dxf")
    return tmp_path


def test_list_layers_prints_the_convention():
    printed = run("list", "layers").stdout
    document = json.loads(run("list", "layers", "--json").stdout)
    assert document["kind"] == "layers"
    assert all(row["name"] in printed and row["means"] in printed for row in document["rows"])
    assert {"OUTLINE", "RECESS-2.5", "GROOVE-6X2", "IGNORE"} <= {row["name"] for row in document["rows"]}


def test_a_suspect_keeps_a_program_from_being_made(folder):
    (folder / "job.toml").write_text(JOB)
    result = run("make", folder / "job.toml", "--out", folder / "out")
    assert result.exit_code == 2
    assert "suspect-frame" in result.stderr and 'match = "FRAME"' in result.stderr
    assert not (folder / "out").exists() or not list((folder / "out").iterdir())
    bare = run("make", folder / "panel.dxf", "--units", "mm", "--out", folder / "out")
    assert bare.exit_code == 2 and "suspect-frame" in bare.stderr


def test_inspect_takes_the_rules_of_a_job(folder):
    (folder / "job.toml").write_text(JOB + RULES)
    plain = run("inspect", folder / "panel.dxf")
    ruled = run("inspect", folder / "panel.dxf", "--job", folder / "job.toml")
    assert plain.exit_code == 1 and "frame?" in plain.stdout and "recess" not in plain.stdout
    assert ruled.exit_code == 0 and "recess 2" in ruled.stdout and "frame?" not in ruled.stdout


def test_a_recess_needs_a_measured_sheet_and_a_floor(folder):
    (folder / "job.toml").write_text(JOB + RULES)
    unmeasured = run("make", folder / "job.toml", "--out", folder / "out")
    assert unmeasured.exit_code == 2 and "thickness-not-measured" in unmeasured.stderr
    deep = RULES.replace("2.0", "5.2") + "[heights]\nmeasured_thickness_mm = [6.1, 5.9]\n"
    (folder / "job.toml").write_text(JOB + deep)
    refused = run("make", folder / "job.toml", "--out", folder / "out")
    assert refused.exit_code == 2 and "recess-too-deep" in refused.stderr and "recess 1" in refused.stderr


@pytest.mark.parametrize(
    ("rule", "key"),
    [
        ('means = "recess"', "depth_mm"),
        ('means = "groove"\ndepth_mm = 2.0', "width_mm"),
        ('means = "outline"\ndepth_mm = 2.0', "depth_mm"),
        ('means = "recess"\ndepth_mm = 2.0\nwidth_mm = 3.0', "width_mm"),
        ('means = "ignore"\nfinish = "shown"', "finish"),
        ("", "match"),
    ],
)
def test_a_rule_that_does_not_hold_together_is_refused_with_its_key(folder, rule, key):
    (folder / "job.toml").write_text(f'{JOB}[[layer]]\nmatch = "A"\n{rule}\n')
    result = run("make", folder / "job.toml", "--out", folder / "out")
    assert result.exit_code == 2
    assert "layer-rule-wrong" in result.stderr and f"layer[1].{key}" in result.stderr
