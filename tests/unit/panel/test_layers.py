"""Layers' names by castcut's own convention and by the job's rules."""

import pytest

from cam.drawing.layers import LayerUse
from cam.panel.layers import BY_NESTING, CONVENTION, find_meaning, find_rule, find_uses, read_layer_name
from cam.panel.panel import Finish
from cam.tables.job import LayerMeaning, LayerRule


@pytest.mark.parametrize(
    ("name", "means", "depth", "width", "finish"),
    [
        ("OUTLINE", LayerMeaning.OUTLINE, None, None, None),
        ("outline-hidden", LayerMeaning.OUTLINE, None, None, Finish.HIDDEN),
        ("Outline_Butted", LayerMeaning.OUTLINE, None, None, Finish.BUTTED),
        ("CUTOUT", LayerMeaning.CUTOUT, None, None, None),
        ("Cut-Out trimmed", LayerMeaning.CUTOUT, None, None, Finish.TRIMMED),
        ("HOLE", LayerMeaning.HOLE, None, None, None),
        ("hole-shown", LayerMeaning.HOLE, None, None, Finish.SHOWN),
        ("RECESS-2.5", LayerMeaning.RECESS, 2.5, None, None),
        ("recess 2,5", LayerMeaning.RECESS, 2.5, None, None),
        ("RECESS_2P5", LayerMeaning.RECESS, 2.5, None, None),
        ("recess-3mm", LayerMeaning.RECESS, 3.0, None, None),
        ("GROOVE-6X2", LayerMeaning.GROOVE, 2.0, 6.0, None),
        ("groove 3.5x1,25", LayerMeaning.GROOVE, 1.25, 3.5, None),
        ("IGNORE", LayerMeaning.IGNORE, None, None, None),
        ("shown", None, None, None, Finish.SHOWN),
        ("BUTTED", None, None, None, Finish.BUTTED),
    ],
)
def test_names_of_the_convention(name, means, depth, width, finish):
    meaning = read_layer_name(name)
    assert meaning.fault is None
    assert (meaning.means, meaning.depth_mm, meaning.width_mm, meaning.finish) == (means, depth, width, finish)


@pytest.mark.parametrize(
    "name", ["0", "Defpoints", "CUT", "PANEL 3", "OUTLINES", "HOLES", "A-RECESS-2", "", "SHOWNHERE"]
)
def test_any_other_name_leaves_it_to_nesting(name):
    assert read_layer_name(name) == BY_NESTING


@pytest.mark.parametrize(
    "name",
    [
        "RECESS",
        "RECESSES",
        "RECESS2",
        "RECESS-",
        "RECESS-0",
        "RECESS-2-SHOWN",
        "RECESS-101",
        "RECESS-1.2.3",
        "GROOVE",
        "GROOVE-6",
        "GROOVE-6X",
        "GROOVE-0X2",
        "GROOVE-201X2",
        "GROOVES",
        "IGNORED",
        "IGNORE-2",
        "OUTLINE-2",
        "OUTLINE-POLISHED",
        "HOLE 8",
        "CUTOUT-HIDDEN-2",
        "HIDDEN LINES",
    ],
)
def test_a_name_that_begins_like_one_of_ours_is_refused_with_a_remedy(name):
    meaning = read_layer_name(name)
    assert meaning.fault and meaning.remedy and meaning.means is None
    assert meaning.use is LayerUse.CONTOUR


def test_the_table_of_the_convention_says_what_the_reader_understands():
    for name, _ in CONVENTION[:-1]:
        meaning = read_layer_name(name)
        assert meaning.fault is None and meaning != BY_NESTING


def test_the_first_rule_that_matches_decides():
    rules = (
        LayerRule(match="tasche *", means=LayerMeaning.RECESS, depth_mm=2.0),
        LayerRule(match="T*", means=LayerMeaning.IGNORE),
        LayerRule(match="[a]?", finish="butted"),
    )
    assert find_meaning("TASCHE 1", rules=rules).depth_mm == 2.0
    assert find_meaning("text", rules=rules).means is LayerMeaning.IGNORE
    assert find_meaning("[A]1", rules=rules).finish is Finish.BUTTED
    assert find_rule("a1", rules=rules) is None
    use = find_uses(rules)
    assert [use(name) for name in ("Tasche 4", "TEXT", "0", "groove-4x1")] == [
        LayerUse.RECESS,
        LayerUse.IGNORE,
        LayerUse.CONTOUR,
        LayerUse.GROOVE,
    ]


def test_a_rule_goes_before_the_convention_and_leaves_it_what_it_does_not_say():
    finish_only = (LayerRule(match="*", finish="trimmed"),)
    recess = find_meaning("RECESS-3", rules=finish_only)
    assert (recess.means, recess.depth_mm) == (LayerMeaning.RECESS, 3.0)
    outline = find_meaning("OUTLINE-HIDDEN", rules=finish_only)
    assert (outline.means, outline.finish) == (LayerMeaning.OUTLINE, Finish.TRIMMED)
    over = (LayerRule(match="RECESS*", means=LayerMeaning.CUTOUT),)
    assert find_meaning("RECESS", rules=over).fault is None
    assert find_meaning("RECESS-2", rules=over).means is LayerMeaning.CUTOUT
    assert find_meaning("RECESS-2", rules=over).depth_mm is None
