"""Drawing frames and lettering are asked about; grilles, nested panels and sheets of panels are not."""

from math import cos, pi, sin

import pytest

from cam.findings import Severity
from cam.panel.meanings import add_meaning, find_meanings
from cam.panel.panel import Role
from cam.tables.job import LayerMeaning, LayerRule, Suspects

# letters of our own as outlines in a square of 1 by 1.2, the second loop of some lying within the first
GLYPHS = {
    "E": [[(0, 0), (0.7, 0), (0.7, 0.2), (0.2, 0.2), (0.2, 0.5), (0.6, 0.5),
           (0.6, 0.7), (0.2, 0.7), (0.2, 1), (0.7, 1), (0.7, 1.2), (0, 1.2)]],
    "L": [[(0, 0), (0.6, 0), (0.6, 0.2), (0.2, 0.2), (0.2, 1.2), (0, 1.2)]],
    "T": [[(0.3, 0), (0.5, 0), (0.5, 1), (0.8, 1), (0.8, 1.2), (0, 1.2), (0, 1), (0.3, 1)]],
    "F": [[(0, 0), (0.2, 0), (0.2, 0.5), (0.6, 0.5), (0.6, 0.7), (0.2, 0.7), (0.2, 1), (0.7, 1), (0.7, 1.2), (0, 1.2)]],
    "I": [[(0, 0), (0.2, 0), (0.2, 1.2), (0, 1.2)]],
    "A": [[(0, 0), (0.2, 0), (0.3, 0.35), (0.6, 0.35), (0.7, 0), (0.9, 0), (0.55, 1.2), (0.35, 1.2)],
          [(0.36, 0.55), (0.54, 0.55), (0.45, 0.9)]],
    "O": [[(0.45 + 0.45 * cos(t), 0.6 + 0.6 * sin(t)) for t in [pi * k / 12 for k in range(24)]],
          [(0.45 + 0.25 * cos(t), 0.6 + 0.4 * sin(t)) for t in [pi * k / 12 for k in range(24)]]],
    "o": [[(0.35 + 0.35 * cos(t), 0.4 + 0.4 * sin(t)) for t in [pi * k / 12 for k in range(24)]],
          [(0.35 + 0.2 * cos(t), 0.4 + 0.22 * sin(t)) for t in [pi * k / 12 for k in range(24)]]],
    "1": [[(0.2, 0), (0.4, 0), (0.4, 1.2), (0.2, 1.2), (0, 1), (0, 0.85), (0.2, 0.95)]],
    "7": [[(0.15, 0), (0.4, 0), (0.7, 1.05), (0.7, 1.2), (0, 1.2), (0, 1), (0.45, 1)]],
}  # fmt: skip


def letter(sheet, layer, x, y, text, *, size=10.0, turned=False):
    for glyph in text:
        if glyph != " ":
            for loop in GLYPHS[glyph]:
                points = [(x + size * u, y + size * v) for u, v in loop]
                if turned:
                    points = [(x - size * v, y + size * u) for u, v in loop]
                sheet.space.add_lwpolyline(points, close=True, dxfattribs={"layer": layer})
        wide = max(u for u, _ in GLYPHS[glyph][0]) + 0.15 if glyph != " " else 0.4
        if turned:
            y += size * wide
        else:
            x += size * wide


def panel(sheet, x=0.0, y=0.0, width=800.0, height=500.0, layer="0"):
    sheet.rectangle(layer, x, y, width, height)
    sheet.rectangle(layer, x + 100, y + 100, 146, 86)
    sheet.circle(layer, x + 500, y + 200, 34)
    sheet.circle(layer, x + 600, y + 200, 34)


def frame_with_title_block(sheet, layer):
    sheet.rectangle(layer, 0, 0, 1189, 841)
    sheet.rectangle(layer, 20, 10, 1159, 821)
    sheet.line(layer, (989, 10), (989, 110), (1179, 110))
    sheet.line(layer, (989, 60), (1179, 60))
    sheet.line(layer, (1080, 10), (1080, 60))
    for place, text in (((995, 20), "CANTEEN"), ((995, 70), "WEST WALL"), ((1090, 20), "1:1")):
        sheet.text(layer, *place, text, height=5.0)


@pytest.fixture
def ask(read_sheet):
    """Return a function that reads what a function draws, and finds what is asked about."""

    def do(drawing, *, rules=(), suspects=Suspects.ASK):
        read = read_sheet(drawing, rules=rules)
        meant = find_meanings(read, rules=rules, suspects=suspects)
        return add_meaning(read, meant), meant

    return do


def errors(drawing):
    return [f.code for f in drawing.findings if f.severity is Severity.ERROR]


def block_of_cells(sheet):
    sheet.rectangle("0", 0, 0, 841, 594)
    sheet.rectangle("0", 100, 200, 500, 300)
    sheet.rectangle("0", 641, 0, 200, 60)
    for x, y in ((650, 10), (650, 30), (700, 10)):
        sheet.text("0", x, y, "x", height=4.0)


def block_beside_the_corner(sheet):
    sheet.rectangle("0", 0, 0, 841, 594)
    sheet.rectangle("0", 100, 200, 500, 300)
    sheet.rectangle("0", 631, 10, 200, 60)
    for x, y in ((650, 10), (650, 30), (700, 10)):
        sheet.text("0", x, y, "x", height=4.0)


def frame_round_a_panel_with_holes(sheet):
    sheet.rectangle("0", 0, 0, 1189, 841)
    panel(sheet, 200, 150)


def doubled_frame(sheet):
    sheet.rectangle("0", 0, 0, 1189, 841)
    sheet.rectangle("0", 20, 10, 1159, 821)
    sheet.rectangle("0", 200, 200, 600, 400)


def block_along_the_frame(sheet):
    sheet.rectangle("0", 0, 0, 1200, 850)
    sheet.rectangle("0", 911, 0, 289, 120)
    sheet.text("0", 950, 40, "REV A", height=8.0)
    sheet.rectangle("0", 200, 300, 500, 300)
    sheet.circle("0", 300, 400, 15)


def rows_along_the_frame(sheet):
    block_along_the_frame(sheet)
    sheet.rectangle("0", 911, 0, 289, 30)
    sheet.circle("0", 1150, 60, 12)


def loose_lines(sheet):
    for x, y, width, height in ((0, 0, 1200, 850), (10, 10, 1180, 830), (200, 300, 500, 300)):
        sheet.line("0", (x, y), (x + width, y), (x + width, y + height), (x, y + height), (x, y))
    sheet.line("0", (989, 10), (989, 110), (1190, 110))
    sheet.line("0", (989, 60), (1190, 60))
    sheet.circle("0", 300, 400, 15)


def sheet_of_paper(sheet):
    sheet.rectangle("0", 0, 0, 594, 420)
    sheet.rectangle("0", 80, 80, 400, 260)


def sheet_of_paper_at_a_scale(sheet):
    sheet.rectangle("0", 0, 0, 2970, 4200)
    sheet.rectangle("0", 300, 400, 1500, 600)
    sheet.rectangle("0", 300, 1400, 1500, 600)


def sheet_in_inches(sheet):
    sheet.rectangle("0", 0, 0, 17 * 25.4, 11 * 25.4)
    sheet.rectangle("0", 80, 80, 240, 120)


def frame_of_a_sheet(sheet):
    sheet.rectangle("0", 20, 10, 390, 277)
    sheet.rectangle("0", 80, 80, 240, 120)


def sheet_with_a_cell(sheet):
    sheet_of_paper(sheet)
    sheet.rectangle("0", 414, 0, 180, 50)


def full_frame(sheet):
    frame_with_title_block(sheet, "0")
    panel(sheet, 100, 200)


FRAMES = {
    "two lines and a ruled title block": (full_frame, 2, 3),
    "a cell on the frame": (block_of_cells, 2, 0),
    "a cell beside the corner": (block_beside_the_corner, 2, 0),
    "no title block, but holes": (frame_round_a_panel_with_holes, 1, 0),
    "two lines": (doubled_frame, 2, 0),
    "a cell that shares the frame's edges": (block_along_the_frame, 2, 0),
    "cells in a cell that shares the frame's edges": (rows_along_the_frame, 4, 0),
    "loose lines that end on the frame": (loose_lines, 2, 2),
    "a sheet of paper": (sheet_of_paper, 1, 0),
    "a sheet of paper at a scale": (sheet_of_paper_at_a_scale, 1, 0),
    "a sheet of paper in inches": (sheet_in_inches, 1, 0),
    "the frame of a sheet": (frame_of_a_sheet, 1, 0),
    "a sheet of paper with a cell": (sheet_with_a_cell, 2, 0),
}


@pytest.mark.parametrize(("drawing", "loops", "chains"), FRAMES.values(), ids=FRAMES)
def test_a_frame_is_asked_about_once(ask, drawing, loops, chains):
    read, meant = ask(drawing)
    assert errors(read) == ["suspect-frame"]
    (suspect,) = meant.suspects
    assert len(suspect.loops) == loops
    said = suspect.finding
    assert f"{loops} loop" in said.message and (f"{chains} open chains" in said.message) == bool(chains)
    outer = read.loops[suspect.loops[0]].contour.points_mm
    assert said.origin.handle in said.message and [said.origin.x_mm, said.origin.y_mm] == outer.min(axis=0).tolist()
    assert "IGNORE" in said.remedy and "--cut-suspects" in said.remedy
    # the panel is nested as if the frame were not there
    assert len(meant.outlines) == (2 if drawing is sheet_of_paper_at_a_scale else 1)
    assert not set(meant.outlines) & set(suspect.loops)
    others = [loop.role for i, loop in enumerate(meant.loops) if i not in (*suspect.loops, *meant.outlines)]
    assert set(others) <= {Role.CUTOUT, Role.HOLE}


def test_a_frame_on_a_layer_of_its_own_is_told_how_to_go(ask):
    def drawing(sheet):
        frame_with_title_block(sheet, "RAHMEN")
        panel(sheet, 100, 200, layer="OUTLINE")

    read, meant = ask(drawing)
    (suspect,) = meant.suspects
    assert 'match = "RAHMEN"' in suspect.finding.remedy
    # within the frame the panel's own layers are right
    assert errors(read) == ["suspect-frame"] + ["layer-against-nesting"] * 3

    rules = (LayerRule(match="RAHMEN", means=LayerMeaning.IGNORE),)
    read, meant = ask(drawing, rules=rules)
    assert meant.suspects == () and len(meant.outlines) == 1


def test_what_is_confirmed_is_cut(ask):
    read, meant = ask(frame_round_a_panel_with_holes, suspects=Suspects.CUT)
    assert errors(read) == []
    (note,) = [f for f in read.findings if f.code == "suspect-frame"]
    assert note.severity is Severity.NOTE and "cut" in note.message
    assert [meant.loops[i].role for i in range(5)] == [Role.OUTLINE, Role.CUTOUT, *[Role.OUTLINE] * 3]


def test_an_outline_by_its_layer_is_no_frame(ask):
    def drawing(sheet):
        sheet.rectangle("OUTLINE", 0, 0, 1189, 841)
        panel(sheet, 200, 150)

    assert ask(drawing)[1].suspects == ()


def test_other_faults_in_a_framed_drawing_are_still_said(ask):
    def drawing(sheet):
        full_frame(sheet)
        sheet.line("0", (300, 500), (400, 500), (400, 550))

    assert sorted(errors(ask(drawing)[0])) == ["open-chain", "suspect-frame"]


def test_a_block_s_faults_come_back_where_its_frame_is_cut(ask):
    read, _ = ask(block_along_the_frame, suspects=Suspects.CUT)
    assert sorted(errors(read)) == ["crossing-loops", "overlapping-pieces"]
    read, _ = ask(loose_lines, suspects=Suspects.CUT)
    assert sorted(errors(read)) == ["open-chain"] * 2 + ["t-junction"] * 4


def test_a_panel_s_faults_by_a_title_block_are_still_said(ask):
    def reaching_in(sheet):
        block_along_the_frame(sheet)
        sheet.rectangle("0", 800, 50, 200, 300)

    read, meant = ask(reaching_in)
    assert errors(read)[0] == "suspect-frame" and "crossing-loops" in errors(read)
    assert len(meant.outlines) == 2

    def open_in_the_block(sheet):
        loose_lines(sheet)
        sheet.line("0", (1100, 80), (1050, 300), (1150, 300))

    codes = errors(ask(open_in_the_block)[0])
    assert codes[0] == "suspect-frame" and "open-chain" in codes


def test_what_its_layer_states_is_no_title_block(ask):
    def drawing(sheet):
        sheet.rectangle("0", 0, 0, 1200, 850)
        sheet.rectangle("OUTLINE", 911, 0, 289, 120)
        sheet.text("0", 950, 40, "SHELF", height=8.0)
        sheet.rectangle("OUTLINE", 200, 300, 500, 300)

    read, meant = ask(drawing)
    assert meant.suspects == () and "overlapping-pieces" in errors(read)


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("text", ["To", "17", "A7", "EO"])
def test_two_letters_are_a_word_where_one_holds_a_loop(ask, text, turned):
    def drawing(sheet):
        panel(sheet)
        letter(sheet, "0", 300, 330, text, turned=turned)

    read, meant = ask(drawing)
    holding = set(text) & set("AOo")
    assert errors(read) == ["suspect-lettering"] * bool(holding)
    assert len(meant.suspects) == bool(holding)
    assert sum(len(suspect.loops) for suspect in meant.suspects) == 3 * bool(holding)


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("text", ["FLAT", "TOE LOFT", "A17", "Loo 7"])
@pytest.mark.parametrize("size", [3.0, 10.0, 40.0])
def test_lettering_on_a_panel_is_asked_about(ask, text, size, turned):
    def drawing(sheet):
        panel(sheet)
        letter(sheet, "0", *((700, 20) if turned else (300, 330)), text, size=size, turned=turned)

    read, meant = ask(drawing)
    assert errors(read) == ["suspect-lettering"]
    (suspect,) = meant.suspects
    assert len(suspect.loops) == sum(len(GLYPHS[glyph]) for glyph in text if glyph != " ")
    assert meant.outlines == (0,)


def test_lines_of_lettering_are_one_text(ask):
    def drawing(sheet):
        panel(sheet)
        letter(sheet, "TEXT", 300, 400, "FLAT TOE")
        letter(sheet, "TEXT", 300, 380, "LEFT 17")
        letter(sheet, "TEXT", 50, 30, "TALE")

    read, meant = ask(drawing)
    assert errors(read) == ["suspect-lettering"] * 2
    assert 'match = "TEXT"' in meant.suspects[0].finding.remedy
    assert len(meant.suspects[0].loops) + len(meant.suspects[1].loops) == len(meant.loops) - 4


def grille_of_slots(sheet):
    sheet.rectangle("0", 0, 0, 800, 500)
    for i in range(12):
        for j in range(6):
            sheet.rectangle("0", 100 + i * 12, 100 + j * 40, 6, 30)


def grille_of_crosses(sheet):
    sheet.rectangle("0", 0, 0, 800, 500)
    for i in range(12):
        for j in range(4):
            x, y = 100 + 30 * i, 100 + 40 * j
            cross = [(0, 8), (8, 8), (8, 0), (16, 0), (16, 8), (24, 8), (24, 16), (16, 16), (16, 24), (8, 24), (8, 16)]
            points = [(x + u, y + v) for u, v in [*cross, (0, 16)]]
            sheet.space.add_lwpolyline(points, close=True)


def grille_of_holes(sheet):
    sheet.rectangle("0", 0, 0, 800, 500)
    for i in range(20):
        for j in range(20):
            sheet.circle("0", 100 + i * 10, 50 + j * 10, 2.0 + 0.1 * (i % 5))


def twelve_panels(sheet):
    for i in range(4):
        for j in range(3):
            panel(sheet, 820.0 * i, 520.0 * j)
    sheet.text("0", 50, 300, "ONE")


def nested_panels(sheet):
    sheet.rectangle("0", 0, 0, 1000, 700)
    sheet.rectangle("0", 100, 100, 800, 500)
    for x in (120, 450):
        sheet.rectangle("0", x, 120, 300, 200)
        sheet.circle("0", x + 100, 200, 10)
    sheet.text("0", 30, 30, "BEZEL")


def labelled_openings(sheet):
    sheet.rectangle("0", 0, 0, 1000, 600)
    for i, (width, height) in enumerate([(48, 24), (72, 36), (30, 30), (76, 48), (20, 60)]):
        sheet.rectangle("0", 100 + 90 * i, 40, width, height)
        sheet.text("0", 105 + 90 * i, 45, "SOCKET", height=4.0)


def a_bezel(sheet):
    sheet.rectangle("0", 0, 0, 1000, 600)
    sheet.rectangle("0", 25, 25, 950, 550)


def keyholes(sheet):
    sheet.rectangle("0", 0, 0, 800, 300)
    for i in range(4):
        x, y = 100 + 20 * i, 200
        points = [(x, y, 0), (x + 5, y, 0), (x + 5, y + 12, 2.2), (x, y + 12, 0)]
        sheet.space.add_lwpolyline(points, format="xyb", close=True)


def a_row_of_letters_to_be_panels(sheet):
    letter(sheet, "0", 0, 0, "FLAT", size=120.0)


def two_keyholes(sheet):
    sheet.rectangle("0", 0, 0, 800, 300)
    for x in (100, 120):
        points = [(x, 200, 0), (x + 5, 200, 0), (x + 5, 212 + x / 20, 2.2), (x, 212 + x / 20, 0)]
        sheet.space.add_lwpolyline(points, format="xyb", close=True)


def two_small_parts(sheet):
    sheet.space.add_lwpolyline([(0, 0), (50, 0), (50, 50), (25, 30), (0, 50)], close=True)
    sheet.circle("0", 25, 16, 6)
    sheet.rectangle("0", 60, 0, 62, 62)
    sheet.circle("0", 91, 31, 8)


def slots_of_a_grille(sheet):
    sheet.rectangle("0", 0, 0, 500, 300)
    for i in range(10):
        sheet.rectangle("0", 50 + i * 40, 60, 16, 180)


def a_sign_with_holes(sheet):
    sheet.rectangle("0", 0, 0, 420, 297)
    for x, y in ((15, 15), (405, 15), (15, 282), (405, 282)):
        sheet.circle("0", x, y, 4)


def a_sign_with_an_opening(sheet):
    sheet.rectangle("0", 0, 0, 420, 297)
    sheet.rectangle("0", 200, 100, 68, 68)


def a_splashback_with_a_window(sheet):
    sheet.rectangle("0", 0, 0, 1200, 620)
    sheet.rectangle("0", 300, 150, 600, 350)


def a_bezel_of_no_sheet_s_size(sheet):
    sheet.rectangle("0", 0, 0, 707, 500)
    sheet.rectangle("0", 80, 80, 547, 340)


def labelled_openings_in_corners(sheet):
    sheet.rectangle("0", 0, 0, 1000, 600)
    for x in (10, 842):
        sheet.rectangle("0", x, 10, 148, 86)
        sheet.text("0", x + 5, 20, "SOCKET", height=4.0)


UNSUSPICIOUS = [
    two_keyholes, two_small_parts, slots_of_a_grille, a_sign_with_holes, a_sign_with_an_opening,
    a_splashback_with_a_window, a_bezel_of_no_sheet_s_size, labelled_openings_in_corners,
    grille_of_slots, grille_of_crosses, grille_of_holes, twelve_panels, nested_panels, labelled_openings, a_bezel,
    keyholes, a_row_of_letters_to_be_panels, panel,
]  # fmt: skip


@pytest.mark.parametrize("drawing", UNSUSPICIOUS, ids=lambda drawing: drawing.__name__)
def test_what_is_to_be_cut_is_not_asked_about(ask, drawing):
    read, meant = ask(drawing)
    assert meant.suspects == () and errors(read) == []


def test_notches_drawn_over_an_outline_are_faults_and_no_frame(ask):
    def drawing(sheet):
        panel(sheet)
        for x in (200, 400, 600):
            sheet.line("0", (x, 0), (x, 30), (x + 50, 30), (x + 50, 0))

    read, meant = ask(drawing)
    assert meant.suspects == () and errors(read).count("open-chain") == 3
