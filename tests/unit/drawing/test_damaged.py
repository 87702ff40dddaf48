"""A slice of the damaged drawings of tests/bench/fuzz_drawing.py: a drawing or a refusal, never anything else."""

from __future__ import annotations

import importlib.util
import random
from collections import Counter
from pathlib import Path

import pytest

from cam.drawing.read import read_drawing
from cam.errors import Refusal

CAMPAIGN = Path(__file__).parents[2] / "bench" / "fuzz_drawing.py"


@pytest.fixture(scope="module")
def campaign():
    spec = importlib.util.spec_from_file_location("fuzz_drawing", CAMPAIGN)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_sound_drawings_are_sound(campaign, tmp_path):
    for k, data in enumerate(campaign.make_sound_drawings()):
        path = tmp_path / f"{k}.dxf"
        path.write_bytes(data)
        drawing = read_drawing(path, units="mm", hatches=True, fit_arcs_mm=0.05)
        assert [f for f in drawing.findings if f.severity == "error"] == []
        assert len(drawing.loops) >= 11


def test_damaged_drawings_are_read_or_refused(campaign, tmp_path, capsys, caplog):
    sound = campaign.make_sound_drawings()
    caplog.clear()  # of what ezdxf says while it writes
    outcomes = Counter()
    path = tmp_path / "damaged.dxf"
    for k in range(140):
        name, data = campaign.damage(sound, random.Random(f"slice-{k}"))
        path.write_bytes(data)
        try:
            read_drawing(path, units="mm", hatches=k % 2 == 0, fit_arcs_mm=0.05 if k % 3 else None)
            outcomes["read"] += 1
        except Refusal as refusal:
            assert all(f.remedy and f.origin.file for f in refusal.findings), (k, name)
            outcomes["refused"] += 1
    assert outcomes["read"] > 20  # the damage is not so great that nothing is tried
    assert outcomes["refused"] > 40
    printed = capsys.readouterr()
    assert printed.out == printed.err == ""
    assert not caplog.records


def test_a_number_that_recovery_would_guess_is_refused(campaign, tmp_path):
    """The recovery reads 600,5 as 600: a panel half a millimetre too small."""
    path = tmp_path / "comma.dxf"
    data = campaign.make_sound_drawings()[2]
    assert b"\n600.0\n" in data
    path.write_bytes(data.replace(b"\n600.0\n", b"\n600,5\n", 1))
    with pytest.raises(Refusal) as refusal:
        read_drawing(path)
    assert refusal.value.findings[0].code == "damaged-drawing"
