"""Workingsteps: one feature, one cutter, its operation and technology (ISO 14649-10)."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from cam.geometry.contour import Contour, FloatArray, Region
from cam.panel.panel import Finish
from cam.plan.cutting_data import CuttingData
from cam.tables.rows import Cutter, Direction


class Operation(StrEnum):
    """What a workingstep does."""

    BORE = "bore"
    CLEAR = "clear"
    INSIDE = "inside contour"
    OUTSIDE = "outside contour"
    RECESS = "recess"
    GROOVE = "groove"
    PILOT = "pilot drill"
    DRILL = "drill"
    CHAMFER = "chamfer"


WITHOUT_FINISHING = frozenset({Operation.PILOT, Operation.DRILL, Operation.CHAMFER})
"""Operations whose only passes are those of ``pass_heights_mm``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bridge:
    """Material left standing between panel and waste: the middle of its foot on the wall, in the sheet's frame."""

    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Lift:
    """How the cutter passes over a bridge: up a flank, along the top, down a flank.

    ``half_top_mm`` is half the distance, straight across, between the two places of the cutter's centre
    where the top begins and ends; ``top_mm`` its height above the bed, ``flank_rad`` the slope of both
    flanks.
    """

    half_top_mm: float
    top_mm: float
    flank_rad: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LastPass:
    """A pass that cuts a skin through: its height above the bed, and how it cuts."""

    floor_mm: float
    cut: CuttingData


@dataclass(frozen=True, slots=True, kw_only=True)
class Obstacle:
    """A contour that the cutter's centre keeps at least ``keep_mm`` away from; ``name`` says what it is."""

    name: str
    contour: Contour
    keep_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TangentArc:
    """An arc off the end of a path, at its tangent."""

    to_mm: tuple[float, float]
    centre_mm: tuple[float, float]
    sweep_rad: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChamferRun:
    """A path of a vee cutter's axis along edges: (n, 3) ``x_mm, y_mm, bulge``, closed or open.

    A closed one goes on past its start by ``overlap_mm`` and leaves there by an arc if it has one. Of an
    open one the last bulge is unused.
    """

    vertices: FloatArray
    closed: bool
    overlap_mm: float = 0.0
    leave: TangentArc | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChamferCut:
    """The paths of a chamfer; ``reach_mm`` is the cone's radius at the sheet's top, ``aside_mm`` its axis' way off.

    ``waste_left`` tells the waste's side; ``away_mm`` bounds how far from the wall the axis goes.
    """

    runs: tuple[ChamferRun, ...]
    reach_mm: float
    aside_mm: float
    waste_left: bool
    away_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RecessCut:
    """What lies at a recess's floor, on the sheet; a groove as wide as its cutter has its centre line, (n, 3)."""

    region: Region
    centre_line: FloatArray | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Workingstep:
    """One feature cut by one cutter; every number resolved, heights in mm above the bed.

    Attributes
    ----------
    wall
        The finished wall where it lies on the sheet: counter-clockwise whichever side the waste is.
    start_mm
        The point of the wall nearest to where the finishing pass begins and ends; of a bore its middle.
    pass_heights_mm
        The height of each roughing pass's bottom, from the top downwards; the last is the floor.
    allowance_mm
        What roughing leaves on the wall for the finishing pass.
    bridges, lift
        Where the cutter rises, and how; no bridges where the waste is cleared or a skin holds it.
    reasons
        Why each choice was made, in words.
    finishes
        The class of each segment of the wall; empty if they do not matter.
    last
        The pass round the finished wall that cuts the skin through; None without one.
    obstacles
        What the cutter's centre must keep away from near the wall, besides the wall itself.
    chamfer
        The paths of a chamfer; None of any other operation.
    groove_mm
        How far from the wall the upper face is gone already, where a chamfer has been taken off it.
    recess
        What a recess or groove removes; None of any other operation.
    """

    number: int
    panel: str
    feature: str
    operation: Operation
    wall: Contour
    start_mm: tuple[float, float]
    diameter_mm: float | None
    cutter: Cutter
    rough: CuttingData
    finish: CuttingData
    rough_direction: Direction
    finish_direction: Direction
    pass_heights_mm: tuple[float, ...]
    allowance_mm: float
    stepover_mm: float
    ramp_rad: float
    bridges: tuple[Bridge, ...]
    lift: Lift | None
    holding: str
    reasons: tuple[str, ...]
    finishes: tuple[Finish, ...] = ()
    last: LastPass | None = None
    obstacles: tuple[Obstacle, ...] = ()
    chamfer: ChamferCut | None = None
    groove_mm: float = 0.0
    recess: RecessCut | None = None

    @property
    def floor_mm(self) -> float:
        """The height of the deepest pass."""
        return self.pass_heights_mm[-1]

    @property
    def label(self) -> str:
        """What the step does to what, for comments and messages."""
        return f"{self.operation} {self.feature} of {self.panel}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Workingsteps in order, and the heights that all of them share.

    ``air_mm`` is where a rapid approach ends and feed begins, ``rapid_mm`` where the cutter travels;
    both above the bed.
    """

    workingsteps: tuple[Workingstep, ...]
    rapid_mm: float
    air_mm: float
    top_mm: float


def find_pass_heights(*, top_mm: float, floor_mm: float, passes: int) -> tuple[float, ...]:
    """Return the height of each pass's bottom, in equal steps from the top; the last is the floor itself.

    Examples
    --------
    >>> find_pass_heights(top_mm=4.0, floor_mm=-0.5, passes=2)
    (1.75, -0.5)
    """
    step = (top_mm - floor_mm) / passes
    return (*(top_mm - step * i for i in range(1, passes)), floor_mm)
