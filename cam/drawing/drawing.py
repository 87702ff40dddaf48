"""A drawing as read: closed loops, what stayed open, texts, and what was found on the way."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from cam.findings import Finding
from cam.geometry.contour import Contour, FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loop:
    """A closed contour and the entities it was drawn with.

    ``layer``, ``handle`` and ``block_path`` are those of its first entity; ``handles`` names all
    of them in the order of travel, each once. ``layers`` has the layer of each segment of the
    contour; empty, ``layer`` holds all round.
    """

    contour: Contour
    layer: str
    handle: str
    handles: tuple[str, ...]
    block_path: str = ""
    layers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OpenChain:
    """Joined pieces that close no loop.

    ``vertices`` is an open path, (n, 3) ``x_mm, y_mm, bulge``, its last bulge unused. ``gap_mm`` is
    the distance from either of its ends to the nearest other open end, its own two included; inf
    where there is none.
    """

    vertices: FloatArray
    start_mm: tuple[float, float]
    end_mm: tuple[float, float]
    length_mm: float
    gap_mm: float
    layer: str
    handle: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """A text in the drawing and the point that it is placed by, where it starts unless it says otherwise."""

    text: str
    x_mm: float
    y_mm: float
    layer: str
    height_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawing:
    """A DXF file in millimetres.

    ``units`` names the unit that the file's numbers were read in and ``mm_per_unit`` is its length.
    ``open_chains`` are faults; ``centre_lines`` are open too, but drawn on layers that hold grooves.
    ``passed_over`` counts, by entity type, what was read but not used. ``layers`` names the layers that
    anything is drawn on, those that are ignored included.
    """

    path: Path
    units: str
    mm_per_unit: float
    loops: tuple[Loop, ...]
    open_chains: tuple[OpenChain, ...] = ()
    centre_lines: tuple[OpenChain, ...] = ()
    texts: tuple[Text, ...] = ()
    findings: tuple[Finding, ...] = ()
    passed_over: tuple[tuple[str, int], ...] = ()
    layers: tuple[str, ...] = ()
