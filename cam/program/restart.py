"""A program that goes on where another was stopped: everything put back in force, then the old blocks."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from cam.program.numbers import format_number
from cam.program.style import (
    INCH_MM,
    join_words,
    start_services,
    start_spindle,
    write_comment,
)
from cam.tables.rows import Controller, Cutter, ToolChange

PATH_WORDS = {0: "G61", 1: "G61.1", 2: "G64"}
MOTION_WORDS = {0: "G0", 10: "G1", 20: "G2", 30: "G3"}
_NUMBER = re.compile(r"[ \t]*(N[0-9]+[ \t]*)?", re.IGNORECASE)
_MOTION = re.compile(r"G0*([0-3])(?![0-9.])", re.IGNORECASE)
_COMMENT = re.compile(r"\([^()]*\)|;.*")
_G_WORD = re.compile(r"G0*([0-9]+(?:\.[0-9]+)?)")
WORK_OFFSETS = ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")


@dataclass(frozen=True, slots=True, kw_only=True)
class InForce:
    """What is in force where a program goes on; lengths in mm in the program's frame.

    ``motion`` is ten times the G code of the motion, ``path_mode`` 0, 1 or 2 for G61, G61.1, G64; ``turning`` is 1 for
    clockwise, -1 for counter-clockwise, 0 for a spindle that stands. Its speed is 0 where it is set by hand and nobody
    has said it.
    """

    motion: int
    feed_mm_per_min: float
    spindle_rpm: float
    turning: int
    air: bool
    incremental: bool
    work_offset: int
    length_offset: int
    path_mode: int
    cutter: Cutter | None
    tool: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """Where the cutter comes down, where the old path is met, and the heights of travel and of the sheet's top."""

    down_mm: tuple[float, float]
    at_mm: tuple[float, float, float]
    travel_mm: float
    feed_above_mm: float


def pack_words(line: str) -> str:
    """Return a line's words alone: no comments, no spaces, capitals.

    Examples
    --------
    >>> pack_words("g 1 x2.5 (panel #7)")
    'G1X2.5'
    """
    return "".join(_COMMENT.sub("", line).split()).upper()


def write_restart(
    lines: Sequence[str],
    *,
    from_line: int,
    stopped_line: int,
    reason: str,
    entry: Entry,
    state: InForce,
    spin_up_s: float,
    controller: Controller,
) -> str:
    """Return the text of a program that goes on from a line.

    Parameters
    ----------
    lines
        The old program's.
    from_line
        The first line, from 1, that is carried out again, whole.

    Notes
    -----
    The first old block gets the motion word that was in force, for the blocks before it have left another. G90 holds
    until the cutter is where the old block expects it. Unit and retract mode are those that the old blocks before it
    left, whatever the controller's own are.
    """
    facts, style = controller.facts, controller.format
    unit_word = _find_last_word(lines[: from_line - 1], among=(facts.inch_word, facts.mm_word)) or (
        facts.inch_word if facts.units == "inch" else facts.mm_word
    )
    per_unit = INCH_MM if unit_word == facts.inch_word else 1.0
    retract_word = _find_last_word(lines[: from_line - 1], among=("G98", "G99"))
    modes = (unit_word, "G90", "G17", "G40", "G80", "G94")

    def number(value_mm: float) -> str:
        return format_number(value_mm / per_unit, decimals=facts.decimals)

    def block(*words: str) -> str:
        return join_words([word for word in words if word], controller=controller)

    path_word = PATH_WORDS[state.path_mode]
    opening = [
        *(["%"] if style.percent_signs else []),
        *([f"{facts.program_letter}{style.program_number:04d}"] if facts.program_letter else []),
        write_comment(f"goes on after a stop in line {stopped_line}, from line {from_line}", controller=controller),
        write_comment(reason, controller=controller),
        block(
            *(word for word in modes if word not in facts.lacks),
            path_word if path_word in facts.path_words else "",
            retract_word,
        ),
        WORK_OFFSETS[state.work_offset - 1],
        *_put_in(state, spin_up_s=spin_up_s, controller=controller),
        *([block("G43", f"H{state.length_offset}")] if state.length_offset else []),
        block("G0", f"Z{number(entry.travel_mm)}"),
        block("G0", f"X{number(entry.down_mm[0])}", f"Y{number(entry.down_mm[1])}"),
        *_come_down(entry, state=state, number=number, block=block, per_unit=per_unit),
        *(["G91"] if state.incremental else []),
    ]
    rest = list(lines[from_line - 1 :])
    rest[0] = _state_motion(rest[0], state=state, controller=controller)
    end = style.line_end
    return "".join(line + end for line in [*(line for line in opening if line), *rest])


def _put_in(state: InForce, *, spin_up_s: float, controller: Controller) -> list[str]:
    """Return the blocks that put the cutter in and start spindle and air."""
    facts = controller.facts
    named = f"T{state.tool}" if state.tool else ""
    blocks = []
    if state.cutter is not None:
        blocks.append(write_comment(f"cutter {state.cutter.name}, {state.cutter.title}", controller=controller))
    if facts.tool_change is ToolChange.WORD:
        blocks += [join_words((named, "M6"), controller=controller)] if named else []
    else:
        blocks += ["M0", *([named] if named and "T" not in facts.lacks else [])]
    if state.turning and state.spindle_rpm and not facts.spindle_speed_word:
        blocks.append(write_comment(f"set the spindle to {abs(state.spindle_rpm):.0f} rpm", controller=controller))
    if state.turning:
        start = start_spindle(abs(state.spindle_rpm), spin_up_s=spin_up_s, controller=controller)
        blocks += start if state.turning > 0 else [start[0].replace(facts.spindle_on_word, "M4"), *start[1:]]
    return blocks + start_services(air=state.air, controller=controller)


def _come_down(
    entry: Entry,
    *,
    state: InForce,
    number: Callable[[float], str],
    block: Callable[..., str],
    per_unit: float,
) -> list[str]:
    """Return the way from the height of travel to the old path, the last part at feed."""
    x, y, z = entry.at_mm
    feed = f"F{format_number(state.feed_mm_per_min / per_unit, decimals=2)}" if state.feed_mm_per_min else ""
    if z >= entry.travel_mm:
        up = [block("G0", f"Z{number(z)}")] if z > entry.travel_mm else []
        return [*up, *([feed] if feed else [])]
    above = max(z, min(entry.feed_above_mm, entry.travel_mm))
    blocks = [block("G0", f"Z{number(above)}")] if above < entry.travel_mm else []
    blocks.append(block("G1", f"Z{number(z)}", feed))
    if entry.down_mm != (x, y):
        blocks.append(block("G1", f"X{number(x)}", f"Y{number(y)}"))
    return blocks


def _find_last_word(lines: Sequence[str], *, among: tuple[str, ...]) -> str:
    """Return the last of some G words in lines, empty if there is none."""
    for line in reversed(lines):
        for code in reversed(_G_WORD.findall(pack_words(line))):
            if f"G{code}" in among:
                return f"G{code}"
    return ""


def _state_motion(line: str, *, state: InForce, controller: Controller) -> str:
    """Return a block with the motion word that it relied on."""
    bare = _COMMENT.sub("", line)
    if _MOTION.search(bare) or state.motion not in MOTION_WORDS:
        return line
    start = _NUMBER.match(line)
    head = start[0] if start else ""
    space = " " if controller.format.spaces else ""
    return f"{head}{MOTION_WORDS[state.motion]}{space}{line[len(head) :]}"
