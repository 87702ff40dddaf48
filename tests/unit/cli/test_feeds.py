"""``castcut feeds``."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET

import pytest
from click.testing import CliRunner

from cam.cli import main


def run(*arguments: str):
    return CliRunner().invoke(main, ["feeds", *arguments])


def test_feeds_in_words_names_number_and_reason() -> None:
    result = run("--cutter", "o1-6-up")
    assert result.exit_code == 0, result.output
    assert "at 18000 rpm and 3420 mm/min" in result.output
    assert "because: 3420 mm/min: 18000 rpm x 1 x 0.190 mm" in result.output
    assert "caution:" in result.output


def test_feeds_document_has_the_numbers_the_sentence_says() -> None:
    document = json.loads(run("--cutter", "o1-6-up", "--depth-mm", "3", "--json").output)
    wanted = {
        "spindle_rpm",
        "feed_mm_per_min",
        "chip_load_mm",
        "plunge_mm_per_min",
        "pass_depth_mm",
        "power_w",
        "reasons",
    }
    assert wanted <= set(document)
    assert document["feed_mm_per_min"] == pytest.approx(document["spindle_rpm"] * document["chip_load_mm"], rel=1e-9)
    assert all(reason["text"] for reason in document["reasons"])


def test_the_shops_own_feed_is_held_against_the_window() -> None:
    result = run("--cutter", "o1-6-up", "--rpm", "20000", "--feed", "1200")
    assert result.exit_code == 1
    assert "rubbing-feed" in result.output
    overloaded = run("--cutter", "o1-6-up", "--rpm", "12000", "--feed", "6000", "--json")
    assert [f["code"] for f in json.loads(overloaded.output)["findings"]] == ["overloading-feed"]


def test_the_picture_names_every_limit_and_is_not_overwritten(tmp_path) -> None:
    assert run("--cutter", "o1-6-up", "--run-mm", "30", "--out", str(tmp_path)).exit_code == 0
    root = ET.parse(tmp_path / "feeds.svg").getroot()
    said = {text.text for text in root.iter("{http://www.w3.org/2000/svg}text")}
    assert {"lowest chip load", "highest chip load", "the machine's feed", "the length of the run",
            "the spindle's power", "permitted"} <= said  # fmt: skip
    assert run("--cutter", "o1-6-up", "--out", str(tmp_path)).exit_code == 2


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (("--cutter", "o1-6-upp"), "unknown-row"),
        (("--cutter", "o1-6-up", "--machine", "bech"), "unknown-row"),
        (("--cutter", "o1-6-up", "--depth-mm", "90"), "flutes-too-short"),
    ],
)
def test_feeds_refuses_with_one_message(arguments, code) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert code in result.output


def test_a_speed_outside_the_window_is_shown_with_its_own_chip() -> None:
    document = json.loads(run("--cutter", "o1-6-up", "--rpm", "100", "--json").output)
    # feed = rpm x flutes x chip load
    assert document["chip_load_mm"] == pytest.approx(document["feed_mm_per_min"] / 100.0)
    assert document["power_available_w"] == 0.0
    assert "chip_load_mm" not in {reason["quantity"] for reason in document["reasons"]}
    assert [finding["code"] for finding in document["findings"]] == ["speed-outside-window"]


@pytest.mark.parametrize("option", ["--rpm", "--feed", "--depth-mm", "--bite-mm", "--run-mm"])
def test_what_is_not_a_number_is_refused(option) -> None:
    result = run("--cutter", "o1-6-up", option, "nan")
    assert result.exit_code == 2
    assert "not a number" in result.output
