"""Which workingsteps go together: cutter by cutter, inner panels first, outlines last."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import permutations

from cam.panel.panel import Role
from cam.plan.order import Stop
from cam.plan.placed import PlacedFeature
from cam.plan.starts import find_starts
from cam.plan.workingstep import Workingstep


def find_stops(features: tuple[PlacedFeature, ...], *, steps: Mapping[int, Workingstep]) -> list[Stop]:
    """Return each feature as a stop of its group.

    Inner panels come before what surrounds them, and all insides before outlines. Cutter changes
    are few: each cutter does all its work at once where that keeps every panel's outline last.
    """
    stage = {f.task.key: (-f.level, int(f.task.feature.role is Role.OUTLINE)) for f in features}
    tools = sorted({step.cutter.tool for step in steps.values()})
    for sequence in permutations(tools):
        rank = {key: (sequence.index(step.cutter.tool), *stage[key]) for key, step in steps.items()}
        if _keeps_outlines_last(features, rank):
            break
    else:
        # one cutter must come back: stage by stage, whatever the changes cost
        rank = {key: (stage[key][0], int(stage[key][1]), step.cutter.tool) for key, step in steps.items()}
    groups = sorted(set(rank.values()))
    return [
        Stop(key=f.task.key, group=groups.index(rank[f.task.key]), places_mm=find_starts(steps[f.task.key]))
        for f in features
    ]


def _keeps_outlines_last(features: tuple[PlacedFeature, ...], rank: Mapping[int, tuple[int, int, int]]) -> bool:
    """Return whether each panel's outline follows its own insides, and all of the levels within."""
    for outline in features:
        if outline.task.feature.role is not Role.OUTLINE:
            continue
        for other in features:
            own = other.task.panel == outline.task.panel and other is not outline
            if (own or other.level > outline.level) and rank[other.task.key] > rank[outline.task.key]:
                return False
    return True
