"""Tables: castcut's rows and a shop's own, found by name."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from cam.errors import FileRefused, TableRefused
from cam.findings import Finding, Origin
from cam.tables import read
from cam.tables.read import (
    find_controller,
    find_cutter,
    find_machine,
    find_material,
    find_sheet,
    read_tables,
)

CUTTER = """
[[cutter]]
name = "{name}"
title = "Ours"
tool = {tool}
kind = "flat"
flutes = 1
form = "single O-flute"
diameter_mm = 6.0
edge_length_mm = 15.0
shank_mm = 6.0
stick_out_mm = 30.0
centre_cutting = true
max_ramp_deg = 5.0
max_rpm = 20000.0
point_angle_deg = 180.0
source = "measured here"
"""


def write(path: Path, text: str) -> Path:
    path.write_text("format = 1\n" + text)
    return path


def refused(*own: Path) -> tuple[Finding, ...]:
    with pytest.raises(TableRefused) as caught:
        read_tables(own=own)
    return caught.value.findings


def test_own_rows_come_first_and_win_by_name(tmp_path: Path) -> None:
    shipped = read_tables()
    own = write(tmp_path / "shop.toml", CUTTER.format(name="o1-6-up", tool=3) + CUTTER.format(name="ours", tool=4))
    tables = read_tables(own=(own,))
    assert [cutter.name for cutter in tables.cutters[:2]] == ["o1-6-up", "ours"]
    assert len(tables.cutters) == len(shipped.cutters) + 1
    assert find_cutter(tables, name="o1-6-up").edge_length_mm == 15.0
    assert find_cutter(shipped, name="o1-6-up").edge_length_mm != 15.0
    assert tables.materials == shipped.materials


def test_earlier_own_places_win_over_later_ones(tmp_path: Path) -> None:
    folder = tmp_path / "shop"
    folder.mkdir()
    write(folder / "a.toml", CUTTER.format(name="ours", tool=1))
    write(folder / "b.toml", CUTTER.format(name="theirs", tool=2))
    first = write(tmp_path / "first.toml", CUTTER.format(name="ours", tool=7))
    tables = read_tables(own=(first, folder))
    assert [(cutter.name, cutter.tool) for cutter in tables.cutters[:2]] == [("ours", 7), ("theirs", 2)]


def test_own_controller(tmp_path: Path) -> None:
    text = (read.find_data_folder("posts") / "ngc.toml").read_text()
    own = tmp_path / "ours.toml"
    own.write_text(text.replace('name = "ngc"', 'name = "ours"').replace("decimals = 4", "decimals = 3"))
    tables = read_tables(own=(own,))
    assert find_controller(tables, name="ours").facts.decimals == 3
    assert find_controller(tables, name="ngc").facts.decimals == 4


def test_a_name_twice_in_one_folder_is_refused(tmp_path: Path) -> None:
    write(tmp_path / "a.toml", CUTTER.format(name="ours", tool=1))
    write(tmp_path / "b.toml", CUTTER.format(name="ours", tool=2))
    (finding,) = refused(tmp_path)
    assert finding.code == "doubled-row"
    assert finding.origin == Origin(file=str(tmp_path / "b.toml"), line=3, key="cutter[ours]")
    assert str(tmp_path / "a.toml") in finding.message


def test_a_tool_number_twice_is_refused(tmp_path: Path) -> None:
    own = write(tmp_path / "a.toml", CUTTER.format(name="ours", tool=26))
    (finding,) = refused(own)
    assert finding.code == "doubled-tool"
    assert "'ours'" in finding.message
    assert "'o1-6-up'" in finding.message


def test_faults_of_all_files_are_reported(tmp_path: Path) -> None:
    a = write(tmp_path / "a.toml", CUTTER.format(name="ours", tool=1).replace("source", "sauce"))
    b = write(tmp_path / "b.toml", CUTTER.format(name="too", tool=0))
    c = tmp_path / "c.toml"
    c.write_text(CUTTER.format(name="old", tool=2))
    assert sorted((finding.code, finding.origin.key) for finding in refused(a, b, c)) == [
        ("missing-key", "cutter[ours].source"),
        ("out-of-range", "cutter[too].tool"),
        ("unknown-key", "cutter[ours].sauce"),
        ("wrong-format", "format"),
    ]


@pytest.mark.parametrize(
    ("change", "key"),
    [
        (("edge_length_mm = 15.0", "edge_length_mm = 31.0"), "edge_length_mm"),
        (("point_angle_deg = 180.0", "point_angle_deg = 90.0"), "point_angle_deg"),
        (('kind = "flat"', 'kind = "vee"'), "point_angle_deg"),
    ],
)
def test_cutters_that_contradict_themselves(tmp_path: Path, change: tuple[str, str], key: str) -> None:
    (finding,) = refused(write(tmp_path / "a.toml", CUTTER.format(name="ours", tool=1).replace(*change)))
    assert (finding.code, finding.origin.key) == ("inconsistent-row", f"cutter[ours].{key}")


def shipped_row(file: str, name: str) -> str:
    """Return the text of one of castcut's own rows, under the name ``ours``."""
    text = (read.find_data_folder("tooling") / file).read_text()
    kind = f"[[{file.removesuffix('s.toml')}]]"
    (row,) = [part for part in text.split(kind) if f'name = "{name}"' in part]
    return kind + row.replace(f'name = "{name}"', 'name = "ours"')


@pytest.mark.parametrize(
    ("file", "name", "change", "key"),
    [
        ("materials.toml", "cast-acrylic", ("start_rpm = 18000.0", "start_rpm = 9000.0"), "start_rpm"),
        ("materials.toml", "cast-acrylic", ("start_rpm = 18000.0", "start_rpm = 25000.0"), "start_rpm"),
        ("materials.toml", "cast-acrylic", ("start_mm = 0.19 ", "start_mm = 0.29 "), "chip_loads"),
        ("materials.toml", "cast-acrylic", ("diameter_mm = 5.0 ", "diameter_mm = 6.0 "), "chip_loads"),
        ("materials.toml", "cast-acrylic", ("factor = 0.75", "factor = 0.4"), "depth_factors"),
        ("materials.toml", "cast-acrylic", ("diameters = 2.0", "diameters = 3.0"), "depth_factors"),
        (
            "materials.toml",
            "cast-acrylic",
            ("depth_diameters = 0.5", "depth_diameters = 4"),
            "max_pass_depth_diameters",
        ),
        ("machines.toml", "bench", ("min_rpm = 10000.0", "min_rpm = 9000.0"), "power_curve"),
        ("machines.toml", "bench", ("max_rpm = 30000.0", "max_rpm = 31000.0"), "power_curve"),
        ("machines.toml", "bench", ("rpm = 30000.0, p", "rpm = 10000.0, p"), "power_curve"),
        ("machines.toml", "bench", ("min_rpm = 10000.0", "min_rpm = 30001.0"), "min_rpm"),
    ],
)
def test_rows_that_contradict_themselves(
    tmp_path: Path, file: str, name: str, change: tuple[str, str], key: str
) -> None:
    row = shipped_row(file, name)
    assert read_tables(own=(write(tmp_path / "good.toml", row),))
    assert change[0] in row
    findings = refused(write(tmp_path / "bad.toml", row.replace(*change)))
    assert {finding.code for finding in findings} == {"inconsistent-row"}
    assert f"{file.removesuffix('s.toml')}[ours].{key}" in [finding.origin.key for finding in findings]


@pytest.mark.parametrize(
    ("change", "key"),
    [
        (('mm_word = "G21"', 'mm_word = ""'), "controller.mm_word"),
        (('air_off_word = "M9"', 'air_off_word = ""'), "controller.air_off_word"),
        (('work_offsets = ["G54"', 'work_offsets = [] # ["G54"'), "controller.work_offsets"),
    ],
)
def test_controllers_that_contradict_themselves(tmp_path: Path, change: tuple[str, str], key: str) -> None:
    text = (read.find_data_folder("posts") / "ngc.toml").read_text()
    assert change[0] in text
    own = tmp_path / "ours.toml"
    own.write_text(text.replace(*change))
    (finding,) = refused(own)
    assert finding.code == "inconsistent-row"
    assert finding.origin.key is not None
    assert finding.origin.key.endswith(key)


def test_a_sheet_of_no_material(tmp_path: Path) -> None:
    own = write(
        tmp_path / "a.toml",
        '[[sheet]]\nname = "s"\ntitle = "S"\nmaterial = "cast-acryl"\nwidth_mm = 100\nheight_mm = 100\n'
        'thickness_mm = 4\nsource = "measured"\n',
    )
    (finding,) = refused(own)
    assert (finding.code, finding.origin.key) == ("unknown-row", "sheet[s].material")
    assert "cast-acrylic" in finding.remedy


def test_places_that_cannot_be_read(tmp_path: Path) -> None:
    for place, code in ((tmp_path / "none", "no-such-file"), (tmp_path, "no-tables-here")):
        with pytest.raises(FileRefused) as caught:
            read_tables(own=(place,))
        assert caught.value.findings[0].code == code


@pytest.mark.parametrize(
    ("finder", "name", "near"),
    [
        (find_cutter, "o1-6-upp", "o1-6-up"),
        (find_material, "cast-acrilic", "cast-acrylic"),
        (find_machine, "workshop", "workshop-gantry"),
        (find_sheet, "cast-4-2440x1200", "cast-4-2440x1220"),
        (find_controller, "ncg", "ngc"),
    ],
)
def test_an_unknown_name_gives_the_nearest(finder: Callable[..., object], name: str, near: str) -> None:
    place = Origin(file="job.toml", line=4, key="cutters")
    with pytest.raises(TableRefused) as caught:
        finder(read_tables(), name=name, origin=place)
    (finding,) = caught.value.findings
    assert (finding.code, finding.origin) == ("unknown-row", place)
    assert near in finding.remedy
