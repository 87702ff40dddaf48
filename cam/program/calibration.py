"""Programs that excite what a calibration is to find, cut in air: each leans on one setting of the machine."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import acos, cos, pi, sin

from cam.program.numbers import format_number
from cam.tables.rows import Controller, Machine, ToolChange

INCH_MM = 25.4
HIGH_MM, LOW_MM = 60.0, 54.0
"""The programs stay between these heights above Z 0, where nothing stands."""
SWING_MM = 12.0
"""A rapid this short never reaches full speed on any router: its time tells the acceleration alone."""
CORNER_SHARE = 0.45
"""The corners are to be run at about this share of the greatest feed: so a setting twice as high still shows."""
SIDE_SHARE = 0.2
"""A side is this share of what it takes to stop from the corners' speed: the corners alone set the speed."""
CORNERS = 2000
LEAST_SIDES, MOST_SIDES = 6, 240
LEAST_JUNCTION_MM = 0.005
SPINDLE_RPM = 18000.0
SPINDLE_STARTS = 12
TOOL_CHANGES = 3


def write_calibration_programs(machine: Machine, *, controller: Controller) -> dict[str, str]:
    """Return programs by file name: rapids in XY, rapids in Z, corners, spindle starts, tool changes.

    Notes
    -----
    A rapid of length L from rest to rest that never reaches full speed takes 2 sqrt(L / a). Round a polygon of
    short sides in continuous mode the speed settles at that of its corners, sqrt(a d s / (1 - s)), s the sine of half
    the angle between sides; the number of sides is chosen for about `CORNER_SHARE` of the machine's feed. Spindle
    starts and tool changes are counted. A calibration needs each more than once.
    """
    programs = {
        "swing": list(_swing(controller)),
        "plunge": list(_rise_and_fall(controller)),
        "corners": list(_run_polygons(machine, controller)),
        "spindle": list(_start_spindle(controller)),
        "tools": list(_change_tools(controller)),
    }
    return {f"{name}.{controller.format.extension}": _frame(lines, controller) for name, lines in programs.items()}


def _frame(lines: list[str], controller: Controller) -> str:
    style = controller.format
    around = ["%"] if style.percent_signs else []
    text = [*around, *style.header, *lines, controller.facts.end_word, *around]
    return "".join(line + style.line_end for line in text if line)


def _at(controller: Controller, *, x: float | None = None, y: float | None = None, z: float | None = None) -> str:
    per_unit = INCH_MM if controller.facts.units == "inch" else 1.0
    space = " " if controller.format.spaces else ""
    words = [
        f"{letter}{format_number(value / per_unit, decimals=controller.facts.decimals)}"
        for letter, value in (("X", x), ("Y", y), ("Z", z))
        if value is not None
    ]
    return space.join(words)


def _begin(controller: Controller) -> Iterator[str]:
    space = " " if controller.format.spaces else ""
    yield f"G0{space}{_at(controller, z=HIGH_MM)}"
    yield f"G0{space}{_at(controller, x=0.0, y=0.0)}"


def _swing(controller: Controller) -> Iterator[str]:
    yield from _begin(controller)
    for _ in range(150):
        for x, y in ((SWING_MM, 0.0), (SWING_MM, SWING_MM), (0.0, SWING_MM), (0.0, 0.0)):
            yield f"G0 {_at(controller, x=x, y=y)}"


def _rise_and_fall(controller: Controller) -> Iterator[str]:
    yield from _begin(controller)
    for _ in range(250):
        yield f"G0 {_at(controller, z=LOW_MM)}"
        yield f"G0 {_at(controller, z=HIGH_MM)}"


def _run_polygons(machine: Machine, controller: Controller) -> Iterator[str]:
    """Return polygon after polygon: a continuous path whose every corner turns by the same angle."""
    if "G64" in controller.facts.path_words:
        yield "G64"
    yield from _begin(controller)
    machine = replace(
        machine, max_feed_mm_per_min=min(machine.max_feed_mm_per_min, controller.limits.max_feed_mm_per_min)
    )
    sides, side_mm = _choose_polygon(machine)
    radius = side_mm / (2.0 * sin(pi / sides))
    feed = machine.max_feed_mm_per_min / (INCH_MM if controller.facts.units == "inch" else 1.0)
    yield f"G1 {_at(controller, x=radius, y=0.0)} F{format_number(feed, decimals=0)}"
    for turn in range(1, CORNERS + 1):
        angle = 2.0 * pi * turn / sides
        yield f"G1 {_at(controller, x=radius * cos(angle), y=radius * sin(angle))}"


def _choose_polygon(machine: Machine) -> tuple[int, float]:
    """Return the number of sides and the length of each, mm."""
    acceleration = min(machine.acceleration_mm_per_s2[:2])
    speed = CORNER_SHARE * machine.max_feed_mm_per_min / 60.0
    # v^2 = a d k with k = s / (1 - s)
    k = speed**2 / (acceleration * max(machine.junction_deviation_mm, LEAST_JUNCTION_MM))
    sides = min(MOST_SIDES, max(LEAST_SIDES, round(pi / acos(k / (1.0 + k)))))
    # shorter sides than the controller's block time takes would be the limit themselves
    return sides, max(SIDE_SHARE * speed**2 / acceleration, 3.0 * speed * machine.block_time_s)


def _start_spindle(controller: Controller) -> Iterator[str]:
    yield from _begin(controller)
    for _ in range(SPINDLE_STARTS):
        yield f"S{format_number(SPINDLE_RPM, decimals=0)} M3" if controller.facts.spindle_speed_word else "M3"
        yield "M5"


def _change_tools(controller: Controller) -> Iterator[str]:
    yield from _begin(controller)
    if controller.facts.tool_change is not ToolChange.WORD:
        return
    for change in range(TOOL_CHANGES):
        yield f"T{1 + change % 2} M6"
