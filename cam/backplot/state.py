"""What the interpreter knows between two blocks: modes, position and offsets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from cam.backplot.trace import PathMode

MM_PER_INCH = 25.4

HOME_PARAMETERS = {280: 5161, 300: 5181}
"""The first parameter of the point that G28 and G30 go to (section 3.2.1, Table 2)."""
G92_PARAMETERS = 5211
WORK_SYSTEM_PARAMETER = 5220
WORK_PARAMETERS = 5221
WORK_PARAMETERS_STEP = 20


@dataclass(slots=True, kw_only=True)
class State:
    """The modal state (section 3.4), the position and the offsets; lengths in mm.

    Attributes
    ----------
    position
        The controlled point in program coordinates. It is in the present work offset, with the
        G92 and tool length offsets.
    known
        Per axis, whether the position has been commanded. A program does not say where it starts.
    work, g92
        The origin offsets in force.
    length_mm
        The tool length offset in force.
    spindle_length_mm
        The length of the tool in the spindle, 0 where no table of lengths was given.
    frame
        The work offset in force at the first motion, None before it: the frame of the trace.
    shift
        What is added to ``position`` to give the trace's coordinates.
    feed
        The last F number, in the units in force when a move uses it.
    """

    motion: int = 800
    plane: int = 170
    incremental: bool = False
    inverse_time: bool = False
    inch: bool = False
    units_stated: bool = False
    retract_to_r: bool = True
    retract_stated: bool = False
    path_mode: PathMode = PathMode.CONTINUOUS
    work_system: int = 1
    length_slot: int = 0
    feed: float = 0.0
    speed_rpm: float = 0.0
    turning: int = 0
    selected_tool: int = 0
    tool: int = 0
    mist: bool = False
    flood: bool = False
    position: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])
    known: list[bool] = field(default_factory=lambda: [False, False, False])
    work: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])
    g92: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])
    length_mm: float = 0.0
    spindle_length_mm: float = 0.0
    frame: list[float] | None = None
    shift: tuple[float, float, float] = (0.0, 0.0, 0.0)
    cycle: dict[str, float] = field(default_factory=dict)
    ended: bool = False

    @property
    def factor(self) -> float:
        """Millimetres to one unit of the program."""
        return MM_PER_INCH if self.inch else 1.0

    @property
    def air(self) -> bool:
        """Whether air or mist is on."""
        return self.mist or self.flood


def settle_shift(state: State) -> None:
    """Work out anew what takes the position to the trace's frame, after an offset has changed."""
    work, frame = state.work, state.frame or state.work
    x, y, z = (work[axis] + state.g92[axis] - frame[axis] for axis in range(3))
    state.shift = (x, y, z + (state.length_mm - state.spindle_length_mm))


def change_offsets(
    state: State, *, work: list[float] | None = None, g92: list[float] | None = None, length_mm: float | None = None
) -> None:
    """Put offsets in force; the machine stands still, so the position gets another name."""
    new_work = state.work if work is None else work
    new_g92 = state.g92 if g92 is None else g92
    new_length = state.length_mm if length_mm is None else length_mm
    for axis in range(3):
        change = (state.work[axis] - new_work[axis]) + (state.g92[axis] - new_g92[axis])
        if change:
            state.position[axis] += change
    if new_length != state.length_mm:
        state.position[2] += state.length_mm - new_length
    state.work, state.g92, state.length_mm = new_work, new_g92, new_length
    settle_shift(state)


def work_origin(parameters: Mapping[int, float], *, system: int, factor: float) -> list[float]:
    """Return a work offset's origin in mm; parameters are numbers in the units in force (section 3.5.5)."""
    first = WORK_PARAMETERS + WORK_PARAMETERS_STEP * (system - 1)
    return [parameters.get(first + axis, 0.0) * factor for axis in range(3)]
