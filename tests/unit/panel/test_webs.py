"""Webs between contours, and necks of an outline: measured against distances that are known."""

import pytest

from cam.errors import PanelRefused
from cam.geometry.contour import circle, polygon, rectangle
from cam.panel.webs import check_webs


def box(x, y, width, height):
    return rectangle((x, y), width_mm=width, height_mm=height)


def refusal(panel, min_web_mm):
    with pytest.raises(PanelRefused) as caught:
        check_webs(panel, min_web_mm=min_web_mm)
    return caught.value.findings


@pytest.mark.parametrize("gap", [1.0, 3.9])
def test_both_contours_of_a_thin_web_are_named(build_panel, gap):
    panel = build_panel(box(0, 0, 200, 100), box(20, 20, 40, 40), box(60 + gap, 20, 40, 40), name="back")
    (finding,) = refusal(panel, 4.0)
    assert finding.code == "web-too-thin"
    assert "cut-out 1" in finding.message and "cut-out 2" in finding.message and f"{gap:.2f} mm" in finding.message
    assert finding.size_mm == pytest.approx(4.0 - gap)
    assert (finding.origin.panel, finding.origin.x_mm) == ("back", pytest.approx(60 + gap / 2))
    check_webs(panel, min_web_mm=gap)
    check_webs(panel, min_web_mm=0.0)


def test_a_hole_beside_the_outline(build_panel):
    # a circle of radius 6 about (8.5, 50): 2.5 mm to the edge
    panel = build_panel(box(0, 0, 200, 100), circle((8.5, 50.0), radius_mm=6.0))
    (finding,) = refusal(panel, 4.0)
    assert "hole 1 and outline is 2.50 mm" in finding.message
    assert finding.origin.x_mm == pytest.approx(1.25, abs=0.01)
    check_webs(panel, min_web_mm=2.5)


def test_a_neck_of_the_outline(build_panel):
    bell = [
        (0, 0),
        (50, 0),
        (50, 23),
        (90, 23),
        (90, 0),
        (140, 0),
        (140, 50),
        (90, 50),
        (90, 26),
        (50, 26),
        (50, 50),
        (0, 50),
    ]
    (finding,) = refusal(build_panel(polygon(bell)), 4.0)
    assert "neck" in finding.message and finding.origin.feature == "outline"
    assert 45.0 < finding.origin.x_mm < 95.0
    check_webs(build_panel(polygon(bell)), min_web_mm=2.9)


def test_every_web_is_told(build_panel):
    panel = build_panel(box(0, 0, 200, 100), box(2, 20, 40, 40), box(44, 20, 40, 40), box(120, 20, 40, 40))
    assert len(refusal(panel, 4.0)) == 2
