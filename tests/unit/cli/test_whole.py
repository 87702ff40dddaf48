"""Commands with the real pipeline, on the smallest demo part."""

import json
from dataclasses import fields
from pathlib import Path
from types import SimpleNamespace

import pytest

from cam import pipeline
from cam.tables.places import find_data_folder

PART = find_data_folder("parts") / "shelf-back"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Return the exit code, document and folder of one run of make."""
    from click.testing import CliRunner  # noqa: PLC0415

    from cam.cli import main  # noqa: PLC0415

    folder = tmp_path_factory.mktemp("made")
    result = CliRunner().invoke(main, ["make", str(PART / "job.toml"), "--out", str(folder), "--json"])
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return SimpleNamespace(code=result.exit_code, document=json.loads(result.stdout), folder=folder)


def test_make_is_proven_and_writes_what_it_says(made):
    assert made.code == 0
    assert made.document["verdict"] == "proven"
    (program,) = made.document["programs"]
    assert sorted(path.name for path in made.folder.iterdir()) == ["shelf-back.html", "shelf-back.ngc"]
    assert program["path"] == str(made.folder / "shelf-back.ngc")
    assert program["blocks"] == len((made.folder / "shelf-back.ngc").read_text().splitlines())
    assert made.document["page"] == str(made.folder / "shelf-back.html")
    assert made.document["deviation_mm"]["bound"] <= 0.003


def test_prove_agrees_with_make(made, run):
    path = made.folder / "shelf-back.ngc"
    result = run("prove", path, "--job", PART / "job.toml", "--json")
    document = json.loads(result.stdout)
    assert result.exit_code == 0
    assert document["page"] is None
    for key in ("verdict", "deviation_mm", "corners"):
        assert document[key] == made.document[key]
    assert document["programs"][0]["cycle_s"] == made.document["programs"][0]["cycle_s"]


def test_prove_does_not_prove_a_damaged_program(made, run, tmp_path):
    text = (made.folder / "shelf-back.ngc").read_text()
    damaged = text.replace("Z-0.3", "Z0.5")  # nothing goes through the sheet
    assert damaged != text
    (tmp_path / "damaged.ngc").write_text(damaged)
    result = run("prove", "damaged.ngc", "--job", PART / "job.toml", "--out", ".")
    assert result.exit_code == 1
    assert "NOT PROVEN" in result.stdout
    assert "Not proven" in (tmp_path / "damaged.proof.html").read_text()


def test_inspect_finds_the_panel(run):
    document = json.loads(run("inspect", PART / "panel.dxf", "--json").stdout)
    assert [loop["role"] for loop in document["loops"]].count("outline") == 1
    assert document["open_chains"] == []


@pytest.mark.parametrize("command", ["make", "inspect"])
@pytest.mark.parametrize("name", ["missing.dxf", "a-folder", "picture.dxf", "empty.dxf"])
def test_what_is_no_drawing_is_refused_in_one_message(run, tmp_path, command, name):
    (tmp_path / "a-folder").mkdir()
    (tmp_path / "picture.dxf").write_bytes(bytes([137]) + b"PNG\r\n\x1a\n" + bytes(range(256)))
    (tmp_path / "empty.dxf").write_bytes(b"")
    before = sorted(tmp_path.rglob("*"))
    result = run(command, name, "--out", "cut")
    assert result.exit_code == 2
    assert result.stderr.startswith("castcut: refused: ")
    assert name in result.stderr
    assert "Traceback" not in result.stderr
    assert sorted(tmp_path.rglob("*")) == before


@pytest.mark.parametrize("stand_in", ["Made", "MadeProgram", "MadeFile", "Proof", "Inspection"])
def test_the_stand_in_of_the_other_tests_has_the_real_fields(stand_in):
    told = {
        "Made": {"job", "drawings", "layout", "programs", "plan_rows", "findings", "bed_z_mm", "stages"},
        "MadeProgram": {"name", "controller", "files", "trace", "timing", "verdict"},
        "MadeFile": {"name", "text", "trace", "timing"},
        "Proof": {"trace", "timing", "layout", "verdict", "findings", "bed_z_mm"},
        "Inspection": {"drawing", "meant", "names"},
    }
    assert told[stand_in] <= {field.name for field in fields(getattr(pipeline, stand_in))}


def test_a_sheet_that_nobody_named_is_said(tmp_path):
    from click.testing import CliRunner  # noqa: PLC0415

    from cam.cli import main  # noqa: PLC0415

    drawing = PART / "panel.dxf"
    bare = CliRunner().invoke(main, ["make", str(drawing), "--out", str(tmp_path / "a")])
    named = CliRunner().invoke(
        main, ["make", str(drawing), "--sheet", "cast-4-2440x1220", "--out", str(tmp_path / "b")]
    )
    assert bare.exit_code == named.exit_code == 0
    assert "sheet-assumed" in bare.output and "cast-4-2440x1220 was assumed" in bare.output
    assert "sheet-assumed" not in named.output


def test_the_readme_quotes_the_demo_as_it_prints(tmp_path, monkeypatch):
    from click.testing import CliRunner  # noqa: PLC0415

    from cam.cli import main  # noqa: PLC0415

    readme = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")
    quoted = next(block for block in readme.split("```") if block.lstrip().startswith("castcut-demo/"))
    monkeypatch.chdir(tmp_path)
    printed = CliRunner().invoke(main, ["demo"]).stdout
    assert printed.startswith(quoted.lstrip())
