"""Properties of offsets of random panels: two roads to them agree, steps add up, and mirrors change nothing.

A seeded slice of the panels of ``tests/bench/random_panels.py``; the campaign is ``tests/bench/bench_offset.py``.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from cam.geometry.contour import Contour, Region
from cam.geometry.measure import find_distance_mm, measure_area_mm2, measure_region_area_mm2
from cam.geometry.offset import offset_region
from cam.geometry.offset.chain import ChainUnsure, lay_chain
from cam.geometry.offset.clearance import plant_tree
from cam.geometry.offset.layers import find_layered_loops
from cam.geometry.offset.region import find_distant_loops
from cam.geometry.offset.skin import lay_skin
from cam.geometry.offset.source import find_source


def _load(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parents[1] / "bench" / f"{name}.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


random_panels = _load("random_panels")


def _distances_mm(region: Region, rng: np.random.Generator) -> list[float]:
    size = float(np.sqrt(measure_region_area_mm2(region)))
    return [size * 10.0 ** float(rng.uniform(low, low + 0.9)) for low in (-2.5, -1.5)]


def _areas_mm2(loops: list) -> list[float]:
    return sorted(measure_area_mm2(Contour(loop.vertices)) for loop in loops)


def test_layers_and_distances_find_the_same_loops() -> None:
    """Two independent roads: winding counted along a chain, and clearances searched in a tree."""
    certain = compared = 0
    for seed in range(24):
        _, region, rng = random_panels.draw_panel(seed)
        source = find_source(region.contours)
        skin, tree = lay_skin(source), plant_tree(source)
        for distance in _distances_mm(region, rng):
            for side in (-1.0, 1.0):
                compared += 1
                try:
                    quick = find_layered_loops(source, skin=skin, distance_mm=distance, side=side)
                except ChainUnsure:
                    continue
                certain += 1
                sure = find_distant_loops(source, skin=skin, tree=tree, distance_mm=distance, side=side)
                length = sum(loop.length_mm for loop in sure)
                assert len(quick) == len(sure), (seed, side * distance)
                assert np.abs(np.subtract(_areas_mm2(quick), _areas_mm2(sure))).max(initial=0.0) <= 1e-6 * (
                    1.0 + length
                )
    # the quick road is for nearly all, the sure one for exact coincidences
    assert certain >= 0.9 * compared


def test_segments_that_are_passed_by_change_nothing() -> None:
    """Ovals of many chords, shrunk beyond their smallest radius, where whole runs of offsets lie in each other."""
    rng = np.random.default_rng(7)
    passed = 0
    for count in (60, 200, 700):
        angle = np.arange(count) * 2.0 * np.pi / count
        reach = 100.0 * (1.0 + 0.3 * np.sin(int(rng.integers(2, 6)) * angle))
        bulges = rng.uniform(-1e-3, 1e-3, count)
        source = find_source((Contour(np.column_stack((reach * np.cos(angle), reach * np.sin(angle), bulges))),))
        skin, tree = lay_skin(source), plant_tree(source)
        for distance in (40.0, 55.0):
            passed += len(lay_chain(source, distance_mm=distance, side=-1.0).passed)
            quick = find_layered_loops(source, skin=skin, distance_mm=distance, side=-1.0)
            sure = find_distant_loops(source, skin=skin, tree=tree, distance_mm=distance, side=-1.0)
            assert _areas_mm2(quick) == pytest.approx(_areas_mm2(sure), rel=1e-9)
    assert passed > 30


@pytest.mark.parametrize("seed", range(0, 36, 5))
def test_two_steps_outwards_are_one(seed: int) -> None:
    """Growing is a Minkowski sum with a disc, and the sum of two discs is a disc."""
    _, region, rng = random_panels.draw_panel(seed)
    first, second = _distances_mm(region, rng)
    (once,) = offset_region(region, distance_mm=first + second)
    (half,) = offset_region(region, distance_mm=first)
    (twice,) = offset_region(half, distance_mm=second)
    assert len(twice.holes) == len(once.holes)
    length = sum(np.hypot(*np.diff(part.points_mm, axis=0).T).sum() for part in once.contours)
    assert measure_region_area_mm2(twice) == pytest.approx(measure_region_area_mm2(once), abs=2e-6 * (1.0 + length))


@pytest.mark.parametrize("seed", range(1, 36, 5))
def test_every_joint_keeps_the_distance(seed: int) -> None:
    _, region, rng = random_panels.draw_panel(seed)
    for distance in _distances_mm(region, rng):
        for signed in (-distance, distance):
            for part in offset_region(region, distance_mm=signed):
                for contour in part.contours:
                    for x, y in contour.points_mm[:: max(1, len(contour) // 10)]:
                        reach = min(find_distance_mm(own, (float(x), float(y))) for own in region.contours)
                        assert reach == pytest.approx(distance, abs=1.1e-6)


@pytest.mark.parametrize("seed", range(2, 36, 5))
def test_a_mirrored_panel_has_the_mirrored_offset(seed: int) -> None:
    _, region, rng = random_panels.draw_panel(seed)
    distance = -_distances_mm(region, rng)[0]
    mirrored = Region(outer=_mirror(region.outer), holes=tuple(_mirror(hole) for hole in region.holes))
    here, there = (offset_region(one, distance_mm=distance) for one in (region, mirrored))
    assert len(here) == len(there)
    assert sum(map(measure_region_area_mm2, there)) == pytest.approx(sum(map(measure_region_area_mm2, here)), rel=1e-7)


def _mirror(contour: Contour) -> Contour:
    """Mirrored in y and run the other way round, so that it keeps its winding and its bulges their signs."""
    vertices = contour.vertices[::-1] * np.array([1.0, -1.0, 1.0])
    vertices[:, 2] = np.roll(vertices[:, 2], -1)
    return Contour(vertices)
