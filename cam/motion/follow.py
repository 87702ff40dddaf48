"""Moves along a contour at the heights of a profile."""

from __future__ import annotations

from cam.geometry.along import Piece, Ruler, cut_pieces
from cam.motion.moves import Move, Purpose, move_along, rapid
from cam.motion.profile import Profile, find_height
from cam.plan.cutting_data import CuttingData

MAX_EDGE_FACTOR = 1.25
"""How much faster than programmed the cutter's centre may go round the outside of a curve."""
MIN_EDGE_FACTOR = 0.25
"""How much slower than programmed the cutter's centre goes at most in an inside corner."""


def follow(
    ruler: Ruler,
    *,
    profile: Profile,
    nominal: Profile,
    cut: CuttingData,
    reach_mm: float,
    waste_left: bool,
    purpose: Purpose,
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
    """
    pieces = cut_pieces(ruler, from_mm=profile.at_mm[0], to_mm=profile.at_mm[-1], at_mm=profile.at_mm)
    moves = []
    z = find_height(profile, profile.at_mm[0])
    for piece in pieces:
        end_z = find_height(profile, piece.to_mm)
        middle = (piece.from_mm + piece.to_mm) / 2.0
        lifted = find_height(profile, middle) > find_height(nominal, middle) + 1e-9
        falling = end_z < z - 1e-9
        factor = find_edge_factor(piece, reach_mm=reach_mm, waste_left=waste_left)
        feed = min((cut.ramp_feed_mm_per_min if falling else cut.feed_mm_per_min) * factor, cut.max_feed_mm_per_min)
        what = Purpose.BRIDGE if lifted else Purpose.ENTRY if falling else purpose
        moves.append(move_along(piece, z_mm=end_z, feed_mm_per_min=feed, purpose=what))
        z = end_z
    return moves


def find_edge_factor(piece: Piece, *, reach_mm: float, waste_left: bool) -> float:
    """Return what the centre's feed is multiplied by to hold the feed at the cutter's edge.

    Notes
    -----
    On a path of radius p whose wall lies at distance c from it, the wall's radius is ``p + c`` where
    the arc turns towards the waste (an inside corner) and ``p - c`` where it turns away; the edge
    travels faster or slower than the centre in the ratio of the two radii. The factor is kept
    between `MIN_EDGE_FACTOR` and `MAX_EDGE_FACTOR`.
    """
    if piece.centre_mm is None:
        return 1.0
    radius = (piece.to_mm - piece.from_mm) / abs(piece.sweep_rad)
    inside = (piece.sweep_rad > 0.0) == waste_left
    if inside:
        return max(MIN_EDGE_FACTOR, radius / (radius + reach_mm))
    wall = radius - reach_mm
    return MAX_EDGE_FACTOR if wall <= 0.0 else min(MAX_EDGE_FACTOR, radius / wall)


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
