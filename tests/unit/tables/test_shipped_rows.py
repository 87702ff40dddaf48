"""castcut's own rows, pinned by counts and sums so that no figure changes unseen."""

from __future__ import annotations

from dataclasses import fields
from math import pi

import pytest

from cam.tables.listing import as_plain
from cam.tables.read import find_machine, find_material, read_tables
from cam.tables.rows import CutterKind, Tables


@pytest.fixture(scope="module")
def tables() -> Tables:
    return read_tables()


def test_counts(tables: Tables) -> None:
    assert {field.name: len(getattr(tables, field.name)) for field in fields(tables)} == {
        "cutters": 39,
        "materials": 3,
        "machines": 4,
        "sheets": 29,
        "controllers": 11,
    }
    kinds = [cutter.kind for cutter in tables.cutters]
    assert {kind: kinds.count(kind) for kind in CutterKind} == {"flat": 27, "ball": 2, "vee": 2, "drill": 8}


def test_sums_of_cutters(tables: Tables) -> None:
    assert sum(cutter.tool for cutter in tables.cutters) == sum(range(21, 60))
    assert sum(cutter.flutes for cutter in tables.cutters) == 64
    assert sum(cutter.diameter_mm for cutter in tables.cutters) == pytest.approx(261.3)
    assert sum(cutter.edge_length_mm for cutter in tables.cutters) == pytest.approx(831.0)
    assert sum(cutter.max_rpm for cutter in tables.cutters) == 781500.0


@pytest.mark.parametrize(
    ("name", "low", "start", "high"),
    [
        ("cast-acrylic", 2.4315, 3.455, 5.367),
        ("extruded-acrylic", 3.753, 4.2895, 5.367),
        ("polycarbonate", 3.753, 4.2895, 5.367),
    ],
)
def test_sums_of_chip_loads(tables: Tables, name: str, low: float, start: float, high: float) -> None:
    rows = find_material(tables, name=name).chip_loads
    assert len(rows) == 24
    assert sum(row.low_mm for row in rows) == pytest.approx(low, abs=1e-9)
    assert sum(row.start_mm for row in rows) == pytest.approx(start, abs=1e-9)
    assert sum(row.high_mm for row in rows) == pytest.approx(high, abs=1e-9)


@pytest.mark.parametrize("name", ["cast-acrylic", "extruded-acrylic", "polycarbonate"])
def test_sums_of_drill_feeds(tables: Tables, name: str) -> None:
    drilling = find_material(tables, name=name).drilling
    assert drilling is not None
    assert sum(row.low_mm for row in drilling.feeds) == pytest.approx(0.245)
    assert sum(row.start_mm for row in drilling.feeds) == pytest.approx(0.42)
    assert sum(row.high_mm for row in drilling.feeds) == pytest.approx(0.98)


def test_sums_of_sheets(tables: Tables) -> None:
    assert sum(sheet.width_mm for sheet in tables.sheets) == 63140.0
    assert sum(sheet.height_mm for sheet in tables.sheets) == 36600.0
    assert sum(sheet.thickness_mm for sheet in tables.sheets) == 158.0


def test_sums_of_machines(tables: Tables) -> None:
    machines = tables.machines
    assert sum(sum(machine.travel_mm) for machine in machines) == 14440.0
    assert sum(sum(machine.acceleration_mm_per_s2) for machine in machines) == 12450.0
    assert sum(machine.max_feed_mm_per_min for machine in machines) == 44000.0
    assert sum(point.power_w for machine in machines for point in machine.power_curve) == 27180.0


def test_every_value_is_used(tables: Tables) -> None:
    """No field of a row is one value everywhere and empty: what nothing fills is not a field."""
    for rows in (tables.cutters, tables.materials, tables.machines, tables.sheets):
        for field in fields(rows[0]):
            assert any(getattr(row, field.name) not in ((), "", None) for row in rows), field.name


def test_names_that_differ_only_by_case_or_dots_would_confuse(tables: Tables) -> None:
    for field in fields(tables):
        names = [row.name.lower().replace(".", "") for row in getattr(tables, field.name)]
        assert len(set(names)) == len(names)


def test_every_source_says_what_kind_it_is(tables: Tables) -> None:
    """A source is a kind of publication, a derivation, our own, or one of the two honest phrases."""
    known = (
        "chart", "manual", "data sheet", "ISO ", "NISTIR", "brief", "magazine", "list", "guide",
        "common practice", "no source", "from memory", "half the single-flute", "of our own",
    )  # fmt: skip
    sources = [row.source for field in fields(tables) for row in getattr(tables, field.name)]
    sources += [row.source for material in tables.materials for row in material.chip_loads]
    sources += [row.source for material in tables.materials for row in (material.drilling, *material.drilling.feeds)]
    assert len(sources) == 39 + 3 + 4 + 29 + 11 + 72 + 3 * (1 + 5)
    assert [source for source in sources if not any(word in source for word in known)] == []


def test_travel_takes_the_sheets_made_for_each_class(tables: Tables) -> None:
    def fit(machine_name: str) -> int:
        travel = find_machine(tables, name=machine_name).travel_mm
        return sum(sheet.width_mm <= travel[0] and sheet.height_mm <= travel[1] for sheet in tables.sheets)

    assert [fit(name) for name in ("bench", "light-gantry", "workshop-gantry", "industrial")] == [3, 5, 29, 29]


def test_constant_torque_of_the_workshop_spindle(tables: Tables) -> None:
    # 2.2 kW at 24,000 rpm is 0.8754 Nm (P = 2 pi n M).
    for point in find_machine(tables, name="workshop-gantry").power_curve:
        assert point.power_w / (2.0 * pi * point.rpm / 60.0) == pytest.approx(0.8754, abs=5e-5)


def test_nothing_plain_is_left_as_an_object(tables: Tables) -> None:
    def walk(value: object) -> None:
        if isinstance(value, dict):
            for item in value.values():
                walk(item)
        elif isinstance(value, list):
            for item in value:
                walk(item)
        else:
            assert type(value) in (str, int, float, bool, type(None))

    walk(as_plain(tables))
