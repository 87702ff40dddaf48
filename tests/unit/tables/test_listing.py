"""Listings: readable text with units, and documents."""

from __future__ import annotations

import json

import pytest

from cam.tables.listing import RowKind, align_columns, list_rows, write_listing
from cam.tables.read import read_tables
from cam.tables.rows import Tables


@pytest.fixture(scope="module")
def tables() -> Tables:
    return read_tables()


@pytest.mark.parametrize("kind", list(RowKind))
def test_every_row_is_listed_once(tables: Tables, kind: RowKind) -> None:
    text = write_listing(tables, kind=kind)
    document = json.loads(json.dumps(list_rows(tables, kind=kind), allow_nan=False))
    assert (document["format"], document["kind"], len(document["rows"])) == (1, kind, len(getattr(tables, kind)))
    words = text.split()
    for row in document["rows"]:
        assert words.count(row["name"]) + words.count(row["name"] + ":") >= 1
    assert all(line == line.rstrip() for line in text.splitlines())
    assert max(len(line) for line in text.splitlines()) <= 140


def test_cutters_as_text(tables: Tables) -> None:
    lines = write_listing(tables, kind=RowKind.CUTTERS).splitlines()
    assert lines[0].split() == [
        "tool",
        "name",
        "diameter",
        "flutes",
        "cuts",
        "shank",
        "reach",
        "ramp",
        "speed",
        "what",
        "it",
        "is",
    ]
    assert lines[1].split() == ["T", "mm", "mm", "deep", "mm", "mm", "deg", "max", "rpm", "max"]
    (row,) = [line for line in lines if " o1-6-up " in line]
    assert row.split(maxsplit=9) == [
        "26", "o1-6-up", "6", "1", "22", "6", "38", "10", "24000", "Single O-flute 6 mm, upcut spiral",
    ]  # fmt: skip
    assert len(lines) == 2 + len(tables.cutters)


def test_documents_hold_numbers_and_not_text(tables: Tables) -> None:
    (row,) = [row for row in list_rows(tables, kind=RowKind.CUTTERS)["rows"] if row["name"] == "o1-6-up"]
    assert (row["diameter_mm"], row["kind"], row["centre_cutting"]) == (6.0, "flat", True)
    cast = list_rows(tables, kind=RowKind.MATERIALS)["rows"][0]
    assert cast["chip_loads"][0]["start_mm"] == 0.06
    assert cast["depth_factors"][1] == {"diameters": 2.0, "factor": 0.75}


def test_columns_line_up(tables: Tables) -> None:
    text = align_columns(("a", "number"), units=("", ""), rows=[("x", "1"), ("long", "-10.5")])
    assert text == "a     number\nx          1\nlong   -10.5"
