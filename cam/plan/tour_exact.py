"""Few stops with several places each: the shortest order and places, exactly (Held and Karp, 1962)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cam.plan.tour import Errand

MAX_STOPS = 8
"""The most stops of a group for which the shortest way is found exactly."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Stage:
    """The ways into one group: for each set of its stops the least cost at each place (inf: not its last)."""

    place: npt.NDArray[np.complex128]
    stop: npt.NDArray[np.int64]
    entry: npt.NDArray[np.float64]
    cost: dict[int, npt.NDArray[np.float64]]


def find_exact_path(start: complex, groups: Sequence[Sequence[Errand]]) -> list[list[tuple[int, int]]]:
    """Return for each group its stops in order, each with the number of its place, of the shortest way of all.

    Parameters
    ----------
    groups
        The stops of each group in turn; owners are numbers within the same group.

    Notes
    -----
    The least cost of having visited a set of stops and being at a certain place needs only the least
    costs of the sets without that place's stop. What a group costs at each of its last places is
    where the next group begins, so that the whole chain is exact, not each group by itself.
    """
    here, cost = np.array([start]), np.zeros(1)
    stages = []
    for members in groups:
        stage = _solve_group(members, here=here, cost=cost)
        stages.append(stage)
        here, cost = stage.place, stage.cost[(1 << len(members)) - 1]
    result = []
    last = int(cost.argmin())
    for number in reversed(range(len(stages))):
        stage = stages[number]
        order = []
        visited = (1 << len(groups[number])) - 1
        while True:
            stop = int(stage.stop[last])
            order.append((stop, last - int(np.searchsorted(stage.stop, stop))))
            visited ^= 1 << stop
            if not visited:
                break
            last = int((stage.cost[visited] + np.abs(stage.place - stage.place[last])).argmin())
        result.append(order[::-1])
        if number:
            before = stages[number - 1]
            full = before.cost[(1 << len(groups[number - 1])) - 1]
            last = int((full + np.abs(before.place - stage.place[last])).argmin())
    return result[::-1]


def _solve_group(
    members: Sequence[Errand], *, here: npt.NDArray[np.complex128], cost: npt.NDArray[np.float64]
) -> _Stage:
    place = np.array([own for member in members for own in member.places])
    stop = np.repeat(np.arange(len(members)), [len(member.places) for member in members])
    owned = [sum(1 << n for n, member in enumerate(members) if member.owner == over) for over in range(len(members))]
    between = np.abs(place[:, None] - place[None])
    entry = (cost[:, None] + np.abs(here[:, None] - place[None])).min(axis=0)
    costs: dict[int, npt.NDArray[np.float64]] = {}
    for visited in range(1, 1 << len(members)):
        row = np.full(len(place), np.inf)
        for last in range(len(members)):
            if not visited >> last & 1:
                continue
            own = stop == last
            before = visited ^ (1 << last)
            if owned[last] & ~before:
                continue
            row[own] = (costs[before][:, None] + between[:, own]).min(axis=0) if before else entry[own]
        costs[visited] = row
    return _Stage(place=place, stop=stop, entry=entry, cost=costs)
