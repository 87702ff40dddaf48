"""``inspect`` on a drawing with every fault: table, document and picture agree by number and place."""

from __future__ import annotations

import json
import re

import ezdxf
import pytest
from click.testing import CliRunner

from cam.cli import main


@pytest.fixture
def faulty(tmp_path):
    """A plate with, by design, one of each fault; and a way to run castcut on it."""
    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()
    space.add_lwpolyline([(0, 0), (600, 0), (600, 400), (0, 400)], close=True, dxfattribs={"layer": "PLATE"})
    space.add_circle((600, 100), 30)  # crosses the outline
    space.add_line((100, 400), (100, 300))  # ends on it
    space.add_line((200, 200), (260, 230))  # dangles
    space.add_lwpolyline([(300, 100), (390, 160), (390, 100), (300, 160)], close=True)  # crosses itself
    space.add_lwpolyline([(450, 300), (550, 300), (550, 300.03), (450, 300.03)], close=True)  # a sliver
    space.add_circle((60, 60), 10)
    space.add_circle((60.02, 60), 10, dxfattribs={"layer": "AGAIN"})  # drawn twice
    for _ in range(2):
        space.add_line((480, 40), (520, 40))
    for start, end in (((520, 40), (520, 70)), ((520, 70), (480, 40)), ((490, 40), (505, 40))):
        space.add_line(start, end)  # a triangle, one side twice, a piece along it
    space.add_text("hello")
    path = tmp_path / "faulty.dxf"
    document.saveas(path)

    def run(*words):
        return CliRunner().invoke(main, ["inspect", str(path), *words], catch_exceptions=False)

    return run


def test_the_picture_numbers_are_those_of_table_document_and_text(faulty, tmp_path):
    result = faulty("--json", "--out", str(tmp_path / "look"))
    assert result.exit_code == 1
    findings = {finding["number"]: finding for finding in json.loads(result.stdout)["findings"]}
    assert sorted(findings) == list(range(1, len(findings) + 1))
    page = (tmp_path / "look" / "faulty.inspect.html").read_text()
    marks = re.findall(
        r'<g id="mark-(\d+)" class="flag (\w+)">.*?<circle cx="([-\d.]+)" cy="([-\d.]+)"[^>]*class="spot".*?'
        r"<text[^>]*>(\d+)</text>",
        page,
        flags=re.DOTALL,
    )
    placed = {number for number, finding in findings.items() if "x_mm" in finding["origin"]}
    assert {int(number) for number, *_ in marks} == placed
    for number, severity, x, y, shown in marks:
        finding = findings[int(number)]
        assert shown == number
        assert severity == finding["severity"]
        assert (float(x), -float(y)) == pytest.approx((finding["origin"]["x_mm"], finding["origin"]["y_mm"]), abs=1e-3)
    rows = re.findall(r'<tr id="finding-(\d+)".*?</tr>', page, flags=re.DOTALL)
    assert [int(number) for number in rows] == sorted(findings)
    for number, code in re.findall(r"^ *(\d+)  \w+  ([a-z-]+)$", faulty().stdout, flags=re.MULTILINE):
        assert findings[int(number)]["code"] == code


def test_every_fault_is_there_once_with_place_size_and_remedy(faulty):
    document = json.loads(faulty("--json").stdout)
    errors = [finding for finding in document["findings"] if finding["severity"] == "error"]
    codes = {finding["code"] for finding in errors}
    assert codes == {
        "open-chain", "t-junction", "crossing-loops", "self-crossing", "sliver-loop", "doubled-loop",
        "overlapping-pieces",
    }  # fmt: skip
    for finding in errors:
        assert {"x_mm", "y_mm", "handle", "layer", "file"} <= set(finding["origin"])
        assert finding["size_mm"] >= 0.0
        assert finding["remedy"]
    assert len([finding for finding in errors if finding["code"] == "sliver-loop"]) == 1  # not the figure of eight
    assert [finding["code"] for finding in document["findings"] if finding["severity"] == "warning"] == [
        "duplicate-dropped"
    ]


def test_the_table_of_loops(faulty):
    lines = [line.split() for line in faulty().stdout.splitlines()]
    # the text starts on the corner of the plate, which may fall to either side
    assert ["1", "outline", "600.00", "400.00", "2400.00", "-", "shown", "PLATE"] in [line[:8] for line in lines]
    assert any(
        line[1:5] == ["hole", "20.00", "20.00", "3.14"] and line[5] == "10.000" for line in lines if len(line) > 5
    )
