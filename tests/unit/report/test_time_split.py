"""The parts of a cycle: they add up, and each is what its name says."""

from __future__ import annotations

from math import sqrt

import pytest

from cam.backplot.clock import time_trace
from cam.backplot.trace import PathMode
from cam.report.time_split import split_time


def test_parts_add_up_and_are_what_they_say(write_trace, make_machine) -> None:
    machine = make_machine()
    writer = write_trace(mode=PathMode.EXACT_STOP, feed=3000.0)
    writer.spindle(18000.0).dwell(6.0).rapid(x=300.0).line(z=10.0).line(x=400.0).line(y=80.0).rapid(z=30.0).change(2)
    timing = time_trace(writer.trace(), machine=machine)
    split = split_time(writer.trace(), timing=timing, machine=machine)
    parts = split.cutting_s + split.entry_s + split.corners_s + split.rapid_s + split.other_s
    assert parts == pytest.approx(split.cycle_s, abs=1e-9)
    # 180 mm level at 50 mm/s; each of two stretches, from rest to rest, loses v / a
    assert split.cutting_s == pytest.approx(180.0 / 50.0)
    assert split.corners_s == pytest.approx(2.0 * 50.0 / 500.0)
    # 10 mm down from rest to rest, 300 mm/s2: too short for the feed, 2 sqrt(s / a)
    reached = 50.0**2 / 300.0 < 10.0
    expected = 10.0 / 50.0 + 50.0 / 300.0 if reached else 2.0 * sqrt(10.0 / 300.0)
    assert split.entry_s == pytest.approx(expected)
    assert (split.spindle_s, split.dwell_s, split.tool_change_s) == (4.0, 2.0, 30.0)


def test_bounds_lie_below_the_cycle(write_trace, make_machine) -> None:
    machine = make_machine()
    writer = write_trace(feed=3000.0).rapid(x=300.0, y=100.0).line(x=400.0)
    timing = time_trace(writer.trace(), machine=machine)
    split = split_time(writer.trace(), timing=timing, machine=machine)
    # 300 mm at 200 mm/s, 100 mm at the feed; and at the machine's 9,000 mm/min
    assert split.lower_bound_s == pytest.approx(300.0 / 200.0 + 100.0 / 50.0)
    assert split.machine_bound_s == pytest.approx(300.0 / 200.0 + 100.0 / 150.0)
    assert split.machine_bound_s < split.lower_bound_s < split.cycle_s
