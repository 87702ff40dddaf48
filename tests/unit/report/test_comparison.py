"""Comparison of cycle times in words, CSV and page."""

from __future__ import annotations

import csv
from dataclasses import replace
from io import StringIO

import pytest

from cam.report.comparison import (
    ComparisonRow,
    find_lever,
    lay_comparison_document,
    write_comparison,
    write_comparison_csv,
    write_comparison_page,
)
from cam.report.time_split import TimeSplit


def lay_row(cycle_s: float, *, machine: str = "bench", hold: str = "bridges", verdict: str = "proven") -> ComparisonRow:
    split = TimeSplit(
        cycle_s=cycle_s, cutting_s=cycle_s - 40.0, entry_s=10.0, corners_s=5.0, rapid_s=5.0, spindle_s=5.0,
        tool_change_s=15.0, dwell_s=0.0, lower_bound_s=cycle_s - 20.0, machine_bound_s=cycle_s - 30.0,
    )  # fmt: skip
    return ComparisonRow(
        cutter="o1-6-up", machine=machine, controller="ngc", hold=hold, program=None, verdict=verdict, split=split,
        by_panel=(("left", cycle_s - 60.0), ("right", 20.0)),
    )  # fmt: skip


REFUSED = ComparisonRow(
    cutter="o1-12-up", machine="bench", controller="ngc", hold="skin", program=None, verdict="refused", split=None,
    refused="cutter-too-large: it is",
)  # fmt: skip


def test_the_lever_is_the_one_change_that_saves_most() -> None:
    rows = [lay_row(300.0), lay_row(290.0, hold="skin"), lay_row(120.0, machine="industrial")]
    assert find_lever(rows).startswith(
        "The largest lever is the machine: industrial instead of bench saves 3 min of 5 min (60%)"
    )
    both = lay_row(60.0, machine="industrial", hold="skin")
    # against the first it changes two things at once, so the pair that counts is that with the skin on the bench
    assert "machine: industrial instead of bench saves 3 min 50 s" in find_lever([*rows, both])


def test_an_unproven_program_is_no_lever() -> None:
    rows = [lay_row(300.0), lay_row(100.0, machine="industrial", verdict="not proven")]
    assert find_lever(rows) == "The largest part of the time is cutting: 4 min 20 s of 5 min."


def test_words_say_minutes_difference_and_refusal() -> None:
    said = write_comparison([lay_row(300.0), lay_row(240.0, machine="industrial"), REFUSED])
    assert "4.00 min (-1.00 min against the first)" in said
    assert "by panel: left 4.00, right 0.33" in said
    assert "cutter-too-large: it is" in said


def test_csv_and_document_hold_the_same_rows() -> None:
    rows = [lay_row(300.0), REFUSED]
    table = list(csv.DictReader(StringIO(write_comparison_csv(rows))))
    document = lay_comparison_document(rows, page=None, csv_path=None)
    assert [row["verdict"] for row in table] == [row["verdict"] for row in document["rows"]] == ["proven", "refused"]
    assert float(table[0]["cycle_s"]) == document["rows"][0]["cycle_s"] == 300.0
    assert document["rows"][0]["other_s"] == 20.0
    assert document["rows"][1]["cycle_s"] is None


def test_bars_are_as_long_as_their_times() -> None:
    rows = [lay_row(300.0), replace(lay_row(150.0), machine="industrial")]
    page = write_comparison_page(rows, title="t")
    assert "5.00 min" in page
    assert "2.50 min" in page
    assert page.count('fill="url(#part-cutting_s)"') == 3  # two bars and the legend
    assert page == write_comparison_page(rows, title="t")


@pytest.mark.parametrize("part", ["cutting", "entry", "corners", "rapid", "spindle", "tool change", "dwell"])
def test_every_part_is_named_in_the_page(part: str) -> None:
    assert f">{part}<" in write_comparison_page([lay_row(300.0)], title="t")
