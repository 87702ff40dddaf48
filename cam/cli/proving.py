"""``castcut prove``: a program's file against a job."""

from __future__ import annotations

from pathlib import Path

import click

from cam.cli.command import HAND_RPM, PATH, READING, Command, add_options, end, print_document


@click.command(cls=Command)
@click.argument("programs", type=PATH, nargs=-1, required=True, metavar="PROGRAM...")
@click.option("--job", "source", type=PATH, required=True, metavar="JOB.toml|PANEL.dxf", help="What it should cut.")
@click.option("--controller", metavar="NAME", help="Read it as this controller does, over what the job says.")
@click.option("--cutter", "cutters", multiple=True, metavar="NAME", help="Cutter in the spindle, for each file.")
@click.option("--rpm", multiple=True, type=HAND_RPM, help="Speed set by hand, for each file, where there is no S.")
@click.option("--out", type=PATH, help="Folder for a page, NAME.proof.html; without it nothing is written.")
@add_options(*READING, "json", "force", "quiet")
def prove(
    *,
    programs: tuple[Path, ...],
    source: Path,
    controller: str | None,
    cutters: tuple[str, ...],
    rpm: tuple[float, ...],
    out: Path | None,
    units: str | None,
    join_tol_mm: float | None,
    fit_tol_mm: float | None,
    fit_arcs_mm: float | None,
    hatches: bool,
    cut_suspects: bool,
    as_json: bool,
    force: bool,
    quiet: bool,
) -> None:
    """Read a program back and prove it against a job, whoever wrote the program.

    Several files are one program, in the order in which they run.

    Example:  castcut prove cut/kitchen.ngc --job kitchen/job.toml
    """
    from cam.cli.delivery import print_proof, read_source, write_files, write_proof_page  # noqa: PLC0415
    from cam.pipeline import prove_program  # noqa: PLC0415
    from cam.report.documents import ProgramEntry, lay_proof_document, name_cutters  # noqa: PLC0415
    from cam.report.outputs import Output, check_folder  # noqa: PLC0415
    from cam.report.progress import Progress  # noqa: PLC0415
    from cam.tables.read import read_tables  # noqa: PLC0415

    for option, given in (("--cutter", len(cutters)), ("--rpm", len(rpm))):
        if given not in (0, len(programs)):
            raise click.UsageError(
                f"{option} is given {given} times for {len(programs)} files: once for each, in order"
            )
    if out is not None:
        check_folder(out)
    tolerances = {"join_mm": join_tol_mm, "fit_mm": fit_tol_mm, "fit_arcs_mm": fit_arcs_mm}
    job = read_source(
        source,
        units=units,
        hatches=hatches,
        cut_suspects=cut_suspects,
        tolerances=tolerances,
        rows={"controller": controller},
    )
    tables = read_tables(own=job.tables)
    with Progress(quiet=quiet) as progress:
        proof = prove_program(*programs, job=job, tables=tables, cutters=cutters, rpm=rpm, progress=progress)
    program = programs[0]
    page = None if out is None else out / f"{program.stem}.proof.html"
    if page is not None:
        text = write_proof_page(proof, job=job, tables=tables, program=program)
        write_files([Output(path=page, text=text)], force=force)
    entry = ProgramEntry(
        path=str(program),
        controller=job.controller,
        cutters=name_cutters(proof.trace, cutters=tables.cutters),
        blocks=proof.trace.lines,
        timing=proof.timing,
        verdict=proof.verdict,
    )
    if as_json:
        print_document(lay_proof_document([entry], page=str(page) if page else None, findings=proof.findings))
    else:
        print_proof(entry, page=page, findings=[*proof.findings, *proof.verdict.findings])
    end(failed=not proof.verdict.proven)
