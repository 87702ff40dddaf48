"""Workingsteps' moves to the text of a program."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from cam.errors import ProgramRefused
from cam.findings import Origin, error
from cam.motion.lay_moves import StepMoves
from cam.motion.moves import Move, MoveKind, Purpose
from cam.program.blocks import Frame, State, emit_move
from cam.program.cycles import emit_cycle, takes_cycle
from cam.program.numbers import format_number
from cam.program.style import (
    find_mm_per_unit,
    join_words,
    start_services,
    start_spindle,
    stop_services,
    stop_spindle,
    write_comment,
)
from cam.tables.rows import Controller, Cutter, ToolChange


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """What a program says of itself and does round its cuts.

    ``zero_mm`` is the height of Z 0 above the bed and ``zero`` names it in words; ``rapid_mm`` is the
    height of travel above the bed. ``notes`` are further lines for the machinist: what holds the sheet, and
    each clamp.
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
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramLine:
    """One line of text, and the workingstep that it came from (None for what frames them)."""

    text: str
    step: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramFile:
    """One file of a program: its lines, and what the operator sets by hand before it starts.

    ``part`` tells the files of one program apart, empty if there is one only. ``tool`` and ``spindle_rpm``
    are of the cutter that stands in the spindle and of its speed; None where the program's own words say so.
    """

    part: str
    lines: tuple[ProgramLine, ...]
    tool: int | None = None
    spindle_rpm: float | None = None


def emit_files(steps: Sequence[StepMoves], *, heading: Heading, controller: Controller) -> tuple[ProgramFile, ...]:
    """Return the files of a program, one unless cutter or speed must be changed between files.

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
    _refuse_what_lacks(heading=heading, controller=controller)
    groups = _divide_steps(steps, controller=controller)
    files = []
    for number, group in enumerate(groups, start=1):
        step = group[0].step
        by_file = controller.facts.tool_change is ToolChange.FILE
        files.append(
            ProgramFile(
                part="" if len(groups) == 1 else f"{number}-{step.cutter.name}",
                lines=_emit_file(group, heading=heading, controller=controller),
                tool=step.cutter.tool if by_file else None,
                spindle_rpm=None if controller.facts.spindle_speed_word else step.rough.spindle_rpm,
            )
        )
    return tuple(files)


def _divide_steps(steps: Sequence[StepMoves], *, controller: Controller) -> list[list[StepMoves]]:
    """Return the steps of each file: a new one where the cutter, or a speed set by hand, would change within it."""
    facts = controller.facts
    groups: list[list[StepMoves]] = []
    for step in steps:
        before = groups[-1][-1].step if groups else None
        same_cutter = before is not None and before.cutter == step.step.cutter
        same_speed = before is not None and before.rough.spindle_rpm == step.step.rough.spindle_rpm
        parted = (not same_cutter and facts.tool_change is ToolChange.FILE) or (
            not same_speed and not facts.spindle_speed_word
        )
        if before is None or parted:
            groups.append([])
        groups[-1].append(step)
    return groups


def _emit_file(steps: Sequence[StepMoves], *, heading: Heading, controller: Controller) -> tuple[ProgramLine, ...]:
    frame = Frame(zero_mm=heading.zero_mm, mm_per_unit=find_mm_per_unit(controller))
    lines = [ProgramLine(text=text) for text in _open(heading, steps=steps, controller=controller)]
    state, cutter, rpm, here = State(), None, 0.0, None
    for step_moves in steps:
        step, number = step_moves.step, step_moves.step.number
        if step.cutter != cutter:
            change = _change_cutter(
                step.cutter, spindle_rpm=step.rough.spindle_rpm, heading=heading, controller=controller
            )
            if cutter is not None:
                change = [*_leave_incremental(state), *stop_spindle(air=heading.air, controller=controller), *change]
            lines += [ProgramLine(text=text, step=number) for text in change]
            cutter, rpm, state = step.cutter, step.rough.spindle_rpm, State()
        elif step.rough.spindle_rpm != rpm:
            rpm = step.rough.spindle_rpm
            turn = start_spindle(rpm, spin_up_s=heading.spin_up_s, controller=controller)
            lines += [ProgramLine(text=text, step=number) for text in turn]
        lines.append(
            ProgramLine(text=write_comment(f"step {number}: {step.label}", controller=controller), step=number)
        )
        if state.at is None:
            # height before place: nothing is known of where the cutter stands
            up = Move(
                kind=MoveKind.RAPID, to_mm=(*step_moves.moves[0].to_mm[:2], heading.rapid_mm), purpose=Purpose.APPROACH
            )
            blocks, state = _emit_first(up, frame=frame, controller=controller)
            lines += [ProgramLine(text=text, step=number) for text in blocks]
            here = up.to_mm
        more, state = _emit_step(step_moves, here=here, state=state, frame=frame, controller=controller)
        lines += more
        here = step_moves.moves[-1].to_mm
    lines += [ProgramLine(text=text) for text in _close(heading, state=state, controller=controller)]
    numbered = tuple(_number(lines, controller=controller))
    _check_lengths(numbered, controller=controller)
    return numbered


def _emit_step(
    step_moves: StepMoves,
    *,
    here: tuple[float, float, float] | None,
    state: State,
    frame: Frame,
    controller: Controller,
) -> tuple[list[ProgramLine], State]:
    """Return the lines of one workingstep's moves and what is in force after them."""
    number, lines = step_moves.step.number, []
    if takes_cycle(step_moves, controller=controller):
        first = step_moves.moves[0]
        over = Move(kind=MoveKind.RAPID, to_mm=first.to_mm, purpose=Purpose.APPROACH)
        blocks, state = emit_move(over, from_mm=here, state=state, frame=frame, controller=controller)
        more, state = emit_cycle(step_moves, state=state, frame=frame, controller=controller)
        return [ProgramLine(text=text, step=number) for text in (*blocks, *more)], state
    for part, moves in _parts(step_moves.moves):
        lines.append(ProgramLine(text=write_comment(part, controller=controller), step=number))
        for move in moves:
            blocks, state = emit_move(move, from_mm=here, state=state, frame=frame, controller=controller)
            lines += [ProgramLine(text=text, step=number) for text in blocks]
            here = move.to_mm
    return lines, state


def _refuse_what_lacks(*, heading: Heading, controller: Controller) -> None:
    """Refuse a program that needs what the controller does not take."""
    if heading.work_offset not in controller.facts.work_offsets:
        raise ProgramRefused(
            error(
                "controller-lacks",
                f"the program needs the work offset {heading.work_offset}, which controller {controller.name} does not "
                "take",
                remedy=f"choose one of {', '.join(controller.facts.work_offsets)} with work_offset in the job",
            )
        )


def format_program(lines: Iterable[ProgramLine], *, controller: Controller) -> str:
    """Return the text of a program's lines."""
    end = controller.format.line_end
    return "".join(line.text + end for line in lines)


def _emit_first(move: Move, *, frame: Frame, controller: Controller) -> tuple[list[str], State]:
    """Return a block that goes to a move's height alone, then one that goes to its place."""
    decimals = controller.facts.decimals
    x, y, z = frame.units(move.to_mm, decimals=decimals)
    to_x, to_y, to_z = (format_number(value, decimals=decimals) for value in (x, y, z))
    blocks = [
        join_words(("G0", f"Z{to_z}"), controller=controller),
        join_words(("G0", f"X{to_x}", f"Y{to_y}"), controller=controller),
    ]
    if controller.format.incremental:
        return [*blocks, "G91"], State(at=(x, y, z), motion="", incremental=True)
    return blocks, State(at=(x, y, z), motion="G0")


def _leave_incremental(state: State) -> list[str]:
    return ["G90"] if state.incremental else []


def _parts(moves: Sequence[Move]) -> list[tuple[str, list[Move]]]:
    """Return moves divided where the cutter has been retracted, each part named after what it cuts."""
    parts: list[tuple[str, list[Move]]] = []
    current: list[Move] = []
    for move in moves:
        current.append(move)
        if move.purpose is Purpose.RETRACT:
            purposes = {m.purpose for m in current}
            named = (Purpose.SLOT, Purpose.ROUGH, Purpose.FINISH, Purpose.DRILL, Purpose.CHAMFER)
            words = [str(p) for p in named if p in purposes]
            parts.append((" and ".join(words) or "travel", current))
            current = []
    if current:
        parts.append(("travel", current))
    return parts


def _open(heading: Heading, *, steps: Sequence[StepMoves], controller: Controller) -> list[str]:
    facts, style = controller.facts, controller.format
    cutters = {step.step.cutter.tool: step.step.cutter for step in steps}
    lines = ["%"] if style.percent_signs else []
    if facts.program_letter:
        lines.append(f"{facts.program_letter}{style.program_number:04d}")
    for text in (
        heading.title,
        *(f"panel {name}" for name in heading.panels),
        f"sheet {heading.sheet}, {heading.thickness}",
        *heading.notes,
        *(
            f"T{tool} {cutter.name}, {cutter.diameter_mm:g} mm, {cutter.stick_out_mm:g} mm below the collet nut"
            for tool, cutter in sorted(cutters.items())
        ),
        f"X0 Y0 lower left corner of the sheet, Z0 {heading.zero}",
        f"controller {controller.name}, all lengths in {'inches' if facts.units == 'inch' else 'mm'}",
    ):
        lines.append(write_comment(text, controller=controller))
    lines += style.header
    lines.append(heading.work_offset)
    return [line for line in lines if line]


def _change_cutter(cutter: Cutter, *, spindle_rpm: float, heading: Heading, controller: Controller) -> list[str]:
    facts = controller.facts
    lines = [write_comment(f"cutter {cutter.name}, {cutter.title}", controller=controller)]
    if not facts.spindle_speed_word:
        lines.append(write_comment(f"set the spindle to {spindle_rpm:.0f} rpm", controller=controller))
    if facts.tool_change is ToolChange.WORD:
        lines.append(join_words((f"T{cutter.tool}", "M6"), controller=controller))
    else:
        # by hand: the machine waits until the cutter is in, and the word says which one it is
        lines.append("M0")
        if "T" not in facts.lacks:
            lines.append(f"T{cutter.tool}")
    lines += start_spindle(spindle_rpm, spin_up_s=heading.spin_up_s, controller=controller)
    lines += start_services(air=heading.air, controller=controller)
    return [line for line in lines if line]


def _close(heading: Heading, *, state: State, controller: Controller) -> list[str]:
    return [
        write_comment("end: the cutter is at the height of travel", controller=controller),
        *_leave_incremental(state),
        *stop_spindle(air=heading.air, controller=controller),
        *stop_services(controller=controller),
        *controller.format.footer,
        controller.facts.end_word,
        *(["%"] if controller.format.percent_signs else []),
    ]


def _number(lines: Iterable[ProgramLine], *, controller: Controller) -> Iterable[ProgramLine]:
    style = controller.format
    number = 0
    for line in lines:
        if not line.text:
            continue
        if not style.block_numbers or line.text[0] in "%O:":
            yield line
            continue
        number = (number + style.block_step) % 100_000
        yield ProgramLine(text=join_words((f"N{number}", line.text), controller=controller), step=line.step)


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
