"""Cutting data: each limit binds where it should, says so, and is refused where it cannot be kept."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from cam.errors import PlanRefused, TableRefused
from cam.plan.cutting_data import CuttingData, resolve_cutting_data
from cam.tables.read import find_controller, find_cutter, find_machine, find_material, read_tables
from cam.tables.rows import Cutter, Machine, Material, PowerPoint

TABLES = read_tables()
CAST = find_material(TABLES, name="cast-acrylic")
WORKSHOP = find_machine(TABLES, name="workshop-gantry")
BENCH = find_machine(TABLES, name="bench")
SINGLE_6 = find_cutter(TABLES, name="o1-6-up")


def resolve(
    cutter: Cutter = SINGLE_6,
    *,
    material: Material = CAST,
    machine: Machine = WORKSHOP,
    depth_mm: float = 5.1,
    **given: Any,
) -> CuttingData:
    return resolve_cutting_data(cutter=cutter, material=material, machine=machine, depth_mm=depth_mm, **given)


def rules(data: CuttingData) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for reason in data.reasons:
        found.setdefault(reason.quantity, []).append(reason.rule)
    return found


def refused(*args: Any, **given: Any) -> list[str]:
    with pytest.raises(PlanRefused) as caught:
        resolve(*args, **given)
    assert all(finding.remedy and finding.origin.feature for finding in caught.value.findings)
    return [finding.code for finding in caught.value.findings]


def test_a_slot_in_cast_acrylic() -> None:
    data = resolve()
    assert (data.spindle_rpm, data.feed_mm_per_min) == (18000.0, 3420.0)  # 18,000 x 1 x 0.19 mm
    assert (data.passes, data.pass_depth_mm) == (2, pytest.approx(2.55))  # at most 0.5 x 6 mm
    assert (data.ramp_deg, data.ramp_feed_mm_per_min, data.plunge_mm_per_min) == (3.0, 3420.0, 1026.0)
    assert (data.chip_low_mm, data.chip_load_mm, data.chip_high_mm) == (0.119, pytest.approx(0.19), 0.282)
    assert data.chip_thickness_mm == data.chip_load_mm
    assert data.power_w == pytest.approx(6.0 * 2.55 * 3420.0 / 60.0 * 0.3)
    assert data.power_available_w == 1650.0
    assert rules(data) == {
        "pass_depth_mm": ["material-pass-depth"],
        "spindle_rpm": ["material-start-rpm"],
        "chip_load_mm": ["chip-load-table"],
        "feed_mm_per_min": ["chip-times-speed"],
        "ramp_deg": ["entry"],
        "power_w": ["cutting-energy"],
    }
    assert all(reason.source and str(reason) == reason.text for reason in data.reasons)


@pytest.mark.parametrize(
    ("depth_mm", "passes"), [(0.5, 1), (3.0, 1), (3.0 + 1e-12, 1), (3.001, 2), (6.0, 2), (0.1 * 3 * 20, 2), (9.1, 4)]
)
def test_passes_are_equal_and_no_deeper_than_allowed(depth_mm: float, passes: int) -> None:
    data = resolve(depth_mm=depth_mm)
    assert data.passes == passes
    assert data.pass_depth_mm * passes == pytest.approx(depth_mm)


def test_a_finishing_bite_goes_the_full_depth_at_a_raised_feed() -> None:
    data = resolve(radial_mm=0.3)
    assert (data.passes, data.pass_depth_mm) == (1, 5.1)
    # 1.5 x 0.19 = 0.285 mm would pass the table's highest, 0.282 mm; the feed stays just below it.
    assert data.feed_mm_per_min == 5075.0
    assert data.chip_load_mm < data.chip_high_mm
    assert data.chip_thickness_mm == pytest.approx(data.chip_load_mm * 0.43589, rel=1e-5)
    assert rules(data)["chip_load_mm"] == ["chip-load-table", "chip-load-high"]
    assert rules(data)["pass_depth_mm"] == ["side-cut"]


def test_the_cap_binds_where_the_table_reaches_higher() -> None:
    data = resolve(find_cutter(TABLES, name="o1-8-up"), radial_mm=0.3)
    assert data.feed_mm_per_min == 6210.0  # 18,000 x 0.23 x 1.5
    assert rules(data)["chip_load_mm"][-1] == "chip-cap"


def test_a_bite_just_below_half_the_diameter_needs_little() -> None:
    data = resolve(radial_mm=2.0)
    assert data.feed_mm_per_min == 3627.0  # 3,420 / 0.9428, rounded down
    assert data.chip_thickness_mm == pytest.approx(0.19, abs=1e-4)
    assert rules(data)["chip_load_mm"][-1] == "chip-thinning"


def test_thinning_is_made_up_for_only_as_far_as_the_machine_feeds() -> None:
    slow = replace(WORKSHOP, max_feed_mm_per_min=4000.0)
    data = resolve(machine=slow, radial_mm=0.3)
    assert (data.spindle_rpm, data.feed_mm_per_min) == (18000.0, 4000.0)  # the speed of the roughing passes
    assert rules(data)["chip_load_mm"][-1] == "feed-limit"
    assert rules(data)["feed_mm_per_min"] == ["feed-limit"]


def test_a_bite_of_half_the_diameter_goes_in_passes() -> None:
    data = resolve(radial_mm=3.0)
    assert (data.passes, data.feed_mm_per_min, data.radial_mm) == (2, 3420.0, 3.0)
    assert data.power_w == pytest.approx(resolve().power_w / 2.0)


def test_the_spindle_slows_where_the_machine_cannot_feed() -> None:
    data = resolve(machine=BENCH)
    assert data.spindle_rpm == 15789.0  # 3,000 / 0.19, rounded down
    assert data.feed_mm_per_min == 2999.0
    assert data.chip_load_mm == pytest.approx(0.19, abs=1e-4)
    assert rules(data)["spindle_rpm"] == ["feed-limit"]
    assert "bench" in str(data.reasons[1])


def test_a_feed_that_the_slowest_speed_cannot_bring_down_is_refused() -> None:
    assert refused(machine=replace(BENCH, max_feed_mm_per_min=1899.0)) == ["feed-out-of-reach"]
    assert resolve(machine=replace(BENCH, max_feed_mm_per_min=1900.0)).spindle_rpm == 10000.0


@pytest.mark.parametrize(
    ("change", "rpm", "rule"),
    [
        ({"cutter": replace(SINGLE_6, max_rpm=16000.0)}, 16000.0, "max-rpm"),
        ({"machine": replace(WORKSHOP, max_rpm=12000.0)}, 12000.0, "max-rpm"),
        ({"material": replace(CAST, max_rpm=17000.0)}, 17000.0, "max-rpm"),
        ({"machine": replace(WORKSHOP, min_rpm=20000.0)}, 20000.0, "min-rpm"),
        ({"material": replace(CAST, min_rpm=19000.0)}, 19000.0, "min-rpm"),
    ],
)
def test_speed_limits(change: dict[str, Any], rpm: float, rule: str) -> None:
    cutter = change.pop("cutter", SINGLE_6)
    data = resolve(cutter, **change)
    assert data.spindle_rpm == rpm
    assert data.feed_mm_per_min == pytest.approx(rpm * 0.19, abs=1.0)
    assert rules(data)["spindle_rpm"] == [rule]


def test_limits_of_the_controller_count() -> None:
    limits = find_controller(TABLES, name="ngc").limits
    assert resolve(controller_limits=limits) == resolve()
    slow = replace(limits, max_feed_mm_per_min=2500.0, max_rpm=15000.0)
    data = resolve(controller_limits=slow)
    assert (data.spindle_rpm, data.feed_mm_per_min) == (13157.0, 2499.0)
    assert "the controller" in str(data.reasons[1])


def test_speeds_that_exclude_each_other_are_refused() -> None:
    assert refused(replace(SINGLE_6, max_rpm=9000.0)) == ["rpm-out-of-reach"]
    assert refused(machine=replace(WORKSHOP, min_rpm=23000.0), material=replace(CAST, max_rpm=20000.0)) == [
        "rpm-out-of-reach"
    ]


def weak(power_w: float) -> Machine:
    return replace(
        WORKSHOP, power_curve=(PowerPoint(rpm=6000.0, power_w=power_w), PowerPoint(rpm=24e3, power_w=power_w))
    )


def test_a_weak_spindle_takes_more_passes_and_says_so() -> None:
    data = resolve(machine=weak(200.0))
    assert data.passes == 3  # two passes take 262 W, three 174 W
    assert data.power_w == pytest.approx(6.0 * 1.7 * 57.0 * 0.3)
    assert rules(data)["pass_depth_mm"] == ["spindle-power"]
    assert "2 would take more power" in str(data.reasons[0])


def test_a_spindle_too_weak_for_any_pass_is_refused() -> None:
    assert refused(machine=weak(60.0)) == ["too-little-power"]


def test_a_finishing_bite_is_not_divided() -> None:
    need = resolve(radial_mm=0.3).power_w
    assert resolve(machine=weak(need), radial_mm=0.3).passes == 1
    assert refused(machine=weak(need - 0.1), radial_mm=0.3) == ["too-little-power"]


def test_depth_lowers_the_chip_of_a_deep_finish() -> None:
    data = resolve(depth_mm=12.0, radial_mm=0.3)
    assert data.chip_high_mm == pytest.approx(0.75 * 0.282)
    assert data.spindle_rpm == 18000.0
    assert rules(data)["chip_load_mm"][1] == "depth-factor"


def test_what_cannot_enter_is_refused_with_every_reason() -> None:
    assert refused(depth_mm=22.1, radial_mm=0.3) == ["flutes-too-short"]
    assert refused(find_cutter(TABLES, name="o1-8-up"), machine=BENCH) == ["shank-too-large"]
    assert refused(radial_mm=3.01) == ["bite-too-wide"]
    assert refused(find_cutter(TABLES, name="o1-8-up"), machine=BENCH, depth_mm=30.0, radial_mm=5.0) == [
        "flutes-too-short",
        "shank-too-large",
        "bite-too-wide",
    ]


def test_what_the_table_does_not_hold_is_refused() -> None:
    with pytest.raises(TableRefused) as caught:
        resolve(depth_mm=20.0, radial_mm=0.3)
    assert caught.value.findings[0].code == "depth-beyond-table"
    with pytest.raises(TableRefused) as caught:
        resolve(replace(SINGLE_6, flutes=3))
    assert caught.value.findings[0].code == "no-chip-load"


@pytest.mark.parametrize("given", [{"depth_mm": 0.0}, {"depth_mm": -1.0}, {"radial_mm": 0.0}, {"radial_mm": -0.1}])
def test_a_cut_has_a_depth_and_a_width(given: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="depth and a width"):
        resolve(**given)


def test_a_ramp_no_steeper_than_the_cutter_takes() -> None:
    data = resolve(replace(SINGLE_6, max_ramp_deg=2.0))
    assert data.ramp_deg == 2.0
    assert "o1-6-up" in str(data.reasons[-2])


def test_the_ramp_of_two_flutes_is_fed_at_half() -> None:
    data = resolve(find_cutter(TABLES, name="o2-6-up"))
    assert (data.feed_mm_per_min, data.ramp_feed_mm_per_min) == (3240.0, 1620.0)


def test_a_window_narrower_than_the_rounding_keeps_the_exact_feed() -> None:
    rows = tuple(replace(row, low_mm=row.start_mm, start_mm=row.start_mm) for row in CAST.chip_loads)
    tight = replace(CAST, chip_loads=rows)
    data = resolve(material=tight, machine=replace(BENCH, max_feed_mm_per_min=2000.5), controller_limits=None)
    assert data.chip_low_mm <= data.chip_load_mm + 1e-15
    assert data.chip_load_mm <= data.chip_high_mm
