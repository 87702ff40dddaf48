"""Traces of a program's files, one after the other, as one trace."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from cam.backplot.trace import Trace
from cam.findings import Finding

_WORDS = frozenset({"comments", "messages", "findings", "lines", "lines_read"})


@dataclass(frozen=True, slots=True, kw_only=True)
class FileSpan:
    """The lines of one file in a joined trace: those after ``before``, up to ``before + lines``."""

    file: str
    before: int
    lines: int


def join_traces(traces: Sequence[Trace], *, files: Sequence[str]) -> tuple[Trace, tuple[FileSpan, ...]]:
    """Return traces as one, its lines counted through all files, and which lines are whose.

    Notes
    -----
    Findings of the text keep the line that they have in their own file.
    """
    spans, before = [], 0
    for trace, file in zip(traces, files, strict=True):
        spans.append(FileSpan(file=file, before=before, lines=trace.lines))
        before += trace.lines
    if len(traces) == 1:
        return traces[0], tuple(spans)
    moved = [replace(trace, line=_seal(trace.line + span.before)) for trace, span in zip(traces, spans, strict=True)]
    joined = {
        field.name: _seal(np.concatenate([getattr(trace, field.name) for trace in moved]))
        for field in fields(Trace)
        if field.name not in _WORDS
    }
    return (
        Trace(
            **joined,
            comments=_renumber([trace.comments for trace in traces], spans),
            messages=_renumber([trace.messages for trace in traces], spans),
            findings=tuple(finding for trace in traces for finding in trace.findings),
            lines=before,
            lines_read=sum(trace.lines_read for trace in traces),
        ),
        tuple(spans),
    )


def _seal(values: np.ndarray) -> np.ndarray:
    values = np.asarray(values)
    values.setflags(write=False)
    return values


def _renumber(texts: Sequence[tuple[tuple[int, str], ...]], spans: Sequence[FileSpan]) -> tuple[tuple[int, str], ...]:
    return tuple((line + span.before, text) for each, span in zip(texts, spans, strict=True) for line, text in each)


def place_in_files(findings: Sequence[Finding], *, program: str, spans: Sequence[FileSpan]) -> tuple[Finding, ...]:
    """Return findings about a joined trace with the file and the line in it that each means."""
    if len(spans) == 1:
        return tuple(findings)
    placed = []
    for finding in findings:
        origin = finding.origin
        if origin.file == program and origin.line is not None:
            span = next((each for each in reversed(spans) if origin.line > each.before), spans[0])
            origin = replace(origin, file=span.file, line=origin.line - span.before)
        placed.append(replace(finding, origin=origin))
    return tuple(placed)
