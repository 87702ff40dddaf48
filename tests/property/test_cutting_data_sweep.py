"""Every cutter in every material on every machine at every thickness: within its window, or refused."""

from __future__ import annotations

from itertools import product

import pytest

from cam.errors import Refusal
from cam.plan.cutting_data import resolve_cutting_data
from cam.tables.chip_load import find_chip_load
from cam.tables.read import read_tables
from cam.tables.rows import CutterKind
from cam.tables.spindle_power import find_power_available

TABLES = read_tables()
DEPTHS_MM = (2.0, 3.5, 5.0, 7.0, 10.0, 13.0)
# a slot, and a bite that thins the chip
BITES_MM = (None, 0.3)
RUNS_MM = (None, 20.0)


@pytest.mark.parametrize("machine", TABLES.machines, ids=lambda row: row.name)
def test_no_combination_leaves_its_window(machine) -> None:
    resolved = refused = 0
    rows = product(TABLES.cutters, TABLES.materials, DEPTHS_MM, BITES_MM, RUNS_MM)
    for cutter, material, depth, bite, run in rows:
        if cutter.kind is CutterKind.DRILL:
            continue
        try:
            data = resolve_cutting_data(
                cutter=cutter, material=material, machine=machine, depth_mm=depth, radial_mm=bite, run_mm=run
            )
        except Refusal as refusal:
            refused += 1
            assert refusal.findings
            assert all(finding.remedy for finding in refusal.findings)
            continue
        resolved += 1
        chip = find_chip_load(feed_mm_per_min=data.feed_mm_per_min, rpm=data.spindle_rpm, flutes=cutter.flutes)
        assert data.chip_low_mm * (1 - 1e-9) <= chip <= data.chip_high_mm * (1 + 1e-9), (cutter.name, material.name)
        assert data.power_w <= find_power_available(machine, rpm=data.spindle_rpm) * (1 + 1e-9)
        assert data.feed_mm_per_min <= machine.max_feed_mm_per_min
        assert max(machine.min_rpm, material.min_rpm) <= data.spindle_rpm
        assert data.spindle_rpm <= min(machine.max_rpm, material.max_rpm, cutter.max_rpm)
        if run is not None:
            # from rest to rest: v^2 = a L
            slower = min(machine.acceleration_mm_per_s2[:2])
            assert (data.feed_mm_per_min / 60.0) ** 2 <= slower * run * (1 + 1e-9)
    assert resolved > 100
    assert refused > 100
