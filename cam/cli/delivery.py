"""Between commands and pipeline: jobs with the command line's say, files to write, proofs to print.

Imported by commands when they run, so it may import what it likes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cam.findings import Finding
from cam.report.documents import ProgramEntry, lay_proof_document, name_cutters
from cam.report.outputs import Output, check_overwrite, write_outputs
from cam.report.page import write_page
from cam.report.text import write_findings, write_verdict
from cam.tables.job import Job, Suspects
from cam.tables.read import find_controller, find_machine
from cam.tables.read_job import check_job, default_job, read_job
from cam.tables.rows import Tables

if TYPE_CHECKING:
    # for annotations alone: what is handed over is the pipeline's, whichever made it
    from cam.pipeline import Made, MadeProgram, Proof
    from cam.report.verdict import Verdict


def read_source(
    source: Path,
    *,
    units: str | None = None,
    hatches: bool = False,
    cut_suspects: bool = False,
    tolerances: dict[str, float | None] | None = None,
    rows: dict[str, str | None] | None = None,
) -> Job:
    """Return the job of a job file or of a bare drawing, with what the command line says over it.

    Parameters
    ----------
    source
        A ``.toml`` job file; anything else is taken for a drawing.
    units
        Unit of every drawing's numbers.
    hatches
        Whether the boundaries of hatches are contours, in every drawing.
    cut_suspects
        Whether what looks like a drawing frame or like lettering is to be cut.
    tolerances
        Distances by field of the job's tolerances; None leaves the job's own.
    rows
        Names of rows by field of the job; None leaves the job's own.
    """
    job = read_job(source) if source.suffix.lower() == ".toml" else default_job(source)
    changes: dict[str, Any] = {name: value for name, value in (rows or {}).items() if value is not None}
    reading: dict[str, Any] = {"units": units} if units is not None else {}
    if hatches:
        reading["hatches"] = True
    if cut_suspects:
        reading["suspects"] = Suspects.CUT
    if reading:
        changes["panels"] = tuple(replace(entry, **reading) for entry in job.panels)
    distances = {name: value for name, value in (tolerances or {}).items() if value is not None}
    if distances:
        changes["tolerances"] = replace(job.tolerances, **distances)
    return check_job(replace(job, **changes)) if changes else job


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Delivery:
    """What is to be delivered of a job: files with their entries in the document, pages, and findings on the way."""

    entries: tuple[ProgramEntry, ...]
    pages: tuple[Path, ...]
    files: tuple[Output, ...]
    findings: tuple[Finding, ...]


def deliver(
    made: Made, *, tables: Tables, out: Path, force: bool, in_words: bool, said: tuple[Finding, ...] = ()
) -> dict[str, Any]:
    """Write programs and pages, print the proofs in words if asked to; return the document.

    ``said`` is what the command itself has to say, before what was found on the way.
    """
    delivery = lay_delivery(made, tables=tables, out=out, said=said)
    write_files(delivery.files, force=force)
    return tell_delivery(delivery, in_words=in_words)


def lay_delivery(made: Made, *, tables: Tables, out: Path, said: tuple[Finding, ...] = ()) -> Delivery:
    """Return what is to be written and told of a job, with nothing written yet."""
    entries: list[ProgramEntry] = []
    pages: list[Path] = []
    files: list[Output] = []
    for program in made.programs:
        page = out / f"{Path(program.name).stem}.html"
        for file in program.files:
            path, other = find_program_paths(file.name, verdict=program.verdict, out=out)
            files.append(Output(path=path, text=file.text, belied_by=(other,)))
            entries.append(
                ProgramEntry(
                    path=str(path),
                    controller=program.controller,
                    cutters=name_cutters(file.trace, cutters=tables.cutters),
                    blocks=file.trace.lines,
                    timing=file.timing,
                    verdict=program.verdict,
                    rounding_mm=find_controller(tables, name=program.controller).facts.rounding_mm,
                )
            )
        shown = Path(entries[-1].path or "").name if len(program.files) == 1 else f"{len(program.files)} files"
        files.append(Output(path=page, text=_write_page(made, program=program, tables=tables, shown=shown)))
        pages.append(page)
    return Delivery(entries=tuple(entries), pages=tuple(pages), files=tuple(files), findings=(*said, *made.findings))


def tell_delivery(delivery: Delivery, *, in_words: bool) -> dict[str, Any]:
    """Print the proofs of what was written in words if asked to; return the document."""
    entries, pages = delivery.entries, delivery.pages
    if in_words:
        for number, entry in enumerate(entries):
            last = number == len(entries) - 1
            findings = [*delivery.findings, *entry.verdict.findings] if last else []
            print_proof(entry, page=pages[0] if last else None, findings=findings)
    return lay_proof_document(entries, page=str(pages[0]) if pages else None, findings=delivery.findings)


def find_program_paths(name: str, *, verdict: Verdict, out: Path) -> tuple[Path, Path]:
    """Return where a file goes, and the path of its other name: proven and unproven never share one."""
    proven = out / name
    unproven = proven.with_stem(f"{proven.stem}.unproven")
    return (proven, unproven) if verdict.proven else (unproven, proven)


def _write_page(made: Made, *, program: MadeProgram, tables: Tables, shown: str) -> str:
    return write_page(
        title=made.job.title,
        program=shown,
        trace=program.trace,
        timing=program.timing,
        layout=made.layout,
        verdict=program.verdict,
        tables=tables,
        machine=find_machine(tables, name=made.job.machine),
        plan_rows=made.plan_rows,
        bed_z_mm=made.bed_z_mm,
        keep_outs=made.job.keep_outs,
        rounding_mm=find_controller(tables, name=program.controller).facts.rounding_mm,
    )


def write_proof_page(proof: Proof, *, job: Job, tables: Tables, program: Path) -> str:
    """Return the page of a program that was read from a file."""
    return write_page(
        title=job.title,
        program=program.name,
        trace=proof.trace,
        timing=proof.timing,
        layout=proof.layout,
        verdict=proof.verdict,
        tables=tables,
        machine=find_machine(tables, name=job.machine),
        bed_z_mm=proof.bed_z_mm,
        keep_outs=job.keep_outs,
    )


def write_files(files: Sequence[Output], *, force: bool) -> None:
    """Write files together; without ``force`` over none that exists. What they belie is removed and named."""
    if not force:
        check_overwrite(files)
    for removed in write_outputs(files):
        click.echo(f"castcut: removed {removed}, left by an earlier run", err=True)


def print_proof(entry: ProgramEntry, *, page: Path | None, findings: Sequence[Finding]) -> None:
    """Print one program's verdict, where its page is, and every finding."""
    click.echo(write_verdict(entry.verdict, program=str(entry.path), timing=entry.timing))
    if page is not None:
        click.echo(f"  page       {page}")
    if findings:
        click.echo(write_findings(findings))
