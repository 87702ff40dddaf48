"""Programs of random jobs read by pygcode: it ends every move where the moves were planned.

pygcode (GPL, tests only) is the second reader. Its known limits here: it checks no modal conflicts and no
arc tolerance, and its machine keeps the end of each move, not the way there; the demo parts are read in
``test_program_second_reader.py``, where the count of moves is held as well.
"""

from __future__ import annotations

import importlib.util
import sys
import warnings
from dataclasses import replace
from pathlib import Path

import pytest

from cam import pipeline
from cam.errors import Refusal
from cam.tables.read import read_tables

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from pygcode import Line, Machine

LAST_DECIMAL_MM = 0.5e-4 + 1e-9
SEEDS = (1000, 1002, 1005)


def load_campaign():
    path = Path(__file__).parents[1] / "bench" / "bench_jobs.py"
    spec = importlib.util.spec_from_file_location("bench_jobs_for_cross", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("seed", SEEDS)
def test_pygcode_ends_each_block_where_a_move_ends(seed, tmp_path, monkeypatch):
    planned = []
    emit = pipeline.emit_files

    def listen(steps, **options):
        planned.extend(steps)
        return emit(steps, **options)

    monkeypatch.setattr(pipeline, "emit_files", listen)
    tables = read_tables()
    campaign = load_campaign()
    try:
        # the accents that split arcs or write chords have further ends: tests/cross/test_controllers.py
        job = replace(campaign.write_random_job(seed, folder=tmp_path, tables=tables), controller="ngc")
        made = pipeline.make_job(job, tables=tables)
    except Refusal:
        pytest.fail("choose a seed whose job is not refused")
    machine, read = Machine(), []
    for text in made.programs[0].text.splitlines():
        before = machine.pos.values
        machine.process_block(Line(text).block)
        after = machine.pos.values
        if after != before:
            read.append((after["X"], after["Y"], after["Z"]))
    ends = [move.to_mm for step in planned for move in step.moves]
    # moves shorter than the last decimal are left out, long arcs are written in two: in order, each planned end is read
    place = 0
    for end in ends:
        near = [
            k
            for k in range(max(0, place - 1), min(place + 4, len(read)))
            if max(abs(a - b) for a, b in zip(read[k], end, strict=True)) <= LAST_DECIMAL_MM
        ]
        assert near, (end, read[place : place + 3])
        place = near[0] + 1 if near[0] >= place else place
    assert place == len(read)
