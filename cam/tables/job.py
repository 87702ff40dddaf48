"""The job: every option once, whether it comes from a file, the command line or a caller."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from math import ceil, inf
from pathlib import Path
from typing import Annotated, TypeAlias

from cam.tables.bounds import Bounds, Coordinate, Count, Length, LengthOrZero, OneOf, Text, Tolerance

MIN_CORNER_RADIUS_MM = 4.0
Area: TypeAlias = Annotated[float, Bounds(at_least=0.0, at_most=1e8)]
WORK_OFFSETS = ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")


class HoldKind(StrEnum):
    """What keeps panels and slugs from coming loose."""

    BRIDGES = "bridges"
    SKIN = "skin"


class Grip(StrEnum):
    """What keeps the sheet itself on the bed."""

    CLAMPS = "clamps"
    SCREWS = "screws"
    VACUUM = "vacuum"
    TAPE = "tape"


class LayerMeaning(StrEnum):
    """What a drawing's layer holds."""

    OUTLINE = "outline"
    CUTOUT = "cut-out"
    HOLE = "hole"
    RECESS = "recess"
    GROOVE = "groove"
    IGNORE = "ignore"


class ZeroFace(StrEnum):
    """Where Z is 0."""

    BED = "bed"
    TOP = "top"


class Face(StrEnum):
    """Which way the panel's shown face lies while it is cut; face down it is cut mirrored."""

    UP = "up"
    DOWN = "down"


class Suspects(StrEnum):
    """What becomes of loops that look like a drawing frame or like lettering."""

    ASK = "ask"
    CUT = "cut"


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelEntry:
    """One drawing on the sheet: ``[[panel]]`` of a job.

    ``at_mm`` is the lower left corner of the drawing's parts on the sheet, after the turn; None
    lays them at the sheet's margin. ``expect_size_mm`` and ``expect_cutouts`` guard against a wrong
    drawing or wrong units: what the panel stage finds must agree. ``suspects`` says that loops which look
    like a drawing frame or like lettering are to be cut all the same. ``hatches`` takes the boundaries
    of hatches for contours.
    """

    drawing: Path
    name: Text | None = None
    units: Text | None = None
    hatches: bool = False
    at_mm: tuple[Coordinate, Coordinate] | None = None
    turn_deg: Annotated[float, Bounds(at_least=-360.0, at_most=360.0)] = 0.0
    face: Face = Face.UP
    expect_size_mm: tuple[Length, Length] | None = None
    expect_cutouts: Count | None = None
    suspects: Suspects = Suspects.ASK


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerRule:
    """``[corners]``: the radius that every re-entrant corner of a panel must have, and the least web.

    ``min_web_mm`` is the least material between two contours of a panel; None asks for the sheet's
    thickness, since a web narrower than it is thick breaks when the panel is handled (common practice, no
    source).
    """

    radius_mm: Length = 5.0
    min_web_mm: LengthOrZero | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """``[hold]``: bridges of a height above the bed, or a skin; when a slug is cleared; what holds the sheet.

    Clamps and screws hold the sheet alone. Vacuum and tape hold a panel by itself from the area
    ``vacuum_holds_above_mm2`` or ``tape_holds_above_mm2`` on: 0.5 bar on 200 cm2 presses with 1 kN; for
    tape there is no source, so it is asked for twice the area. ``skin_last_pass`` cuts the skin of such panels
    through at the end.
    """

    by: HoldKind = HoldKind.BRIDGES
    bridge_length_mm: Length = 8.0
    bridge_height_mm: Length = 0.8
    bridge_spacing_mm: Length = 300.0
    min_bridges: Annotated[int, Bounds(at_least=2, at_most=1000)] = 4
    skin_mm: Length = 0.4
    clear_slug_below_mm2: Area = 2000.0
    grip: Grip = Grip.CLAMPS
    vacuum_holds_above_mm2: Area = 20000.0
    tape_holds_above_mm2: Area = 40000.0
    skin_last_pass: bool = False

    @property
    def grips_mm2(self) -> float:
        """The area from which on the grip holds a panel by itself; inf for clamps and screws."""
        return {Grip.VACUUM: self.vacuum_holds_above_mm2, Grip.TAPE: self.tape_holds_above_mm2}.get(self.grip, inf)

    def holds_by_grip(self, area_mm2: float) -> bool:
        """Return whether a panel of an area needs neither bridges nor a skin."""
        return area_mm2 >= self.grips_mm2 and (self.by is HoldKind.BRIDGES or self.skin_last_pass)

    def count_bridges(self, length_mm: float) -> int:
        """Return how many bridges a contour of a length needs."""
        return max(self.min_bridges, ceil(length_mm / self.bridge_spacing_mm))


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerRule:
    """``[[layer]]``: what drawn on layers whose name matches a pattern (``*``, ``?``, any case) means.

    ``depth_mm`` is a recess's or groove's depth below the upper face, ``width_mm`` a groove's width;
    ``finish`` is the class of edges drawn on these layers. The first rule that matches decides; it
    goes before castcut's own layer convention, which fills in what the rule leaves open: a rule that
    gives a finish only leaves the meaning to the layer's name, or to nesting.
    """

    match: Text
    means: LayerMeaning | None = None
    depth_mm: Length | None = None
    width_mm: Length | None = None
    finish: Annotated[str, OneOf("shown", "hidden", "trimmed", "butted")] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepOut:
    """``[[keep_out]]``: a clamp, screw or stop on the sheet that nothing of the tool may touch.

    A rectangle ``size_mm`` about ``at_mm`` in the sheet's frame, turned, ``height_mm`` above the bed.
    """

    at_mm: tuple[Coordinate, Coordinate]
    size_mm: tuple[Length, Length]
    height_mm: Length
    name: Text = "clamp"
    turn_deg: Annotated[float, Bounds(at_least=-360.0, at_most=360.0)] = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowances:
    """``[allowances]``: what roughing leaves on an edge of each finish class; None for the material's own."""

    shown_mm: Length | None = None
    hidden_mm: Length | None = None
    trimmed_mm: Length | None = None
    butted_mm: Length | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Chamfer:
    """``[chamfer]``: an arris ``width_mm`` wide taken off the upper face along edges of some classes.

    0 takes none. ``cutter`` names a vee cutter; None takes the first that leans 45 degrees and fits, or
    else the first that fits, of those that the job's ``cutters`` name or else of the table.
    """

    width_mm: LengthOrZero = 0.0
    on: tuple[Annotated[str, OneOf("shown", "hidden", "trimmed", "butted")], ...] = ("shown",)
    cutter: Text | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Recesses:
    """``[recesses]``: what must stay under every recess and groove."""

    min_floor_mm: Length = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Heights:
    """``[heights]``: heights above the bed or above the sheet, and the cut into the bed.

    ``drill_into_bed_mm`` is how far a drill's point may go into the scrap board under the sheet, so that
    its full diameter comes through; 0 allows it no more than any cutter.
    """

    zero: ZeroFace = ZeroFace.BED
    clearance_mm: Length = 10.0
    into_bed_mm: LengthOrZero = 0.3
    max_into_bed_mm: LengthOrZero = 0.5
    drill_into_bed_mm: LengthOrZero = 0.0
    measured_thickness_mm: tuple[Length, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerances:
    """``[tolerances]``: distances, each used by one stage.

    ``join_mm``, ``fit_mm`` and ``fit_arcs_mm`` are the drawing's: the widest gap that is closed, how far
    arcs stray from curves, and within what runs of chords become arcs (None leaves them as drawn).
    """

    join_mm: Tolerance = 0.01
    fit_mm: Tolerance = 0.005
    fit_arcs_mm: Tolerance | None = None
    finish_uncut_mm: Tolerance = 0.01
    gouge_mm: Tolerance = 0.003


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What is to be cut, from what, by what.

    ``sheet``, ``machine`` and ``controller`` are names of rows; ``cutters`` names the cutters that
    may be used, or is empty for any of the table. ``tables`` names files or folders with rows of
    the shop's own, which win by name. Paths are absolute or relative to the working folder, never
    to the job file: reading a job file resolves them.
    """

    title: Text
    panels: tuple[PanelEntry, ...] = field(metadata={"key": "panel"})
    sheet: Text
    machine: Text = "workshop-gantry"
    controller: Text = "ngc"
    cutters: tuple[Text, ...] = ()
    tables: tuple[Path, ...] = ()
    margin_mm: LengthOrZero = 15.0
    work_offset: Annotated[str, OneOf(*WORK_OFFSETS)] = "G54"
    corners: CornerRule = field(default_factory=CornerRule)
    hold: Hold = field(default_factory=Hold)
    heights: Heights = field(default_factory=Heights)
    tolerances: Tolerances = field(default_factory=Tolerances)
    layers: tuple[LayerRule, ...] = field(default=(), metadata={"key": "layer"})
    keep_outs: tuple[KeepOut, ...] = field(default=(), metadata={"key": "keep_out"})
    allowances: Allowances = field(default_factory=Allowances)
    chamfer: Chamfer = field(default_factory=Chamfer)
    recesses: Recesses = field(default_factory=Recesses)
    path: Path | None = field(default=None, metadata={"key": None})
