"""Every cutter in every material on every machine at many depths: inside every limit, or refused."""

from __future__ import annotations

from itertools import product

import pytest

from cam.errors import Refusal
from cam.plan.cutting_data import CuttingData, resolve_cutting_data
from cam.tables.chip_load import find_chip_load, find_chip_window
from cam.tables.read import read_tables
from cam.tables.rows import CutterKind, Machine
from cam.tables.spindle_power import find_power_available

TABLES = read_tables()
DEPTHS_MM = (1.0, 3.0, 4.0, 5.1, 6.3, 8.5, 12.7, 15.0)
BITES = (None, 0.02, 0.05, 0.2, 0.5)  # of the diameter; None is a slot


def keeps_every_limit(data: CuttingData, *, row: tuple[object, ...]) -> None:
    cutter, material, machine, _, _ = row
    assert data.chip_low_mm <= data.chip_load_mm <= data.chip_high_mm
    chip = find_chip_load(feed_mm_per_min=data.feed_mm_per_min, rpm=data.spindle_rpm, flutes=cutter.flutes)
    assert chip == data.chip_load_mm
    window = find_chip_window(cutter=cutter, material=material, depth_mm=data.pass_depth_mm)
    assert (window.low_mm, window.high_mm) == (data.chip_low_mm, data.chip_high_mm)
    assert data.power_w <= data.power_available_w
    assert data.power_available_w == find_power_available(machine, rpm=data.spindle_rpm)
    assert data.feed_mm_per_min <= machine.max_feed_mm_per_min
    assert max(material.min_rpm, machine.min_rpm) <= data.spindle_rpm
    assert data.spindle_rpm <= min(material.max_rpm, machine.max_rpm, cutter.max_rpm)
    assert data.depth_mm <= cutter.edge_length_mm
    assert data.pass_depth_mm <= material.depth_factors[-1].diameters * cutter.diameter_mm
    assert cutter.shank_mm <= machine.max_collet_mm
    assert data.feed_mm_per_min <= data.max_feed_mm_per_min <= machine.max_feed_mm_per_min
    highest = find_chip_load(feed_mm_per_min=data.max_feed_mm_per_min, rpm=data.spindle_rpm, flutes=cutter.flutes)
    assert highest <= data.chip_high_mm * (1.0 + 1e-12)
    assert data.plunge_mm_per_min <= data.feed_mm_per_min
    assert data.ramp_feed_mm_per_min <= data.feed_mm_per_min
    assert (data.spindle_rpm, data.feed_mm_per_min) == (int(data.spindle_rpm), int(data.feed_mm_per_min))
    assert {reason.quantity for reason in data.reasons} == {
        "pass_depth_mm", "spindle_rpm", "chip_load_mm", "feed_mm_per_min", "ramp_deg", "power_w",
    }  # fmt: skip


@pytest.mark.parametrize("machine", TABLES.machines, ids=lambda row: row.name)
def test_every_combination_keeps_every_limit_or_is_refused(machine: Machine) -> None:
    resolved, refused = 0, set()
    for cutter, material, depth_mm, bite in product(TABLES.cutters, TABLES.materials, DEPTHS_MM, BITES):
        radial_mm = None if bite is None else bite * cutter.diameter_mm
        try:
            data = resolve_cutting_data(
                cutter=cutter, material=material, machine=machine, depth_mm=depth_mm, radial_mm=radial_mm
            )
        except Refusal as refusal:
            refused |= {finding.code for finding in refusal.findings}
            continue
        assert cutter.kind is not CutterKind.DRILL
        keeps_every_limit(data, row=(cutter, material, machine, depth_mm, radial_mm))
        resolved += 1
    assert resolved > 700
    assert refused <= {
        "flutes-too-short", "shank-too-large", "rpm-out-of-reach", "feed-out-of-reach", "no-chip-load",
        "depth-beyond-table", "chip-too-thin", "too-little-power",
    }  # fmt: skip
    assert {"flutes-too-short", "depth-beyond-table", "rpm-out-of-reach"} <= refused
