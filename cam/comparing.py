"""Combinations of cutter, machine, controller and hold, each made and proven, on all cores."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import product
from multiprocessing import get_context
from os import cpu_count
from pathlib import Path

from cam.backplot.clock import time_program
from cam.backplot.interpret import interpret_program
from cam.backplot.read import read_program
from cam.backplot.trace import Kind
from cam.errors import Refusal
from cam.findings import Severity
from cam.pipeline import make_job
from cam.report.comparison import ComparisonRow
from cam.report.time_split import split_by_panel, split_time
from cam.tables.job import HoldKind, Job
from cam.tables.read import find_controller, find_machine
from cam.tables.read_job import check_job
from cam.tables.rows import Tables, ToolChange


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """What is varied; an empty choice leaves the job's own."""

    cutters: tuple[str, ...] = ()
    machines: tuple[str, ...] = ()
    controllers: tuple[str, ...] = ()
    holds: tuple[HoldKind, ...] = ()


def lay_combinations(job: Job, *, choices: Choices) -> tuple[Job, ...]:
    """Return a job for every combination, in the order of the choices, the last one changing fastest."""
    cutters: list[tuple[str, ...]] = [(name,) for name in choices.cutters] or [job.cutters]
    holds = choices.holds or (job.hold.by,)
    rows = product(cutters, choices.machines or (job.machine,), choices.controllers or (job.controller,), holds)
    return tuple(
        check_job(replace(job, cutters=cutter, machine=machine, controller=controller, hold=replace(job.hold, by=hold)))
        for cutter, machine, controller, hold in rows
    )


def compare_jobs(
    jobs: Sequence[Job], *, tables: Tables, done: Callable[[], None] = lambda: None, workers: int | None = None
) -> tuple[ComparisonRow, ...]:
    """Return a row for each job, made and proven; what is refused is a row that says why.

    Parameters
    ----------
    done
        Called after each job.
    workers
        How many processes; None for one a core.

    Raises
    ------
    Refusal
        If none of the jobs could be made: the first one's.
    """
    count = min(len(jobs), workers or cpu_count() or 1)
    if count == 1:
        results = []
        for job in jobs:
            results.append(_compare_job(job, tables))
            done()
    else:
        # fresh processes: nothing of this one, its progress line least of all, is shared
        with ProcessPoolExecutor(count, mp_context=get_context("spawn")) as pool:
            waiting = [pool.submit(_compare_job, job, tables) for job in jobs]
            results = []
            for each in waiting:
                results.append(each.result())
                done()
    if all(isinstance(result, Refusal) for result in results):
        raise next(result for result in results if isinstance(result, Refusal))
    return tuple(
        _say_refused(job, result) if isinstance(result, Refusal) else result
        for job, result in zip(jobs, results, strict=True)
    )


def _compare_job(job: Job, tables: Tables) -> ComparisonRow | Refusal:
    try:
        made = make_job(job, tables=tables)
    except Refusal as refusal:
        return refusal
    program = made.programs[0]
    machine = find_machine(tables, name=job.machine)
    by_word = find_controller(tables, name=job.controller).facts.tool_change is ToolChange.WORD
    names = dict.fromkeys(row.cutter for row in made.plan_rows)
    return ComparisonRow(
        cutter=" + ".join(names),
        machine=job.machine,
        controller=job.controller,
        hold=str(job.hold.by),
        program=None,
        verdict=str(program.verdict),
        split=split_time(program.trace, timing=program.timing, machine=machine),
        by_panel=tuple(split_by_panel(program.trace, timing=program.timing, layout=made.layout).items()),
        hand_changes=0 if by_word else int((program.trace.kind == Kind.STOP).sum()),
    )


def _say_refused(job: Job, refusal: Refusal) -> ComparisonRow:
    first = refusal.findings[0]
    return ComparisonRow(
        cutter=" + ".join(job.cutters) or "any",
        machine=job.machine,
        controller=job.controller,
        hold=str(job.hold.by),
        program=None,
        verdict="refused",
        split=None,
        refused=f"{first.code}: {first.message}",
    )


def compare_programs(
    paths: Sequence[Path], *, machines: tuple[str, ...], controller: str, tables: Tables
) -> tuple[ComparisonRow, ...]:
    """Return a row for each program on each machine, whoever wrote it; its cut is not judged.

    Raises
    ------
    Refusal
        If a program cannot be read, or a row is unknown.
    """
    spoken = find_controller(tables, name=controller)
    rows = []
    for path, name in product(paths, machines):
        machine = find_machine(tables, name=name)
        trace = interpret_program(read_program(path), controller=spoken, file=path.name)
        timing = time_program(trace, machine=machine, controller=spoken)
        faults = [finding for finding in trace.findings if finding.severity is Severity.ERROR]
        rows.append(
            ComparisonRow(
                cutter=None,
                machine=name,
                controller=controller,
                hold=None,
                program=path.name,
                verdict="faulty text" if faults else "not judged",
                split=split_time(trace, timing=timing, machine=machine),
                refused=f"{faults[0].code}: {faults[0]}" if faults else None,
            )
        )
    return tuple(rows)
