"""``castcut coupon``: program, card, and the row that its sizes give."""

from __future__ import annotations

import json
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely
from click.testing import CliRunner

from cam.backplot.interpret import interpret_program
from cam.backplot.sweep import sweep_trace
from cam.cli import main
from cam.report.coupon import (
    BORE_MM,
    SLOT_WIDTH_MM,
    SQUARE_MM,
    MeasuredCoupon,
    find_effective_diameter,
)
from cam.tables.places import find_data_folder
from cam.tables.read import find_controller, find_cutter, read_tables

JOB = find_data_folder("parts") / "canteen-wall" / "job.toml"


def run(*arguments: object):
    return CliRunner().invoke(main, ["coupon", str(JOB), *map(str, arguments)])


@pytest.fixture(scope="module")
def coupon(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("coupon")
    result = CliRunner().invoke(main, ["coupon", str(JOB), "--out", str(out), "--json", "--quiet"])
    assert result.exit_code == 0, result.output
    document = json.loads(result.stdout)
    assert document["verdict"] == "proven"
    assert Path(document["card"]).exists()
    return out


def test_the_drawing_is_the_coupon(coupon: Path) -> None:
    # a second reader: ezdxf's own entities, in mm as the file says
    document = ezdxf.readfile(coupon / "coupon.dxf")
    assert document.header["$INSUNITS"] == 4
    boxes = []
    for polyline in document.modelspace().query("LWPOLYLINE"):
        points = np.array([(x, y) for x, y, *_ in polyline.get_points()])
        boxes.append(np.ptp(points, axis=0).round(6).tolist())
    assert [SQUARE_MM, SQUARE_MM] in boxes


@pytest.mark.parametrize("cuts_mm", [5.9, 5.95, 6.0, 6.03])
def test_what_a_cutter_of_another_diameter_leaves_tells_its_diameter(coupon: Path, cuts_mm: float) -> None:
    """Sweep the program with a cutter of another diameter, measure what it leaves, and work the diameter out."""
    from dataclasses import replace  # noqa: PLC0415

    tables = read_tables()
    cutter = replace(find_cutter(tables, name="o1-6-up"), diameter_mm=cuts_mm)
    trace = interpret_program((coupon / "coupon.ngc").read_text(), controller=find_controller(tables, name="ngc"))
    sweep = sweep_trace(trace, cutters={cutter.tool: cutter}, heights_mm=(2.5,), top_mm=4.8)
    left = shapely.difference(shapely.box(0, 0, 200, 200), sweep.within[0])
    piece = max((part for part in shapely.get_parts(left) if part.bounds[2] < 110.0), key=shapely.area)
    min_x, min_y, max_x, max_y = piece.bounds
    inner = sorted(piece.interiors, key=lambda ring: ring.bounds[1])
    slot, bore = inner
    measured = MeasuredCoupon(
        square_x_mm=max_x - min_x,
        square_y_mm=max_y - min_y,
        bore_mm=bore.bounds[2] - bore.bounds[0],
        slot_width_mm=slot.bounds[3] - slot.bounds[1],
    )
    found = find_effective_diameter(measured, nominal_mm=6.0)
    assert found.diameter_mm == pytest.approx(cuts_mm, abs=0.003)
    assert found.spread_mm < 0.005


def test_the_row_is_read_back(tmp_path: Path) -> None:
    sizes = (SQUARE_MM + 0.04, SQUARE_MM + 0.06, BORE_MM - 0.05, SLOT_WIDTH_MM - 0.05)
    result = run("--measured", *sizes, "--out", tmp_path, "--name", "ours")
    assert result.exit_code == 0, result.output
    row = find_cutter(read_tables(own=(tmp_path / "ours.toml",)), name="ours")
    assert row.diameter_mm == pytest.approx(5.95)
    assert row.tool <= 20


@pytest.mark.parametrize(
    "sizes",
    [
        (SQUARE_MM + 0.3, SQUARE_MM + 0.3, BORE_MM + 0.3, SLOT_WIDTH_MM),  # scale, not the cutter
        (SQUARE_MM - 0.8, SQUARE_MM - 0.8, BORE_MM + 0.8, SLOT_WIDTH_MM + 0.8),  # another cutter
    ],
)
def test_sizes_that_tell_nothing_are_refused(tmp_path: Path, sizes: tuple[float, ...]) -> None:
    result = run("--measured", *sizes, "--out", tmp_path)
    assert result.exit_code == 2
    assert "coupon-doubtful" in result.output
    assert not list(tmp_path.iterdir())


def test_a_refused_coupon_leaves_nothing_in_the_way(tmp_path: Path) -> None:
    out = tmp_path / "first"
    result = run("--cutter", "drill-3", "--out", out, "--quiet")
    assert result.exit_code == 2
    assert not out.exists()


def test_the_jobs_layer_rules_do_not_touch_the_coupon(tmp_path: Path) -> None:
    text = JOB.read_text().replace("panel.dxf", str(JOB.parent / "panel.dxf"))
    job = tmp_path / "job.toml"
    job.write_text(f'{text}\n[[layer]]\nmatch = "0"\nmeans = "recess"\ndepth_mm = 1.0\n')
    result = CliRunner().invoke(main, ["coupon", str(job), "--out", str(tmp_path / "out"), "--quiet", "--json"])
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout)["findings"] == []


def test_sizes_that_are_no_numbers_are_refused(tmp_path: Path) -> None:
    assert run("--measured", "70", "70", "22", "nan", "--out", tmp_path).exit_code == 2
