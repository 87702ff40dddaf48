"""The sweep against an independent raster: every cell asked whether a disc along the path covers it."""

import numpy as np
import pytest
import shapely

from cam.backplot.sweep import sweep_trace

CELL_MM = 0.05
CUTTER_MM = 6.0


def raster_removed(points, *, low, high, radius):
    """Which cells of a grid lie within a radius of any of the points, (rows, columns) bool.

    The path is laid out as points closer together than a hundredth of a cell's own error; nothing
    of the sweep's own geometry is used.
    """
    x = np.arange(low[0], high[0], CELL_MM) + CELL_MM / 2
    y = np.arange(low[1], high[1], CELL_MM) + CELL_MM / 2
    removed = np.zeros((len(y), len(x)), dtype=bool)
    for px, py in points:
        i0, i1 = np.searchsorted(y, [py - radius, py + radius])
        j0, j1 = np.searchsorted(x, [px - radius, px + radius])
        window = (y[i0:i1, None] - py) ** 2 + (x[None, j0:j1] - px) ** 2 <= radius**2
        removed[i0:i1, j0:j1] |= window
    return x, y, removed


def sample_path(trace, *, height, step=0.02):
    """Points along all moves whose z is at the height or below, by the moves' own equations."""
    points = []
    for i in range(len(trace)):
        start, end = trace.start_mm[i], trace.end_mm[i]
        if trace.sweep_rad[i]:
            spoke = start[:2] - trace.centre_mm[i, :2]
            length = np.hypot(*spoke) * abs(trace.sweep_rad[i])
        else:
            length = np.hypot(*(end - start)[:2])
        share = np.linspace(0.0, 1.0, max(2, int(length / step) + 1))
        z = start[2] + (end[2] - start[2]) * share
        if trace.sweep_rad[i]:
            turn = trace.sweep_rad[i] * share
            xy = trace.centre_mm[i, :2] + np.column_stack(
                (
                    np.cos(turn) * spoke[0] - np.sin(turn) * spoke[1],
                    np.sin(turn) * spoke[0] + np.cos(turn) * spoke[1],
                )
            )
        else:
            xy = start[:2] + (end - start)[:2] * share[:, None]
        points.append(xy[z <= height])
    return np.concatenate(points)


def figure(write_trace, name):
    if name == "ramps and helix":
        return (
            write_trace(at=(5.0, 5.0, 4.0))
            .line(x=25.0, z=0.0)
            .line(y=12.0)
            .arc(25.0, 12.0, -1.0, centre=(20.0, 12.0))
            .line(x=8.0, y=20.0, z=2.0)
        )
    if name == "arcs of all sizes":
        return (
            write_trace(at=(10.0, 10.0, 0.0))
            .arc(14.0, 10.0, centre=(12.0, 10.0))
            .arc(14.0, 20.0, centre=(14.0, 15.0), clockwise=True)
            .arc(14.0, 20.0, centre=(14.0, 21.5))
            .line(x=24.0, y=8.0, z=1.0)
        )
    return write_trace(at=(6.0, 6.0, 0.0)).line(x=26.0).line(y=26.0).line(x=6.0).line(y=6.0).line(x=26.0, y=26.0)


@pytest.mark.parametrize("name", ["ramps and helix", "arcs of all sizes", "square with a diagonal"])
@pytest.mark.parametrize("height", [0.0, 1.5])
def test_sweep_agrees_with_the_raster(write_trace, make_cutter, name, height):
    trace = figure(write_trace, name).trace()
    sweep = sweep_trace(trace, cutters={1: make_cutter()}, heights_mm=[height], top_mm=4.0)
    x, y, removed = raster_removed(
        sample_path(trace, height=height), low=(-2.0, -2.0), high=(36.0, 36.0), radius=CUTTER_MM / 2
    )
    across, up = np.meshgrid(x, y)
    within = shapely.contains_xy(sweep.within[0], across, up)
    beyond = shapely.contains_xy(sweep.beyond[0], across, up)
    assert beyond[removed].all()
    # the raster's points stand up to 0.02 mm apart: where a slope is cut off at the height, its last
    # disc may be short by as much; elsewhere its envelope is short by 2e-5 mm
    missed = within & ~removed
    gaps = shapely.distance(sweep.within[0].boundary, shapely.points(across[missed], up[missed]))
    assert (gaps <= 0.021).all()
    assert missed.sum() < 1e-3 * removed.sum()
    # areas: a cell is right or wrong by half of the boundary's cells
    cells = removed.sum() * CELL_MM**2
    assert sweep.within[0].area == pytest.approx(cells, abs=sweep.within[0].length * CELL_MM * 0.05)
