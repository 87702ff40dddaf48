"""Pieces joined into chains, with everything that messages point at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cam.drawing.chain import Chains, Ends, Joints, chain_pieces, close_gaps, find_ends, pair_ends
from cam.drawing.pieces import Pieces, Source
from cam.geometry.contour import FloatArray, IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Joined:
    """Pieces and their chains. ``ends`` are as drawn, before gaps were closed; ``free`` those joined to none."""

    file: str
    pieces: Pieces
    ends: Ends
    joints: Joints
    chains: Chains
    free: IntArray

    def find_source(self, row: int) -> Source:
        """Return the entity that the segment from a row of the chains comes from."""
        return self.pieces.sources[int(self.chains.piece[row])]


def join_pieces(pieces: Pieces, *, file: str, join_tol_mm: float) -> Joined:
    """Return pieces joined end to end within a distance.

    Raises
    ------
    cam.drawing.chain.TooManyEnds
        If ends crowd so that they cannot be told apart.
    """
    ends = find_ends(pieces)
    joints = pair_ends(pieces, ends, join_tol_mm=join_tol_mm)
    free = np.repeat(~pieces.closed, 2)
    free[joints.one] = False
    free[joints.other] = False
    closed_up = close_gaps(pieces, ends, joints)
    return Joined(
        file=file,
        pieces=closed_up,
        ends=ends,
        joints=joints,
        chains=chain_pieces(closed_up, joints),
        free=np.flatnonzero(free),
    )


def say_point(point: FloatArray) -> str:
    """Return a point in words, in mm to the micrometre.

    Examples
    --------
    >>> say_point(np.array([1.0, -2.34567]))
    '(1.000, -2.346)'
    """
    return f"({point[0]:.3f}, {point[1]:.3f})"
