"""The decoder: every kind of value, and every fault with code, dotted path and line."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import pytest

from cam.errors import TableRefused
from cam.findings import Origin
from cam.tables.annotations import find_bound_faults
from cam.tables.bounds import Bounds, CountFromOne, OneOf, Positive, Text
from cam.tables.decode import decode
from cam.tables.toml_file import parse_toml


class Colour(StrEnum):
    RED = "red"
    GREEN = "green"


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    x_mm: float
    y_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    name: Text
    size_mm: Positive
    count: CountFromOne = 1
    closed: bool = False
    colour: Colour = Colour.RED
    corner_mm: tuple[float, float] | None = None
    speeds: tuple[Positive, ...] = ()
    points: tuple[Point, ...] = field(default=(), metadata={"key": "point"})
    origin: Point | None = None
    drawing: Path | None = None
    unit: Annotated[str, OneOf("mm", "inch")] = "mm"
    turn_deg: Annotated[float, Bounds(at_least=-90.0, at_most=90.0)] | None = None
    read_from: Path | None = field(default=None, metadata={"key": None})


def read(text: str) -> Thing:
    return decode(Thing, parse_toml(text.encode(), name="thing.toml"))


def refused(text: str) -> list[tuple[str, str | None, int | None]]:
    with pytest.raises(TableRefused) as caught:
        read(text)
    assert all(finding.origin.file == "thing.toml" and finding.remedy for finding in caught.value.findings)
    return [(finding.code, finding.origin.key, finding.origin.line) for finding in caught.value.findings]


def test_every_kind_of_value() -> None:
    thing = read(
        """
        name = "a"
        size_mm = 3        # a whole number where a decimal may stand
        count = 2
        closed = true
        colour = "green"
        corner_mm = [1, 2.5]
        speeds = [1, 2]
        drawing = "sub/a.dxf"
        unit = "inch"
        turn_deg = -90
        [[point]]
        x_mm = 1
        [[point]]
        x_mm = 2
        y_mm = 3
        [origin]
        x_mm = -1
        """
    )
    assert thing == Thing(
        name="a",
        size_mm=3.0,
        count=2,
        closed=True,
        colour=Colour.GREEN,
        corner_mm=(1.0, 2.5),
        speeds=(1.0, 2.0),
        points=(Point(x_mm=1.0), Point(x_mm=2.0, y_mm=3.0)),
        origin=Point(x_mm=-1.0),
        drawing=Path("sub/a.dxf"),
        unit="inch",
        turn_deg=-90.0,
    )
    assert type(thing.size_mm) is float
    assert thing.colour is Colour.GREEN


def test_defaults_stay() -> None:
    assert read('name = "a"\nsize_mm = 1.0') == Thing(name="a", size_mm=1.0)


@pytest.mark.parametrize(
    ("line", "code", "key"),
    [
        ("size = 1", "unknown-key", "size"),
        ("read_from = 'x'", "unknown-key", "read_from"),
        ("points = []", "unknown-key", "points"),
        ("count = 1.0", "wrong-type", "count"),
        ("count = true", "wrong-type", "count"),
        ("count = 0", "out-of-range", "count"),
        ("closed = 1", "wrong-type", "closed"),
        ("closed = 'yes'", "wrong-type", "closed"),
        ("colour = 'blue'", "unknown-choice", "colour"),
        ("colour = 'Red'", "unknown-choice", "colour"),
        ("colour = 1", "wrong-type", "colour"),
        ("corner_mm = [1]", "wrong-type", "corner_mm"),
        ("corner_mm = [1, 2, 3]", "wrong-type", "corner_mm"),
        ("corner_mm = 1", "wrong-type", "corner_mm"),
        ("corner_mm = [1, 'a']", "wrong-type", "corner_mm[2]"),
        ("speeds = [1, -1]", "out-of-range", "speeds[2]"),
        ("speeds = [1, nan]", "out-of-range", "speeds[2]"),
        ("speeds = [1, true]", "wrong-type", "speeds[2]"),
        ("origin = 1", "wrong-type", "origin"),
        ("origin = {}", "missing-key", "origin.x_mm"),
        ("origin = { x_mm = inf }", "out-of-range", "origin.x_mm"),
        ("origin = { x_mm = 1, z_mm = 2 }", "unknown-key", "origin.z_mm"),
        ("point = { x_mm = 1 }", "wrong-type", "point"),
        ("point = [1]", "wrong-type", "point[1]"),
        ("point = [{ x_mm = 1 }, { y_mm = 1 }]", "missing-key", "point[2].x_mm"),
        ("drawing = ''", "wrong-type", "drawing"),
        ("drawing = 3", "wrong-type", "drawing"),
        ("unit = 'cm'", "out-of-range", "unit"),
        ("turn_deg = 90.5", "out-of-range", "turn_deg"),
        (f"turn_deg = 1{'0' * 400}", "out-of-range", "turn_deg"),
    ],
)
def test_one_fault(line: str, code: str, key: str) -> None:
    assert refused(f'name = "a"\nsize_mm = 1\n{line}\n') == [(code, key, 3)]


@pytest.mark.parametrize("size", ["0", "-1", "1e9", "nan", "inf", "-inf"])
def test_a_size_is_positive_and_finite(size: str) -> None:
    assert refused(f'name = "a"\nsize_mm = {size}') == [("out-of-range", "size_mm", 2)]


@pytest.mark.parametrize("name", ["", "  ", "\\t"])
def test_a_name_is_not_blank(name: str) -> None:
    assert refused(f'name = "{name}"\nsize_mm = 1') == [("out-of-range", "name", 1)]


def test_every_fault_at_once_in_the_order_of_lines() -> None:
    assert refused('size_mm = "a"\n[[point]]\ny_mm = 1\n[origin]\nx_mn = 1\n') == [
        ("missing-key", "name", None),
        ("wrong-type", "size_mm", 1),
        ("missing-key", "point[1].x_mm", 2),
        ("missing-key", "origin.x_mm", 4),
        ("unknown-key", "origin.x_mn", 5),
    ]


def test_nearest_key_is_named() -> None:
    with pytest.raises(TableRefused) as caught:
        read('name = "a"\nsize_mm = 1\ncolur = "red"')
    assert caught.value.findings[0].remedy == "did you mean colour or count?"
    assert str(caught.value) == "thing.toml: line 3: colur: this file has no key 'colur'"


def test_rows_are_called_by_name() -> None:
    @dataclass(frozen=True, slots=True, kw_only=True)
    class Rows:
        row: tuple[Thing, ...]

    with pytest.raises(TableRefused) as caught:
        decode(Rows, parse_toml(b'[[row]]\nname = "left"\nsize_mm = -1', name="rows.toml"))
    assert caught.value.findings[0].origin == Origin(file="rows.toml", line=3, key="row[left].size_mm")


def test_bounds_hold_for_values_that_no_file_gave() -> None:
    good = Thing(name="a", size_mm=1.0, speeds=(1.0,), turn_deg=3.0, origin=Point(x_mm=0.0))
    assert find_bound_faults(good, origin=Origin()) == []
    bad = Thing(name=" ", size_mm=float("nan"), speeds=(1.0, 0.0), turn_deg=-91.0, unit="cm", count=0)
    found = [finding.origin.key for finding in find_bound_faults(bad, origin=Origin())]
    assert found == ["name", "size_mm", "count", "speeds[2]", "unit", "turn_deg"]


def test_bounds_in_words() -> None:
    assert str(Bounds(above=0.0, at_most=5.0)) == "above 0 and at most 5"
    assert str(Bounds()) == "any finite number"
    assert not Bounds().admits(float("nan"))
