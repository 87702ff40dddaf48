"""RS-274 text interpreted: every move that it makes and everything that is wrong with it.

The language is that of NISTIR 6556 for three axes, less what the controller's row says that it
lacks. The interpreter knows nothing of how a text was written.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from cam.backplot.columns import add_comments, as_trace
from cam.backplot.dialect import dialect_of
from cam.backplot.execute import execute_block
from cam.backplot.faults import BlockFault
from cam.backplot.plain import PlainLines, find_plain_lines
from cam.backplot.run import Run, add_finding, report
from cam.backplot.runs import run_plain_lines
from cam.backplot.state import G92_PARAMETERS, WORK_SYSTEM_PARAMETER, State, settle_shift, work_origin
from cam.backplot.trace import Trace
from cam.backplot.words import read_block
from cam.findings import Origin, warning
from cam.tables.rows import Controller

LINES_AT_ONCE = 20_000
"""How many lines are looked at together: enough for speed, few enough for memory."""


@dataclass(slots=True, kw_only=True)
class _Reading:
    """How far the text has been read."""

    lines: list[str]
    block_delete: bool
    done: int = 0
    in_percent: bool = False
    closed: bool = False


def interpret_program(
    text: str,
    *,
    controller: Controller,
    file: str | None = None,
    max_findings: int = 100,
    block_delete: bool = False,
    parameters: Mapping[int, float] | None = None,
    tool_lengths_mm: Mapping[int, float] | None = None,
    tool: int = 0,
    hand_rpm: float = 0.0,
) -> Trace:
    """Return the moves of a program.

    Parameters
    ----------
    text
        The program, as :func:`cam.backplot.read.read_program` returns it.
    controller
        The row that says which words are taken.
    file
        The name that findings give for their place.
    max_findings
        How many findings are listed before reading stops; a note then says so.
    block_delete
        Whether the operator's block-delete switch is on: blocks that begin with ``/`` are skipped.
    parameters
        What the controller's parameters hold at the start: work offsets from 5221, home points from
        5161 and 5181, anything a program reads. Those that are not given are 0.
    tool_lengths_mm
        Length by number, for H words and for the tool in the spindle. None: all are 0.
    tool
        The number of the tool that stands in the spindle at the start, 0 for none.
    hand_rpm
        The speed that the operator has set, for a controller without S.

    Returns
    -------
    Trace
        The moves, with everything that is wrong in ``findings``. It never stops at the first error.
    """
    run = _start(controller, file, max_findings, parameters, tool_lengths_mm)
    run.state.tool = run.state.selected_tool = tool
    if not controller.facts.spindle_speed_word:
        run.state.speed_rpm = hand_rpm
    lines = split_lines(text)
    reading = _Reading(lines=lines, block_delete=block_delete)
    while reading.done < len(lines) and not (run.full or run.state.ended or reading.closed):
        chunk = lines[reading.done : reading.done + LINES_AT_ONCE]
        _interpret_chunk(run, reading, find_plain_lines(chunk, dialect=run.dialect))
    _check_end(run, reading)
    findings = tuple(run.findings)
    return as_trace(run.columns, findings=findings, lines=len(lines), lines_read=reading.done)


def split_lines(text: str) -> list[str]:
    """Return a text's lines; a line ends with CR LF, LF or CR (section 3.3), and with nothing else."""
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n")
    if lines[-1] == "":
        lines.pop()
    return lines


def _start(
    controller: Controller,
    file: str | None,
    max_findings: int,
    parameters: Mapping[int, float] | None,
    tool_lengths_mm: Mapping[int, float] | None,
) -> Run:
    dialect = dialect_of(controller)
    held = dict(parameters or {})
    state = State(inch=dialect.starts_in_inch, path_mode=dialect.path_mode)
    system = round(held.get(WORK_SYSTEM_PARAMETER, 1.0))
    state.work_system = system if 1 <= system <= 9 else 1
    state.work = work_origin(held, system=state.work_system, factor=state.factor)
    state.g92 = [held.get(G92_PARAMETERS + axis, 0.0) * state.factor for axis in range(3)]
    for axis in range(3):
        state.position[axis] = -state.g92[axis]
    settle_shift(state)
    return Run(
        dialect=dialect,
        parameters=held,
        tool_lengths_mm=tool_lengths_mm,
        file=file,
        max_findings=max_findings,
        state=state,
    )


def _interpret_chunk(run: Run, reading: _Reading, plain: PlainLines) -> None:
    """Interpret some lines: runs of plain ones together, all others one by one."""
    first, at = reading.done, 0
    while at < len(plain) and not (run.full or run.state.ended or reading.closed):
        done = run_plain_lines(run, plain, at=at, line=first + at + 1) if plain.length_at(at) else 0
        if not done:
            _interpret_line(run, reading, number=first + at + 1)
            done = 1
        at += done
        reading.done = first + at


def _interpret_line(run: Run, reading: _Reading, *, number: int) -> None:
    text = reading.lines[number - 1]
    if text.strip(" \t") == "%":
        _read_percent(run, reading, number=number)
        return
    if len(text) > run.dialect.max_block_length:
        message = f"the block has {len(text)} characters; {run.dialect.max_block_length} are the most"
        fault = BlockFault("block-too-long", message, remedy="shorten it", column=run.dialect.max_block_length + 1)
        report(run, fault, line=number)
        return
    if run.dialect.capitals and text != text.upper():
        at = next(i for i, character in enumerate(text) if character != character.upper())
        message = f"{text[at]}: controller {run.dialect.name} takes no small letters, in comments either"
        report(run, BlockFault("unknown-character", message, remedy="write capitals", column=at + 1), line=number)
        return
    if run.dialect.remarks and ";" in text:
        text, _, remark = text.partition(";")
        add_comments(run.columns, [remark], line=number)
    if run.dialect.program_letter and _is_program_number(text, letter=run.dialect.program_letter):
        return
    if reading.block_delete and text.lstrip(" \t").startswith("/"):
        return
    block = read_block(text, line=number, parameters=run.parameters)
    add_comments(run.columns, block.comments, line=number)
    if block.packed.strip("(") or block.fault or (block.comments and "(" in run.dialect.refused):
        execute_block(run, block)


def _is_program_number(text: str, *, letter: str) -> bool:
    """Return whether a line holds a program's number and nothing else but a comment."""
    return re.fullmatch(rf"[ \t]*{letter}[ \t]*[0-9]{{1,4}}[ \t]*(\([^()]*\))?[ \t]*", text) is not None


def _read_percent(run: Run, reading: _Reading, *, number: int) -> None:
    """The first percent sign opens a program that the second closes (section 3.1)."""
    if reading.in_percent:
        reading.closed = True
        return
    reading.in_percent = True
    fault = None
    if "%" in run.dialect.refused:
        message = f"%: controller {run.dialect.name} does not take percent signs"
        fault = BlockFault("controller-lacks", message, remedy="remove it", column=1)
    elif any(earlier.strip(" \t") for earlier in reading.lines[: number - 1]):
        message = "%: a percent sign that none has opened; the first stands before everything else"
        remedy = "remove it, or put one in the first line too"
        fault = BlockFault("percent-misplaced", message, remedy=remedy, column=1)
    if fault is not None:
        report(run, fault, line=number)


def _check_end(run: Run, reading: _Reading) -> None:
    """Report a program that does not end, or text after its end."""
    lines, read = reading.lines, reading.done
    if run.full:
        return
    if not (run.state.ended or reading.closed):
        what = "no M2, no M30 and no second %" if reading.in_percent else "no M2 and no M30"
        message = f"the program does not end: {what}"
        remedy = "end the program with M2; look whether the file is complete"
        report(run, BlockFault("program-end-missing", message, remedy=remedy, column=1), line=max(len(lines), 1))
        return
    for number in range(read, len(lines)):
        if lines[number].strip(" \t") not in {"", "%"}:
            message = f"the program ends in line {read}; what follows is not read"
            remedy = "remove it, or the program end before it"
            origin = Origin(file=run.file, line=number + 1, column=1)
            add_finding(run, warning("text-after-end", message, remedy=remedy, origin=origin))
            return
