"""RS-274 text interpreted: every move that it makes and everything that is wrong with it.

The language is that of NISTIR 6556 for three axes, less what the controller's row says that it
lacks. The interpreter knows nothing of how a text was written.
"""

from __future__ import annotations

from collections.abc import Mapping

from cam.backplot.columns import as_trace
from cam.backplot.dialect import dialect_of
from cam.backplot.execute import execute_block
from cam.backplot.faults import BlockFault
from cam.backplot.run import Run, report
from cam.backplot.state import WORK_SYSTEM_PARAMETER, State, work_origin
from cam.backplot.trace import Trace
from cam.backplot.words import message_of, read_block
from cam.findings import Origin, warning
from cam.tables.rows import Controller


def interpret_program(
    text: str,
    *,
    controller: Controller,
    file: str | None = None,
    max_findings: int = 100,
    block_delete: bool = False,
    parameters: Mapping[int, float] | None = None,
    tool_lengths_mm: Mapping[int, float] | None = None,
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

    Returns
    -------
    Trace
        The moves, with everything that is wrong in ``findings``. It never stops at the first error.
    """
    run = _start(controller, file, max_findings, parameters, tool_lengths_mm)
    lines = split_lines(text)
    in_percent = closed = False
    read = 0
    for number, line in enumerate(lines, start=1):
        read = number
        if line.strip(" \t") == "%":
            if in_percent:
                closed = True
                break
            if any(earlier.strip(" \t") for earlier in lines[: number - 1]):
                message = "%: a percent sign that none has opened; the first stands before everything else"
                remedy = "remove it, or put one in the first line too"
                report(run, BlockFault("percent-misplaced", message, remedy=remedy, column=1), line=number)
            in_percent = True
            continue
        _interpret_line(run, line, number=number, block_delete=block_delete)
        if run.state.ended or run.full:
            break
    _check_end(run, lines, read=read, closed=closed, in_percent=in_percent)
    return as_trace(run.columns, findings=tuple(run.findings), lines=len(lines), lines_read=read)


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
    state = State(inch=dialect.starts_in_inch)
    system = round(held.get(WORK_SYSTEM_PARAMETER, 1.0))
    state.work_system = system if 1 <= system <= 9 else 1
    state.work = work_origin(held, system=state.work_system, factor=state.factor)
    state.g92 = [held.get(5211 + axis, 0.0) * state.factor for axis in range(3)]
    for axis in range(3):
        state.position[axis] = -(state.work[axis] + state.g92[axis])
    return Run(
        dialect=dialect,
        parameters=held,
        tool_lengths_mm=tool_lengths_mm,
        file=file,
        max_findings=max_findings,
        state=state,
    )


def _interpret_line(run: Run, text: str, *, number: int, block_delete: bool) -> None:
    if len(text) > run.dialect.max_block_length:
        message = f"the block has {len(text)} characters; {run.dialect.max_block_length} are the most"
        fault = BlockFault("block-too-long", message, remedy="shorten it", column=run.dialect.max_block_length + 1)
        report(run, fault, line=number)
        return
    if block_delete and text.lstrip(" \t").startswith("/"):
        return
    block = read_block(text, line=number, parameters=run.parameters)
    for comment in block.comments:
        run.columns.comments.append((number, comment))
    if block.comments:
        to_operator = message_of(block.comments[-1])
        if to_operator is not None:
            run.columns.messages.append((number, to_operator))
    if block.words or block.g or block.m or block.settings or block.fault or block.deleted:
        execute_block(run, block)


def _check_end(run: Run, lines: list[str], *, read: int, closed: bool, in_percent: bool) -> None:
    """Report a program that does not end, or text after its end."""
    if run.full:
        return
    if not (run.state.ended or closed):
        what = "no M2, no M30 and no second %" if in_percent else "no M2 and no M30"
        message = f"the program does not end: {what}"
        remedy = "end the program with M2; look whether the file is complete"
        report(run, BlockFault("program-end-missing", message, remedy=remedy, column=1), line=max(len(lines), 1))
        return
    for number in range(read, len(lines)):
        if lines[number].strip(" \t") not in {"", "%"}:
            run.findings.append(
                warning(
                    "text-after-end",
                    f"the program ends in line {read}; what follows is not read",
                    remedy="remove it, or the program end before it",
                    origin=Origin(file=run.file, line=number + 1, column=1),
                )
            )
            return
