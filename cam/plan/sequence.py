"""What must come before what: upper face first, few cutter changes, inside before outside, outlines last."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

from cam.geometry.measure import measure_area_mm2, measure_length_mm
from cam.plan.order import Stop
from cam.plan.starts import find_starts
from cam.plan.workingstep import Operation, Workingstep


class Stage(IntEnum):
    """When a panel's workingsteps come; none of a later stage before one of an earlier, within a panel."""

    PILOT = -1
    """What a drill is to follow."""
    FACE = 0
    """What the upper face needs, and drilled holes: the panel lies firm as long as nothing is cut out of it."""
    INSIDE = 1
    """What is cut through within the panel."""
    OUTLINE = 2


STAGE = {
    Operation.PILOT: Stage.PILOT,
    Operation.CHAMFER: Stage.FACE,
    Operation.RECESS: Stage.FACE,
    Operation.GROOVE: Stage.FACE,
    Operation.DRILL: Stage.FACE,
    Operation.BORE: Stage.INSIDE,
    Operation.CLEAR: Stage.INSIDE,
    Operation.INSIDE: Stage.INSIDE,
    Operation.OUTSIDE: Stage.OUTLINE,
}
"""The stage of each operation: all that the order asks of a new one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """A workingstep to be put in order: its key, the number of its panel, and how many panels lie round that."""

    key: int
    placement: int
    level: int
    step: Workingstep

    @property
    def stage(self) -> Stage:
        """When it comes within its panel."""
        return STAGE[self.step.operation]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Block:
    """Cuts that may follow one another with one cutter: what lies deepest in other panels first."""

    inward: int
    stage: Stage
    tool: int


def find_stops(cuts: Sequence[Cut]) -> list[Stop]:
    """Return each workingstep as a stop of its group, with its starts and what must come after it.

    Notes
    -----
    The upper face comes first, then what is cut through within a panel, then its outline; panels that
    lie within others come before those. Under these rules cutter changes are the fewest possible.
    What is inside a panel and its outline share a group where one cutter makes both: there each
    outline follows its own insides, and travel decides the rest, for bridges or a skin keep the sheet
    in one piece. Where an outline is cut through without bridges, or its skin by a last pass, its panel
    may move, so each panel is a group of its own: the one that loses most hold, seen by the length of its
    cut for the area that held it, goes first, while the sheet is whole, and the smallest loss comes last.
    """
    outline = {cut.placement: cut for cut in cuts if cut.stage is Stage.OUTLINE}
    stops = []
    for cut, group in zip(cuts, _find_groups(cuts), strict=True):
        stop = Stop(key=cut.key, group=group, places_mm=find_starts(cut.step))
        over = outline.get(cut.placement)
        stops.append(stop if over is None or over is cut else replace(stop, before=over.key))
    return stops


def _find_groups(cuts: Sequence[Cut]) -> list[int]:
    """Return the number of each workingstep's group, in the order of cutting."""
    order = _order_blocks(cuts)
    turn = _rank_panels(cuts)
    rank = [(order[_find_block(cut)], turn[cut.placement] if cut.stage > Stage.FACE else 0) for cut in cuts]
    groups = sorted(set(rank))
    return [groups.index(own) for own in rank]


def _find_block(cut: Cut) -> _Block:
    return _Block(inward=-cut.level, stage=cut.stage, tool=cut.step.cutter.tool)


def _order_blocks(cuts: Sequence[Cut]) -> dict[_Block, int]:
    """Return the turn of each block, with the fewest changes of cutter that the rules leave.

    Notes
    -----
    Breadth first over the cutters in hand: what is ready for the cutter in hand is always cut before
    the next change, which takes nothing from what could follow. Neighbouring blocks that differ only in
    stage, inside and outline, share a turn, since within it each outline waits for its own insides.
    """
    blocks = sorted({_find_block(cut) for cut in cuts}, key=lambda block: (block.inward, block.stage, block.tool))
    waits = _find_waits(cuts)
    tools = sorted({block.tool for block in blocks})
    ways: list[tuple[_Block, ...]] = [()]
    seen: set[frozenset[_Block]] = set()
    while blocks:
        longer = []
        for way in ways:
            for tool in tools:
                further = _cut_ready(way, tool=tool, blocks=blocks, waits=waits)
                if len(further) == len(blocks):
                    return _number_turns(further)
                if len(further) > len(way) and frozenset(further) not in seen:
                    seen.add(frozenset(further))
                    longer.append(further)
        ways = longer
    return {}


def _find_waits(cuts: Sequence[Cut]) -> dict[_Block, set[_Block]]:
    """Return for each block those that come before it: of its panels' earlier stages, and all deeper in."""
    waits: dict[_Block, set[_Block]] = {}
    by_panel: dict[int, set[_Block]] = {}
    for cut in cuts:
        by_panel.setdefault(cut.placement, set()).add(_find_block(cut))
    every = set().union(*by_panel.values())
    for own in by_panel.values():
        for block in own:
            earlier = {other for other in own if other.stage < block.stage}
            inner = {other for other in every if other.inward < block.inward and block.stage > Stage.FACE}
            waits.setdefault(block, set()).update(earlier | inner)
    return waits


def _cut_ready(
    way: tuple[_Block, ...], *, tool: int, blocks: list[_Block], waits: dict[_Block, set[_Block]]
) -> tuple[_Block, ...]:
    """Return a way made longer by all that one cutter can do without another's work between."""
    done = set(way)
    while True:
        ready = [block for block in blocks if block.tool == tool and block not in done and waits[block] <= done]
        if not ready:
            return way
        way = (*way, ready[0])
        done.add(ready[0])


def _number_turns(way: tuple[_Block, ...]) -> dict[_Block, int]:
    """Return the turn of each block of a way; inside and outline of one cutter and depth share one."""
    turns: dict[_Block, int] = {}
    turn, last = -1, None
    for block in way:
        shares = (
            last is not None
            and (last.inward, last.tool) == (block.inward, block.tool)
            and min(last.stage, block.stage) > Stage.FACE
        )
        turn += not shares
        turns[block], last = turn, block
    return turns


def _rank_panels(cuts: Sequence[Cut]) -> dict[int, int]:
    """Return the turn of each panel: none where all stay held, else the greatest loss of hold first."""
    outlines = [cut.step for cut in cuts if cut.stage is Stage.OUTLINE]
    turn = dict.fromkeys((cut.placement for cut in cuts), 0)
    if all(is_held(step) for step in outlines):
        return turn
    losses = {
        cut.placement: measure_length_mm(cut.step.wall) / abs(measure_area_mm2(cut.step.wall))
        for cut in cuts
        if cut.stage is Stage.OUTLINE
    }
    # ties as the panels lie on the sheet
    return turn | {panel: number for number, panel in enumerate(sorted(losses, key=lambda panel: -losses[panel]))}


def is_held(step: Workingstep) -> bool:
    """Return whether what a contour goes round stays fast to the sheet, by bridges or a skin left to the end."""
    return bool(step.bridges) or (step.floor_mm > 0.0 and step.last is None)
