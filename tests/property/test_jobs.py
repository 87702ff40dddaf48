"""Random jobs through the whole V: refused with a reason, or proven; and checked by shapely without the judge.

The jobs and the check live in the campaign ``tests/bench/bench_jobs.py``, which runs as many as wanted.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import pytest

from cam.tables.read import read_tables

SEEDS = (1001, 1003, 1004, 1006, 1007, 1008, 1009, 1011, 1012, 1013, 1014)
"""A slice of the campaign that takes little time."""
REFUSED = {
    "no-place-for-bridges",
    "slot-too-narrow",
    "hole-too-small",
    "shank-too-large",
    "waste-not-held",
    "panel-off-sheet",
    "web-too-thin",
    "clamp-over-panel",
    "clamp-in-path",
    "beyond-travel",
    "drill-into-bed",
    "rpm-out-of-reach",
}
"""What random jobs are refused for: none of these has a program that a machinist would run."""


def load_campaign():
    path = Path(__file__).parents[1] / "bench" / "bench_jobs.py"
    spec = importlib.util.spec_from_file_location("bench_jobs", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


CAMPAIGN = load_campaign()


@pytest.fixture(scope="module")
def tables():
    return read_tables()


@pytest.fixture(scope="module")
def results(tables, tmp_path_factory):
    folder = tmp_path_factory.mktemp("jobs")
    return {seed: CAMPAIGN.run_job(seed, tables=tables, folder=folder) for seed in SEEDS}


@pytest.mark.parametrize("seed", SEEDS)
def test_a_random_job_is_proven_or_refused(results, seed):
    result = results[seed]
    if result.refused:
        assert set(result.refused[:-1]) <= REFUSED, result.refused
        return
    assert result.faults == ()
    assert result.verdict == "proven"


def test_most_random_jobs_are_made(results):
    assert sum(not result.refused for result in results.values()) >= len(results) / 2


@pytest.mark.parametrize("seed", [1003, 1006])
def test_same_job_same_bytes(tables, tmp_path, seed):
    texts = []
    for name in ("a", "b"):
        folder = tmp_path / name
        folder.mkdir()
        job = CAMPAIGN.write_random_job(seed, folder=folder, tables=tables)
        try:
            texts.append(CAMPAIGN.pipeline.make_job(job, tables=tables).programs[0].text)
        except CAMPAIGN.Refusal as refusal:
            texts.append([finding.code for finding in refusal.findings])
    assert texts[0] == texts[1]


def test_the_check_sees_a_gouge_and_a_missing_cut(results, tables, tmp_path):
    """The check itself is tested by its refusals: a program moved by 0.05 mm, and one without its last pass."""
    seed = next(seed for seed, result in results.items() if not result.refused)
    made = CAMPAIGN.pipeline.make_job(CAMPAIGN.write_random_job(seed, folder=tmp_path, tables=tables), tables=tables)
    assert CAMPAIGN.check_made(made, tables=tables) == []
    for change in (lambda t: t["start_mm"].__iadd__([0.05, 0, 0]), lambda t: t["end_mm"].__iadd__([0, 0, 5.0])):
        damaged = CAMPAIGN.damage_trace(made, change)
        assert CAMPAIGN.check_made(damaged, tables=tables)
