"""The window of speed and feed: its lines, and what is said of a feed outside it."""

from __future__ import annotations

import numpy as np
import pytest

from cam.findings import Severity
from cam.tables.feed_limits import Limit, check_feed, find_feed_window, find_reached_feed
from cam.tables.read import find_cutter, find_machine, find_material, read_tables

TABLES = read_tables()
CAST = find_material(TABLES, name="cast-acrylic")
GANTRY = find_machine(TABLES, name="workshop-gantry")
SIX = find_cutter(TABLES, name="o1-6-up")


def lay_window(**changes):
    return find_feed_window(**{"cutter": SIX, "material": CAST, "machine": GANTRY, "depth_mm": 6.0, **changes})


def find_line(window, limit):
    return next(each.feed_mm_per_min for each in window.limits if each.limit is limit)


def test_chip_load_lines_pass_through_the_table() -> None:
    # feed = rpm x flutes x chip load (tool-maker and cutter-shop charts), 1 flute
    window = lay_window()
    row = next(r for r in CAST.chip_loads if (r.flutes, r.diameter_mm) == (1, 6.0))
    assert find_line(window, Limit.RUBBING) == pytest.approx(window.rpm * row.low_mm)
    assert find_line(window, Limit.OVERLOAD) == pytest.approx(window.rpm * row.high_mm)


def test_power_line_of_a_worked_slot() -> None:
    # 6 x 6 mm at 3,600 mm/min takes 648 W at 0.3 J/mm3; 1,650 W at 18,000 rpm then allow 9,167 mm/min
    window = lay_window()
    at = np.interp(18000.0, window.rpm, find_line(window, Limit.POWER))
    assert at == pytest.approx(3600.0 * 1650.0 / 648.0)


def test_distance_to_reach_a_feed() -> None:
    # v^2 = 2 a s: 3,600 mm/min at 200, 500, 1,000 mm/s2 takes 9.0, 3.6, 1.8 mm; and as much again to stop
    for acceleration, distance in ((200.0, 9.0), (500.0, 3.6), (1000.0, 1.8)):
        machine = type("Row", (), {"acceleration_mm_per_s2": (acceleration, acceleration, 1.0)})()
        assert find_reached_feed(machine, run_mm=2.0 * distance) == pytest.approx(3600.0)


@pytest.mark.parametrize(
    ("rpm", "feed", "changes", "expected"),
    [
        (18000.0, 3420.0, {}, set()),
        (18000.0, 1800.0, {}, {("rubbing-feed", Severity.ERROR)}),
        (18000.0, 6000.0, {}, {("overloading-feed", Severity.ERROR)}),
        (18000.0, 3420.0, {"radial_mm": 0.3}, {("rubbing-feed", Severity.WARNING)}),
        (25000.0, 3420.0, {}, {("speed-outside-window", Severity.ERROR)}),
        (18000.0, 3420.0, {"run_mm": 1.0}, {("feed-not-reached", Severity.ERROR)}),
    ],
)
def test_what_is_said_of_a_feed(rpm, feed, changes, expected) -> None:
    findings = check_feed(lay_window(**changes), rpm=rpm, feed_mm_per_min=feed)
    assert {(finding.code, finding.severity) for finding in findings} == expected


def test_power_is_warned_of_before_it_is_exceeded() -> None:
    # 12 x 12 mm at 5,760 mm/min: 13,824 mm3/s, 4,147 W at 0.3 J/mm3, beyond a 2.2 kW spindle
    thick = find_cutter(TABLES, name="o1-12-up")
    deep = lay_window(cutter=thick, depth_mm=12.0)
    over = check_feed(deep, rpm=18000.0, feed_mm_per_min=5760.0)
    assert [(f.code, f.severity) for f in over] == [("overloading-feed", Severity.ERROR)]
    assert "4147 W" in over[0].message
    shallow = lay_window(cutter=thick, depth_mm=4.3)
    near = check_feed(shallow, rpm=18000.0, feed_mm_per_min=5760.0)
    assert [(f.code, f.severity) for f in near] == [("overloading-feed", Severity.WARNING)]
