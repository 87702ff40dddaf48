"""Job files: what they say, where their paths lead, and every way in which they are refused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from cam.errors import FileRefused, TableRefused
from cam.findings import Finding, Origin
from cam.tables.job import CornerRule, Face, Grip, Heights, Hold, HoldKind, Job, PanelEntry, Tolerances, ZeroFace
from cam.tables.read import read_tables
from cam.tables.read_job import check_job, default_job, find_job_rows, read_job

JOB = """format = 1
title = "Boat club canteen"
sheet = "cast-4-2440x1220"
machine = "light-gantry"
controller = "ngc"
cutters = ["o1-6-up", "o1-4-up"]
tables = ["shop.toml"]
margin_mm = 20
work_offset = "G55"

[[panel]]
drawing = "panel.dxf"
name = "back wall"
units = "mm"
at_mm = [10, 20.5]
turn_deg = 90
face = "down"
expect_size_mm = [1800, 900]
expect_cutouts = 3

[[panel]]
drawing = "../other/strip.dxf"

[corners]
radius_mm = 6

[hold]
by = "skin"
bridge_length_mm = 7.0
bridge_height_mm = 0.9
bridge_spacing_mm = 250.0
min_bridges = 3
skin_mm = 0.5
clear_slug_below_mm2 = 1500

[heights]
zero = "top"
clearance_mm = 12.0
into_bed_mm = 0.2
max_into_bed_mm = 0.4
measured_thickness_mm = [3.9, 4.1]

[tolerances]
join_mm = 0.02
fit_mm = 0.004
finish_uncut_mm = 0.02
gouge_mm = 0.002
"""
LEAST = """format = 1
title = "t"
sheet = "cast-4-2440x1220"
[[panel]]
drawing = "panel.dxf"
"""


def job_file(folder: Path, text: str) -> Path:
    path = folder / "job.toml"
    path.write_text(text)
    return path


def refused(folder: Path, text: str) -> tuple[Finding, ...]:
    path = job_file(folder, text)
    with pytest.raises(TableRefused) as caught:
        read_job(path)
    assert caught.value.exit_code == 2
    assert all(finding.remedy and finding.origin.file == str(path) for finding in caught.value.findings)
    return caught.value.findings


def test_every_key(tmp_path: Path) -> None:
    path = job_file(tmp_path, JOB)
    assert read_job(path) == Job(
        title="Boat club canteen",
        sheet="cast-4-2440x1220",
        machine="light-gantry",
        controller="ngc",
        cutters=("o1-6-up", "o1-4-up"),
        tables=(tmp_path / "shop.toml",),
        margin_mm=20.0,
        work_offset="G55",
        panels=(
            PanelEntry(
                drawing=tmp_path / "panel.dxf",
                name="back wall",
                units="mm",
                at_mm=(10.0, 20.5),
                turn_deg=90.0,
                face=Face.DOWN,
                expect_size_mm=(1800.0, 900.0),
                expect_cutouts=3,
            ),
            PanelEntry(drawing=tmp_path / "../other/strip.dxf"),
        ),
        corners=CornerRule(radius_mm=6.0),
        hold=Hold(
            by=HoldKind.SKIN,
            bridge_length_mm=7.0,
            bridge_height_mm=0.9,
            bridge_spacing_mm=250.0,
            min_bridges=3,
            skin_mm=0.5,
            clear_slug_below_mm2=1500.0,
        ),
        heights=Heights(
            zero=ZeroFace.TOP,
            clearance_mm=12.0,
            into_bed_mm=0.2,
            max_into_bed_mm=0.4,
            measured_thickness_mm=(3.9, 4.1),
        ),
        tolerances=Tolerances(join_mm=0.02, fit_mm=0.004, finish_uncut_mm=0.02, gouge_mm=0.002),
        path=path,
    )


def test_the_least_job_has_the_defaults(tmp_path: Path) -> None:
    path = job_file(tmp_path, LEAST)
    assert read_job(path) == replace(default_job(tmp_path / "panel.dxf"), title="t", path=path)


def test_paths_are_relative_to_the_job_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job_file(tmp_path, LEAST)
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    assert read_job(Path("../job.toml")).panels[0].drawing == Path("../panel.dxf")
    absolute = LEAST.replace("panel.dxf", str(tmp_path / "a.dxf"))
    assert read_job(job_file(tmp_path, absolute)).panels[0].drawing == tmp_path / "a.dxf"


@pytest.mark.parametrize(
    ("change", "code", "key", "line", "remedy"),
    [
        (("work_offset =", "work_ofset ="), "unknown-key", "work_ofset", 9, "work_offset"),
        (("units = ", "unit = "), "unknown-key", "panel[back wall].unit", 14, "units"),
        (("radius_mm = 6", "radius_mm = 6\nradius = 5"), "unknown-key", "corners.radius", 26, "radius_mm"),
        (("[tolerances]", "[tolerance]"), "unknown-key", "tolerance", 43, "tolerances"),
        (('by = "skin"', 'by = "tabs"'), "unknown-choice", "hold.by", 28, "bridges, skin"),
        (('zero = "top"', 'zero = "Top"'), "unknown-choice", "heights.zero", 37, "top"),
        (("margin_mm = 20", "margin_mm = '20'"), "wrong-type", "margin_mm", 8, "correct"),
        (("margin_mm = 20", "margin_mm = -1"), "out-of-range", "margin_mm", 8, "correct"),
        (("expect_cutouts = 3", "expect_cutouts = -1"), "out-of-range", "panel[back wall].expect_cutouts", 19, ""),
        (("expect_cutouts = 3", "expect_cutouts = 3.5"), "wrong-type", "panel[back wall].expect_cutouts", 19, ""),
        (("at_mm = [10, 20.5]", "at_mm = [1e12, 0]"), "out-of-range", "panel[back wall].at_mm[1]", 15, ""),
        (('"G55"', '"G60"'), "out-of-range", "work_offset", 9, ""),
        (("radius_mm = 6", "radius_mm = 3.99"), "corner-rule-too-small", "corners.radius_mm", 25, "4 mm"),
        (("into_bed_mm = 0.2", "into_bed_mm = 0.41"), "bed-cut-too-deep", "heights.into_bed_mm", 39, ""),
        (("format = 1", "format = 2"), "wrong-format", "format", 1, "format = 1"),
        (("format = 1", "format = true"), "wrong-format", "format", 1, "format = 1"),
        (('[[panel]]\ndrawing = "../', '[[panel]]\nname = "back wall"\ndrawing = "../'), "doubled-panel",
         "panel[back wall].name", 22, ""),
    ],
)  # fmt: skip
def test_one_fault(tmp_path: Path, change: tuple[str, str], code: str, key: str, line: int, remedy: str) -> None:
    assert JOB.count(change[0]) >= 1
    (finding,) = refused(tmp_path, JOB.replace(change[0], change[1], 1))
    assert (finding.code, finding.origin.key, finding.origin.line) == (code, key, line)
    assert remedy in finding.remedy


def test_four_mm_is_enough(tmp_path: Path) -> None:
    assert read_job(job_file(tmp_path, JOB.replace("radius_mm = 6", "radius_mm = 4"))).corners.radius_mm == 4.0


def test_what_must_be_there(tmp_path: Path) -> None:
    assert [(finding.code, finding.origin.key) for finding in refused(tmp_path, "")] == [
        ("wrong-format", "format"),
        ("missing-key", "title"),
        ("missing-key", "panel"),
        ("missing-key", "sheet"),
    ]
    assert [f.code for f in refused(tmp_path, 'format = 1\ntitle = "t"\nsheet = "s"\npanel = []')] == ["no-panel"]
    (finding,) = refused(tmp_path, LEAST.replace("[[panel]]", "[panel]"))
    assert finding.code == "wrong-type"
    assert "double brackets" in finding.message


def test_a_misspelt_format_is_named(tmp_path: Path) -> None:
    codes = {finding.code: finding.remedy for finding in refused(tmp_path, LEAST.replace("format", "fromat"))}
    assert codes["unknown-key"] == "did you mean format?"
    assert set(codes) == {"unknown-key", "wrong-format"}


def test_broken_toml_has_line_and_column(tmp_path: Path) -> None:
    (finding,) = refused(tmp_path, JOB.replace('sheet = "cast', "sheet = cast"))
    assert (finding.code, finding.origin.line, finding.origin.column) == ("broken-toml", 3, 9)


def test_files_that_are_none(tmp_path: Path) -> None:
    for path, code in ((tmp_path / "no.toml", "no-such-file"), (tmp_path, "not-a-file")):
        with pytest.raises(FileRefused) as caught:
            read_job(path)
        assert caught.value.findings[0].code == code


def test_a_drawing_is_no_job(tmp_path: Path) -> None:
    (finding,) = refused(tmp_path, "  0\nSECTION\n  2\nHEADER\n")
    assert finding.code == "broken-toml"


def test_options_of_a_default_job_are_checked_too() -> None:
    job = default_job(Path("a/shelf.dxf"), corners=CornerRule(radius_mm=8.0), sheet="cast-6-2440x1220")
    assert (job.title, job.sheet, job.corners.radius_mm) == ("shelf", "cast-6-2440x1220", 8.0)
    with pytest.raises(TableRefused) as caught:
        default_job(Path("a.dxf"), corners=CornerRule(radius_mm=3.0), margin_mm=float("nan"))
    assert [finding.code for finding in caught.value.findings] == ["out-of-range", "corner-rule-too-small"]
    with pytest.raises(TypeError):
        default_job(Path("a.dxf"), colour="red")


@pytest.mark.parametrize(
    ("hold", "refused"),
    [
        (Hold(by=HoldKind.SKIN, grip=Grip.VACUUM, skin_last_pass=True), False),
        (Hold(by=HoldKind.SKIN, grip=Grip.TAPE, skin_last_pass=True), False),
        (Hold(by=HoldKind.SKIN, grip=Grip.CLAMPS, skin_last_pass=True), True),
        (Hold(by=HoldKind.SKIN, grip=Grip.SCREWS, skin_last_pass=True), True),
        (Hold(by=HoldKind.BRIDGES, grip=Grip.VACUUM, skin_last_pass=True), True),
        (Hold(by=HoldKind.BRIDGES, grip=Grip.VACUUM), False),
    ],
)
def test_a_last_pass_needs_a_grip_that_holds_what_it_cuts_free(hold: Hold, refused: bool) -> None:
    if not refused:
        assert default_job(Path("a.dxf"), hold=hold).hold == hold
        return
    with pytest.raises(TableRefused) as caught:
        default_job(Path("a.dxf"), hold=hold)
    (finding,) = caught.value.findings
    assert (finding.code, finding.origin.key) == ("last-pass-loose", "hold.skin_last_pass")


@pytest.mark.parametrize(
    ("hold", "area", "held"),
    [
        (Hold(grip=Grip.CLAMPS), 1e7, False),
        (Hold(grip=Grip.SCREWS), 1e7, False),
        (Hold(grip=Grip.VACUUM), 20000.0, True),
        (Hold(grip=Grip.VACUUM), 19999.9, False),
        (Hold(grip=Grip.TAPE), 40000.0, True),
        (Hold(grip=Grip.TAPE), 39999.9, False),
        (Hold(grip=Grip.VACUUM, by=HoldKind.SKIN), 1e7, False),
        (Hold(grip=Grip.VACUUM, by=HoldKind.SKIN, skin_last_pass=True), 1e7, True),
    ],
)
def test_what_the_grip_holds_by_itself(hold: Hold, area: float, held: bool) -> None:
    # 0.5 to 0.7 bar hold parts above 200 cm2 (common practice); clamps and screws hold the sheet alone
    assert hold.holds_by_grip(area) is held


def test_a_built_job_without_panels() -> None:
    with pytest.raises(TableRefused) as caught:
        check_job(Job(title="t", sheet="s", panels=()))
    assert [finding.code for finding in caught.value.findings] == ["no-panel"]


def test_rows_of_a_job(tmp_path: Path) -> None:
    tables = read_tables()
    rows = find_job_rows(read_job(job_file(tmp_path, JOB.replace('tables = ["shop.toml"]\n', ""))), tables=tables)
    assert (rows.sheet.name, rows.material.name) == ("cast-4-2440x1220", "cast-acrylic")
    assert (rows.machine.name, rows.controller.name) == ("light-gantry", "ngc")
    assert [cutter.name for cutter in rows.cutters] == ["o1-6-up", "o1-4-up"]
    assert find_job_rows(read_job(job_file(tmp_path, LEAST)), tables=tables).cutters == tables.cutters


def test_unknown_rows_of_a_job_are_all_named_with_line_and_neighbour(tmp_path: Path) -> None:
    text = (
        JOB.replace("light-gantry", "lite-gantry").replace('"ngc"', '"nist"').replace("o1-4-up", "o1-4-upp")
        .replace("cast-4-2440x1220", "cast-4-2440x1200")
    )  # fmt: skip
    path = job_file(tmp_path, text)
    with pytest.raises(TableRefused) as caught:
        find_job_rows(read_job(path), tables=read_tables())
    found = {finding.origin.key: finding for finding in caught.value.findings}
    assert {finding.code for finding in found.values()} == {"unknown-row"}
    assert {key: finding.origin.line for key, finding in found.items()} == {
        "sheet": 3, "machine": 4, "controller": 5, "cutters": 6,
    }  # fmt: skip
    assert "light-gantry" in found["machine"].remedy
    assert "o1-4-up" in found["cutters"].remedy
    assert "cast-4-2440x1220" in found["sheet"].remedy
    assert "ngc" in found["controller"].remedy
    assert found["machine"].origin == Origin(file=str(path), line=4, key="machine")


def test_a_job_without_a_file_names_the_key() -> None:
    with pytest.raises(TableRefused) as caught:
        find_job_rows(default_job(Path("a.dxf"), machine="benc"), tables=read_tables())
    assert caught.value.findings[0].origin == Origin(key="machine")
