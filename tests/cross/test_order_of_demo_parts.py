"""The order in which the demo parts are cut: everything inside a panel before its outline, by a short way."""

from __future__ import annotations

from itertools import pairwise, permutations
from math import hypot

import pytest

from cam.pipeline import make_job
from cam.tables.places import find_data_folder
from cam.tables.read import read_tables
from cam.tables.read_job import read_job


def _made(part: str):  # type: ignore[no-untyped-def]
    return make_job(read_job(find_data_folder("parts") / part / "job.toml"), tables=read_tables())


@pytest.mark.parametrize("part", ["canteen-wall", "hatch-strip", "shelf-back"])
def test_the_outline_is_cut_last(part: str) -> None:
    rows = _made(part).plan_rows
    assert [row.operation for row in rows].count("outside contour") == 1
    assert rows[-1].operation == "outside contour"
    assert [row.number for row in rows] == list(range(1, len(rows) + 1))


def test_the_way_between_features_is_as_short_as_trying_all_orders() -> None:
    made = _made("canteen-wall")
    trace = made.programs[0].trace
    # where each workingstep first comes down is where its first rapid across the sheet ends
    comments = [line for line, text in trace.comments if text.startswith("step ")]
    starts = []
    for line in comments:
        rows = [i for i in range(len(trace)) if trace.line[i] > line and trace.kind[i] == 0]
        first = next(i for i in rows if (trace.end_mm[i][:2] != trace.start_mm[i][:2]).any() or i == rows[0])
        starts.append(tuple(trace.end_mm[first][:2].tolist()))

    def way(order) -> float:  # type: ignore[no-untyped-def]
        places = [(0.0, 0.0), *(starts[i] for i in order), starts[-1]]
        return sum(hypot(a[0] - b[0], a[1] - b[1]) for a, b in pairwise(places))

    inside = range(len(starts) - 1)
    assert way(inside) <= min(way(order) for order in permutations(inside)) * 1.02 + 1e-6
