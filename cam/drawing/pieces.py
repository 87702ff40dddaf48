"""Pieces: what the drawing's entities become before they are joined."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import compress
from typing import NamedTuple

import numpy as np

from cam.findings import Origin
from cam.geometry.contour import BoolArray, FloatArray, IntArray

Row = tuple[float, float, float]


class Source(NamedTuple):
    """The entity that a piece came from; a tuple, because a drawing may hold 100,000."""

    kind: str
    layer: str
    handle: str
    block_path: str = ""

    def find_origin(self, file: str, at_mm: FloatArray | None = None) -> Origin:
        """Return the place to print: file, layer, handle, block and, where given, the point (2,)."""
        return Origin(
            file=file,
            layer=self.layer,
            handle=self.handle,
            block_path=self.block_path or None,
            x_mm=None if at_mm is None else float(at_mm[0]),
            y_mm=None if at_mm is None else float(at_mm[1]),
        )

    def __str__(self) -> str:
        inside = f" in block {self.block_path}" if self.block_path else ""
        return f"{self.kind} {self.handle} of layer {self.layer}{inside}"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pieces:
    """Runs of segments, open or closed, as they were drawn.

    ``vertices`` is (m, 3) ``x_mm, y_mm, bulge``, all pieces one after another; piece i owns rows
    ``first[i]`` to ``first[i + 1]``, so that ``first`` is (n + 1,). The last bulge of a closed
    piece leads back to its first vertex, that of an open one is 0 and unused.
    """

    vertices: FloatArray
    first: IntArray
    closed: BoolArray
    sources: tuple[Source, ...]

    def __len__(self) -> int:
        return len(self.sources)


@dataclass(slots=True, kw_only=True, eq=False)
class PieceList:
    """Pieces while they are being collected, in drawing units."""

    rows: list[Row] = field(default_factory=list)
    first: list[int] = field(default_factory=lambda: [0])
    closed: list[bool] = field(default_factory=list)
    sources: list[Source] = field(default_factory=list)

    def add(self, rows: list[Row], *, closed: bool, source: Source) -> None:
        """Take in one piece."""
        self.rows.extend(rows)
        self.first.append(len(self.rows))
        self.closed.append(closed)
        self.sources.append(source)

    def as_pieces(self, *, mm_per_unit: float) -> Pieces:
        """Return the pieces in millimetres."""
        vertices = np.array(self.rows, dtype=np.float64).reshape(-1, 3)
        vertices[:, :2] *= mm_per_unit
        return Pieces(
            vertices=vertices,
            first=np.array(self.first, dtype=np.int64),
            closed=np.array(self.closed, dtype=np.bool_),
            sources=tuple(self.sources),
        )


def keep_pieces(pieces: Pieces, keep: BoolArray) -> Pieces:
    """Return the pieces that a mask (n,) names."""
    counts = np.diff(pieces.first)
    return Pieces(
        vertices=pieces.vertices[np.repeat(keep, counts)],
        first=np.concatenate(([0], np.cumsum(counts[keep]))).astype(np.int64),
        closed=pieces.closed[keep],
        sources=tuple(compress(pieces.sources, keep.tolist())),
    )


def find_piece_segments(pieces: Pieces) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return start (m, 2), end (m, 2) and bulge (m,) of the segment from every row of pieces.

    The last row of an open piece starts none: its segment has no length and bulge 0.
    """
    start, bulge = pieces.vertices[:, :2], pieces.vertices[:, 2].copy()
    end = np.roll(start, -1, axis=0)
    last = pieces.first[1:] - 1
    end[last] = np.where(pieces.closed[:, None], start[pieces.first[:-1]], start[last])
    bulge[last[~pieces.closed]] = 0.0
    return start, end, bulge


def measure_segments_mm(start: FloatArray, end: FloatArray, bulge: FloatArray) -> FloatArray:
    """Return the lengths of segments given by their ends and bulges."""
    chord = np.hypot(*(end - start).T)
    half = 2.0 * np.arctan(bulge)
    sine = np.sin(half)
    return np.asarray(np.where(np.abs(bulge) < 1e-8, chord, chord * half / np.where(sine == 0.0, 1.0, sine)))


def measure_pieces_mm(pieces: Pieces) -> FloatArray:
    """Return the length of every piece, (n,)."""
    if not len(pieces):
        return np.zeros(0)
    return np.asarray(np.add.reduceat(measure_segments_mm(*find_piece_segments(pieces)), pieces.first[:-1]))
