"""A workingstep's choices in words."""

import pytest

from cam.geometry.contour import rectangle
from cam.plan.explain import count_passes, say_entry
from cam.plan.workingstep import LastPass, Operation

BOX = rectangle((0.0, 0.0), width_mm=100.0, height_mm=60.0)


@pytest.mark.parametrize(
    ("operation", "words", "passes"),
    [
        (Operation.OUTSIDE, ("ramp of 3 degrees along the contour", "tangent arcs"), 2),
        (Operation.INSIDE, ("ramp of 3 degrees along the contour", "tangent arcs"), 2),
        (Operation.CLEAR, ("helix or ramp of at most 3 degrees", "tangent arcs"), 2),
        (Operation.BORE, ("helix of at most 3 degrees", "half circles"), 2),
        (Operation.RECESS, ("helix or ramp of at most 3 degrees",), 2),
        (Operation.GROOVE, ("along the centre line",), 2),
        (Operation.CHAMFER, ("ramp of 3 degrees along the edge",), 1),
        (Operation.DRILL, ("straight down",), 1),
        (Operation.PILOT, ("straight down",), 1),
    ],
)
def test_every_operation_says_how_it_enters_and_counts_its_passes(make_step, operation, words, passes):
    step = make_step(BOX, operation, pass_heights_mm=(-0.3,))
    assert all(each in say_entry(step) for each in words)
    assert count_passes(step) == passes


def test_no_operation_is_left_out(make_step):
    assert len({say_entry(make_step(BOX, operation)) for operation in Operation}) >= 6


def test_a_last_pass_counts(make_step):
    step = make_step(BOX, pass_heights_mm=(2.0, 0.4))
    assert count_passes(step) == 3
    assert count_passes(make_step(BOX, pass_heights_mm=(2.0, 0.4), last=LastPass(floor_mm=-0.3, cut=step.rough))) == 4
