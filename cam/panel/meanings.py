"""What each loop of a drawing is, by its layers and its nesting, and where the two disagree."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np

from cam.drawing.drawing import Drawing, Loop, OpenChain
from cam.drawing.layers import LayerUse
from cam.findings import Finding, Origin, error, warning
from cam.panel.layers import Meaning, find_rule, remember_meanings
from cam.panel.nesting import Nest, find_boxes_mm, find_nesting
from cam.panel.panel import Finish, Role
from cam.panel.suspects import Suspect, drop_absorbed, find_suspects
from cam.tables.job import LayerMeaning, LayerRule, Suspects


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopMeaning:
    """What one loop is.

    ``parent`` is the number of the loop round it: of a loop that goes through, the nearest of those;
    of a recess's, the nearest of its layer. ``is_island`` marks a loop in a recess that is left
    standing, ``is_suspect`` one that looks like no part of a panel and is asked about; the others are
    nested as if that were not there. ``finishes`` has a class for each segment of the loop as drawn,
    empty for a recess.
    """

    role: Role
    depth: int
    parent: int | None
    diameter_mm: float | None = None
    depth_mm: float | None = None
    width_mm: float | None = None
    is_island: bool = False
    is_suspect: bool = False
    finishes: tuple[Finish, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Meant:
    """What the loops of a drawing are, in their order, and what is wrong with that.

    ``outlines`` are the numbers of the loops that are outlines of panels: the outermost first, and of
    those the one with the largest box. ``centre_lines`` are what those of the drawing mean.
    ``finished_by_layer`` has the handles of loops on several layers, one of which at least says a finish.
    """

    loops: tuple[LoopMeaning, ...]
    findings: tuple[Finding, ...] = ()
    suspects: tuple[Suspect, ...] = ()
    outlines: tuple[int, ...] = ()
    centre_lines: tuple[Meaning, ...] = ()
    finished_by_layer: frozenset[str] = frozenset()


def find_meanings(drawing: Drawing, *, rules: tuple[LayerRule, ...] = (), suspects: Suspects = Suspects.ASK) -> Meant:
    """Return what each loop of a drawing is.

    Parameters
    ----------
    drawing
        Read with the same rules, so that what they ignore is gone and recesses joined to nothing else.
    rules
        The job's ``[[layer]]`` rules.
    suspects
        Whether loops that look like a frame or like lettering are asked about, or were confirmed.

    Notes
    -----
    Nesting decides alone where the layers say nothing; where they say something that nesting rules
    out, that is a finding and nesting's answer stands.
    """
    meaning_of = remember_meanings(rules)
    uses = [_find_use(loop, meaning_of) for loop in drawing.loops]
    face = dict(_find_face_loops(drawing, uses, meaning_of))
    through = [i for i, use in enumerate(uses) if use is LayerUse.CONTOUR]
    nests = _nest(drawing, through)
    suspected = _find_suspects(drawing, nests, face, meaning_of, suspects)
    asked = {i for suspect in suspected if suspect.is_asked for i in suspect.loops}
    if asked:
        # what is asked about is most likely no part of a panel: the rest is nested without it
        nests.update(_nest(drawing, [i for i in through if i not in asked]))
    findings = list(_say_faults(drawing, meaning_of))
    meant: list[LoopMeaning] = []
    for i, loop in enumerate(drawing.loops):
        if i in face:
            meant.append(face[i])
            continue
        nest = nests[i]
        finishes = _find_finishes(loop, meaning_of, is_outline=nest.role is Role.OUTLINE)
        meant.append(
            LoopMeaning(
                role=nest.role,
                depth=nest.depth,
                parent=nest.parent,
                diameter_mm=nest.diameter_mm,
                finishes=finishes,
                is_suspect=i in asked,
            )
        )
        if i not in asked:
            findings += _check_meaning(loop, nest, meaning_of, file=str(drawing.path))
    findings += [suspect.finding for suspect in suspected]
    return Meant(
        loops=tuple(meant),
        findings=tuple(findings),
        suspects=suspected,
        outlines=_sort_outlines(drawing, meant),
        centre_lines=tuple(meaning_of(chain.layer) for chain in drawing.centre_lines),
        finished_by_layer=frozenset(
            loop.handle
            for loop in drawing.loops
            if loop.layers and any(meaning_of(layer).finish for layer in dict.fromkeys(loop.layers))
        ),
    )


def _sort_outlines(drawing: Drawing, loops: list[LoopMeaning]) -> tuple[int, ...]:
    outlines = [i for i, loop in enumerate(loops) if loop.role is Role.OUTLINE and not loop.is_suspect]
    boxes = find_boxes_mm(tuple(drawing.loops[i].contour for i in outlines))
    areas = dict(zip(outlines, np.prod(boxes[:, 2:] - boxes[:, :2], axis=1).tolist(), strict=True))
    return tuple(sorted(outlines, key=lambda i: (loops[i].depth, -areas[i])))


def _nest(drawing: Drawing, numbers: list[int]) -> dict[int, Nest]:
    """Return the nesting of some of the loops, all by their numbers in the drawing."""
    nests = find_nesting(tuple(drawing.loops[i].contour for i in numbers))
    return {
        i: replace(nest, parent=None if nest.parent is None else numbers[nest.parent])
        for i, nest in zip(numbers, nests, strict=True)
    }


def add_meaning(drawing: Drawing, meant: Meant, *, names: tuple[Finding, ...] = ()) -> Drawing:
    """Return a drawing with the findings of what its loops are and how its panels are called.

    What is asked about comes first, for other faults may go with it. Faults that the lines of a frame
    bring with them go, while the frame itself is asked about; so does the note that a contour is on
    several layers, where these say the finish of its edges.
    """
    own = drop_absorbed(drawing.findings, suspects=meant.suspects)
    own = tuple(
        finding
        for finding in own
        if not (finding.code == "mixed-layers" and finding.origin.handle in meant.finished_by_layer)
    )
    asked = tuple(suspect.finding for suspect in meant.suspects if suspect.is_asked)
    rest = tuple(finding for finding in meant.findings if finding not in asked)
    return replace(drawing, findings=asked + own + rest + names)


def _find_suspects(
    drawing: Drawing,
    nests: dict[int, Nest],
    face: dict[int, LoopMeaning],
    meaning_of: Callable[[str], Meaning],
    answer: Suspects,
) -> tuple[Suspect, ...]:
    stated = {i for i in nests if any(meaning_of(layer).means for layer in _layers_of(drawing.loops[i]))}
    return find_suspects(
        drawing,
        parents=tuple(nests[i].parent if i in nests else None for i in range(len(drawing.loops))),
        on_face=frozenset(face),
        stated=frozenset(stated),
        answer=answer,
    )


def find_unused_rules(drawings: Iterable[Drawing], *, rules: tuple[LayerRule, ...]) -> tuple[int, ...]:
    """Return the numbers of rules that decide about no layer of any drawing, from 0."""
    used = {find_rule(layer, rules=rules) for drawing in drawings for layer in drawing.layers}
    return tuple(i for i in range(len(rules)) if i not in used)


def _layers_of(loop: Loop) -> tuple[str, ...]:
    return tuple(dict.fromkeys(loop.layers)) if loop.layers else (loop.layer,)


def _find_use(loop: Loop, meaning_of: Callable[[str], Meaning]) -> LayerUse:
    return meaning_of(loop.layer).use


def _find_finishes(loop: Loop, meaning_of: Callable[[str], Meaning], *, is_outline: bool) -> tuple[Finish, ...]:
    default = Finish.SHOWN if is_outline else Finish.HIDDEN
    if not loop.layers:
        return (meaning_of(loop.layer).finish or default,) * len(loop.contour)
    return tuple(meaning_of(layer).finish or default for layer in loop.layers)


def _find_face_loops(
    drawing: Drawing, uses: list[LayerUse], meaning_of: Callable[[str], Meaning]
) -> Iterable[tuple[int, LoopMeaning]]:
    """Return the loops of recesses and grooves with their numbers; recesses nest layer by layer."""
    layers: dict[str, list[int]] = {}
    for i, use in enumerate(uses):
        if use is not LayerUse.CONTOUR:
            layers.setdefault(drawing.loops[i].layer.upper(), []).append(i)
    for numbers in layers.values():
        meaning = meaning_of(drawing.loops[numbers[0]].layer)
        nests = find_nesting(tuple(drawing.loops[i].contour for i in numbers))
        for i, nest in zip(numbers, nests, strict=True):
            is_recess = uses[i] is LayerUse.RECESS
            yield (
                i,
                LoopMeaning(
                    role=Role.RECESS if is_recess else Role.GROOVE,
                    depth=nest.depth,
                    parent=numbers[nest.parent] if is_recess and nest.parent is not None else None,
                    depth_mm=meaning.depth_mm,
                    width_mm=meaning.width_mm,
                    is_island=is_recess and nest.depth % 2 == 1,
                ),
            )


def _say_faults(drawing: Drawing, meaning_of: Callable[[str], Meaning]) -> Iterable[Finding]:
    """Say each layer whose name cannot be understood once, at the first thing drawn on it."""
    seen: set[str] = set()
    every: tuple[Loop | OpenChain, ...] = (*drawing.loops, *drawing.open_chains, *drawing.centre_lines)
    for drawn in every:
        layers = _layers_of(drawn) if isinstance(drawn, Loop) else (drawn.layer,)
        for layer in layers:
            meaning = meaning_of(layer)
            if layer not in seen and meaning.fault:
                seen.add(layer)
                message = f"the layer's name is not understood: {meaning.fault}"
                origin = find_origin(drawn, file=str(drawing.path), layer=layer)
                yield error("layer-not-understood", message, remedy=meaning.remedy, origin=origin)


def find_origin(drawn: Loop | OpenChain, *, file: str, layer: str | None = None) -> Origin:
    """Return the place of a loop or chain: its first vertex, or that of its first segment on a layer."""
    contour = drawn.contour.vertices if isinstance(drawn, Loop) else drawn.vertices
    at = drawn.layers.index(layer) if isinstance(drawn, Loop) and layer in drawn.layers else 0
    block = drawn.block_path if isinstance(drawn, Loop) else ""
    return Origin(
        file=file,
        layer=layer or drawn.layer,
        handle=drawn.handle,
        block_path=block or None,
        x_mm=float(contour[at, 0]),
        y_mm=float(contour[at, 1]),
    )


_SAID = {LayerMeaning.OUTLINE: "an outline", LayerMeaning.CUTOUT: "a cut-out", LayerMeaning.HOLE: "a hole"}


def _check_meaning(loop: Loop, nest: Nest, meaning_of: Callable[[str], Meaning], *, file: str) -> Iterable[Finding]:
    """Say where the layers of a loop that goes through disagree among themselves or with its nesting."""
    said = {layer: meaning_of(layer).means for layer in _layers_of(loop)}
    meanings = list(dict.fromkeys(means for means in said.values() if means is not None))
    if not meanings:
        return
    origin = find_origin(loop, file=file)
    if len(meanings) > 1:
        named = ", ".join(f"{layer} ({means})" for layer, means in said.items() if means is not None)
        message = f"the loop is drawn on layers of different meanings: {named}"
        yield error("layers-disagree", message, remedy="draw it on layers of one meaning", origin=origin)
        return
    means = meanings[0]
    in_material = nest.depth % 2 == 1
    width, height = (float(reach) for reach in np.ptp(loop.contour.points_mm, axis=0))
    size = f"the loop of about {width:.1f} x {height:.1f} mm"
    if means is LayerMeaning.OUTLINE and in_material:
        message = f"{size} is drawn as an outline, but lies in the material of another"
        remedy = "draw it as a cut-out, or within a cut-out if it is a panel of its own"
    elif means is not LayerMeaning.OUTLINE and not in_material:
        message = f"{size} is drawn as {_SAID[means]}, but lies in no panel's material"
        remedy = "draw the outline round it, or put the loop on the layer of outlines"
    elif means is LayerMeaning.HOLE and nest.diameter_mm is None:
        message = f"{size} is drawn as a hole, but is no full circle"
        remedy = "draw it as a circle, or put it on the layer of cut-outs"
    else:
        return
    yield error("layer-against-nesting", message, remedy=remedy, origin=origin)


def note_unused_rules(
    drawings: Iterable[Drawing], *, rules: tuple[LayerRule, ...], job: str | None
) -> tuple[Finding, ...]:
    """Return a warning for each rule that decides about no layer of any drawing; ``job`` names the job's file."""
    return tuple(
        warning(
            "layer-rule-unused",
            f"the rule for layers {rules[i].match!r} decides about no layer that anything is drawn on",
            remedy="check the pattern's spelling; an earlier rule that matches the same layers goes before it",
            origin=Origin(file=job, key=f"layer[{i + 1}].match"),
        )
        for i in find_unused_rules(drawings, rules=rules)
    )
