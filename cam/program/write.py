"""Workingsteps' moves to the text of a program."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from cam.errors import ProgramRefused
from cam.findings import Origin, error
from cam.motion.lay_moves import StepMoves
from cam.motion.moves import Move, MoveKind, Purpose
from cam.program.blocks import Frame, State, emit_move
from cam.program.numbers import clean_comment, format_number
from cam.tables.rows import Controller, Cutter

INCH_MM = 25.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """What a program says of itself and does round its cuts.

    ``zero_mm`` is the height of Z 0 above the bed and ``zero`` names it in words; ``rapid_mm`` is the
    height of travel above the bed.
    """

    title: str
    panels: tuple[str, ...]
    sheet: str
    thickness: str
    zero: str
    zero_mm: float
    rapid_mm: float
    work_offset: str
    air: bool
    spin_up_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramLine:
    """One line of text, and the workingstep that it came from (None for what frames them)."""

    text: str
    step: int | None = None


def emit_program(steps: Sequence[StepMoves], *, heading: Heading, controller: Controller) -> tuple[ProgramLine, ...]:
    """Return the lines of a program.

    Parameters
    ----------
    steps
        Workingsteps in order; those of one cutter that follow one another share its tool change.

    Raises
    ------
    ProgramRefused
        If the controller cannot express a move, or a line would be longer than it takes.

    Notes
    -----
    The cutter first goes up to the height of travel, and is retracted before air and spindle stop,
    each on a line of its own, because M words act before motion on the same line (NISTIR 6556
    section 3.8).
    """
    facts = controller.facts
    _refuse_what_lacks(steps, heading=heading, controller=controller)
    frame = Frame(zero_mm=heading.zero_mm, mm_per_unit=INCH_MM if facts.units == "inch" else 1.0)
    lines = [ProgramLine(text=text) for text in _open(heading, steps=steps, controller=controller)]
    state, cutter, rpm, here = State(), None, 0.0, None
    for step_moves in steps:
        step, number = step_moves.step, step_moves.step.number
        if step.cutter != cutter:
            change = _change_cutter(
                step.cutter, spindle_rpm=step.rough.spindle_rpm, heading=heading, controller=controller
            )
            if cutter is not None:
                change = [*_stop_cutter(heading, controller=controller), *change]
            lines += [ProgramLine(text=text, step=number) for text in change]
            cutter, rpm, state = step.cutter, step.rough.spindle_rpm, State()
        elif step.rough.spindle_rpm != rpm:
            rpm = step.rough.spindle_rpm
            turn = _turn_spindle(rpm, heading=heading, controller=controller)
            lines += [ProgramLine(text=text, step=number) for text in turn]
        lines.append(ProgramLine(text=_comment(f"step {number}: {step.label}", controller), step=number))
        for part, moves in _parts(step_moves.moves):
            lines.append(ProgramLine(text=_comment(part, controller), step=number))
            for move in moves:
                first = state.at is None
                if first:
                    # height before place: nothing is known of where the cutter stands
                    up = Move(kind=MoveKind.RAPID, to_mm=(*move.to_mm[:2], heading.rapid_mm), purpose=Purpose.APPROACH)
                    blocks, state = _emit_first(up, frame=frame, controller=controller)
                    lines += [ProgramLine(text=text, step=number) for text in blocks]
                blocks, state = emit_move(move, from_mm=here, state=state, frame=frame, controller=controller)
                lines += [ProgramLine(text=text, step=number) for text in blocks]
                here = move.to_mm
    lines += [ProgramLine(text=text) for text in _close(heading, controller=controller)]
    numbered = tuple(_number(lines, controller=controller))
    _check_lengths(numbered, controller=controller)
    return numbered


def _refuse_what_lacks(steps: Sequence[StepMoves], *, heading: Heading, controller: Controller) -> None:
    """Refuse a program that needs what the controller does not take."""
    facts = controller.facts
    arcs = [move for step in steps for move in step.moves if move.kind is MoveKind.ARC]
    helices = any(_is_helix(a, b) for step in steps for a, b in pairwise(step.moves))
    lacking = [
        what
        for what, lacks in (
            (f"the work offset {heading.work_offset}", heading.work_offset not in facts.work_offsets),
            ("tool changes (T, M6)", not facts.tool_change),
            ("a spindle speed word (S)", not facts.spindle_speed_word),
            ("helical arcs", helices and not facts.helical_arcs),
            ("arcs across quadrants", bool(arcs) and facts.quadrant_arcs),
        )
        if lacks
    ]
    if lacking:
        raise ProgramRefused(
            error(
                "controller-lacks",
                f"the program needs {' and '.join(lacking)}, which controller {controller.name} does not take",
                remedy="choose another controller, or correct its file in posts/",
            )
        )


def _is_helix(before: Move, move: Move) -> bool:
    return move.kind is MoveKind.ARC and move.to_mm[2] != before.to_mm[2]


def format_program(lines: Iterable[ProgramLine], *, controller: Controller) -> str:
    """Return the text of a program's lines."""
    end = controller.format.line_end
    return "".join(line.text + end for line in lines)


def _emit_first(move: Move, *, frame: Frame, controller: Controller) -> tuple[list[str], State]:
    """Return a block that goes to a move's height alone, then one that goes to its place."""
    decimals = controller.facts.decimals
    x, y, z = frame.units(move.to_mm, decimals=decimals)
    space = " " if controller.format.spaces else ""
    blocks = [
        f"G0{space}Z{format_number(z, decimals=decimals)}",
        f"G0{space}X{format_number(x, decimals=decimals)}{space}Y{format_number(y, decimals=decimals)}",
    ]
    return blocks, State(at=(x, y, z), motion="G0")


def _parts(moves: Sequence[Move]) -> list[tuple[str, list[Move]]]:
    """Return moves divided where the cutter has been retracted, each part named after what it cuts."""
    parts: list[tuple[str, list[Move]]] = []
    current: list[Move] = []
    for move in moves:
        current.append(move)
        if move.purpose is Purpose.RETRACT:
            purposes = {m.purpose for m in current}
            words = [str(p) for p in (Purpose.ROUGH, Purpose.FINISH, Purpose.DRILL, Purpose.CHAMFER) if p in purposes]
            parts.append((" and ".join(words) or "travel", current))
            current = []
    if current:
        parts.append(("travel", current))
    return parts


def _open(heading: Heading, *, steps: Sequence[StepMoves], controller: Controller) -> list[str]:
    facts, style = controller.facts, controller.format
    cutters = {step.step.cutter.tool: step.step.cutter for step in steps}
    lines = ["%"] if style.percent_signs else []
    for text in (
        heading.title,
        *(f"panel {name}" for name in heading.panels),
        f"sheet {heading.sheet}, {heading.thickness}",
        *(
            f"T{tool} {cutter.name}, {cutter.diameter_mm:g} mm, {cutter.stick_out_mm:g} mm below the collet nut"
            for tool, cutter in sorted(cutters.items())
        ),
        f"X0 Y0 lower left corner of the sheet, Z0 {heading.zero}",
        f"controller {controller.name}, all lengths in {'inches' if facts.units == 'inch' else 'mm'}",
    ):
        lines.append(_comment(text, controller))
    lines += style.header
    lines.append(heading.work_offset)
    return [line for line in lines if line]


def _change_cutter(cutter: Cutter, *, spindle_rpm: float, heading: Heading, controller: Controller) -> list[str]:
    facts = controller.facts
    space = " " if controller.format.spaces else ""
    lines = [
        _comment(f"cutter {cutter.name}, {cutter.title}", controller),
        f"T{cutter.tool}{space}M6",
        *_turn_spindle(spindle_rpm, heading=heading, controller=controller),
    ]
    if heading.air and facts.air_on_word:
        lines.append(facts.air_on_word)
    return [line for line in lines if line]


def _turn_spindle(spindle_rpm: float, *, heading: Heading, controller: Controller) -> list[str]:
    """Return the words that bring the spindle to a speed and wait for it."""
    space = " " if controller.format.spaces else ""
    dwell = heading.spin_up_s * (1000.0 if controller.facts.dwell_units == "ms" else 1.0)
    return [
        f"S{format_number(spindle_rpm, decimals=0)}{space}M3",
        f"G4{space}P{format_number(dwell, decimals=2)}",
    ]


def _stop_cutter(heading: Heading, *, controller: Controller) -> list[str]:
    air_off = [controller.facts.air_off_word] if heading.air and controller.facts.air_off_word else []
    return [*air_off, "M5"]


def _close(heading: Heading, *, controller: Controller) -> list[str]:
    return [
        _comment("end: the cutter is at the height of travel", controller),
        *_stop_cutter(heading, controller=controller),
        *controller.format.footer,
        controller.facts.end_word,
        *(["%"] if controller.format.percent_signs else []),
    ]


def _comment(text: str, controller: Controller) -> str:
    if not controller.facts.comments:
        return ""
    room = controller.facts.max_block_length - 12
    return f"({clean_comment(text)[:room]})"


def _number(lines: Iterable[ProgramLine], *, controller: Controller) -> Iterable[ProgramLine]:
    style = controller.format
    number = 0
    for line in lines:
        if not line.text:
            continue
        if not style.block_numbers or line.text == "%":
            yield line
            continue
        number = (number + style.block_step) % 100_000
        yield ProgramLine(text=f"N{number}{' ' if style.spaces else ''}{line.text}", step=line.step)


def _check_lengths(lines: tuple[ProgramLine, ...], *, controller: Controller) -> None:
    for number, line in enumerate(lines, start=1):
        if len(line.text) > controller.facts.max_block_length:
            raise ProgramRefused(
                error(
                    "block-too-long",
                    f"a line of {len(line.text)} characters is longer than controller {controller.name} takes "
                    f"({controller.facts.max_block_length})",
                    remedy="choose another controller, or shorten the header and footer in its file",
                    origin=Origin(line=number),
                )
            )
