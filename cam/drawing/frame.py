"""Frames: from an entity's own coordinates to the drawing's, through OCS and block references."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

import numpy as np
from ezdxf.math import OCS, Matrix44, Vec3

from cam.geometry.contour import FloatArray

MAX_TILT = 1e-6  # a direction no farther than this from the plane or its normal is taken to lie in it
SAME_SCALE = 1e-9  # relative difference up to which two axes are equally long and square


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Similarity:
    """A change of plane coordinates that keeps circles: z to ``factor z + shift``, z conjugated if mirrored."""

    factor: complex
    shift: complex
    mirrored: bool

    def place(self, x: float, y: float) -> complex:
        """Return a point in the drawing's plane."""
        return self.factor * complex(x, -y if self.mirrored else y) + self.shift


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frame:
    """Where an entity's coordinates lie in the drawing.

    ``matrix`` is (4, 4) for row vectors, ``[x, y, z, 1] @ matrix``. ``similarity`` is what it does
    to the plane where it keeps circles and the plane level, else None.
    """

    matrix: FloatArray
    similarity: Similarity | None

    @property
    def is_identity(self) -> bool:
        """Whether nothing changes."""
        return self is WORLD

    def place(self, points: FloatArray) -> FloatArray:
        """Return points (n, 3) in the drawing."""
        return np.asarray(points @ self.matrix[:3, :3] + self.matrix[3, :3])

    def turn(self, directions: FloatArray) -> FloatArray:
        """Return directions (n, 3) in the drawing."""
        return np.asarray(directions @ self.matrix[:3, :3])


def lay_frame(matrix: FloatArray) -> Frame:
    """Return the frame of a matrix, directions that are level but for rounding made level."""
    matrix = matrix.copy()
    ux, uy, uz = matrix[:3, :3]
    size_x, size_y, size_z = (float(np.linalg.norm(axis)) for axis in (ux, uy, uz))
    level = (
        abs(ux[2]) <= MAX_TILT * size_x and abs(uy[2]) <= MAX_TILT * size_y and hypot(uz[0], uz[1]) <= MAX_TILT * size_z
    )
    if level:
        ux[2] = uy[2] = uz[0] = uz[1] = 0.0
    square = abs(float(ux @ uy)) <= SAME_SCALE * size_x * size_y
    even = abs(size_x - size_y) <= SAME_SCALE * max(size_x, size_y)
    similarity = None
    if level and square and even and size_x > 0.0:
        similarity = Similarity(
            factor=complex(ux[0], ux[1]),
            shift=complex(matrix[3, 0], matrix[3, 1]),
            mirrored=bool(ux[0] * uy[1] - ux[1] * uy[0] < 0.0),
        )
    return Frame(matrix=matrix, similarity=similarity)


WORLD = Frame(matrix=np.eye(4), similarity=Similarity(factor=1 + 0j, shift=0j, mirrored=False))


def lay_ocs_frame(extrusion: Vec3, *, inside: Frame) -> Frame:
    """Return the frame of an object coordinate system (DXF reference, arbitrary axis algorithm).

    A normal that is (0, 0, 1) or (0, 0, -1) but for ``MAX_TILT`` is taken as such.
    """
    normal = extrusion.normalize()
    if hypot(normal.x, normal.y) <= MAX_TILT:
        normal = Vec3(0, 0, 1 if normal.z > 0 else -1)
        if normal.z > 0:
            return inside
    return lay_frame(as_array(OCS(normal).matrix) @ inside.matrix)


def as_array(matrix: Matrix44) -> FloatArray:
    """Return ezdxf's matrix as an array (4, 4) for row vectors."""
    return np.array(list(matrix), dtype=np.float64).reshape(4, 4)
