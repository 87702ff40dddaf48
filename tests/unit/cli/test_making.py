"""``make`` and ``demo``: what is written, printed and returned, and what is never overwritten."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from cam.errors import PlanRefused
from cam.findings import Origin, error

KEYS = {"format", "verdict", "programs", "page", "findings", "deviation_mm", "corners"}
PROGRAM_KEYS = {"path", "controller", "cutters", "blocks", "cycle_s", "cutting_mm", "rapid_mm"}


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def test_make_writes_program_and_page_and_prints_the_verdict(run, shelf, pipeline, tmp_path):
    result = run("make", shelf, "--out", "cut")
    assert result.exit_code == 0
    assert names(tmp_path / "cut") == ["shelf.html", "shelf.ngc"]
    assert (tmp_path / "cut" / "shelf.ngc").read_bytes() == b"G21\nM2\n"
    assert result.stdout.startswith(f"{Path('cut', 'shelf.ngc')}: PROVEN\n")
    assert "known to within 0.003 mm" in result.stdout
    assert f"page       {Path('cut', 'shelf.html')}" in result.stdout
    assert "passed-over" in result.stdout
    assert result.stderr == ""


def test_an_unproven_program_says_so_in_its_name_and_exit_code(run, shelf, pipeline, tmp_path):
    pipeline.proven = False
    result = run("make", shelf, "--out", "cut")
    assert result.exit_code == 1
    assert names(tmp_path / "cut") == ["shelf.html", "shelf.unproven.ngc"]
    assert "NOT PROVEN" in result.stdout
    assert "gouge-found" in result.stdout
    assert "Program shelf.unproven.ngc" in (tmp_path / "cut" / "shelf.html").read_text()


def test_make_prints_the_document_and_nothing_else(run, shelf, pipeline):
    pipeline.proven = False
    result = run("make", shelf, "--out", "cut", "--json")
    document = json.loads(result.stdout)
    assert result.exit_code == 1
    assert set(document) >= KEYS
    assert document["format"] == 1
    assert document["verdict"] == "not proven"
    assert document["page"] == str(Path("cut") / "shelf.html")
    (program,) = document["programs"]
    assert set(program) >= PROGRAM_KEYS
    assert program["path"] == str(Path("cut") / "shelf.unproven.ngc")
    assert program["cutters"] == ["o1-6-up"]
    # 20,7 down to -0.3, to 80 and up to 53: lengths by hand
    assert program["cutting_mm"] == pytest.approx(20.3 + 60.0 + 46.0)
    assert document["deviation_mm"] == {"gouge_max": 0.2, "uncut_max": 0.004, "bound": 0.003}
    assert document["corners"] == {"count": 0, "rounded": 0, "min_radius_mm": None}
    assert [finding["code"] for finding in document["findings"]] == ["passed-over", "gouge-found"]
    assert document["findings"][1]["origin"] == {"line": 7, "x_mm": 30.0, "y_mm": 10.0}


def test_existing_files_are_kept_unless_forced(run, shelf, pipeline, tmp_path):
    run("make", shelf, "--out", "cut")
    page = tmp_path / "cut" / "shelf.html"
    page.write_text("mine")
    result = run("make", shelf, "--out", "cut")
    assert result.exit_code == 2
    assert page.read_text() == "mine"
    assert "shelf.ngc" in result.stderr
    assert "shelf.html" in result.stderr
    assert "would-overwrite" in result.stderr
    assert result.stdout == ""
    assert run("make", shelf, "--out", "cut", "--force").exit_code == 0
    assert page.read_text().startswith("<!DOCTYPE html>")


@pytest.mark.parametrize(("first", "second"), [(True, False), (False, True)])
def test_a_program_that_an_earlier_run_left_is_never_left_unremarked(run, shelf, pipeline, tmp_path, first, second):
    pipeline.proven = first
    run("make", shelf, "--out", "cut")
    (tmp_path / "cut" / "shelf.html").unlink()
    stale = "shelf.ngc" if first else "shelf.unproven.ngc"
    pipeline.proven = second
    refused = run("make", shelf, "--out", "cut")
    assert refused.exit_code == 2
    assert f"an earlier run left {stale}" in refused.stderr
    assert names(tmp_path / "cut") == [stale]
    forced = run("make", shelf, "--out", "cut", "--force")
    assert f"removed {Path('cut', stale)}" in forced.stderr
    assert stale not in names(tmp_path / "cut")


def test_a_refusal_is_one_message_and_writes_nothing(run, shelf, pipeline, tmp_path):
    faults = [
        error(f"fault-{n}", f"reason {n}", remedy=f"remedy {n}", origin=Origin(file="a.dxf", handle="2F"))
        for n in "abc"
    ]
    pipeline.refusal = PlanRefused(*faults)
    result = run("make", shelf, "--out", "cut")
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.splitlines() == [
        "castcut: refused: reason a",
        "  where: a.dxf: handle 2F",
        "  do: remedy a",
        "  more: castcut explain fault-a",
        "  and 2 more:",
        "    a.dxf: handle 2F: reason b (fault-b)",
        "    a.dxf: handle 2F: reason c (fault-c)",
    ]
    assert not (tmp_path / "cut").exists()
    document = json.loads(run("make", shelf, "--out", "cut", "--json").stdout)
    assert document["verdict"] == "refused"
    assert [finding["code"] for finding in document["findings"]] == ["fault-a", "fault-b", "fault-c"]


def test_a_folder_that_cannot_be_written_is_refused_before_the_work(run, shelf, pipeline, tmp_path):
    (tmp_path / "taken").write_text("a file")
    for out in ("no/such/parent", "taken", "taken/below"):
        result = run("make", shelf, "--out", out)
        assert result.exit_code == 2
        assert "out-not-writable" in result.stderr
    assert pipeline.jobs == []
    assert (tmp_path / "taken").read_text() == "a file"


def test_the_command_line_has_the_last_word_over_the_job(run, shelf, pipeline):
    run("make", shelf, "--units", "in", "--machine", "bench", "--sheet", "other", "--out", "a")
    run("make", "shelf.dxf", "--units", "mm", "--out", "b")
    run("make", shelf, "--out", "c")
    first, bare, plain = pipeline.jobs
    assert (first.machine, first.sheet, first.panels[0].units) == ("bench", "other", "in")
    assert (bare.title, bare.panels[0].units, bare.path) == ("shelf", "mm", None)
    assert plain.panels[0].units is None
    assert first.panels[0] == replace(plain.panels[0], units="in")


def test_plan_and_stages_are_told_on_request(run, shelf, pipeline):
    result = run("make", shelf, "--out", "cut", "--explain", "--stages")
    assert "outline: profile, cutter o1-6-up, 18000 rpm, 3420 mm/min, 1 pass" in result.stdout
    assert "held by: 4 bridges" in result.stdout
    assert "because: chip load from the table" in result.stdout
    assert "making" in result.stderr


def test_same_inputs_same_bytes(run, shelf, pipeline, tmp_path):
    run("make", shelf, "--out", "one")
    run("make", shelf, "--out", "two")
    for name in names(tmp_path / "one"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


@pytest.fixture
def parts(shelf, monkeypatch):
    """The demo's parts are those of the test."""
    monkeypatch.setattr("cam.tables.places.find_data_folder", lambda kind: shelf.parent.parent)


def test_the_demo_makes_every_part_and_may_run_again(run, parts, pipeline, tmp_path):
    first = run("demo")
    assert first.exit_code == 0
    assert "PROVEN" in first.stdout
    assert names(tmp_path / "castcut-demo") == ["castcut-demo.txt", "shelf"]
    assert names(tmp_path / "castcut-demo" / "shelf") == ["shelf.html", "shelf.ngc"]
    pipeline.proven = False
    again = run("demo", "--json")
    assert again.exit_code == 1
    document = json.loads(again.stdout)
    assert document["verdict"] == "not proven"
    assert set(document["parts"][0]) >= KEYS
    assert names(tmp_path / "castcut-demo" / "shelf") == ["shelf.html", "shelf.unproven.ngc"]


def test_the_demo_keeps_out_of_folders_that_are_not_its_own(run, parts, pipeline, tmp_path):
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "letter.txt").write_text("dear all")
    result = run("demo", "--out", "mine")
    assert result.exit_code == 2
    assert names(mine) == ["letter.txt"]
    assert pipeline.jobs == []


def test_several_controllers_write_into_a_new_folder_all_or_nothing(run, shelf, pipeline, tmp_path):
    made = [*("--controller", "ngc"), *("--controller", "steps")]
    result = run("make", shelf, "--out", "cut", *made)
    assert result.exit_code == 0, result.output
    assert names(tmp_path / "cut") == ["ngc", "steps"]
    # one of two is in the way: the other is not written either
    result = run("make", shelf, "--out", "cut", "--controller", "small", "--controller", "steps")
    assert result.exit_code == 2
    assert "would-overwrite" in result.output
    assert names(tmp_path / "cut") == ["ngc", "steps"]


def test_a_cutter_and_a_speed_are_given_for_each_file_or_none(run, shelf, pipeline, tmp_path):
    for name in ("a.ngc", "b.ngc"):
        (tmp_path / name).write_text("G21\nM2\n")
    for option in (("--cutter", "o1-6-up"), ("--rpm", "18000")):
        result = run("prove", "a.ngc", "b.ngc", "--job", shelf, *option)
        assert result.exit_code == 2
        assert f"{option[0]} is given 1 times for 2 files" in result.output
