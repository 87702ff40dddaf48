"""Sizes of drawing paper, against the rules of the standards that they come from."""

from itertools import pairwise
from math import floor

import pytest

from cam.panel.paper import ANSI_SHEETS_MM, ISO_FRAMES_MM, ISO_SHEETS_MM, find_paper


def test_iso_sheets_follow_from_a_square_metre():
    # ISO 216: A0 has an area of 1 m2 and sides of 1 : sqrt(2); each next one is half, rounded down to the mm
    long, short = 2**0.25 * 1000, 2**-0.25 * 1000
    for size in ISO_SHEETS_MM.values():
        assert size == (round(long, 0) if size[0] == 1189 else floor(long + 1e-6), floor(short + 0.5))
        assert size[0] / size[1] == pytest.approx(2**0.5, rel=0.005)
        long, short = size[1], size[0] // 2


def test_frames_stand_within_their_sheets():
    # ISO 5457: 20 mm on the side that is bound, 10 mm on the others; A4 is bound along its long side
    for name, (long, short) in ISO_SHEETS_MM.items():
        margins = (20, 30) if name == "A4" else (30, 20)
        assert ISO_FRAMES_MM[name] == (long - margins[0], short - margins[1])


def test_ansi_sheets_are_full_half_inches():
    # ASME Y14.1: each next sheet doubles the shorter side of the one before it
    sizes = [tuple(side / 25.4 for side in size) for size in ANSI_SHEETS_MM.values()]
    assert sizes[0] == pytest.approx((11, 8.5)) and sizes[-1] == pytest.approx((44, 34))
    for one, two in pairwise(sizes):
        assert two == pytest.approx((2 * one[1], one[0]))


@pytest.mark.parametrize(
    ("sides", "paper"),
    [
        ((210, 297), "an ISO A4 sheet"),
        ((297.4, 420.4), "an ISO A3 sheet"),
        ((298, 421), ""),
        ((8410, 5940), "an ISO A1 sheet at 1:10"),
        ((811, 574), "the frame of an ISO A1 sheet"),
        ((863.6, 558.8), "an ANSI D sheet"),
        ((863.6 * 12, 558.8 * 12), "an ANSI D sheet at 1:12"),
        ((600, 424.26), ""),
        ((1200, 850), ""),
        ((0, 0), ""),
    ],
)
def test_paper_is_found_by_its_sides(sides, paper):
    assert find_paper(sides) == paper
