"""Recess depths against the measured sheet."""

from dataclasses import replace

import pytest

from cam.errors import PanelRefused
from cam.geometry.contour import Region, rectangle
from cam.panel.panel import Recess, Role
from cam.sheet.recess_depths import check_recess_depths

PLATE = rectangle((0.0, 0.0), width_mm=200.0, height_mm=150.0)


@pytest.fixture
def lay_recess(build_panel, lay):
    def do(depth_mm, measured_mm):
        region = Region(outer=rectangle((50.0, 40.0), width_mm=60.0, height_mm=50.0))
        recess = Recess(
            label="recess 1", role=Role.RECESS, region=region, depth_mm=depth_mm, layer="RECESS", handle="A"
        )
        panel = replace(build_panel(PLATE), recesses=(recess,))
        return lay(panel, measured_mm=measured_mm)

    return do


@pytest.mark.parametrize("depth", [0.5, 2.7])
def test_what_leaves_the_floor_passes(lay_recess, depth):
    check_recess_depths(lay_recess(depth, (3.9, 3.7)), is_measured=True, min_floor_mm=1.0)


def test_the_thinnest_place_counts(lay_recess):
    with pytest.raises(PanelRefused) as caught:
        check_recess_depths(lay_recess(2.8, (3.9, 3.7)), is_measured=True, min_floor_mm=1.0)
    (finding,) = caught.value.findings
    assert (finding.code, finding.origin.feature, finding.origin.handle) == ("recess-too-deep", "recess 1", "A")
    assert finding.size_mm == pytest.approx(0.1)
    assert "0.90 mm" in finding.message and "at most 2.70 mm" in finding.remedy


def test_a_depth_needs_a_measured_sheet(lay_recess):
    with pytest.raises(PanelRefused) as caught:
        check_recess_depths(lay_recess(0.5, ()), is_measured=False, min_floor_mm=1.0)
    assert [f.code for f in caught.value.findings] == ["thickness-not-measured"]


def test_without_recesses_nothing_is_asked(build_panel, lay):
    check_recess_depths(lay(build_panel(PLATE)), is_measured=False, min_floor_mm=1.0)
