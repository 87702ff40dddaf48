"""What loops are by layers and nesting together, from drawings on disk; and where the two disagree."""

from math import pi

import pytest

from cam.errors import PanelRefused
from cam.findings import Severity
from cam.geometry.contour import rectangle
from cam.geometry.measure import measure_area_mm2, measure_region_area_mm2
from cam.panel.meanings import add_meaning, find_meanings, note_unused_rules
from cam.panel.panel import Finish, Role
from cam.tables.job import Chamfer, LayerMeaning, LayerRule


def plate(sheet, layer="0"):
    sheet.rectangle(layer, 0, 0, 300, 200)


def errors(drawing):
    return [f for f in drawing.findings if f.severity is Severity.ERROR]


def test_every_meaning_at_once(find_drawn):
    def drawing(sheet):
        plate(sheet, "OUTLINE")
        sheet.rectangle("CUTOUT", 20, 20, 40, 40)
        sheet.circle("HOLE", 100, 30, 4)
        sheet.circle("CUTOUT", 130, 30, 4)
        sheet.rectangle("RECESS-2.5", 20, 100, 60, 60)
        sheet.rectangle("RECESS-2.5", 35, 115, 20, 20)
        sheet.line("GROOVE-6X2", (120, 100), (250, 100), (250, 150))
        sheet.rectangle("IGNORE", -100, -100, 900, 700)
        sheet.line("IGNORE", (-50, 100), (400, 100))

    (panel,) = find_drawn(drawing)
    assert [(f.label, f.role) for f in panel.features] == [
        ("outline", Role.OUTLINE),
        ("cut-out 1", Role.CUTOUT),
        ("hole 1", Role.HOLE),
        ("hole 2", Role.HOLE),
    ]
    assert [(r.label, r.role, r.depth_mm, r.width_mm, r.layer) for r in panel.recesses] == [
        ("recess 1", Role.RECESS, 2.5, None, "RECESS-2.5"),
        ("groove 1", Role.GROOVE, 2.0, 6.0, "GROOVE-6X2"),
    ]
    recess, groove = panel.recesses
    assert len(recess.region.holes) == 1 and groove.centre_line.tolist() == [
        [120, 100, 0],
        [250, 100, 0],
        [250, 150, 0],
    ]
    assert measure_region_area_mm2(groove.region) == pytest.approx((130 + 50) * 6 + pi * 9 * 1.25 - 9)


def test_a_cut_out_in_a_recess_is_a_cut_out_of_the_panel(find_drawn):
    def drawing(sheet):
        plate(sheet)
        sheet.rectangle("RECESS-2", 50, 50, 100, 100)
        sheet.circle("0", 100, 100, 10)
        sheet.rectangle("0", 60, 60, 20, 20)

    (panel,) = find_drawn(drawing)
    assert [f.role for f in panel.features] == [Role.OUTLINE, Role.CUTOUT, Role.HOLE]
    assert panel.recesses[0].region.holes == ()


def test_a_rebate_may_share_the_outline_s_edge_and_pass_it(read_sheet, find_drawn):
    def drawing(sheet):
        plate(sheet)
        sheet.rectangle("RECESS-2", 0, 0, 20, 200)
        sheet.rectangle("RECESS-3", 280, -5, 40, 210)
        sheet.rectangle("GROOVE-4X1", -10, 90, 320, 20)

    assert errors(read_sheet(drawing)) == []
    (panel,) = find_drawn(drawing)
    assert [(r.label, r.depth_mm) for r in panel.recesses] == [("recess 1", 2.0), ("groove 1", 1.0), ("recess 2", 3.0)]


def test_recess_faults_are_said_within_a_layer(read_sheet):
    def crossing(sheet):
        plate(sheet)
        sheet.rectangle("RECESS-2", 20, 20, 50, 50)
        sheet.rectangle("RECESS-2", 40, 40, 50, 50)

    assert [f.code for f in errors(read_sheet(crossing))] == ["crossing-loops"]

    def open_recess(sheet):
        plate(sheet)
        sheet.line("RECESS-2", (20, 20), (80, 20), (80, 80))

    drawing = read_sheet(open_recess)
    assert [f.code for f in errors(drawing)] == ["open-chain"]
    assert len(drawing.open_chains) == 1 and drawing.centre_lines == ()


def test_grooves_may_end_on_and_cross_each_other_but_not_themselves(read_sheet):
    def drawing(sheet):
        plate(sheet)
        sheet.line("GROOVE-6X2", (20, 50), (280, 50))
        sheet.line("GROOVE-6X2", (150, 20), (150, 180))
        sheet.line("GROOVE-6X2", (200, 50), (200, 150))

    read = read_sheet(drawing)
    assert errors(read) == [] and len(read.centre_lines) == 3 and read.open_chains == ()

    def knot(sheet):
        plate(sheet)
        sheet.line("GROOVE-6X2", (20, 50), (200, 50), (200, 120), (100, 120), (100, 20))

    assert [f.code for f in errors(read_sheet(knot))] == ["self-crossing"]


def test_ends_of_different_layers_of_the_face_are_not_joined(read_sheet):
    def drawing(sheet):
        plate(sheet)
        sheet.line("GROOVE-6X2", (20, 50), (200, 50))
        sheet.line("GROOVE-4X2", (200, 50), (200, 120))
        sheet.line("groove-6x2", (20, 50), (20, 120))

    read = read_sheet(drawing)
    assert sorted(round(chain.length_mm) for chain in read.centre_lines) == [70, 250]


def test_what_is_ignored_can_neither_join_nor_fault(read_sheet):
    def drawing(sheet):
        plate(sheet)
        sheet.line("IGNORE", (0, 0), (150, 100))
        sheet.line("IGNORE", (0, 0), (0, 200))
        block = sheet.document.blocks.new("TITLE")
        block.add_line((0, 0), (50, 50), dxfattribs={"layer": "0"})
        block.add_lwpolyline([(0, 0), (300, 0), (300, 50)], dxfattribs={"layer": "NOTES"})
        sheet.space.add_blockref("TITLE", (10, 10), dxfattribs={"layer": "IGNORE"})
        sheet.text("IGNORE", 20, 20, "NOT A NAME")

    read = read_sheet(drawing)
    assert errors(read) == [] and len(read.loops) == 1 and read.texts == ()
    (said,) = [f for f in read.findings if f.code == "ignored-layer"]
    assert "1 INSERT, 2 LINE, 1 TEXT" in said.message
    assert "IGNORE" in read.layers


def test_a_drawing_of_nothing_but_recesses_has_no_outline(read_sheet):
    read = read_sheet(lambda sheet: sheet.rectangle("RECESS-2", 0, 0, 100, 100))
    assert [f.code for f in errors(read)] == ["no-closed-loop"]


def test_the_job_s_rules_go_before_the_names(find_drawn):
    def drawing(sheet):
        plate(sheet, "PLATTE")
        sheet.rectangle("TASCHE", 20, 20, 40, 40)
        sheet.line("NUT", (100, 100), (200, 100))
        sheet.rectangle("RAHMEN 1", -100, -100, 900, 700)

    rules = (
        LayerRule(match="TASCHE*", means=LayerMeaning.RECESS, depth_mm=1.5),
        LayerRule(match="nut", means=LayerMeaning.GROOVE, depth_mm=1.0, width_mm=4.0),
        LayerRule(match="Rahmen ?", means=LayerMeaning.IGNORE),
        LayerRule(match="PLATTE", finish="trimmed"),
    )
    (panel,) = find_drawn(drawing, rules=rules)
    assert [(r.role, r.depth_mm, r.width_mm) for r in panel.recesses] == [
        (Role.RECESS, 1.5, None),
        (Role.GROOVE, 1.0, 4.0),
    ]
    assert panel.features[0].finishes == (Finish.TRIMMED,) * 4
    assert panel.features[0].finish is Finish.TRIMMED


def test_a_rule_that_matches_nothing_is_said(read_sheet):
    rules = (LayerRule(match="0", means=LayerMeaning.OUTLINE), LayerRule(match="TACHE", means=LayerMeaning.IGNORE))
    read = read_sheet(plate, rules=rules)
    (finding,) = note_unused_rules([read], rules=rules, job="job.toml")
    assert (finding.code, finding.origin.key, finding.severity) == ("layer-rule-unused", "layer[2].match", "warning")
    assert "'TACHE'" in finding.message


def test_edges_drawn_on_layers_of_their_own_have_their_finish(read_sheet, find_drawn):
    def drawing(sheet):
        sheet.line("HIDDEN", (0, 0), (300, 0))
        sheet.line("OUTLINE", (300, 0), (300, 200), (0, 200))
        sheet.line("OUTLINE-BUTTED", (0, 200), (0, 0))
        sheet.rectangle("CUTOUT-SHOWN", 50, 50, 60, 60)
        sheet.circle("0", 200, 100, 8)

    read = read_sheet(drawing)
    assert [f.code for f in read.findings] == ["mixed-layers"]
    assert add_meaning(read, find_meanings(read)).findings == ()
    (panel,) = find_drawn(drawing)
    outline, cutout, hole = panel.features
    contour = panel.region.outer
    ends = zip(
        contour.points_mm.tolist(), [*contour.points_mm[1:].tolist(), contour.points_mm[0].tolist()], strict=True
    )
    got = {(tuple(a), tuple(b)): finish for (a, b), finish in zip(ends, outline.finishes, strict=True)}
    assert got == {
        ((0, 0), (300, 0)): Finish.HIDDEN,
        ((300, 0), (300, 200)): Finish.SHOWN,
        ((300, 200), (0, 200)): Finish.SHOWN,
        ((0, 200), (0, 0)): Finish.BUTTED,
    }
    assert outline.finish is Finish.SHOWN
    assert set(cutout.finishes) == {Finish.SHOWN} and len(cutout.finishes) == 8
    assert hole.finishes == (Finish.HIDDEN,) * 2


@pytest.mark.parametrize("clockwise", [False, True])
def test_finishes_follow_the_contour_through_winding_and_rounding(find_drawn, clockwise):
    points = [(0, 0), (300, 0), (300, 80), (120, 80), (120, 200), (0, 200)]
    layers = ["SHOWN", "HIDDEN", "TRIMMED", "BUTTED", "HIDDEN", "SHOWN"]

    def drawing(sheet):
        sides = list(zip(points, [*points[1:], points[0]], layers, strict=True))
        for a, b, layer in reversed(sides) if clockwise else sides:
            sheet.line(layer, *((b, a) if clockwise else (a, b)))

    (panel,) = find_drawn(drawing)
    contour, outline = panel.region.outer, panel.features[0]
    assert len(outline.finishes) == len(contour) == 7
    seen = {}
    for (x, y, bulge), finish in zip(contour.vertices.tolist(), outline.finishes, strict=True):
        seen[round(x), round(y), bulge != 0.0] = finish
    assert seen == {
        (0, 0, False): Finish.SHOWN,
        (300, 0, False): Finish.HIDDEN,
        (300, 80, False): Finish.TRIMMED,
        # the fillet between trimmed and butted, by the one that asks for more
        (125, 80, True): Finish.BUTTED,
        (120, 85, False): Finish.BUTTED,
        (120, 200, False): Finish.HIDDEN,
        (0, 200, False): Finish.SHOWN,
    }


def test_the_chamfer_of_the_job_is_the_panel_s(find):
    loop = ("0", rectangle((0.0, 0.0), width_mm=300.0, height_mm=200.0))
    (panel,) = find(loop, chamfer=Chamfer(width_mm=0.5, on=("shown", "butted")))
    assert (panel.chamfer_mm, panel.chamfer_on) == (0.5, (Finish.SHOWN, Finish.BUTTED))
    (panel,) = find(loop, chamfer=Chamfer())
    assert (panel.chamfer_mm, panel.chamfer_on) == (0.0, ())


WRONG = {
    "a cut-out with no outline": ("layer-against-nesting", lambda s: s.rectangle("CUTOUT", 400, 0, 50, 50), (400, 0)),
    "a hole outside": ("layer-against-nesting", lambda s: s.circle("HOLE", 400, 0, 5), (405, 0)),
    "an outline in material": ("layer-against-nesting", lambda s: s.rectangle("OUTLINE", 50, 50, 80, 80), (50, 50)),
    "a square hole": ("layer-against-nesting", lambda s: s.rectangle("HOLE", 50, 50, 20, 20), (50, 50)),
    "a name not understood": ("layer-not-understood", lambda s: s.rectangle("RECESS", 50, 50, 20, 20), (50, 50)),
    "a groove without numbers": ("layer-not-understood", lambda s: s.line("GROOVE", (50, 50), (90, 50)), (50, 50)),
}


@pytest.mark.parametrize(("code", "draw_wrong", "at"), WRONG.values(), ids=WRONG)
def test_layers_that_nesting_rules_out_are_said_with_their_place(read_sheet, find_drawn, code, draw_wrong, at):
    def drawing(sheet):
        plate(sheet, "OUTLINE")
        draw_wrong(sheet)

    read = read_sheet(drawing)
    (finding,) = find_meanings(read).findings
    assert (finding.code, finding.severity) == (code, Severity.ERROR)
    assert (finding.origin.x_mm, finding.origin.y_mm) == pytest.approx(at)
    assert finding.origin.handle and finding.origin.layer and finding.remedy
    with pytest.raises(PanelRefused):
        find_drawn(drawing)


def test_a_loop_on_layers_of_two_meanings_is_refused(read_sheet):
    def drawing(sheet):
        plate(sheet)
        sheet.line("CUTOUT", (50, 50), (100, 50), (100, 100))
        sheet.line("HOLE", (100, 100), (50, 100), (50, 50))

    (finding,) = find_meanings(read_sheet(drawing)).findings
    assert finding.code == "layers-disagree"
    assert "CUTOUT (cut-out), HOLE (hole)" in finding.message


def test_an_island_on_the_layer_of_outlines_is_a_panel(find_drawn):
    def drawing(sheet):
        plate(sheet, "OUTLINE")
        sheet.rectangle("CUTOUT", 50, 50, 100, 100)
        sheet.rectangle("OUTLINE", 70, 70, 50, 50)

    panels = find_drawn(drawing)
    assert [measure_area_mm2(panel.region.outer) for panel in panels] == [60000, 2500]


def test_recesses_go_to_the_panel_whose_material_they_lie_in(find_drawn):
    def drawing(sheet):
        plate(sheet)
        sheet.rectangle("0", 50, 50, 100, 100)
        sheet.rectangle("0", 70, 70, 60, 60)
        sheet.rectangle("0", 400, 0, 200, 200)
        sheet.rectangle("RECESS-1", 80, 80, 20, 20)
        sheet.rectangle("RECESS-2", 180, 50, 50, 50)
        sheet.line("GROOVE-4X1", (420, 50), (560, 50))
        sheet.rectangle("RECESS-3", 390, 150, 30, 60)

    large, other, small = find_drawn(drawing)
    assert [r.depth_mm for r in large.recesses] == [2.0]
    assert [(r.label, r.depth_mm) for r in other.recesses] == [("recess 1", 3.0), ("groove 1", 1.0)]
    assert [r.depth_mm for r in small.recesses] == [1.0]


@pytest.mark.parametrize(
    ("draw_off", "words"),
    [
        (lambda s: s.rectangle("RECESS-2", 290, 50, 60, 50), "the panels panel-1 and panel-2"),
        (lambda s: s.rectangle("RECESS-2", 700, 50, 60, 50), "no panel"),
        (lambda s: s.rectangle("RECESS-2", 300, 50, 10, 50), "no panel"),
        (lambda s: s.line("GROOVE-6X2", (270, 150), (360, 150)), "the panels panel-1 and panel-2"),
    ],
)
def test_a_recess_on_no_panel_or_on_two_is_refused(find_drawn, draw_off, words):
    def drawing(sheet):
        plate(sheet)
        sheet.rectangle("0", 310, 0, 200, 150 + 30)
        draw_off(sheet)

    with pytest.raises(PanelRefused) as caught:
        find_drawn(drawing)
    (finding,) = caught.value.findings
    assert finding.code == "recess-off-panel" and words in finding.message and finding.origin.handle
