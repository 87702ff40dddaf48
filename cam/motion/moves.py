"""Tool-centre moves: rapids, lines and arcs, each with its feed and purpose."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from cam.geometry.along import Piece


class MoveKind(StrEnum):
    """How the tool goes to the move's end."""

    RAPID = "rapid"
    LINE = "line"
    ARC = "arc"


class Purpose(StrEnum):
    """What a move is for."""

    APPROACH = "approach"
    ENTRY = "entry"
    ROUGH = "rough"
    FINISH = "finish"
    DRILL = "drill"
    CHAMFER = "chamfer"
    LEAD = "lead"
    BRIDGE = "bridge"
    LINK = "link"
    SLOT = "slot"
    RETRACT = "retract"


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One move of the cutter's tip from where the last one ended.

    Points are mm: X and Y on the sheet, Z above the bed. An arc lies in the XY plane about
    ``centre_mm`` by ``sweep_rad`` (positive counter-clockwise), Z linear with the angle.
    ``feed_mm_per_min`` is 0 for rapids.
    """

    kind: MoveKind
    to_mm: tuple[float, float, float]
    purpose: Purpose
    feed_mm_per_min: float = 0.0
    centre_mm: tuple[float, float] | None = None
    sweep_rad: float = 0.0


def rapid(to_mm: tuple[float, float, float], *, purpose: Purpose) -> Move:
    """Return a rapid move."""
    return Move(kind=MoveKind.RAPID, to_mm=to_mm, purpose=purpose)


def line(to_mm: tuple[float, float, float], *, feed_mm_per_min: float, purpose: Purpose) -> Move:
    """Return a straight feed move."""
    return Move(kind=MoveKind.LINE, to_mm=to_mm, purpose=purpose, feed_mm_per_min=feed_mm_per_min)


def arc(
    to_mm: tuple[float, float, float],
    *,
    centre_mm: tuple[float, float],
    sweep_rad: float,
    feed_mm_per_min: float,
    purpose: Purpose,
) -> Move:
    """Return a circular feed move, helical where Z changes."""
    return Move(
        kind=MoveKind.ARC,
        to_mm=to_mm,
        purpose=purpose,
        feed_mm_per_min=feed_mm_per_min,
        centre_mm=centre_mm,
        sweep_rad=sweep_rad,
    )


def move_along(piece: Piece, *, z_mm: float, feed_mm_per_min: float, purpose: Purpose) -> Move:
    """Return the feed move along a contour's piece to its end at a height."""
    to = (*piece.end_mm, z_mm)
    if piece.centre_mm is None:
        return line(to, feed_mm_per_min=feed_mm_per_min, purpose=purpose)
    return arc(
        to,
        centre_mm=piece.centre_mm,
        sweep_rad=piece.sweep_rad,
        feed_mm_per_min=feed_mm_per_min,
        purpose=purpose,
    )
