"""The programs of the demo parts as text, so that a change of one word shows.

Run pytest with ``--renew-goldens`` after a change that is meant to change them, and read the difference.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from cam.pipeline import make_job
from cam.tables.places import find_data_folder
from cam.tables.read import read_tables
from cam.tables.read_job import read_job

HERE = Path(__file__).parent
PARTS = ["canteen-wall", "hatch-strip", "mirror-panel", "shelf-back"]


@pytest.mark.parametrize("part", PARTS)
def test_the_program_is_the_golden_one(part: str, request: pytest.FixtureRequest) -> None:
    job = read_job(find_data_folder("parts") / part / "job.toml")
    tables = read_tables()
    text = make_job(job, tables=tables).programs[0].text
    assert make_job(job, tables=tables).programs[0].text == text, "the same inputs gave other bytes"
    golden = HERE / f"{part}.ngc"
    if request.config.getoption("--renew-goldens"):
        golden.write_text(text, encoding="ascii", newline="\n")
    assert text.splitlines() == golden.read_text(encoding="ascii").splitlines()
