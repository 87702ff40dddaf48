"""The job: every option once, whether it comes from a file, the command line or a caller."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path


class HoldKind(StrEnum):
    """What keeps panels and slugs from coming loose."""

    BRIDGES = "bridges"
    SKIN = "skin"


class ZeroFace(StrEnum):
    """Where Z is 0."""

    BED = "bed"
    TOP = "top"


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelEntry:
    """One drawing on the sheet: ``[[panel]]`` of a job.

    ``at_mm`` is the lower left corner of the drawing's parts on the sheet, after the turn; None
    lays them at the sheet's margin. ``expect_size_mm`` and ``expect_cutouts`` guard against a wrong
    drawing or wrong units: what the panel stage finds must agree.
    """

    drawing: Path
    name: str | None = None
    units: str | None = None
    at_mm: tuple[float, float] | None = None
    turn_deg: float = 0.0
    expect_size_mm: tuple[float, float] | None = None
    expect_cutouts: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerRule:
    """``[corners]``: the radius that every re-entrant corner of a panel must have."""

    radius_mm: float = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """``[hold]``: bridges of a height above the bed, or a skin; and when a slug is cleared."""

    by: HoldKind = HoldKind.BRIDGES
    bridge_length_mm: float = 8.0
    bridge_height_mm: float = 0.8
    bridge_spacing_mm: float = 300.0
    min_bridges: int = 4
    skin_mm: float = 0.4
    clear_slug_below_mm2: float = 2000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Heights:
    """``[heights]``: heights above the bed or above the sheet, and the cut into the bed."""

    zero: ZeroFace = ZeroFace.BED
    clearance_mm: float = 10.0
    into_bed_mm: float = 0.3
    max_into_bed_mm: float = 0.5
    measured_thickness_mm: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerances:
    """``[tolerances]``: distances, each used by one stage."""

    join_mm: float = 0.01
    fit_mm: float = 0.005
    finish_uncut_mm: float = 0.01
    gouge_mm: float = 0.003


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What is to be cut, from what, by what.

    ``sheet``, ``material``, ``machine`` and ``controller`` are names of rows; ``cutters`` names the
    cutters that may be used, or is empty for any of the table. Paths are absolute or relative to
    the working folder, never to the job file: reading a job file resolves them.
    """

    title: str
    panels: tuple[PanelEntry, ...]
    sheet: str
    machine: str = "workshop-gantry"
    controller: str = "ngc"
    cutters: tuple[str, ...] = ()
    margin_mm: float = 15.0
    work_offset: str = "G54"
    corners: CornerRule = field(default_factory=CornerRule)
    hold: Hold = field(default_factory=Hold)
    heights: Heights = field(default_factory=Heights)
    tolerances: Tolerances = field(default_factory=Tolerances)
    path: Path | None = None
