"""Things that hang together in pairs, gathered into groups."""

from __future__ import annotations

from cam.geometry.contour import IntArray


def group_pairs(count: int, one: IntArray, other: IntArray) -> list[list[int]]:
    """Return the groups that pairs of numbers below a count connect, each in order; a lone number is one too.

    Examples
    --------
    >>> import numpy as np
    >>> group_pairs(5, np.array([0, 3]), np.array([2, 4]))
    [[0, 2], [1], [3, 4]]
    """
    root = list(range(count))

    def find(i: int) -> int:
        while root[i] != i:
            root[i] = root[root[i]]
            i = root[i]
        return i

    for i, j in zip(one.tolist(), other.tolist(), strict=True):
        root[find(i)] = find(j)
    groups: dict[int, list[int]] = {}
    for i in range(count):
        groups.setdefault(find(i), []).append(i)
    return list(groups.values())
