"""Typed rows of tooling/ and posts/: cutters, materials, machines, sheets, controllers.

Every row carries the ``source`` of its figures: a publication, 'common practice, no source' or
'from memory'.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class CutterKind(StrEnum):
    """The shape that a cutter leaves."""

    FLAT = "flat"
    BALL = "ball"
    VEE = "vee"
    DRILL = "drill"


class Direction(StrEnum):
    """Which way the cutter's edge meets the material."""

    CLIMB = "climb"
    CONVENTIONAL = "conventional"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cutter:
    """A cutter of tooling/cutters.toml.

    ``tool`` is the number that a T word calls it by, unique in the table. ``edge_length_mm`` is
    how deep the flutes cut; ``stick_out_mm`` how far the cutter reaches below its collet nut.
    """

    name: str
    title: str
    tool: int
    kind: CutterKind
    flutes: int
    form: str
    diameter_mm: float
    edge_length_mm: float
    shank_mm: float
    stick_out_mm: float
    centre_cutting: bool
    max_ramp_deg: float
    max_rpm: float
    point_angle_deg: float
    source: str

    @property
    def radius_mm(self) -> float:
        """Half the diameter."""
        return self.diameter_mm / 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ChipLoad:
    """Chip load for one cutter diameter and flute count, at a depth of one diameter.

    Between two diameters of the same flute count the values are interpolated linearly; outside
    the table's diameters there is no cutting data.
    """

    diameter_mm: float
    flutes: int
    low_mm: float
    start_mm: float
    high_mm: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthFactor:
    """What the chip load is multiplied by at a pass depth of so many diameters."""

    diameters: float
    factor: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """A material of tooling/materials.toml.

    The thickness of a sheet of nominal thickness t lies within ``thickness_tol_mm +
    thickness_tol_share * t`` of it.
    """

    name: str
    title: str
    chip_loads: tuple[ChipLoad, ...]
    depth_factors: tuple[DepthFactor, ...]
    max_pass_depth_diameters: float
    max_stepover_diameters: float
    min_rpm: float
    max_rpm: float
    start_rpm: float
    rough_direction: Direction
    finish_direction: Direction
    finish_allowance_mm: float
    finish_chip_cap: float
    ramp_deg: float
    cutting_energy_j_per_mm3: float
    density_kg_per_m3: float
    expansion_per_k: float
    thickness_tol_mm: float
    thickness_tol_share: float
    air_blast: bool
    cautions: tuple[str, ...]
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerPoint:
    """What the spindle can give at a speed; linear between points."""

    rpm: float
    power_w: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """A machine of tooling/machines.toml; triples are X, Y, Z."""

    name: str
    title: str
    travel_mm: tuple[float, float, float]
    rapid_mm_per_min: tuple[float, float, float]
    max_feed_mm_per_min: float
    acceleration_mm_per_s2: tuple[float, float, float]
    junction_deviation_mm: float
    block_time_s: float
    min_rpm: float
    max_rpm: float
    power_curve: tuple[PowerPoint, ...]
    spin_up_s: float
    tool_change_s: float
    max_collet_mm: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetSize:
    """A sheet of tooling/sheets.toml, as bought."""

    name: str
    title: str
    material: str
    width_mm: float
    height_mm: float
    thickness_mm: float
    source: str


class ArcForm(StrEnum):
    """How a controller takes arcs."""

    CENTRE = "centre"
    RADIUS = "radius"
    NONE = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class ControllerFacts:
    """What a controller understands; read by the writer and by the interpreter."""

    inch_word: str
    mm_word: str
    units: str
    decimals: int
    arcs: ArcForm
    quadrant_arcs: bool
    helical_arcs: bool
    max_arc_radius_mm: float
    arc_tol_mm: float
    canned_cycles: tuple[str, ...]
    max_block_length: int
    comments: bool
    dwell_units: str
    tool_change: bool
    spindle_speed_word: bool
    path_words: tuple[str, ...]
    work_offsets: tuple[str, ...]
    air_on_word: str
    air_off_word: str
    end_word: str
    lacks: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ControllerFormat:
    """How castcut writes for a controller; read by the writer alone."""

    block_numbers: bool
    block_step: int
    spaces: bool
    repeat_modal_words: bool
    line_end: str
    percent_signs: bool
    extension: str
    header: tuple[str, ...]
    footer: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ControllerLimits:
    """The largest numbers a controller takes."""

    max_feed_mm_per_min: float
    max_rpm: float
    max_coordinate_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Controller:
    """A controller of posts/, one file each."""

    name: str
    title: str
    facts: ControllerFacts
    format: ControllerFormat
    limits: ControllerLimits
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """All rows, in the order of their files; a shop's own rows come first and win by name."""

    cutters: tuple[Cutter, ...]
    materials: tuple[Material, ...]
    machines: tuple[Machine, ...]
    sheets: tuple[SheetSize, ...]
    controllers: tuple[Controller, ...]
