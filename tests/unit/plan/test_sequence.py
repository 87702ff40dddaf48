"""What must come before what: stages of a panel, cutter changes, panels that come loose, panels in panels."""

from itertools import pairwise, permutations
from random import Random

import pytest

from cam.geometry.contour import circle, rectangle
from cam.plan.order import order_stops
from cam.plan.sequence import STAGE, Cut, Stage, find_stops, is_held
from cam.plan.workingstep import Bridge, LastPass, Operation

HOME = (0.0, 0.0)
BRIDGE = Bridge(x_mm=0.0, y_mm=0.0)
THROUGH = [Operation.BORE, Operation.CLEAR, Operation.INSIDE, Operation.OUTSIDE]


@pytest.fixture(scope="module")
def cut(make_step, find_row):
    """Return a function that makes a cut: panel, operation, cutter; an outline held by a bridge unless told."""
    cutters = {"a": find_row("o1-6-up"), "b": find_row("o1-4-up"), "c": find_row("o1-3-up")}
    keys = iter(range(10_000))

    def make(panel, operation, cutter="a", *, level=0, held=True, size_mm=200.0):
        key = next(keys)
        wall = circle((100.0 + key, 100.0), radius_mm=10.0)
        if operation is Operation.OUTSIDE:
            wall = rectangle((300.0 * panel, 0.0), width_mm=size_mm, height_mm=200.0)
        bridges = (BRIDGE,) if held and operation in (Operation.OUTSIDE, Operation.INSIDE) else ()
        step = make_step(wall, operation, cutter=cutters[cutter], bridges=bridges)
        return Cut(key=key, placement=panel, level=level, step=step)

    return make


def arrange(cuts):
    """Return the cuts in the order in which they would be made."""
    by_key = {each.key: each for each in cuts}
    return [by_key[visit.key] for visit in order_stops(find_stops(cuts), from_mm=HOME)]


def count_changes(cuts):
    return sum(a.step.cutter.tool != b.step.cutter.tool for a, b in pairwise(cuts))


def keeps_stages(cuts):
    return all(a.placement != b.placement or a.stage <= b.stage for n, a in enumerate(cuts) for b in cuts[n:])


def count_fewest_changes(cuts):
    """Brute force: all orders of single cuts that keep the stages of each panel."""
    return min(count_changes(way) for way in permutations(cuts) if keeps_stages(way))


def test_every_operation_has_a_stage():
    assert set(STAGE) == set(Operation)


@pytest.mark.parametrize("face", [Operation.CHAMFER, Operation.RECESS, Operation.GROOVE, Operation.DRILL])
@pytest.mark.parametrize("through", THROUGH)
def test_the_upper_face_comes_before_what_is_cut_through(cut, face, through):
    assert STAGE[face] < STAGE[through]
    cuts = [cut(0, Operation.OUTSIDE), *([cut(0, through)] if through is not Operation.OUTSIDE else []), cut(0, face)]
    order = [each.step.operation for each in arrange(cuts)]
    assert order[0] is face
    assert order[-1] is Operation.OUTSIDE


def test_outlines_come_last_within_their_panels_and_travel_decides_between_panels(cut):
    """Held panels: the far panel's hole need not wait for the near panel's outline, nor the other way round."""
    cuts = [cut(panel, operation) for panel in range(3) for operation in (Operation.OUTSIDE, Operation.BORE)]
    assert keeps_stages(arrange(cuts))
    assert len({stop.group for stop in find_stops(cuts)}) == 1


@pytest.mark.parametrize("seed", range(12))
def test_cutter_changes_are_as_few_as_any_order_has(cut, seed):
    draw = Random(seed)
    panels = [
        cut(panel, draw.choice([Operation.RECESS, Operation.INSIDE, Operation.BORE]), draw.choice("abc"))
        for panel in (0, 0, 0, 1, 1)
    ]
    panels += [cut(panel, Operation.OUTSIDE, draw.choice("ab")) for panel in (0, 1)]
    order = arrange(panels)
    assert sorted(each.key for each in order) == sorted(each.key for each in panels)
    assert keeps_stages(order)
    # blocks of one stage and cutter are kept together, which may cost one change more than single cuts would
    assert count_changes(order) <= count_fewest_changes(panels) + 1


def test_a_cutter_that_must_come_back_comes_back_once(cut):
    """One panel's inside needs a and its outline b, the other's the reverse: b cannot end before a begins."""
    cuts = [
        cut(0, Operation.INSIDE, "a"),
        cut(0, Operation.OUTSIDE, "b"),
        cut(1, Operation.INSIDE, "b"),
        cut(1, Operation.OUTSIDE, "a"),
    ]
    order = arrange(cuts)
    assert keeps_stages(order)
    assert count_changes(order) == 2 == count_fewest_changes(cuts)


def test_one_change_where_recess_and_outline_share_a_cutter(cut):
    cuts = [
        cut(0, Operation.RECESS, "a"),
        cut(0, Operation.INSIDE, "b"),
        cut(0, Operation.OUTSIDE, "a"),
        cut(1, Operation.RECESS, "b"),
        cut(1, Operation.OUTSIDE, "b"),
    ]
    assert count_changes(arrange(cuts)) == 2 == count_fewest_changes(cuts)
    assert count_changes(arrange(cuts[3:])) == 0


def test_panels_that_come_loose_are_cut_one_by_one_the_smallest_loss_of_hold_last(cut):
    """A slender panel loses most hold for its area: 0.41 of 10 x 200, 0.03 of 100 x 200, 0.02 of 200 x 200 a mm."""
    sizes = {0: 100.0, 1: 200.0, 2: 10.0}
    cuts = [cut(panel, Operation.OUTSIDE, held=False, size_mm=size) for panel, size in sizes.items()]
    cuts += [cut(panel, Operation.BORE) for panel in sizes for _ in range(2)]
    order = arrange(cuts)
    assert [each.placement for each in order] == [2] * 3 + [0] * 3 + [1] * 3
    assert keeps_stages(order)


def test_the_upper_face_of_all_panels_comes_before_any_comes_loose(cut):
    cuts = [cut(panel, Operation.OUTSIDE, held=False, size_mm=50.0 + 50.0 * panel) for panel in range(3)]
    cuts += [cut(panel, Operation.RECESS) for panel in range(3)]
    order = arrange(cuts)
    assert [each.stage for each in order] == [Stage.FACE] * 3 + [Stage.OUTLINE] * 3
    assert [each.placement for each in order[3:]] == [0, 1, 2]


def test_a_panel_in_another_s_opening_is_cut_before_that_panel(cut):
    cuts = [
        cut(0, Operation.OUTSIDE, "a"),
        cut(0, Operation.INSIDE, "a"),
        cut(1, Operation.OUTSIDE, "a", level=1),
        cut(1, Operation.INSIDE, "b", level=1),
    ]
    order = arrange(cuts)
    assert [each.placement for each in order] == [1, 1, 0, 0]
    assert keeps_stages(order)


def test_what_holds_an_outline(make_step):
    wall = rectangle((0.0, 0.0), width_mm=100.0, height_mm=80.0)
    through = make_step(wall)
    skin = make_step(wall, floor_mm=0.4)
    assert is_held(make_step(wall, bridges=(BRIDGE,)))
    assert is_held(skin)
    assert not is_held(through)
    assert not is_held(make_step(wall, floor_mm=0.4, last=LastPass(floor_mm=-0.3, cut=skin.finish)))


def test_nothing_to_cut():
    assert find_stops([]) == []
