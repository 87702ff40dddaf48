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


def full_frame(sheet):
    frame_with_title_block(sheet, "0")
    panel(sheet, 100, 200)


FRAMES = {
    "two lines and a ruled title block": (full_frame, 2, 3),
    "a cell on the frame": (block_of_cells, 2, 0),
    "a cell beside the corner": (block_beside_the_corner, 2, 0),
    "no title block, but holes": (frame_round_a_panel_with_holes, 1, 0),
    "two lines": (doubled_frame, 2, 0),
}


@pytest.mark.parametrize(("drawing", "loops", "chains"), FRAMES.values(), ids=FRAMES)
def test_a_frame_is_asked_about_once(ask, drawing, loops, chains):
    read, meant = ask(drawing)
    assert errors(read) == ["suspect-frame"]
    (suspect,) = meant.suspects
    assert len(suspect.loops) == loops
    said = suspect.finding
    assert f"{loops} loop" in said.message and (f"{chains} open chains" in said.message) == bool(chains)
    assert said.origin.handle in said.message and (said.origin.x_mm, said.origin.y_mm) == (0.0, 0.0)
    assert "IGNORE" in said.remedy and "--cut-suspects" in said.remedy
    # the panel is nested as if the frame were not there
    (outline,) = meant.outlines
    assert outline not in suspect.loops
    others = [loop.role for i, loop in enumerate(meant.loops) if i not in (*suspect.loops, outline)]
    assert set(others) <= {Role.CUTOUT, Role.HOLE}


def test_a_frame_on_a_layer_of_its_own_is_told_how_to_go(ask):
    def drawing(sheet):
        frame_with_title_block(sheet, "RAHMEN")
        panel(sheet, 100, 200, layer="OUTLINE")

    read, meant = ask(drawing)
    (suspect,) = meant.suspects
    assert 'match = "RAHMEN"' in suspect.finding.remedy
    # within the frame the panel's own layers are right
    assert errors(read) == ["layer-against-nesting"] * 3 + ["suspect-frame"]

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


UNSUSPICIOUS = [
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
