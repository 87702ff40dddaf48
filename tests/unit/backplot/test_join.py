"""Several files as one trace: lines counted through, findings given back to their file."""

from __future__ import annotations

import numpy as np

from cam.backplot.join import join_traces, place_in_files
from cam.findings import Origin, error


def test_lines_are_counted_through_and_given_back(write_trace) -> None:
    first = write_trace().rapid(x=1.0).line(x=5.0).end().trace(comments=((1, "a"),))
    second = write_trace().rapid(x=2.0).line(x=9.0).end().trace(comments=((2, "b"),))
    joined, spans = join_traces([first, second], files=["one.ngc", "two.ngc"])
    assert joined.line.tolist() == [1, 2, 3, 4, 5, 6]
    assert joined.lines == 6
    assert joined.comments == ((1, "a"), (5, "b"))
    assert np.array_equal(joined.end_mm, np.concatenate((first.end_mm, second.end_mm)))
    found = [error("x-y", "m", remedy="r", origin=Origin(file="all", line=line)) for line in (3, 4, 6)]
    elsewhere = error("x-y", "m", remedy="r", origin=Origin(file="panel.dxf", line=5))
    placed = place_in_files([*found, elsewhere], program="all", spans=spans)
    assert [(each.origin.file, each.origin.line) for each in placed] == [
        ("one.ngc", 3), ("two.ngc", 1), ("two.ngc", 3), ("panel.dxf", 5),
    ]  # fmt: skip


def test_one_file_is_left_as_it_is(write_trace) -> None:
    only = write_trace().rapid(x=1.0).end().trace()
    joined, spans = join_traces([only], files=["one.ngc"])
    assert joined is only
    finding = error("x-y", "m", remedy="r", origin=Origin(file="one.ngc", line=2))
    assert place_in_files([finding], program="one.ngc", spans=spans) == (finding,)
