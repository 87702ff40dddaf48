from math import hypot, pi, sqrt

import numpy as np
import pytest

from cam.backplot.clock import time_trace
from cam.backplot.paths import find_paths
from cam.backplot.trace import Kind, PathMode, Trace

EXACT = {"rel": 1e-9, "abs": 1e-12}
F = 3000.0 / 60.0  # the writer's feed, mm/s
A = 500.0


def test_rest_to_rest_trapezoid(write_trace, make_machine):
    timing = time_trace(write_trace().line(x=100.0).trace(), machine=make_machine())
    assert timing.cycle_s == pytest.approx(100.0 / F + F / A, **EXACT)
    assert (timing.entry_mm_per_s[0], timing.peak_mm_per_s[0], timing.exit_mm_per_s[0]) == (0.0, F, 0.0)


def test_rest_to_rest_triangle(write_trace, make_machine):
    timing = time_trace(write_trace().line(x=2.0).trace(), machine=make_machine())
    assert timing.cycle_s == pytest.approx(2.0 * sqrt(2.0 / A), **EXACT)
    assert timing.peak_mm_per_s[0] == pytest.approx(sqrt(A * 2.0), **EXACT)


def test_full_circle_at_the_centripetal_limit(write_trace, make_machine):
    # handbook value: at 500 mm/s2 and r = 3 mm, v = sqrt(a r) = 2324 mm/min
    writer = write_trace(at=(3.0, 0.0, 0.0)).arc(3.0, 0.0, centre=(0.0, 0.0))
    timing = time_trace(writer.trace(), machine=make_machine())
    v = sqrt(A * 3.0)
    assert v * 60.0 == pytest.approx(2324.0, abs=0.5)
    assert timing.peak_mm_per_s[0] == pytest.approx(v, **EXACT)
    assert timing.cycle_s == pytest.approx(2 * pi * 3.0 / v + v / A, **EXACT)


def test_right_angle_corner_by_junction_deviation(write_trace, make_machine):
    # handbook value: a 500, d 0.02 and 90 degrees give 295 mm/min
    timing = time_trace(write_trace().line(x=100.0).line(y=100.0).trace(), machine=make_machine())
    sine = sqrt(0.5)
    v = sqrt(A * 0.02 * sine / (1.0 - sine))
    assert v * 60.0 == pytest.approx(295.0, abs=0.5)
    assert timing.exit_mm_per_s[0] == pytest.approx(v, **EXACT)
    assert timing.entry_mm_per_s[1] == pytest.approx(v, **EXACT)
    one = F / A + (F - v) / A + (100.0 - F**2 / (2 * A) - (F**2 - v**2) / (2 * A)) / F
    assert timing.cycle_s == pytest.approx(2.0 * one, **EXACT)


def test_blending_passes_the_corner_on_the_circle_of_its_tolerance(write_trace, make_machine):
    # closed form: the circle that touches both legs of a right angle and passes p from the corner has the radius
    # p / (sqrt(2) - 1); at its centripetal limit v = sqrt(a r)
    writer = write_trace().line(x=100.0).line(y=100.0)
    timing = time_trace(writer.trace(), machine=make_machine(), blend_tol_mm=0.1)
    assert timing.exit_mm_per_s[0] == pytest.approx(sqrt(A * 0.1 / (sqrt(2.0) - 1.0)), **EXACT)
    assert timing.cycle_s < time_trace(writer.trace(), machine=make_machine()).cycle_s


def test_a_corner_is_as_slow_wherever_the_pair_is_turned(write_trace, make_machine):
    timing = time_trace(write_trace().line(x=80.0, y=60.0).line(x=20.0, y=140.0).trace(), machine=make_machine())
    assert timing.exit_mm_per_s[0] * 60.0 == pytest.approx(295.0, abs=0.5)


def test_tangent_moves_do_not_slow(write_trace, make_machine):
    # a radius that the feed passes with no centripetal limit: v^2 / a = 5 mm
    writer = write_trace().line(x=50.0).arc(60.0, 10.0, centre=(50.0, 10.0)).line(y=60.0)
    timing = time_trace(writer.trace(), machine=make_machine())
    length = 50.0 + 5.0 * pi + 50.0
    assert timing.cycle_s == pytest.approx(length / F + F / A, **EXACT)
    assert timing.cutting_mm == pytest.approx(length, **EXACT)
    assert timing.exit_mm_per_s[0] == pytest.approx(F, **EXACT)


def test_exact_stop_stops_at_every_end(write_trace, make_machine):
    writer = write_trace(mode=PathMode.EXACT_STOP).line(x=50.0).line(x=100.0)
    timing = time_trace(writer.trace(), machine=make_machine())
    assert timing.cycle_s == pytest.approx(2.0 * (50.0 / F + F / A), **EXACT)


def test_exact_path_stops_at_corners_only(write_trace, make_machine):
    writer = write_trace(mode=PathMode.EXACT_PATH).line(x=50.0).line(x=100.0).line(y=50.0)
    timing = time_trace(writer.trace(), machine=make_machine())
    assert timing.exit_mm_per_s.tolist() == [pytest.approx(F), 0.0, 0.0]


def test_look_ahead_brakes_over_several_moves(write_trace, make_machine):
    # 20 moves of 0.1 mm cannot be left behind at more than sqrt(2 a s) before the end
    writer = write_trace()
    for i in range(1, 21):
        writer.line(x=i * 0.1)
    timing = time_trace(writer.trace(), machine=make_machine())
    assert timing.cycle_s == pytest.approx(2.0 * sqrt(2.0 / A), **EXACT)
    assert timing.exit_mm_per_s[14] == pytest.approx(sqrt(2 * A * 0.5), **EXACT)


def test_a_short_look_ahead_is_slower_and_never_faster_than_it_can_stop(write_trace, make_machine):
    writer = write_trace()
    for i in range(1, 201):
        writer.line(x=i * 0.1)
    one = time_trace(writer.trace(), machine=make_machine(), look_ahead_blocks=5)
    every = time_trace(writer.trace(), machine=make_machine())
    assert one.exit_mm_per_s.max() == pytest.approx(sqrt(2 * A * 0.5), **EXACT)
    assert one.peak_mm_per_s.max() <= sqrt(2 * A * 0.6)
    assert one.cycle_s > every.cycle_s
    assert time_trace(writer.trace(), machine=make_machine(), look_ahead_blocks=200).cycle_s == pytest.approx(
        every.cycle_s, **EXACT
    )


def test_axis_limits_of_rapids_and_acceleration(write_trace, make_machine):
    machine = make_machine(rapid_mm_per_min=(6000.0, 12000.0, 1200.0), acceleration_mm_per_s2=(100.0, 400.0, 50.0))
    timing = time_trace(write_trace().rapid(x=300.0, y=400.0).trace(), machine=machine)
    # share of x 0.6: 100 / 0.6 mm/s, 100 / 0.6 mm/s2
    v = a = 100.0 / 0.6
    assert timing.peak_mm_per_s[0] == pytest.approx(v, **EXACT)
    assert timing.rapid_s == pytest.approx(500.0 / v + v / a, **EXACT)
    down = time_trace(write_trace().line(z=-20.0).trace(), machine=machine)
    assert down.peak_mm_per_s[0] == pytest.approx(20.0, **EXACT)
    assert down.acceleration_mm_per_s2[0] == pytest.approx(50.0, **EXACT)


def test_helix_length_and_axis_limit(write_trace, make_machine):
    writer = write_trace(at=(20.0, 0.0, 0.0)).arc(20.0, 0.0, -4.0, centre=(0.0, 0.0))
    trace = writer.trace()
    paths = find_paths(trace)
    length = hypot(2 * pi * 20.0, 4.0)
    assert paths.length_mm[0] == pytest.approx(length, **EXACT)
    assert paths.first_direction[0] == pytest.approx([0.0, 2 * pi * 20.0 / length, -4.0 / length])
    assert np.sqrt((paths.last_direction[0] ** 2).sum()) == pytest.approx(1.0, **EXACT)
    slow_z = time_trace(trace, machine=make_machine(rapid_mm_per_min=(12000.0, 12000.0, 60.0)))
    assert slow_z.peak_mm_per_s[0] == pytest.approx(1.0 / (4.0 / length), **EXACT)


@pytest.mark.parametrize("plane", [17, 18, 19])
def test_directions_of_arcs_in_three_planes(plane):
    # NISTIR 6556, 3.5.3: G3 is counter-clockwise seen from the positive end of the plane's normal;
    # a quarter from the first axis's positive side to the second's starts along the second
    first, second, _ = {17: (0, 1, 2), 18: (2, 0, 1), 19: (1, 2, 0)}[plane]
    start, end = np.zeros((1, 3)), np.zeros((1, 3))
    start[0, first] = end[0, second] = 5.0
    trace = Trace(
        kind=np.array([Kind.ARC], dtype=np.int8),
        line=np.array([1]),
        start_mm=start,
        end_mm=end,
        centre_mm=np.zeros((1, 3)),
        sweep_rad=np.array([pi / 2]),
        plane=np.array([plane], dtype=np.int8),
        feed_mm_per_min=np.array([600.0]),
        spindle_rpm=np.zeros(1),
        tool=np.ones(1, dtype=np.int64),
        duration_s=np.zeros(1),
        path_mode=np.full(1, PathMode.CONTINUOUS, dtype=np.int8),
        air=np.zeros(1, dtype=np.bool_),
        comments=(),
        findings=(),
        lines=1,
    )
    paths = find_paths(trace)
    expected_first, expected_last = np.zeros(3), np.zeros(3)
    expected_first[second], expected_last[first] = 1.0, -1.0
    assert paths.first_direction[0] == pytest.approx(expected_first)
    assert paths.last_direction[0] == pytest.approx(expected_last)
    assert paths.length_mm[0] == pytest.approx(2.5 * pi)


def test_waiting(write_trace, make_machine):
    writer = write_trace(rpm=0.0).change(1).spindle(18000.0).dwell(5.0).rapid(x=100.0).dwell(0.5).spindle(0.0).end()
    timing = time_trace(writer.trace(), machine=make_machine())
    assert timing.tool_change_s == 30.0
    assert timing.spindle_s == 4.0
    # the first dwell runs while the spindle starts, the second does not
    assert timing.dwell_s == pytest.approx(1.0 + 0.5)
    assert timing.cycle_s == pytest.approx(35.5 + timing.rapid_s, **EXACT)
    assert timing.duration_s.sum() == pytest.approx(timing.cycle_s, **EXACT)


def test_waiting_stops_the_motion(write_trace, make_machine):
    timing = time_trace(write_trace().line(x=50.0).dwell(0.0).line(x=100.0).trace(), machine=make_machine())
    assert timing.cycle_s == pytest.approx(2.0 * (50.0 / F + F / A), **EXACT)


def test_a_slow_controller_takes_its_block_time(write_trace, make_machine):
    writer = write_trace()
    for i in range(1, 101):
        writer.line(x=i * 0.1)
    timing = time_trace(writer.trace(), machine=make_machine(block_time_s=0.01))
    assert (timing.duration_s >= 0.01 - 1e-12).all()
    assert timing.peak_mm_per_s.max() == pytest.approx(10.0)


def test_a_feed_move_with_no_feed_is_refused(write_trace, make_machine):
    with pytest.raises(ValueError, match="no speed"):
        time_trace(write_trace(feed=0.0).line(x=1.0).trace(), machine=make_machine())


def test_an_empty_trace_takes_no_time(write_trace, make_machine):
    assert time_trace(write_trace().trace(), machine=make_machine()).cycle_s == 0.0


def test_speeds_are_continuous_and_within_the_limits(write_trace, make_machine):
    rng = np.random.default_rng(5)
    writer = write_trace()
    for x, y, z in rng.uniform(-20.0, 20.0, (400, 3)):
        writer.line(x, y, z)
    machine = make_machine()
    timing = time_trace(writer.trace(), machine=machine)
    assert timing.exit_mm_per_s[:-1] == pytest.approx(timing.entry_mm_per_s[1:], **EXACT)
    assert (timing.peak_mm_per_s >= np.maximum(timing.entry_mm_per_s, timing.exit_mm_per_s) - 1e-9).all()
    gain = np.abs(timing.exit_mm_per_s**2 - timing.entry_mm_per_s**2)
    assert (gain <= 2 * timing.acceleration_mm_per_s2 * timing.length_mm + 1e-9).all()
    # the time under the profile carries the length: integrate each one numerically
    for i in range(0, 400, 40):
        v0, vp, v1 = timing.entry_mm_per_s[i], timing.peak_mm_per_s[i], timing.exit_mm_per_s[i]
        a, t = timing.acceleration_mm_per_s2[i], timing.duration_s[i]
        clock = np.linspace(0.0, t, 20001)
        speed = np.minimum(vp, np.minimum(v0 + a * clock, v1 + a * (t - clock)))
        assert np.trapezoid(speed, clock) == pytest.approx(timing.length_mm[i], rel=1e-6)


def test_a_long_program_is_timed_whole(write_trace, make_machine):
    count = 200_000
    t = np.linspace(0.0, 200 * pi, count + 1)
    points = np.column_stack((50 * np.cos(t), 50 * np.sin(t), -t / 100))
    full = np.full(count, 1)
    trace = Trace(
        kind=full.astype(np.int8),
        line=np.arange(1, count + 1),
        start_mm=points[:-1],
        end_mm=points[1:],
        centre_mm=np.full((count, 3), np.nan),
        sweep_rad=np.zeros(count),
        plane=np.full(count, 17, dtype=np.int8),
        feed_mm_per_min=np.full(count, 3000.0),
        spindle_rpm=np.full(count, 18000.0),
        tool=full,
        duration_s=np.zeros(count),
        path_mode=np.full(count, PathMode.CONTINUOUS, dtype=np.int8),
        air=np.zeros(count, dtype=np.bool_),
        comments=(),
        findings=(),
        lines=count,
    )
    timing = time_trace(trace, machine=make_machine())
    assert timing.cycle_s > timing.cutting_mm / F


def test_a_canned_cycle_at_exact_stop_stops_at_r_and_at_the_bottom():
    from cam.backplot.interpret import interpret_program  # noqa: PLC0415
    from cam.tables.read import find_controller, find_machine, read_tables  # noqa: PLC0415

    tables = read_tables()
    row = find_machine(tables, name="industrial")
    text = "G21 G90 G17 G61.1 G94 G98\nT52 M6\nS4000 M3\nG0 Z10\nG0 X10 Y10\nG81 X10 Y10 Z-30 R2 F600\nG80\nM2\n"
    trace = interpret_program(text, controller=find_controller(tables, name="ngc"))
    timing = time_trace(trace, machine=row)
    (down,) = np.flatnonzero(trace.kind == Kind.LINE)
    # rest to rest, trapezoid: t = L / v + v / a
    speed, acceleration = 600.0 / 60.0, row.acceleration_mm_per_s2[2]
    assert timing.duration_s[down] == pytest.approx(32.0 / speed + speed / acceleration, rel=1e-9)
    assert timing.entry_mm_per_s[down] == timing.exit_mm_per_s[down] == 0.0
