"""The programs of the demo parts, read by a second reader and held against the planned moves.

pygcode (GPL, tests only) is the second reader. Its known limits here: it takes comments and words as they
come and checks no modal conflicts, knows nothing of arc tolerances, and its machine keeps positions
only, which is all that is asked of it.
"""

from __future__ import annotations

import warnings

import pytest

import cam.pipeline as pipeline
from cam.motion.lay_moves import StepMoves, find_centre_path
from cam.motion.moves import MoveKind, Purpose
from cam.plan.workingstep import Operation
from cam.tables.places import find_data_folder
from cam.tables.read import read_tables
from cam.tables.read_job import read_job

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from pygcode import Line, Machine

PARTS = ["canteen-wall", "hatch-strip", "shelf-back"]
LAST_DECIMAL_MM = 0.5e-4 + 1e-9


@pytest.fixture(params=PARTS)
def made(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch):  # type: ignore[no-untyped-def]
    planned: list[StepMoves] = []
    emit = pipeline.emit_files

    def listen(steps, **options):  # type: ignore[no-untyped-def]
        planned.extend(steps)
        return emit(steps, **options)

    monkeypatch.setattr(pipeline, "emit_files", listen)
    job = read_job(find_data_folder("parts") / request.param / "job.toml")
    return pipeline.make_job(job, tables=read_tables()), planned


def test_second_reader_ends_every_move_where_it_was_planned(made) -> None:  # type: ignore[no-untyped-def]
    result, planned = made
    machine = Machine()
    read = []
    for text in result.programs[0].text.splitlines():
        before = machine.pos.values
        machine.process_block(Line(text).block)
        after = machine.pos.values
        if after != before:
            read.append((after["X"], after["Y"], after["Z"]))
    wanted = [move.to_mm for step in planned for move in step.moves]
    # the way to the first place goes up before it goes across, and moves shorter than the last decimal are left out
    read = read[1:]
    i = 0
    for point in wanted:
        near = [
            k
            for k in (i - 1, i)
            if 0 <= k < len(read) and max(abs(a - b) for a, b in zip(read[k], point, strict=True)) <= LAST_DECIMAL_MM
        ]
        assert near, f"the second reader is at {read[i]} where {point} was planned"
        i = max(i, near[-1] + 1)
    assert i == len(read)


def test_finishing_passes_are_no_chord_soup(made) -> None:  # type: ignore[no-untyped-def]
    """At most 1.5 motion blocks for each line or arc of the contour; leads, entry and bridges apart."""
    _, planned = made
    for step in planned:
        finishing = [move for move in step.moves if move.purpose is Purpose.FINISH]
        assert finishing
        # a lift cuts the element it stands on in two
        lifts = len(step.step.bridges)
        bored = step.step.operation is Operation.BORE
        path = step.step.wall if bored else find_centre_path(step.step, reach_mm=step.step.cutter.radius_mm)
        assert len(finishing) - lifts <= 1.5 * len(path), step.step.label


def test_nothing_feeds_straight_down_below_the_top(made) -> None:  # type: ignore[no-untyped-def]
    result, planned = made
    for step in planned:
        here = None
        for move in step.moves:
            if here is not None and move.kind is not MoveKind.RAPID and move.to_mm[:2] == here[:2]:
                assert move.to_mm[2] >= here[2] or here[2] > result.layout.max_top_mm
            here = move.to_mm
