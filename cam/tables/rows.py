"""Typed rows of tooling/ and posts/: cutters, materials, machines, sheets, controllers.

Every row carries the ``source`` of its figures: a publication, 'common practice, no source' or
'from memory'.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from math import sqrt
from typing import Annotated

from cam.tables.bounds import Bounds, CountFromOne, Length, LengthOrZero, NotNegative, OneOf, Positive, Share, Text


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

    ``tool`` is the number that a T word calls it by, unique in the table; 1 to 20 are left for a
    shop's own rows. ``form`` says how the flutes run, in the trade's words. ``edge_length_mm`` is
    how deep the flutes cut; ``stick_out_mm`` how far the cutter reaches below its collet nut.
    ``max_ramp_deg`` is the steepest way into solid material, 0 if it may only enter an open slot.
    ``point_angle_deg`` is the included angle of the tip, 180 where it comes to no point.
    """

    name: Text
    title: Text
    tool: CountFromOne
    kind: CutterKind
    flutes: CountFromOne
    form: Text
    diameter_mm: Length
    edge_length_mm: Length
    shank_mm: Length
    stick_out_mm: Length
    centre_cutting: bool
    max_ramp_deg: Annotated[float, Bounds(at_least=0.0, at_most=90.0)]
    max_rpm: Positive
    point_angle_deg: Annotated[float, Bounds(above=0.0, at_most=180.0)]
    source: Text

    @property
    def radius_mm(self) -> float:
        """Half the diameter."""
        return self.diameter_mm / 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ChipLoad:
    """Chip load (feed per tooth) for one cutter diameter and flute count, at a depth of one diameter.

    Between two diameters of the same flute count the values are interpolated linearly;
    outside the table's diameters there is no cutting data. Ball and vee cutters take the same rows;
    drills have their own (:class:`Drilling`).
    """

    diameter_mm: Length
    flutes: CountFromOne
    low_mm: Positive
    start_mm: Positive
    high_mm: Positive
    source: Text


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthFactor:
    """What the chip load is multiplied by at a pass depth of so many diameters."""

    diameters: Positive
    factor: Annotated[float, Bounds(above=0.0, at_most=1.0)]


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillFeed:
    """Feed of a drill, mm in a turn, for one diameter.

    Between two diameters the values are interpolated linearly; outside the table's there are none.
    """

    diameter_mm: Length
    low_mm: Positive
    start_mm: Positive
    high_mm: Positive
    source: Text


@dataclass(frozen=True, slots=True, kw_only=True)
class Drilling:
    """How drills go through a material.

    The speeds are those of the drill's rim. After ``peck_diameters`` the drill comes out to clear its
    chips. While it breaks through it is fed at ``exit_share`` of the feed. A hole wider than
    ``pilot_above_mm`` is first drilled with a thinner drill.
    """

    min_speed_m_per_min: Positive
    start_speed_m_per_min: Positive
    max_speed_m_per_min: Positive
    peck_diameters: Annotated[float, Bounds(above=0.0, at_most=5.0)]
    exit_share: Annotated[float, Bounds(above=0.0, at_most=1.0)]
    pilot_above_mm: Length
    feeds: tuple[DrillFeed, ...]
    source: Text


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """A material of tooling/materials.toml.

    The thickness of a sheet of nominal thickness t lies within ``thickness_tol_mm +
    thickness_tol_share * t`` of it. ``finish_chip_cap`` bounds how many times the chip load may be
    raised where a narrow bite thins the chip. ``ramp_deg`` is the angle of entry. ``plunge_share``
    is the feed straight down, as a share of the feed. Below ``min_chip_mm`` any cutter rubs,
    whatever its diameter. ``drilling`` is None where the material is not to be drilled.
    """

    name: Text
    title: Text
    chip_loads: tuple[ChipLoad, ...]
    depth_factors: tuple[DepthFactor, ...]
    max_pass_depth_diameters: Positive
    max_stepover_diameters: Annotated[float, Bounds(above=0.0, at_most=1.0)]
    min_rpm: Positive
    max_rpm: Positive
    start_rpm: Positive
    rough_direction: Direction
    finish_direction: Direction
    finish_allowance_mm: LengthOrZero
    finish_chip_cap: Annotated[float, Bounds(at_least=1.0, at_most=3.0)]
    ramp_deg: Annotated[float, Bounds(above=0.0, at_most=45.0)]
    cutting_energy_j_per_mm3: Positive
    density_kg_per_m3: Positive
    expansion_per_k: Annotated[float, Bounds(at_least=0.0, at_most=0.01)]
    thickness_tol_mm: LengthOrZero
    thickness_tol_share: Share
    air_blast: bool
    cautions: tuple[Text, ...]
    source: Text
    plunge_share: Annotated[float, Bounds(above=0.0, at_most=1.0)] = 0.3
    min_chip_mm: LengthOrZero = 0.025
    drilling: Drilling | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerPoint:
    """What the spindle can give at a speed; linear between points."""

    rpm: NotNegative
    power_w: NotNegative


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """A machine of tooling/machines.toml; triples are X, Y, Z.

    ``junction_deviation_mm`` is how far a corner may be cut off in passing, which bounds the speed
    there. ``block_time_s`` is the least time that the controller needs for one block.
    ``max_collet_mm`` is the thickest shank that the spindle holds.
    """

    name: Text
    title: Text
    travel_mm: tuple[Length, Length, Length]
    rapid_mm_per_min: tuple[Positive, Positive, Positive]
    max_feed_mm_per_min: Positive
    acceleration_mm_per_s2: tuple[Positive, Positive, Positive]
    junction_deviation_mm: LengthOrZero
    block_time_s: NotNegative
    min_rpm: NotNegative
    max_rpm: Positive
    power_curve: tuple[PowerPoint, ...]
    spin_up_s: NotNegative
    tool_change_s: NotNegative
    max_collet_mm: Length
    source: Text


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetSize:
    """A sheet of tooling/sheets.toml, as bought; ``material`` names a row."""

    name: Text
    title: Text
    material: Text
    width_mm: Length
    height_mm: Length
    thickness_mm: Length
    source: Text


class ArcForm(StrEnum):
    """How a controller takes arcs; of both, castcut writes the centre."""

    BOTH = "both"
    CENTRE = "centre"
    RADIUS = "radius"
    NONE = "none"


class ToolChange(StrEnum):
    """How a cutter is changed: by T and M6, by hand at a stop, or with a file for each cutter."""

    WORD = "word"
    STOP = "stop"
    FILE = "file"


class CommentForm(StrEnum):
    """What sets off a comment; a semicolon's lasts to the end of its line."""

    PARENTHESES = "parentheses"
    SEMICOLON = "semicolon"
    NONE = "none"


class CharacterSet(StrEnum):
    """Which characters a controller takes, in comments as well: ASCII, or that without small letters."""

    ASCII = "ascii"
    CAPITALS = "capitals"


@dataclass(frozen=True, slots=True, kw_only=True)
class ControllerFacts:
    """What a controller understands; read by the writer and by the interpreter.

    ``units`` is ``mm`` or ``inch``: what programs are written in, chosen by ``mm_word`` or
    ``inch_word``, with so many ``decimals``. ``quadrant_arcs`` says that no arc may pass from one
    quadrant to the next. ``arc_tol_mm`` is how far the distances of an arc's start and end from its
    centre may differ. ``max_block_length`` counts characters, without the line end.
    ``dwell_units`` is ``s`` or ``ms``. ``path_words`` lists the path modes that it takes, the
    safest for a contour first; empty, it always works as ``path_mode`` says. An empty ``air_on_word``
    means that it has none, and so do those of vacuum and extraction. ``lacks`` lists the words of
    NISTIR 6556 that it refuses. ``look_ahead_blocks`` is how many moves it knows ahead, 0 for all;
    ``blend_tol_mm`` how far from the programmed corner it passes in continuous mode, 0 where nobody
    has stated it and the machine's own junction deviation decides. Without ``spindle_speed_word`` the
    speed is set by hand. ``program_letter`` opens a line with the program's number; empty, there is none.
    """

    inch_word: str
    mm_word: str
    units: Annotated[str, OneOf("mm", "inch")]
    decimals: Annotated[int, Bounds(at_least=0, at_most=8)]
    arcs: ArcForm
    quadrant_arcs: bool
    helical_arcs: bool
    max_arc_radius_mm: Positive
    arc_tol_mm: Positive
    canned_cycles: tuple[Text, ...]
    max_block_length: Annotated[int, Bounds(at_least=24, at_most=100_000)]
    comment_form: CommentForm
    dwell_units: Annotated[str, OneOf("s", "ms")]
    tool_change: ToolChange
    spindle_speed_word: bool
    path_words: tuple[Text, ...]
    work_offsets: tuple[Text, ...]
    air_on_word: str
    air_off_word: str
    end_word: Text
    lacks: tuple[Text, ...]
    character_set: CharacterSet = CharacterSet.ASCII
    spindle_on_word: Text = "M3"
    spindle_off_word: Text = "M5"
    vacuum_on_word: str = ""
    vacuum_off_word: str = ""
    extraction_on_word: str = ""
    extraction_off_word: str = ""
    path_mode: Annotated[str, OneOf("exact", "stop", "continuous")] = "continuous"
    look_ahead_blocks: Annotated[int, Bounds(at_least=0, at_most=1000000)] = 0
    blend_tol_mm: LengthOrZero = 0.0
    program_letter: Annotated[str, OneOf("", "O", ":")] = ""

    @property
    def rounding_mm(self) -> float:
        """How far a written place lies from the planned one at most, in X and Y: half a last digit on each."""
        digit_mm = (25.4 if self.units == "inch" else 1.0) / 10.0**self.decimals
        return digit_mm / 2.0 * sqrt(2.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class ControllerFormat:
    """How castcut writes for a controller; read by the writer alone.

    ``line_end`` holds the characters themselves; ``extension`` has no dot. ``header`` and
    ``footer`` are lines of words written after the opening comments and before the end word.
    ``incremental`` writes moves as steps (G91) once the cutter stands at a known place.
    ``drill_cycles`` writes drilled holes as canned cycles where the controller has them.
    ``program_number`` is written where the controller takes one.
    """

    block_numbers: bool
    block_step: CountFromOne
    spaces: bool
    repeat_modal_words: bool
    line_end: Annotated[str, OneOf("\n", "\r\n")]
    percent_signs: bool
    extension: Text
    header: tuple[Text, ...]
    footer: tuple[Text, ...]
    incremental: bool = False
    drill_cycles: bool = False
    program_number: Annotated[int, Bounds(at_least=1, at_most=9999)] = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class ControllerLimits:
    """The largest numbers a controller takes."""

    max_feed_mm_per_min: Positive
    max_rpm: Positive
    max_coordinate_mm: Positive


@dataclass(frozen=True, slots=True, kw_only=True)
class Controller:
    """A controller of posts/, one file each; ``facts`` is its section ``[controller]``."""

    name: Text
    title: Text
    facts: ControllerFacts = field(metadata={"key": "controller"})
    format: ControllerFormat
    limits: ControllerLimits
    source: Text


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """All rows, in the order of their files; a shop's own rows come first and win by name."""

    cutters: tuple[Cutter, ...]
    materials: tuple[Material, ...]
    machines: tuple[Machine, ...]
    sheets: tuple[SheetSize, ...]
    controllers: tuple[Controller, ...]
