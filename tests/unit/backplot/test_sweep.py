from math import pi, sqrt, tan

import numpy as np
import pytest
import shapely

from cam.backplot.portions import chord_portions, cut_portions, find_portions
from cam.backplot.sweep import Side, find_radius_mm, sweep_portions, sweep_trace
from cam.geometry.contour import Segments
from cam.geometry.measure import find_distances_mm
from cam.tables.rows import CutterKind

TOL = 0.0002


def sweep_at(writer, cutter, height=0.0, **options):
    sweep = sweep_trace(
        writer.trace(), cutters={cutter.tool: cutter}, heights_mm=[height], top_mm=max(4.0, height), **options
    )
    return sweep.within[0], sweep.beyond[0], sweep.bound_mm


def check_area(writer, cutter, *, area, perimeter, height=0.0):
    within, beyond, bound = sweep_at(writer, cutter, height)
    assert within.is_valid and beyond.is_valid
    assert within.area <= area + 1e-9 <= beyond.area + 2e-9
    assert area - within.area <= bound * perimeter
    assert beyond.area - area <= bound * perimeter * 1.001
    return within, beyond


def test_a_line_leaves_a_stadium(write_trace, make_cutter):
    writer = write_trace(at=(0.0, 0.0, 0.0)).line(x=40.0)
    check_area(writer, make_cutter(), area=40.0 * 6.0 + pi * 9.0, perimeter=80.0 + 6.0 * pi)


def test_a_circle_leaves_an_annulus(write_trace, make_cutter):
    writer = write_trace(at=(20.0, 0.0, 0.0)).arc(20.0, 0.0, centre=(0.0, 0.0))
    within, beyond = check_area(writer, make_cutter(), area=pi * (23.0**2 - 17.0**2), perimeter=2 * pi * (23.0 + 17.0))
    assert len(within.interiors) == len(beyond.interiors) == 1


def test_a_circle_smaller_than_the_cutter_leaves_a_disc(write_trace, make_cutter):
    writer = write_trace(at=(2.0, 0.0, 0.0)).arc(2.0, 0.0, centre=(0.0, 0.0), clockwise=True)
    within, _ = check_area(writer, make_cutter(), area=pi * 25.0, perimeter=2 * pi * 5.0)
    assert not within.interiors


def test_a_plunge_leaves_a_disc(write_trace, make_cutter):
    writer = write_trace(at=(0.0, 0.0, 10.0)).line(z=-0.3)
    check_area(writer, make_cutter(), area=9.0 * pi, perimeter=6.0 * pi)


def test_a_quarter_arc_leaves_a_sector_and_two_half_discs(write_trace, make_cutter):
    writer = write_trace(at=(10.0, 0.0, 0.0)).arc(0.0, 10.0, centre=(0.0, 0.0))
    area = (13.0**2 - 7.0**2) * pi / 4 + 9.0 * pi
    check_area(writer, make_cutter(), area=area, perimeter=(13.0 + 7.0) * pi / 2 + 6.0 * pi)


def test_a_ramp_counts_where_its_bottom_is_at_the_height_or_below(write_trace, make_cutter):
    writer = write_trace(at=(0.0, 0.0, 4.0)).line(x=40.0, z=0.0)
    for height in (0.0, 1.0, 3.0):
        length = 10.0 * height
        area = length * 6.0 + 9.0 * pi
        check_area(writer, make_cutter(), area=area, perimeter=2 * length + 6 * pi, height=height)


def test_a_helix_is_cut_at_the_height(write_trace, make_cutter):
    writer = write_trace(at=(20.0, 0.0, 4.0)).arc(20.0, 0.0, 0.0, centre=(0.0, 0.0))
    turn = 2 * pi / 4  # the last quarter lies at 1 mm or below
    area = (23.0**2 - 17.0**2) * turn / 2 + 9.0 * pi
    within, _ = check_area(writer, make_cutter(), area=area, perimeter=40.0 * turn + 6 * pi, height=1.0)
    assert shapely.contains_xy(within, 20 * np.cos(-0.1), 20 * np.sin(-0.1))
    assert not shapely.contains_xy(within, 20 * np.cos(0.5), 20 * np.sin(0.5))


def test_nothing_is_removed_above_the_heights_of_the_moves(write_trace, make_cutter):
    writer = write_trace(at=(0.0, 0.0, 5.0)).rapid(x=40.0)
    within, beyond, _ = sweep_at(writer, make_cutter(), 4.0)
    assert within.is_empty and beyond.is_empty


def test_zero_on_top(write_trace, make_cutter):
    writer = write_trace(at=(0.0, 0.0, -2.0)).line(x=40.0)
    below, _, _ = sweep_at(writer, make_cutter(), 1.9, zero_height_mm=4.0)
    at, _, _ = sweep_at(writer, make_cutter(), 2.0, zero_height_mm=4.0)
    assert below.is_empty
    assert at.area == pytest.approx(240.0 + 9.0 * pi, abs=0.1)


def test_unknown_tools_remove_nothing(write_trace, make_cutter):
    writer = write_trace(at=(0.0, 0.0, 0.0), tool=7).line(x=40.0)
    within, _, _ = sweep_at(writer, make_cutter())
    assert within.is_empty


def test_heights_above_the_sheet_are_refused(write_trace, make_cutter):
    with pytest.raises(ValueError, match="above the sheet"):
        sweep_trace(write_trace().trace(), cutters={}, heights_mm=[4.1], top_mm=4.0)


def test_a_ball_leaves_a_ball(write_trace, make_cutter):
    cutter = make_cutter(kind=CutterKind.BALL)
    writer = write_trace(at=(0.0, 0.0, 10.0)).line(z=0.0)
    for height in (0.5, 1.0, 2.9, 4.0):
        r = sqrt(9.0 - (3.0 - min(height, 3.0)) ** 2)
        check_area(writer, cutter, area=pi * r * r, perimeter=2 * pi * r, height=height)


def test_a_sloping_vee_leaves_a_wedge(write_trace, make_cutter):
    # at the height h = 2 over a ramp from z 2 down to z 0, 90 degrees: radius grows evenly from 0 to 2
    # over 40 mm, the envelope being the tangent lines from the start to the end disc
    cutter = make_cutter(kind=CutterKind.VEE, point_angle_deg=90.0)
    writer = write_trace(at=(0.0, 0.0, 2.0)).line(x=40.0, z=0.0)
    within, beyond, bound = sweep_at(writer, cutter, 2.0)
    sine = 2.0 / 40.0
    half_angle = np.arcsin(sine)
    tangent = sqrt(40.0**2 - 2.0**2)
    area = 2.0 * tangent + (pi + 2 * half_angle) / 2 * 4.0
    assert within.area <= area <= beyond.area
    assert beyond.area - within.area < 2 * bound * 2 * (tangent + pi * 2.0)


def test_radii_of_cutters(make_cutter):
    assert find_radius_mm(make_cutter(), above_tip_mm=0.0) == 3.0
    assert find_radius_mm(make_cutter(), above_tip_mm=-1e-9) == 0.0
    drill = make_cutter(kind=CutterKind.DRILL, point_angle_deg=60.0)
    assert find_radius_mm(drill, above_tip_mm=1.0) == pytest.approx(tan(pi / 6))
    assert find_radius_mm(drill, above_tip_mm=99.0) == 3.0


def random_walk(write_trace, seed, *, count=60):
    """Lines and arcs of all sizes, tangent or not, crossing each other at several depths."""
    rng = np.random.default_rng(seed)
    writer = write_trace(at=(0.0, 0.0, 0.0))
    for _ in range(count):
        x, y = writer.at[0] + rng.normal(0, 6), writer.at[1] + rng.normal(0, 6)
        z = float(rng.choice([0.0, -0.3, 1.0]))
        if rng.random() < 0.5:
            writer.line(x, y, z)
        else:
            ax, ay = writer.at[:2]
            k = rng.normal(0, 1.5)
            centre = ((ax + x) / 2 - (y - ay) * k, (ay + y) / 2 + (x - ax) * k)
            writer.arc(x, y, z, centre=centre, clockwise=bool(rng.random() < 0.5))
    return writer


def exact_distances(portions, points):
    """Distances by the exact formulas for lines and arcs, not by chords."""
    segments = Segments(
        start_mm=portions.start_mm[:, :2],
        end_mm=portions.end_mm[:, :2],
        centre_mm=portions.centre_mm,
        radius_mm=np.where(portions.sweep_rad != 0.0, portions.radius_mm, np.inf),
        sweep_rad=portions.sweep_rad,
    )
    return np.array([find_distances_mm(segments, tuple(p)).min() for p in points])


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("height", [-0.1, 0.5])
def test_both_sides_hold_the_truth_between_them(write_trace, make_cutter, seed, height):
    writer = random_walk(write_trace, seed)
    cutter = make_cutter()
    trace = writer.trace()
    below = cut_portions(find_portions(trace, zero_height_mm=0.0, chord_tol_mm=TOL), below_mm=height)
    within, beyond, bound = sweep_at(writer, cutter, height)
    for region, side in ((within, Side.WITHIN), (beyond, Side.BEYOND)):
        line = region.boundary.segmentize(0.5)
        points = shapely.get_coordinates(line)
        points = points[:: max(1, len(points) // 700)]
        off = exact_distances(below, points) - cutter.radius_mm
        assert (off * side >= -1e-6).all(), "an approximation lies on the wrong side"
        assert np.abs(off).max() <= bound


def test_repeated_passes_change_nothing(write_trace, make_cutter):
    once = write_trace(at=(0.0, 0.0, 0.0)).line(x=40.0).arc(50.0, 10.0, centre=(40.0, 10.0)).line(z=-0.3)
    twice = write_trace(at=(0.0, 0.0, 0.0)).line(x=40.0).arc(50.0, 10.0, centre=(40.0, 10.0))
    twice.line(z=-0.3).arc(40.0, 0.0, centre=(40.0, 10.0), clockwise=True).line(x=0.0)
    apart = sweep_at(once, make_cutter())[0].symmetric_difference(sweep_at(twice, make_cutter())[0])
    assert apart.area < 1e-9


def test_upright_arcs_are_chords_of_their_depth(write_trace, make_cutter):
    # a half circle in ZX (G18) of radius 3 from (0, 0, 3) by its bottom at x = 3 to (6, 0, 3)
    trace = write_trace(at=(0.0, 0.0, 3.0)).arc(6.0, 0.0, centre=(3.0, 0.0)).trace()
    changed = {"plane": np.array([18], dtype=np.int8), "centre_mm": np.array([[3.0, 0.0, 3.0]])}
    names = ["kind", "line", "start_mm", "end_mm", "sweep_rad", "feed_mm_per_min", "spindle_rpm", "tool"]
    names += ["duration_s", "path_mode", "air", "comments", "findings", "lines"]
    upright = type(trace)(**{name: getattr(trace, name) for name in names}, **changed)
    portions = find_portions(upright, zero_height_mm=0.0, chord_tol_mm=TOL)
    ends = np.concatenate((portions.start_mm, portions.end_mm[-1:]))
    assert np.hypot(ends[:, 0] - 3.0, ends[:, 2] - 3.0) == pytest.approx(3.0)
    # from the first axis (Z) to the second (X) is counter-clockwise: from x = 0, which lies on the
    # negative second axis, a positive turn goes towards positive Z
    assert ends[:, 2].max() == pytest.approx(6.0, abs=2 * TOL)
    assert ends[:, 2].min() == pytest.approx(3.0)


def test_chords_lie_on_their_arcs(write_trace):
    trace = write_trace(at=(30.0, 0.0, 2.0)).arc(0.0, 30.0, 0.0, centre=(0.0, 0.0)).trace()
    portions = find_portions(trace, zero_height_mm=0.0, chord_tol_mm=TOL)
    chords = chord_portions(portions, chord_tol_mm=TOL)
    assert np.hypot(*chords.start_mm[:, :2].T) == pytest.approx(30.0, abs=1e-9)
    middle = (chords.start_mm + chords.end_mm)[:, :2] / 2
    assert 30.0 - np.hypot(*middle.T).min() <= TOL
    assert (chords.end_mm[:-1] == chords.start_mm[1:]).all()
    assert (chords.end_mm[-1] == trace.end_mm[0]).all()


def test_a_long_program_is_swept_in_one_piece(write_trace, make_cutter):
    turns, count = 50, 50_000
    t = np.linspace(0, turns * 2 * pi, count + 1)
    radius = 1 + t / (2 * pi) * 2.4
    writer = write_trace(at=(1.0, 0.0, 0.0))
    for x, y in zip((radius * np.cos(t))[1:].tolist(), (radius * np.sin(t))[1:].tolist(), strict=True):
        writer.line(x, y)
    portions = find_portions(writer.trace(), zero_height_mm=0.0, chord_tol_mm=TOL)
    region = sweep_portions(portions, cutters={1: make_cutter()}, height_mm=0.0, side=Side.WITHIN, chord_tol_mm=TOL)
    assert len(shapely.get_parts(region)) == 1
