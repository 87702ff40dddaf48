"""Random panels rounded by a disc, held to a polygon engine's opening; a slice of ``tests/bench/bench_rounding.py``.

The campaign's own docstring says what is checked: the opening by shapely both ways, the radii, bit-identical
elements, the list of corners, and of every refusal its code, place, width and remedy.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

from cam.geometry.contour import Region, rectangle
from cam.geometry.rounding import round_corners
from cam.geometry.transform import reverse


def _load():
    path = Path(__file__).parents[1] / "bench" / "bench_rounding.py"
    spec = importlib.util.spec_from_file_location("bench_rounding", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


BENCH = _load()


@pytest.mark.parametrize("seed", range(5002, 5009))
def test_rounded_panels_are_the_opening_of_their_waste(seed) -> None:
    tally = BENCH.Tally()
    name, panel, rng = BENCH.draw_panel(seed)
    BENCH.run_panel(name, panel, radius_mm=BENCH.draw_radius_mm(panel, rng), where=f"panel {seed}", tally=tally)
    assert tally.faults == []


@pytest.mark.parametrize("seed", [233, 1529, 1648, 1709])
def test_pieces_too_short_for_the_offset_stay(seed) -> None:
    """Hooks whose joints carry arcs of a millionth of a millimetre, one of which was once left out; a near cusp."""
    tally = BENCH.Tally()
    name, panel, rng = BENCH.draw_panel(seed)
    BENCH.run_panel(name, panel, radius_mm=BENCH.draw_radius_mm(panel, rng), where=f"panel {seed}", tally=tally)
    assert tally.faults == []
    assert tally.rounded[name] == 1


@pytest.mark.parametrize("seed", range(6002, 6010))
def test_hard_corners_are_the_opening_of_their_waste(seed) -> None:
    tally = BENCH.Tally()
    name, panel, radius = BENCH.draw_own(seed)
    BENCH.run_panel(name, panel, radius_mm=radius, where=f"own {seed}", tally=tally)
    assert tally.faults == []
    assert sum(tally.rounded.values()) + sum(tally.refused.values()) > 0


def test_the_check_sees_what_is_wrong() -> None:
    """A checker is tested by its refusals: too much filled, too little, an element moved by 0.00001 mm."""
    plate = rectangle((-50.0, -50.0), width_mm=100.0, height_mm=100.0)
    panel = Region(outer=plate, holes=(reverse(rectangle((-20.0, -20.0), width_mm=40.0, height_mm=40.0)),))
    good = round_corners(panel, radius_mm=5.0)
    assert BENCH.check_rounding(panel, good, radius_mm=5.0) == []
    assert any("filled" in word for word in BENCH.check_rounding(panel, good, radius_mm=4.98))
    assert any("left open" in word for word in BENCH.check_rounding(panel, good, radius_mm=5.02))
    moved = good.region.holes[0].vertices + np.array([0.0, 1e-5, 0.0])
    off = BENCH.RoundedRegion(region=Region(outer=plate, holes=(BENCH.Contour(moved),)), corners=good.corners)
    assert any("neither the source's nor a fillet" in word for word in BENCH.check_rounding(panel, off, radius_mm=5.0))
    as_it_was = BENCH.RoundedRegion(region=panel, corners=())
    assert any("a joint turns in" in word for word in BENCH.check_rounding(panel, as_it_was, radius_mm=5.0))
