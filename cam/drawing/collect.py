"""All entities of a document to pieces: through blocks, past what is hidden or draws no contour."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from ezdxf.document import Drawing as Document
from ezdxf.entities.attrib import Attrib
from ezdxf.entities.dxfentity import DXFTagStorage
from ezdxf.entities.dxfgfx import DXFGraphic
from ezdxf.entities.insert import Insert
from ezdxf.entities.mtext import MText
from ezdxf.entities.polygon import DXFPolygon
from ezdxf.entities.text import Text as DXFText
from ezdxf.math import Vec3
from ezdxf.xclip import XClip

from cam.drawing.drawing import Text
from cam.drawing.entities import DRAWERS, Drawn, draw_entity
from cam.drawing.frame import WORLD, Frame, lay_ocs_frame
from cam.drawing.hatch import HATCH_KINDS, draw_hatch
from cam.drawing.layers import LayerUse, UseOf, use_as_contour
from cam.drawing.limits import EntityFault, Limits
from cam.drawing.pieces import PieceList, Source
from cam.drawing.references import MAX_DEPTH, count_entities, find_frames
from cam.errors import DrawingRefused
from cam.findings import Finding, Origin, error, warning

MAX_ENTITIES = 500_000
MAX_FAULTS = 200
CHEAP_KINDS = ("LINE", "ARC", "LWPOLYLINE", "POLYLINE")
"""What is drawn of a hidden layer too, to see whether the contours go on there."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayerStates:
    """Names of layers, in small letters, that are frozen or switched off."""

    frozen: frozenset[str]
    off: frozenset[str]


@dataclass(slots=True, kw_only=True, eq=False)
class Collected:
    """What a walk through the entities has gathered so far.

    ``hatches`` are boundaries of hatches, kept apart until the end: where one stands on a drawn
    contour, the contour is the first. ``hidden_pieces`` are on layers that are off or frozen.
    """

    pieces: PieceList = field(default_factory=PieceList)
    hidden_pieces: PieceList = field(default_factory=PieceList)
    hatches: list[tuple[Drawn, Source]] = field(default_factory=list)
    heights: list[float] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    passed_over: Counter[str] = field(default_factory=Counter)
    hidden: Counter[tuple[str, str]] = field(default_factory=Counter)
    invisible: Counter[str] = field(default_factory=Counter)
    ignored: Counter[tuple[str, str]] = field(default_factory=Counter)
    unknown: Counter[str] = field(default_factory=Counter)
    findings: list[Finding] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Walk:
    """Where in the tree of blocks a walk stands.

    ``layer`` is the one that layer 0 stands for here; ``hatches`` says whether boundaries of hatches
    are contours.
    """

    file: str
    states: LayerStates
    limits: Limits
    use_of: UseOf = use_as_contour
    hatches: bool = False
    frame: Frame = WORLD
    layer: str | None = None
    block_path: str = ""
    blocks: tuple[str, ...] = ()


def read_layer_states(document: Document) -> LayerStates:
    """Return which layers are frozen or off."""
    frozen, off = set(), set()
    for layer in document.layers:
        name = str(layer.dxf.name).lower()
        if layer.is_frozen():
            frozen.add(name)
        if layer.is_off():
            off.add(name)
    return LayerStates(frozen=frozenset(frozen), off=frozenset(off))


def collect_entities(
    document: Document, *, file: str, limits: Limits, use_of: UseOf = use_as_contour, hatches: bool = False
) -> Collected:
    """Return the pieces that a document's model space draws, in drawing units, and what it does not.

    Boundaries of hatches count as drawn where ``hatches`` says so.
    """
    walk = Walk(file=file, states=read_layer_states(document), limits=limits, use_of=use_of, hatches=hatches)
    if count_entities(document) > MAX_ENTITIES:
        raise DrawingRefused(_too_many(walk))
    collected = Collected()
    _collect(document.modelspace(), collected, walk)
    for drawn, source in collected.hatches:
        _add_drawn(drawn, source, collected)
    return collected


def _collect(entities: Iterable[DXFGraphic], collected: Collected, walk: Walk) -> None:
    frozen, off = walk.states.frozen, walk.states.off
    any_hidden = bool(frozen or off)
    for entity in entities:
        kind = entity.dxftype()
        dxf = entity.dxf
        layer = str(getattr(dxf, "layer", "0"))  # entities of unknown type may have none
        if walk.layer is not None and layer == "0":
            layer = walk.layer
        if any_hidden and (layer.lower() in frozen or (layer.lower() in off and kind != "INSERT")):
            collected.hidden[layer, kind] += 1
            if kind in CHEAP_KINDS and walk.use_of(layer) is not LayerUse.IGNORE:
                _collect_hidden(entity, Source(kind, layer, dxf.handle or "", walk.block_path), collected, walk)
        elif walk.use_of(layer) is LayerUse.IGNORE:
            collected.ignored[layer, kind] += 1
        elif isinstance(entity, DXFTagStorage) or not isinstance(entity, DXFGraphic):
            # the second are entities of other sections, such as BLOCK, that damage has put here
            collected.unknown[kind] += 1
        elif dxf.get("invisible", 0):
            collected.invisible[kind] += 1
        elif kind in DRAWERS:
            _collect_drawn(entity, Source(kind, layer, dxf.handle or "", walk.block_path), collected, walk)
        elif isinstance(entity, Insert):
            _collect_insert(entity, layer, collected, walk)
        elif walk.hatches and kind in HATCH_KINDS:
            _collect_hatch(entity, Source(kind, layer, dxf.handle or "", walk.block_path), collected, walk)
        else:
            collected.passed_over[kind] += 1
            if isinstance(entity, DXFText | MText):
                _collect_text(entity, layer, collected, walk)


def _collect_drawn(entity: DXFGraphic, source: Source, collected: Collected, walk: Walk) -> None:
    try:
        drawn = draw_entity(entity, walk.frame, walk.limits)
    except EntityFault as fault:
        _add_fault(collected, _say_unusable(fault, source, walk))
        return
    if drawn is None:
        collected.passed_over[f"{source.kind} mesh"] += 1
        return
    _add_drawn(drawn, source, collected)


def _add_drawn(drawn: Drawn, source: Source, collected: Collected) -> None:
    collected.pieces.add(drawn.rows, closed=drawn.closed, source=source)
    collected.heights.append(drawn.height)


def _collect_hatch(entity: DXFGraphic, source: Source, collected: Collected, walk: Walk) -> None:
    assert isinstance(entity, DXFPolygon)
    try:
        drawn = draw_hatch(entity, walk.frame, walk.limits)
    except EntityFault as fault:
        _add_fault(collected, _say_unusable(fault, source, walk))
        return
    collected.hatches.extend((path, source) for path in drawn)


def _collect_hidden(entity: DXFGraphic, source: Source, collected: Collected, walk: Walk) -> None:
    """Keep what a hidden entity would draw; what is wrong with it matters to nobody while it is hidden."""
    try:
        drawn = draw_entity(entity, walk.frame, walk.limits)
    except EntityFault:
        return
    if drawn is not None:
        collected.hidden_pieces.add(drawn.rows, closed=drawn.closed, source=source)


def _say_unusable(fault: EntityFault, source: Source, walk: Walk) -> Finding:
    return error(
        fault.code,
        f"this {source.kind} cannot be used: {fault.message}",
        remedy=fault.remedy,
        origin=source.find_origin(walk.file),
    )


def _collect_insert(insert: Insert, layer: str, collected: Collected, walk: Walk) -> None:
    """Walk through a block reference, once for each place of its array."""
    dxf = insert.dxf
    name = dxf.get("name") or ""
    origin = Origin(file=walk.file, layer=layer, handle=dxf.handle, block_path=walk.block_path or None)
    block = insert.block() if name else None
    if block is None:
        message = f"it refers to the block '{name}', which the drawing does not hold"
        _add_fault(collected, error("missing-block", message, remedy="export the drawing again", origin=origin))
        return
    if name.lower() in walk.blocks or len(walk.blocks) >= MAX_DEPTH:
        message = f"the block '{name}' refers to itself or is nested more than {MAX_DEPTH} deep"
        _add_fault(collected, error("looping-block", message, remedy="mend the block", origin=origin))
        return
    if block.block is not None and block.block.dxf.flags & EXTERNAL_REFERENCE:
        message = f"the block '{name}' stands for another file, which is not read"
        remedy = "bind the reference into the drawing if it holds part of a panel"
        _add_fault(collected, warning("outside-reference", message, remedy=remedy, origin=origin))
    if XClip(insert).has_clipping_path and XClip(insert).is_clipping_enabled:
        message = f"the block '{name}' is clipped; all of it is read, its hidden part too"
        remedy = "draw what is meant without a clip"
        _add_fault(collected, warning("clipped-block", message, remedy=remedy, origin=origin))
    try:
        frames = find_frames(insert, inside=walk.frame, limits=walk.limits)
    except EntityFault as fault:
        message = f"the block '{name}' cannot be placed: {fault.message}"
        _add_fault(collected, error(fault.code, message, remedy=fault.remedy, origin=origin))
        return
    step = f"{name}({dxf.handle})"
    for frame in frames:
        inside = Walk(
            file=walk.file,
            states=walk.states,
            limits=walk.limits,
            use_of=walk.use_of,
            hatches=walk.hatches,
            frame=frame,
            layer=layer,
            block_path=f"{walk.block_path}/{step}" if walk.block_path else step,
            blocks=(*walk.blocks, name.lower()),
        )
        _collect(block, collected, inside)
    for attrib in insert.attribs:
        if walk.use_of(str(attrib.dxf.layer)) is LayerUse.IGNORE:
            continue
        collected.passed_over["ATTRIB"] += 1
        _collect_text(attrib, attrib.dxf.layer, collected, walk)


EXTERNAL_REFERENCE = 4 + 8  # BLOCK flags of the DXF reference


def _collect_text(entity: DXFText | MText | Attrib, layer: str, collected: Collected, walk: Walk) -> None:
    dxf = entity.dxf
    text = entity.plain_text()
    height = dxf.char_height if isinstance(entity, MText) else dxf.height
    place = Vec3(dxf.insert)
    if not isinstance(entity, MText) and (dxf.halign or dxf.valign) and dxf.hasattr("align_point"):
        place = Vec3(dxf.align_point)  # then where its first letter stands is left to the program that shows it
    values = (*place, height)
    if not all(abs(value) <= walk.limits.max_coordinate for value in values):
        return
    frame = walk.frame
    if not isinstance(entity, MText) and 0.0 < Vec3(dxf.extrusion).magnitude < 1e100:
        frame = lay_ocs_frame(Vec3(dxf.extrusion), inside=frame)
    x, y, _ = frame.place(place.xyz)
    scale = abs(frame.similarity.factor) if frame.similarity else 1.0
    mm = walk.limits.mm_per_unit
    collected.texts.append(
        Text(text=str(text), x_mm=float(x) * mm, y_mm=float(y) * mm, layer=layer, height_mm=float(height) * scale * mm)
    )


def _add_fault(collected: Collected, finding: Finding) -> None:
    if len(collected.findings) < MAX_FAULTS:
        collected.findings.append(finding)


def _too_many(walk: Walk) -> Finding:
    return error(
        "too-many-entities",
        f"the drawing holds more than {MAX_ENTITIES} entities once its blocks are laid out",
        remedy="delete what is no part of a panel",
        origin=Origin(file=walk.file, block_path=walk.block_path or None),
    )
