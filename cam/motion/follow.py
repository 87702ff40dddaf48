"""Moves along a contour at the heights of a profile."""

from __future__ import annotations

from enum import StrEnum

from cam.geometry.along import Piece, Ruler, cut_pieces
from cam.motion.moves import Move, Purpose, move_along, rapid
from cam.motion.profile import Profile, find_height
from cam.plan.cutting_data import CuttingData

MAX_EDGE_FACTOR = 1.25
"""How much faster than programmed the cutter's centre may go round the outside of a curve."""


class Bite(StrEnum):
    """Where the cutter meets material: all across, all across or less, on the wall's side or the waste's side only."""

    SLOT = "slot"
    UP_TO_SLOT = "up to slot"
    WALL = "wall"
    WASTE = "waste"


def follow(
    ruler: Ruler,
    *,
    profile: Profile,
    nominal: Profile,
    cut: CuttingData,
    reach_mm: float,
    waste_left: bool,
    bite: Bite,
    purpose: Purpose,
    groove_mm: float = 0.0,
) -> list[Move]:
    """Return the moves along a path at the heights of a profile.

    Parameters
    ----------
    profile, nominal
        Heights with and without lifts over bridges, over the same distances.
    cut
        The feeds on the level and down ramps, and the one that is never passed.
    reach_mm
        From the path to the wall: the cutter's radius, and the allowance where one is left.
    bite
        Where the cutter meets material.
    groove_mm
        How far from the wall nothing is left to be cut, because a chamfer has been taken off there.
    """
    pieces = cut_pieces(ruler, from_mm=profile.at_mm[0], to_mm=profile.at_mm[-1], at_mm=profile.at_mm)
    moves = []
    z = find_height(profile, profile.at_mm[0])
    for piece in pieces:
        end_z = find_height(profile, piece.to_mm)
        middle = (piece.from_mm + piece.to_mm) / 2.0
        lifted = find_height(profile, middle) > find_height(nominal, middle) + 1e-9
        falling = end_z < z - 1e-9
        feed = find_centre_feed(
            piece,
            feed_mm_per_min=cut.ramp_feed_mm_per_min if falling else cut.feed_mm_per_min,
            max_feed_mm_per_min=cut.max_feed_mm_per_min,
            low_feed_mm_per_min=0.0 if falling else cut.feed_mm_per_min * cut.chip_low_mm / cut.chip_load_mm,
            reach_mm=reach_mm,
            waste_left=waste_left,
            bite=bite,
            groove_mm=groove_mm,
        )
        what = Purpose.BRIDGE if lifted else Purpose.ENTRY if falling else purpose
        moves.append(move_along(piece, z_mm=end_z, feed_mm_per_min=feed, purpose=what))
        z = end_z
    return moves


def find_centre_feed(
    piece: Piece,
    *,
    feed_mm_per_min: float,
    max_feed_mm_per_min: float,
    reach_mm: float,
    waste_left: bool,
    bite: Bite,
    groove_mm: float = 0.0,
    low_feed_mm_per_min: float = 0.0,
) -> float:
    """Return the feed of the cutter's centre that holds the feed at the edge that cuts.

    Notes
    -----
    On a path of radius p a point of the edge at distance c from the path, away from the arc's centre,
    travels ``(p + c) / p`` times as fast as the centre, one towards it ``(p - c) / p`` times.

    Where the arc turns towards the waste (an inside corner) the wall is the outer side: the centre
    goes at ``p / (p + c)`` of the feed, unless only the inner side bites. Where it turns away, the
    wall is the inner side: a cutter that bites there alone is fed faster, by at most
    `MAX_EDGE_FACTOR`; one whose outer side bites is fed no faster than keeps that side's chip below
    the highest. Where the outer side may bite or not, the centre goes no slower than the table's lowest
    chip asks for: in a slot the chip is thickest there, and thin at its sides.
    """
    if piece.centre_mm is None:
        return feed_mm_per_min
    radius = (piece.to_mm - piece.from_mm) / abs(piece.sweep_rad)
    outer = radius / (radius + reach_mm)
    if (piece.sweep_rad > 0.0) == waste_left:
        if groove_mm > 0.0 and bite is Bite.SLOT:
            # the wall's side is gone already: the edge that is left holds the feed, the wall's the highest chip
            edge = radius / (radius + max(0.0, reach_mm - groove_mm))
            return max(feed_mm_per_min * outer, min(feed_mm_per_min * edge, max_feed_mm_per_min * outer))
        return feed_mm_per_min if bite is Bite.WASTE else feed_mm_per_min * outer
    if bite is not Bite.WALL:
        least = low_feed_mm_per_min if bite is Bite.UP_TO_SLOT else 0.0
        return min(feed_mm_per_min, max(max_feed_mm_per_min * outer, least))
    inner = radius - reach_mm
    factor = MAX_EDGE_FACTOR if inner <= 0.0 else min(MAX_EDGE_FACTOR, radius / inner)
    return min(feed_mm_per_min * factor, max_feed_mm_per_min)


def approach(point_mm: tuple[float, float], *, air_mm: float, rapid_mm: float) -> list[Move]:
    """Return the rapid moves to above a point, and down to the air above the sheet."""
    return [
        rapid((*point_mm, rapid_mm), purpose=Purpose.APPROACH),
        rapid((*point_mm, air_mm), purpose=Purpose.APPROACH),
    ]


def retract(moves: list[Move], *, rapid_mm: float) -> Move:
    """Return the rapid move straight up from where moves end."""
    x, y, _ = moves[-1].to_mm
    return rapid((x, y, rapid_mm), purpose=Purpose.RETRACT)
