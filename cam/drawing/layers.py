"""What layers are for, as far as joining goes: pieces of different uses never join and never condemn each other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

import numpy as np

from cam.drawing.pieces import Pieces, keep_pieces


class LayerUse(StrEnum):
    """How what is drawn on a layer is joined and checked.

    Contours must close, and may neither cross nor touch. The loops of a recess layer lie in the upper
    face: they must close, but may cross and share edges with anything on another layer. Grooves are
    centre lines, which may stay open and cross one another. What is ignored is dropped unread.
    """

    CONTOUR = "contour"
    RECESS = "recess"
    GROOVE = "groove"
    IGNORE = "ignore"


UseOf: TypeAlias = Callable[[str], LayerUse]


def use_as_contour(_layer: str) -> LayerUse:
    """Return that a layer holds contours, whatever it is called."""
    return LayerUse.CONTOUR


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FacePieces:
    """The pieces of one recess or groove layer."""

    layer: str
    use: LayerUse
    pieces: Pieces


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartedPieces:
    """Pieces of contours, and those that lie in the upper face, layer by layer."""

    contours: Pieces
    face: tuple[FacePieces, ...]


def part_pieces(pieces: Pieces, *, use_of: UseOf) -> PartedPieces:
    """Return pieces parted by the use of their layers; those of one name in any case stay together."""
    names = {layer: layer.upper() for layer in dict.fromkeys(source.layer for source in pieces.sources)}
    uses = {names[layer]: use_of(layer) for layer in names}
    on_face = {name: number for number, name in enumerate(uses) if uses[name] in (LayerUse.RECESS, LayerUse.GROOVE)}
    if not on_face:
        return PartedPieces(contours=pieces, face=())
    number = np.array([on_face.get(names[source.layer], -1) for source in pieces.sources], dtype=np.int64)
    return PartedPieces(
        contours=keep_pieces(pieces, number == -1),
        face=tuple(
            FacePieces(layer=name, use=uses[name], pieces=keep_pieces(pieces, number == at))
            for name, at in on_face.items()
        ),
    )
