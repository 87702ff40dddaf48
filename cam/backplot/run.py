"""One run of the interpreter: what it knows, what it has recorded, what it has found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from cam.backplot.columns import Columns
from cam.backplot.dialect import Dialect
from cam.backplot.faults import BlockFault
from cam.backplot.packed import column_of
from cam.backplot.state import State
from cam.backplot.words import Block, Word
from cam.findings import Finding, Origin, note, warning


@dataclass(slots=True, kw_only=True)
class Run:
    """One run; the parameters are the program's own copy."""

    dialect: Dialect
    parameters: dict[int, float]
    tool_lengths_mm: Mapping[int, float] | None
    file: str | None
    max_findings: int
    state: State
    columns: Columns = field(default_factory=Columns)
    findings: list[Finding] = field(default_factory=list)
    warned: set[str] = field(default_factory=set)
    full: bool = False


def report(run: Run, fault: BlockFault, *, line: int) -> None:
    """Add an error; a muted block has been reported already."""
    if not run.columns.muted:
        add_finding(run, fault.as_finding(file=run.file, line=line))


def warn_once(run: Run, code: str, message: str, *, remedy: str, block: Block, word: Word) -> None:
    """Add a warning of a kind that is worth saying once a program."""
    if run.columns.muted or code in run.warned:
        return
    run.warned.add(code)
    warn(run, code, message, remedy=remedy, block=block, word=word)


def warn(run: Run, code: str, message: str, *, remedy: str, block: Block, word: Word) -> None:
    """Add a warning of one word."""
    if run.columns.muted:
        return
    origin = Origin(file=run.file, line=block.line, column=column_of(block.text, index=word.at))
    add_finding(run, warning(code, f"{block.shown(word)}: {message}", remedy=remedy, origin=origin))


def add_finding(run: Run, finding: Finding) -> None:
    """Add a finding, or say that there are too many."""
    if len(run.findings) < run.max_findings:
        run.findings.append(finding)
    elif not run.full:
        run.full = True
        run.findings.append(
            note(
                "too-many-findings",
                f"there are more than {run.max_findings} findings; the program was not read beyond line "
                f"{finding.origin.line}",
                remedy="correct these first",
                origin=Origin(file=run.file, line=finding.origin.line),
            )
        )
