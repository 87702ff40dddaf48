"""Chip loads: table values, interpolation, depth factors, thinning, and the edges of the table."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import pytest

from cam.errors import TableRefused
from cam.findings import Origin
from cam.tables.chip_load import (
    find_chip_load,
    find_chip_thinning,
    find_chip_window,
    find_depth_factor,
    find_feed,
)
from cam.tables.read import find_cutter, find_material, read_tables
from cam.tables.rows import Cutter, Material

TABLES = read_tables()
CAST = find_material(TABLES, name="cast-acrylic")


def cutter(name: str, **changes: object) -> Cutter:
    return replace(find_cutter(TABLES, name=name), **changes)  # type: ignore[arg-type]


def test_a_row_of_the_table_is_taken_as_it_is() -> None:
    window = find_chip_window(cutter=cutter("o1-6-up"), material=CAST, depth_mm=3.0)
    assert (window.low_mm, window.start_mm, window.high_mm, window.depth_factor) == (0.119, 0.19, 0.282, 1.0)
    assert window.source == CAST.chip_loads[5].source


def test_between_rows_it_is_linear() -> None:
    window = find_chip_window(cutter=cutter("o1-6-up", diameter_mm=7.0), material=CAST, depth_mm=3.0)
    share = (7.0 - 6.35) / (8.0 - 6.35)
    assert window.low_mm == pytest.approx(0.127 + share * (0.167 - 0.127))
    assert window.start_mm == pytest.approx(0.20 + share * (0.23 - 0.20))
    assert window.high_mm == pytest.approx(0.305 + share * (0.358 - 0.305))
    assert "between 6.35 mm" in window.source


@pytest.mark.parametrize(
    ("diameters", "factor"),
    [(0.01, 1.0), (1.0, 1.0), (1.5, 0.875), (2.0, 0.75), (2.2, 0.7), (3.0, 0.5), (3.0 + 1e-10, 0.5)],
)
def test_depth_factor(diameters: float, factor: float) -> None:
    assert find_depth_factor(CAST, diameters=diameters) == pytest.approx(factor, abs=1e-12)


def test_depth_multiplies_the_whole_window() -> None:
    shallow = find_chip_window(cutter=cutter("o1-6-up"), material=CAST, depth_mm=6.0)
    deep = find_chip_window(cutter=cutter("o1-6-up"), material=CAST, depth_mm=12.0)
    assert (deep.low_mm, deep.start_mm, deep.high_mm) == pytest.approx(
        (shallow.low_mm * 0.75, shallow.start_mm * 0.75, shallow.high_mm * 0.75)
    )


def test_no_window_reaches_below_the_thinnest_chip() -> None:
    window = find_chip_window(cutter=cutter("o1-2-up", flutes=2), material=CAST, depth_mm=2.0)
    assert (window.low_mm, window.start_mm) == (CAST.min_chip_mm, 0.03)


def refused(tool: Cutter, depth_mm: float, *, material: Material = CAST) -> str:
    place = Origin(panel="wall")
    with pytest.raises(TableRefused) as caught:
        find_chip_window(cutter=tool, material=material, depth_mm=depth_mm, origin=place)
    (finding,) = caught.value.findings
    assert finding.origin == place
    assert finding.remedy
    return finding.code


def test_what_the_table_does_not_hold_is_refused() -> None:
    assert refused(cutter("o1-2-up", diameter_mm=1.99), 1.0) == "no-chip-load"
    assert refused(cutter("o1-12-up", diameter_mm=12.71), 1.0) == "no-chip-load"
    assert refused(cutter("o1-6-up", flutes=3), 1.0) == "no-chip-load"
    assert refused(cutter("drill-6"), 1.0) == "no-chip-load"
    assert refused(cutter("o1-6-up"), 18.001) == "depth-beyond-table"
    assert refused(cutter("o1-2-up", flutes=2), 4.0) == "chip-too-thin"
    assert refused(cutter("o1-6-up"), 1.0, material=replace(CAST, chip_loads=())) == "no-chip-load"


def test_feed_and_chip_load_undo_each_other() -> None:
    for rpm, flutes, chip in ((18000.0, 1, 0.19), (12345.0, 2, 0.077), (24000.0, 3, 0.31)):
        feed = find_feed(rpm=rpm, flutes=flutes, chip_load_mm=chip)
        assert find_chip_load(feed_mm_per_min=feed, rpm=rpm, flutes=flutes) == pytest.approx(chip, rel=1e-15)
    with pytest.raises(ValueError, match="turning"):
        find_chip_load(feed_mm_per_min=100.0, rpm=0.0, flutes=1)


def test_thinning_by_chord_geometry() -> None:
    """The chip at the end of the bite: the feed's share across the edge, from the circle itself."""
    for diameter in (2.0, 6.0, 12.7):
        for share in (0.01, 0.05, 0.2, 0.49):
            bite = share * diameter
            radius = diameter / 2.0
            # half the chord that the bite cuts from the circle, over the radius, is the sine of the
            # engagement angle; the chip there is the feed per tooth times that sine.
            sine = sqrt(radius**2 - (radius - bite) ** 2) / radius
            assert find_chip_thinning(radial_mm=bite, diameter_mm=diameter) == pytest.approx(sine, rel=1e-12)
    assert find_chip_thinning(radial_mm=6.0, diameter_mm=6.0) == 1.0
    with pytest.raises(ValueError, match="width"):
        find_chip_thinning(radial_mm=0.0, diameter_mm=6.0)
