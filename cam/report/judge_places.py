"""Faults at moves, gathered so that one cause gives one finding."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from cam.geometry.contour import FloatArray

MAX_PLACES = 10
"""How many places of one kind are told one by one; the last then counts the rest."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Place:
    """A fault at a move: its size, where, and a group that it shares with others of its cause."""

    move: int
    size: float
    group: int = 0
    at_mm: FloatArray | None = None


def gather_places(places: Iterable[Place], *, gap: int = 1) -> list[tuple[Place, str]]:
    """Return the worst place of each run of moves, and words that count those left out.

    Parameters
    ----------
    gap
        Places of a group whose moves are so many apart, or fewer, are one run.

    Examples
    --------
    >>> runs = gather_places([Place(move=4, size=1.0), Place(move=5, size=2.0), Place(move=9, size=0.5)])
    >>> [(place.move, more) for place, more in runs]
    [(5, ''), (9, '')]
    """
    runs: list[Place] = []
    last: dict[int, tuple[int, int]] = {}
    for place in sorted(places, key=lambda each: each.move):
        before = last.get(place.group)
        if before is not None and place.move - before[0] <= gap:
            run = before[1]
            if place.size > runs[run].size:
                runs[run] = place
        else:
            run = len(runs)
            runs.append(place)
        last[place.group] = (place.move, run)
    told = [(place, "") for place in runs[:MAX_PLACES]]
    if len(runs) > MAX_PLACES:
        worst = max(runs[MAX_PLACES - 1 :], key=lambda each: each.size)
        told[-1] = (worst, f"; and at {len(runs) - MAX_PLACES} more places")
    return told
