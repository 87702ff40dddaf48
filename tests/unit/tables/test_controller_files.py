"""Controller files: the schema, the page of keys, and files that are wrong."""

from __future__ import annotations

import json
import tomllib
from dataclasses import fields
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from cam.errors import TableRefused
from cam.tables.places import find_data_folder
from cam.tables.read import find_controller, read_tables
from cam.tables.rows import ControllerFacts, ControllerFormat, ControllerLimits
from cam.tables.schema import lay_controller_schema

POSTS = find_data_folder("posts")
FILES = sorted(POSTS.glob("*.toml"))


def test_the_schema_file_is_what_the_rows_say() -> None:
    written = json.loads((POSTS / "controller.schema.json").read_text())
    assert written == json.loads(json.dumps(lay_controller_schema()))
    jsonschema.Draft202012Validator.check_schema(written)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_shipped_file_keeps_the_schema(path: Path) -> None:
    jsonschema.validate(tomllib.loads(path.read_text()), lay_controller_schema())


@pytest.mark.parametrize(
    ("section", "key", "value"),
    [
        ("controller", "arcs", "center"),
        ("controller", "decimals", 4.5),
        ("format", "spacing", True),
        ("limits", "max_rpm", 0),
    ],
)
def test_the_schema_refuses_what_the_reader_refuses(section: str, key: str, value: object, tmp_path: Path) -> None:
    document = tomllib.loads((POSTS / "ngc.toml").read_text())
    document[section][key] = value
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(document, lay_controller_schema())
    path = tmp_path / "ours.toml"
    path.write_text(dump(document))
    with pytest.raises(TableRefused) as caught:
        read_tables(own=(path,))
    assert caught.value.findings[0].origin.key == f"{section}.{key}"


def test_the_page_explains_every_key() -> None:
    page = (POSTS / "KEYS.md").read_text()
    keys = [field.name for kind in (ControllerFacts, ControllerFormat, ControllerLimits) for field in fields(kind)]
    assert [key for key in keys if f"`{key}`" not in page] == []
    for number, line in enumerate(page.splitlines()):
        if line.startswith("| `"):
            assert line.count("|") == 4 and line.split("|")[3].strip(), f"line {number}: no example"


@pytest.mark.parametrize(
    ("section", "key", "value", "path"),
    [
        ("controller", "helical_arcs", True, "controller.helical_arcs"),
        ("controller", "quadrant_arcs", True, "controller.quadrant_arcs"),
        ("controller", "air_off_word", "", "controller.air_off_word"),
        ("controller", "vacuum_on_word", "M61", "controller.vacuum_off_word"),
        ("controller", "mm_word", "metric", "controller.mm_word"),
        ("controller", "mm_word", "G20", "controller.mm_word"),
        ("controller", "path_words", ["G64", "G65"], "controller.path_words[2]"),
        ("controller", "work_offsets", ["G53"], "controller.work_offsets[1]"),
        ("controller", "canned_cycles", ["G84", "G80"], "controller.canned_cycles[2]"),
        ("format", "drill_cycles", True, "format.drill_cycles"),
        ("format", "extension", "n/c", "format.extension"),
        ("format", "header", ["G21 " * 90], "format.header[1]"),
    ],
)
def test_what_contradicts_itself_is_refused_with_its_path(section, key, value, path, tmp_path: Path) -> None:
    document = tomllib.loads((POSTS / "no-arcs.toml").read_text())
    document[section][key] = value
    file = tmp_path / "ours.toml"
    file.write_text(dump(document))
    with pytest.raises(TableRefused) as caught:
        read_tables(own=(file,))
    assert path in [finding.origin.key for finding in caught.value.findings]


def dump(document: dict[str, object]) -> str:
    """Return a controller's document as TOML; its values are JSON's, for which TOML's are the same."""
    lines = [f"{key} = {json.dumps(value)}" for key, value in document.items() if not isinstance(value, dict)]
    for section, values in document.items():
        if isinstance(values, dict):
            lines += [f"\n[{section}]", *(f"{key} = {json.dumps(value)}" for key, value in values.items())]
    return "\n".join(lines) + "\n"


def break_document(random: np.random.Generator) -> dict[str, object]:
    """Return a shipped controller's document with one to three things changed at random."""
    document = tomllib.loads(FILES[int(random.integers(len(FILES)))].read_text())
    document["name"] = "ours"
    for _ in range(int(random.integers(1, 4))):
        section = str(random.choice(["controller", "format", "limits"]))
        values = document[section]
        key = str(random.choice(sorted(values)))
        match int(random.integers(6)):
            case 0:
                values.pop(key)
            case 1:
                values[key] = [3, "G1", True, -1.5, [], ""][int(random.integers(6))]
            case 2:
                values[f"{key}s"] = values.pop(key)
            case 3 if isinstance(values[key], bool):
                values[key] = not values[key]
            case 4 if isinstance(values[key], int | float):
                values[key] = type(values[key])(values[key] * float(random.choice([-1.0, 0.0, 1e-3, 10.0, 1e6])))
            case _ if isinstance(values[key], str):
                values[key] = str(random.choice(["G21", "G20", "M3", "M9", "none", "file", "inch", "continuous"]))
    return document


@pytest.mark.parametrize("seed", range(60))
def test_random_files_are_refused_with_their_path_or_read(seed: int, tmp_path: Path) -> None:
    # tests/bench/bench_controllers.py makes 1,000 of them and cuts a panel with those that are read
    path = tmp_path / "ours.toml"
    path.write_text(dump(break_document(np.random.default_rng(seed))))
    try:
        controller = find_controller(read_tables(own=(path,)), name="ours")
    except TableRefused as refusal:
        for finding in refusal.findings:
            assert finding.message and finding.remedy
            assert finding.origin.key or finding.origin.line, finding
        return
    assert controller.name == "ours"


@pytest.mark.parametrize(
    ("header", "lacks", "key", "why"),
    [
        ([], [], "format.header", "does not say G21"),
        (["G21 G17"], [], "format.header", "does not say G90"),
        (["G21 (G90) G17"], [], "format.header", "does not say G90"),
        (["G21 G90"], [], "format.header", "does not say G17"),
        (["G20 G90 G17 G21"], [], "format.header[1]", "G20 is not the word for mm"),
        (["G21 G90 G17", "G40 G49"], ["G49"], "format.header[2]", "G49 is among the words"),
    ],
)
def test_a_header_leaves_nothing_to_what_ran_before(header, lacks, key, why, tmp_path: Path) -> None:
    document = tomllib.loads((POSTS / "ngc.toml").read_text())
    document["format"]["header"] = header
    document["controller"]["lacks"] = lacks
    path = tmp_path / "ours.toml"
    path.write_text(dump(document))
    with pytest.raises(TableRefused) as caught:
        read_tables(own=(path,))
    assert caught.value.findings[0].origin.key == key
    assert why in caught.value.findings[0].message


def test_a_header_need_not_say_what_the_controller_lacks(tmp_path: Path) -> None:
    document = tomllib.loads((POSTS / "ngc.toml").read_text())
    document["name"] = "ours"
    document["format"]["header"] = ["G21G090"]
    document["controller"]["lacks"] = ["G17"]
    path = tmp_path / "ours.toml"
    path.write_text(dump(document))
    assert find_controller(read_tables(own=(path,)), name="ours").format.header == ("G21G090",)
