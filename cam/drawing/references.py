"""Block references: where each places its block, and how much they lay out."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from ezdxf.document import Drawing as Document
from ezdxf.entities.dxfgfx import DXFGraphic
from ezdxf.entities.insert import Insert
from ezdxf.math import Vec3

from cam.drawing.frame import WORLD, Frame, as_array, lay_frame, lay_ocs_frame
from cam.drawing.limits import EntityFault, Limits

MAX_DEPTH = 50


def find_frames(insert: Insert, *, inside: Frame, limits: Limits) -> list[Frame]:
    """Return the frame of each place of a block reference in a frame.

    Raises
    ------
    EntityFault
        If it is placed too far away, scaled too much, or has no direction.

    Notes
    -----
    A point p of the block goes to ``insertion + turn scale (p - base)``; an array steps along the
    turned axes by its spacings, which the scale leaves alone (DXF reference, INSERT).
    """
    dxf = insert.dxf
    place = Vec3(dxf.get("insert", (0.0, 0.0, 0.0)))
    values = (*place, dxf.xscale, dxf.yscale, dxf.zscale, dxf.rotation, dxf.row_spacing, dxf.column_spacing)
    if not all(abs(value) <= limits.max_coordinate for value in values):
        raise EntityFault("coordinates-too-large", "it is placed too far away or scaled too much", "place it again")
    if not 0.0 < Vec3(dxf.extrusion).magnitude < 1e100:
        raise EntityFault("broken-entity", "its plane has no direction", "place it again")
    matrix = as_array(insert.matrix44())
    if not (np.abs(matrix) <= limits.max_coordinate).all():  # the block's base point may be anywhere
        raise EntityFault("coordinates-too-large", "its block's base point is too far away", "draw the block again")
    rows, columns = count_places(insert)
    if rows == columns == 1:
        return [lay_frame(matrix @ inside.matrix)]
    ocs = lay_ocs_frame(Vec3(dxf.extrusion), inside=WORLD)
    turn = Vec3.from_deg_angle(dxf.rotation)
    along = ocs.turn(np.array([turn.x, turn.y, 0.0])) * dxf.column_spacing
    up = ocs.turn(np.array([-turn.y, turn.x, 0.0])) * dxf.row_spacing
    frames = []
    for row in range(rows):
        for column in range(columns):
            moved = matrix.copy()
            moved[3, :3] += row * up + column * along
            frames.append(lay_frame(moved @ inside.matrix))
    return frames


def count_places(insert: Insert) -> tuple[int, int]:
    """Return the rows and columns of a block reference; without a spacing they all lie on one place."""
    dxf = insert.dxf
    rows = max(1, dxf.row_count) if dxf.row_spacing else 1
    columns = max(1, dxf.column_count) if dxf.column_spacing else 1
    return rows, columns


def count_entities(document: Document) -> int:
    """Return how many entities model space holds once its blocks are laid out, without laying them out."""
    counts: dict[str, int] = {}

    def count(entities: Iterable[DXFGraphic], above: tuple[str, ...]) -> int:
        total = 0
        for entity in entities:
            total += 1
            if entity.dxftype() != "INSERT" or not isinstance(entity, Insert):
                continue
            name = (entity.dxf.get("name") or "").lower()
            block = entity.block() if name else None
            # a block inside itself is refused where it is met; here it only must not be counted forever
            if block is None or name in above or len(above) >= MAX_DEPTH:
                continue
            if name not in counts:
                counts[name] = count(block, (*above, name))
            rows, columns = count_places(entity)
            total += rows * columns * counts[name]
        return total

    return count(document.modelspace(), ())
