"""Power: what the curve gives between its points."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cam.tables.read import find_machine, read_tables
from cam.tables.rows import PowerPoint
from cam.tables.spindle_power import find_power_available

TABLES = read_tables()


def test_linear_between_points() -> None:
    machine = find_machine(TABLES, name="industrial")
    assert find_power_available(machine, rpm=1000.0) == 750.0
    assert find_power_available(machine, rpm=6500.0) == pytest.approx(750.0 + (9000.0 - 750.0) * 5500.0 / 11000.0)
    assert find_power_available(machine, rpm=12000.0) == 9000.0
    assert find_power_available(machine, rpm=24000.0) == 9000.0


@pytest.mark.parametrize("rpm", [0.0, 999.0, 24001.0, float("nan")])
def test_no_figure_outside_the_curve(rpm: float) -> None:
    with pytest.raises(ValueError, match="power curve"):
        find_power_available(find_machine(TABLES, name="industrial"), rpm=rpm)


def test_a_spindle_of_one_speed() -> None:
    one = replace(
        find_machine(TABLES, name="bench"), min_rpm=10000.0, max_rpm=10000.0,
        power_curve=(PowerPoint(rpm=10000.0, power_w=300.0),),
    )  # fmt: skip
    assert find_power_available(one, rpm=10000.0) == 300.0
    with pytest.raises(ValueError, match="power curve"):
        find_power_available(one, rpm=10001.0)
