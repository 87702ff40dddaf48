"""What must come before what: cutter by cutter, inside before outside, outlines last."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from enum import Enum
from itertools import permutations

from cam.geometry.measure import measure_area_mm2, measure_length_mm
from cam.panel.panel import Role
from cam.plan.order import Stop
from cam.plan.placed import PlacedFeature
from cam.plan.starts import find_starts
from cam.plan.workingstep import Workingstep


class Release(Enum):
    """What becomes of a panel when its outline is cut."""

    HELD = "held"
    """Bridges or a skin hold it: the sheet stays one piece, and any panel's outline may be cut at any time."""
    LOOSE = "loose"
    """It may move, and the sheet holds less well: one panel after another, the smallest loss of hold last."""


def find_stops(
    features: tuple[PlacedFeature, ...], *, steps: Mapping[int, Workingstep], release: Release = Release.HELD
) -> list[Stop]:
    """Return each feature as a stop of its group, with its starts and what must come after it.

    Notes
    -----
    Panels that lie within others come first. Cutter changes are few: each cutter does all its work
    at once where that keeps every panel's outline last. Within a group each panel's outline follows
    its insides. Where panels come loose, each panel is a group of its own: the one that loses most
    hold, seen by the length of its cut for the area that held it, goes first, while the sheet is whole.
    """
    stops = [
        Stop(key=f.task.key, group=group, places_mm=find_starts(steps[f.task.key]))
        for f, group in zip(features, _find_groups(features, steps=steps, release=release), strict=True)
    ]
    outline = {f.placement: f.task.key for f in features if f.task.feature.role is Role.OUTLINE}
    return [
        stop if stop.key == outline[f.placement] else replace(stop, before=outline[f.placement])
        for f, stop in zip(features, stops, strict=True)
    ]


def _find_groups(
    features: tuple[PlacedFeature, ...], *, steps: Mapping[int, Workingstep], release: Release
) -> list[int]:
    """Return the number of each feature's group, in the order of cutting."""
    tools = [steps[f.task.key].cutter.tool for f in features]
    turn = _rank_panels(features) if release is Release.LOOSE else {f.placement: 0 for f in features}
    for sequence in permutations(sorted(set(tools))):
        rank = [(sequence.index(tool), -f.level, turn[f.placement]) for f, tool in zip(features, tools, strict=True)]
        if _keeps_outlines_last(features, rank):
            break
    else:
        # one cutter must come back: stage by stage, whatever the changes cost
        rank = [
            (-f.level, turn[f.placement] + int(f.task.feature.role is Role.OUTLINE) * len(features), tool)
            for f, tool in zip(features, tools, strict=True)
        ]
    groups = sorted(set(rank))
    return [groups.index(own) for own in rank]


def _rank_panels(features: tuple[PlacedFeature, ...]) -> dict[int, int]:
    """Return the turn of each panel, the greatest loss of hold first; ties as the panels lie on the sheet."""
    outlines = [f for f in features if f.task.feature.role is Role.OUTLINE]
    outlines.sort(key=lambda f: -measure_length_mm(f.contour) / abs(measure_area_mm2(f.contour)))
    return {outline.placement: number for number, outline in enumerate(outlines)}


def _keeps_outlines_last(features: tuple[PlacedFeature, ...], rank: list[tuple[int, int, int]]) -> bool:
    """Return whether no panel's outline comes before its own insides, or before the levels within."""
    for outline, own_rank in zip(features, rank, strict=True):
        if outline.task.feature.role is not Role.OUTLINE:
            continue
        for other, other_rank in zip(features, rank, strict=True):
            own = other.placement == outline.placement
            if (own or other.level > outline.level) and other_rank > own_rank:
                return False
    return True
