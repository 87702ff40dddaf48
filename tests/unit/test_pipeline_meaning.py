"""Layers, names and suspects through the whole V: what is recognised is planned, cut and proven, or refused."""

from __future__ import annotations

import ezdxf
import pytest

from cam import pipeline
from cam.errors import DrawingRefused, PanelRefused
from cam.panel.panel import Finish, Role
from cam.tables.job import Chamfer, Heights, LayerMeaning, LayerRule, PanelEntry, Suspects
from cam.tables.read_job import default_job

THICK = {"sheet": "cast-6-2440x1220", "heights": Heights(measured_thickness_mm=(6.1, 5.9))}


@pytest.fixture
def draw(tmp_path):
    def do(*rectangles, circles=(), lines=(), texts=(), name="plate"):
        document = ezdxf.new("R2010", units=4)
        space = document.modelspace()
        for layer, x, y, w, h in rectangles:
            points = [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]
            space.add_lwpolyline(points, close=True, dxfattribs={"layer": layer})
        for layer, x, y, r in circles:
            space.add_circle((x, y), r, dxfattribs={"layer": layer})
        for layer, start, end in lines:
            space.add_line(start, end, dxfattribs={"layer": layer})
        for text, x, y in texts:
            space.add_text(text, height=8, dxfattribs={"insert": (x, y)})
        path = tmp_path / f"{name}.dxf"
        document.saveas(path)
        return path

    return do


def codes(made):
    return [finding.code for finding in made.findings]


def test_recesses_and_grooves_are_cut_and_proven(draw, tables):
    path = draw(
        ("OUTLINE", 0, 0, 300, 200),
        ("RECESS-2", 150, 80, 100, 80),
        ("RECESS-2", 185, 105, 30, 30),
        circles=[("HOLE", 50, 150, 10)],
        lines=[("GROOVE-6X1P5", (30, 40), (130, 40))],
        texts=[("LID", 20, 100)],
    )
    made = pipeline.make_job(default_job(path, **THICK), tables=tables)
    (program,) = made.programs
    assert program.verdict.proven
    (placement,) = made.layout.placements
    assert placement.panel.name == "LID"
    assert [(r.role, r.depth_mm) for r in placement.panel.recesses] == [(Role.GROOVE, 1.5), (Role.RECESS, 2.0)]
    assert program.verdict.corners.rounded == 0  # the recess's corners are none of what is cut through


def test_finishes_and_the_chamfer_reach_the_panel(draw, tables):
    path = draw(("CUTOUT-SHOWN", 50, 50, 80, 60), ("OUTLINE-HIDDEN", 0, 0, 300, 200))
    made = pipeline.make_job(default_job(path, chamfer=Chamfer(width_mm=0.5), **THICK), tables=tables)
    panel = made.layout.placements[0].panel
    assert [feature.finish for feature in panel.features] == [Finish.HIDDEN, Finish.SHOWN]
    assert (panel.chamfer_mm, panel.chamfer_on) == (0.5, (Finish.SHOWN,))


def test_one_drawing_twice_gives_two_names(draw, tables):
    path = draw(("0", 0, 0, 300, 200))
    entry = PanelEntry(drawing=path)
    made = pipeline.make_job(default_job(path, panels=(entry, entry)), tables=tables)
    assert [placement.panel.name for placement in made.layout.placements] == ["plate-1", "plate-2"]
    assert codes(made).count("panels-numbered") == 1
    named = (PanelEntry(drawing=path, name="left"), PanelEntry(drawing=path, name="right"))
    made = pipeline.make_job(default_job(path, panels=named), tables=tables)
    assert [placement.panel.name for placement in made.layout.placements] == ["left", "right"]
    assert "panels-numbered" not in codes(made)


FRAMED = (("0", 0, 0, 800, 600), ("FRAME", -100, -100, 1000, 800), ("FRAME", -120, -120, 1040, 840))


def test_a_frame_is_refused_until_it_is_ignored_or_confirmed(draw, tables):
    path = draw(*FRAMED, circles=[("0", 200, 200, 34)])
    with pytest.raises(DrawingRefused) as caught:
        pipeline.make_job(default_job(path), tables=tables)
    (finding,) = caught.value.findings
    assert finding.code == "suspect-frame" and 'match = "FRAME"' in finding.remedy
    ignored = (LayerRule(match="FRAME", means=LayerMeaning.IGNORE),)
    made = pipeline.make_job(default_job(path, layers=ignored), tables=tables)
    assert made.programs[0].verdict.proven and len(made.layout.placements) == 1
    seen = pipeline.inspect_drawing(path, suspects=Suspects.CUT)
    assert len(seen.meant.outlines) == 2 and codes(seen.drawing).count("suspect-frame") == 1


def test_a_rule_that_nothing_is_drawn_on_is_said(draw, tables):
    rules = (LayerRule(match="RAHMEN", means=LayerMeaning.IGNORE),)
    made = pipeline.make_job(default_job(draw(("0", 0, 0, 300, 200)), layers=rules), tables=tables)
    assert "layer-rule-unused" in codes(made)


def test_what_a_layer_s_name_leaves_open_is_said_with_the_fault_it_causes(draw, tables):
    path = draw(("0", 0, 0, 300, 200), lines=[("GROOVE", (20, 20), (100, 20))])
    with pytest.raises(DrawingRefused) as caught:
        pipeline.make_job(default_job(path), tables=tables)
    assert sorted(finding.code for finding in caught.value.findings) == ["layer-not-understood", "open-chain"]


def test_a_recess_too_deep_for_the_sheet_is_refused(draw, tables):
    path = draw(("0", 0, 0, 300, 200), ("RECESS-5", 50, 50, 80, 60))
    with pytest.raises(PanelRefused) as caught:
        pipeline.make_job(default_job(path, **THICK), tables=tables)
    assert [finding.code for finding in caught.value.findings] == ["recess-too-deep"]
    with pytest.raises(PanelRefused) as caught:
        pipeline.make_job(default_job(path, sheet="cast-6-2440x1220"), tables=tables)
    assert [finding.code for finding in caught.value.findings] == ["thickness-not-measured"]


def test_rebates_of_a_turned_panel_are_proven(draw, tables):
    path = draw(("0", 0, 0, 160, 120), ("RECESS-2", -8, -8, 20, 136), ("RECESS-1.5", 80, 90, 40, 30))
    entry = PanelEntry(drawing=path, turn_deg=33.0)
    made = pipeline.make_job(default_job(path, panels=(entry,), margin_mm=30.0, **THICK), tables=tables)
    assert made.programs[0].verdict.proven, [str(finding) for finding in made.programs[0].verdict.findings]
