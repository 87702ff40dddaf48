"""``inspect`` on a drawing with every meaning: roles with depths, finishes, names and what is asked about."""

from __future__ import annotations

import json
import re

import ezdxf
import pytest
from click.testing import CliRunner

from cam.cli import main


@pytest.fixture
def inspect(tmp_path):
    """A plate with a part of each meaning and a frame round it; and a way to run castcut on it."""
    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()

    def rectangle(layer, x, y, width, height):
        points = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
        space.add_lwpolyline(points, close=True, dxfattribs={"layer": layer})

    for layer, start, end in (
        ("HIDDEN", (0, 0), (600, 0)),
        ("0", (600, 0), (600, 400)),
        ("0", (600, 400), (0, 400)),
        ("0", (0, 400), (0, 0)),
    ):
        space.add_line(start, end, dxfattribs={"layer": layer})
    rectangle("CUTOUT-TRIMMED", 50, 50, 80, 60)
    space.add_circle((300, 100), 34, dxfattribs={"layer": "HOLE"})
    rectangle("RECESS-2.5", 50, 200, 100, 80)
    rectangle("RECESS-2.5", 80, 220, 30, 30)
    space.add_line((250, 200), (500, 200), dxfattribs={"layer": "GROOVE-6X2"})
    space.add_circle((450, 300), 40, dxfattribs={"layer": "GROOVE-4X1"})
    space.add_text("sink side", height=12, dxfattribs={"insert": (300, 350)})
    for margin in (110, 100):
        rectangle("FRAME", -margin, -margin, 600 + 2 * margin, 400 + 2 * margin)
    path = tmp_path / "whole.dxf"
    document.saveas(path)

    def run(*words):
        return CliRunner().invoke(main, ["inspect", str(path), *words], catch_exceptions=False)

    return run


def test_the_table_says_roles_depths_finishes_and_names(inspect):
    result = inspect()
    assert result.exit_code == 1
    rows = [re.split(r"  +", line.strip()) for line in result.stdout.splitlines()]
    table = {row[0]: row[1:] for row in rows if (row[0].isdigit() and len(row) > 7) or row[0] == "-"}
    assert [(row[0], row[5], row[6]) for number, row in table.items() if number != "-"] == [
        ("outline", "shown+hidden", "HIDDEN, 0"),
        ("cut-out", "trimmed", "CUTOUT-TRIMMED"),
        ("hole", "hidden", "HOLE"),
        ("frame?", "-", "FRAME"),
        ("frame?", "-", "FRAME"),
        ("recess 2.5", "-", "RECESS-2.5"),
        ("island", "-", "RECESS-2.5"),
        ("groove 4 x 1", "-", "GROOVE-4X1"),
    ]
    assert table["1"][-1] == "sink side"
    assert "groove 6 x 2, open, 250.0 mm long, layer GROOVE-6X2" in result.stdout
    assert "suspect-frame" in result.stdout and "--cut-suspects" in result.stdout


def test_the_document_says_the_same(inspect):
    document = json.loads(inspect("--json").stdout)
    loops = document["loops"]
    assert [(loop["role"], loop["suspect"], loop["depth_mm"], loop["island"]) for loop in loops] == [
        ("outline", None, None, False),
        ("cut-out", None, None, False),
        ("hole", None, None, False),
        ("outline", "frame", None, False),
        ("cut-out", "frame", None, False),
        ("recess", None, 2.5, False),
        ("recess", None, 2.5, True),
        ("groove", None, 1.0, False),
    ]
    assert [loop["finishes"] for loop in loops[:3]] == [["shown", "hidden"], ["trimmed"], ["hidden"]]
    assert [loop["panel"] for loop in loops] == ["sink side", *[None] * 7]
    assert loops[0]["layers"] == ["HIDDEN", "0"] and loops[7]["groove_width_mm"] == 4.0
    (line,) = document["centre_lines"]
    assert (line["groove_width_mm"], line["depth_mm"], line["length_mm"]) == (6.0, 2.0, 250.0)
    assert {"suspect-frame", "named-by-text"} <= {finding["code"] for finding in document["findings"]}


def test_the_picture_shows_each_as_what_it_is(inspect, tmp_path):
    inspect("--out", str(tmp_path / "look"))
    page = (tmp_path / "look" / "whole.inspect.html").read_text()
    styles = re.findall(r'class="loop ([a-z-]+)"', page)
    assert sorted(styles) == sorted(
        ["outline", "cut-out", "hole", "suspect", "suspect", "recess", "island", "groove", "groove"]
    )
    assert page.count('class="sunk"') == 1
    material = re.search(r'<path d="([^"]*)" class="material"', page)[1]
    assert material.count("M") == 3  # the frame and what lies in the upper face are no part of the material's edge
    assert "<td>groove 6 x 2, open, 250.0 mm long</td>" in page
    assert "Recesses are shaded" in page and "asked about is dotted" in page


def test_confirmed_suspects_are_cut(inspect):
    result = inspect("--cut-suspects")
    assert "frame?" not in result.stdout
    assert "suspect-frame" in result.stdout
