"""What panels are called: by the job, by texts on them, by their drawing; told apart where names repeat."""

from dataclasses import replace

import pytest
from ezdxf.enums import TextEntityAlignment

from cam.geometry.contour import rectangle
from cam.panel.meanings import find_meanings
from cam.panel.names import find_names, number_names
from cam.tables.job import LayerMeaning, LayerRule

PLATE = rectangle((0.0, 0.0), width_mm=300.0, height_mm=200.0)


def two_plates(sheet):
    sheet.rectangle("0", 0, 0, 300, 200)
    sheet.rectangle("0", 400, 0, 200, 200)


def name(read, given=None, rules=()):
    meant = find_meanings(read, rules=rules)
    names = find_names(read, meant=meant, given=given)
    return [names.by_loop[i] for i in meant.outlines], [f.code for f in names.findings]


def test_without_texts_the_drawing_names_them(read_sheet):
    assert name(read_sheet(two_plates)) == (["panel-1", "panel-2"], [])
    assert name(read_sheet(lambda s: s.rectangle("0", 0, 0, 300, 200), name="left.dxf")) == (["left"], [])


def test_a_text_on_a_panel_names_it(read_sheet):
    def drawing(sheet):
        two_plates(sheet)
        sheet.text("NOTES", 450, 100, "sink  side")
        sheet.text("NOTES", 700, 100, "BESIDE THEM ALL", height=50.0)

    assert name(read_sheet(drawing)) == (["panel-1", "sink side"], ["named-by-text"])
    assert name(read_sheet(drawing), given="wall") == (["wall-1", "wall-2"], [])


def test_of_several_the_tallest_then_the_topmost_then_the_leftmost(read_sheet):
    def drawing(sheet):
        sheet.rectangle("0", 0, 0, 300, 200)
        sheet.text("0", 10, 180, "small", height=4.0)
        sheet.text("0", 10, 20, "low", height=10.0)
        sheet.text("0", 150, 60, "right", height=10.0)
        sheet.text("0", 20, 60, "left", height=10.0)

    read = read_sheet(drawing)
    assert name(read)[0] == ["left"]
    (note,) = find_names(read, meant=find_meanings(read), given=None).findings
    assert "3 more" in note.message and (note.origin.x_mm, note.origin.y_mm) == (20.0, 60.0)


def test_a_text_on_a_panel_in_a_cut_out_names_the_inner_one(read_sheet):
    def drawing(sheet):
        sheet.rectangle("0", 0, 0, 300, 200)
        sheet.rectangle("0", 50, 50, 150, 100)
        sheet.rectangle("0", 70, 70, 100, 60)
        sheet.text("0", 80, 80, "inner")
        sheet.text("0", 10, 10, "outer")

    assert name(read_sheet(drawing))[0] == ["outer", "inner"]


def test_ignored_and_empty_texts_name_nothing(read_sheet):
    def drawing(sheet):
        sheet.rectangle("0", 0, 0, 300, 200)
        sheet.text("IGNORE", 10, 10, "note")
        sheet.text("MASSE", 10, 30, "300")
        sheet.text("0", 10, 50, "   ")

    rules = (LayerRule(match="mass*", means=LayerMeaning.IGNORE),)
    assert name(read_sheet(drawing, rules=rules), rules=rules) == (["panel"], [])


def test_centred_and_wrapped_texts(read_sheet):
    def drawing(sheet):
        two_plates(sheet)
        text = sheet.space.add_text("middle", height=10.0)
        # placed by its middle; where its first letter stands is left to the program that shows it
        text.set_placement((150, 100), align=TextEntityAlignment.MIDDLE_CENTER)
        text.dxf.insert = (-50, -50)
        sheet.space.add_mtext("two\\Plines", dxfattribs={"insert": (450, 100), "char_height": 10.0})

    assert name(read_sheet(drawing))[0] == ["middle", "two lines"]


def test_long_texts_are_cut_short(read_sheet):
    def drawing(sheet):
        sheet.rectangle("0", 0, 0, 300, 200)
        sheet.text("0", 10, 10, "word " * 40)

    assert len(name(read_sheet(drawing))[0][0]) <= 60


@pytest.fixture
def panels(build_panel):
    def do(*groups):
        plain = build_panel(PLATE)
        return tuple(tuple(replace(plain, name=each) for each in group) for group in groups)

    return do


def list_names(groups):
    return [[panel.name for panel in group] for group in groups]


def test_names_that_repeat_are_numbered_over_the_whole_job(panels):
    numbered, (note,) = number_names(panels(["wall"], ["wall"], ["door"]), given=(False, False, False))
    assert list_names(numbered) == [["wall-1"], ["wall-2"], ["door"]]
    assert note.code == "panels-numbered" and "'wall'" in note.message and "wall-1, wall-2" in note.message


def test_numbers_pass_names_that_are_taken_and_names_that_the_job_gives_stay(panels):
    numbered, said = number_names(panels(["a", "a"], ["a-1"], ["a"]), given=(False, False, True))
    assert list_names(numbered) == [["a-2", "a-3"], ["a-1"], ["a"]]
    assert len(said) == 1
    everything = [name for group in list_names(numbered) for name in group]
    assert len(set(everything)) == len(everything)


def test_names_of_their_own_stay(panels):
    groups = panels(["a"], ["b"])
    assert number_names(groups, given=(False, False)) == (groups, ())
