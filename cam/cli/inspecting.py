"""``castcut inspect``: what a drawing holds, faults and all."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from cam.cli.command import PATH, READING, Command, add_options, end, print_document


@click.command(cls=Command)
@click.argument("drawing", type=PATH, metavar="DRAWING")
@click.option("--out", type=PATH, help="Folder for a page, NAME.inspect.html; without it nothing is written.")
@click.option("--job", "job_path", type=PATH, metavar="JOB.toml", help="Job whose rules say what layers mean.")
@add_options(*READING, "json", "force")
def inspect(
    *,
    drawing: Path,
    out: Path | None,
    job_path: Path | None,
    units: str | None,
    join_tol_mm: float | None,
    fit_tol_mm: float | None,
    fit_arcs_mm: float | None,
    hatches: bool,
    cut_suspects: bool,
    as_json: bool,
    force: bool,
) -> None:
    """Show the loops of a drawing, their roles and sizes, and every fault with its place.

    Example:  castcut inspect splashback.dxf --out look
    """
    from cam.cli.delivery import write_files  # noqa: PLC0415
    from cam.findings import has_errors  # noqa: PLC0415
    from cam.pipeline import inspect_drawing  # noqa: PLC0415
    from cam.report.inspection import (  # noqa: PLC0415
        lay_inspection_document,
        write_inspection,
        write_inspection_page,
    )
    from cam.report.outputs import Output, check_folder  # noqa: PLC0415
    from cam.report.text import write_findings  # noqa: PLC0415
    from cam.tables.job import Suspects, Tolerances  # noqa: PLC0415
    from cam.tables.read_job import read_job  # noqa: PLC0415

    if out is not None:
        check_folder(out)
    job = None if job_path is None else read_job(job_path)
    usual = Tolerances() if job is None else job.tolerances
    # a drawing that the job cuts is read as the job reads it
    entries = () if job is None else tuple(e for e in job.panels if e.drawing.resolve() == drawing.resolve())
    seen = inspect_drawing(
        drawing,
        units=units or next((entry.units for entry in entries), None),
        join_tol_mm=join_tol_mm or usual.join_mm,
        fit_tol_mm=fit_tol_mm or usual.fit_mm,
        fit_arcs_mm=fit_arcs_mm or usual.fit_arcs_mm,
        hatches=hatches or any(entry.hatches for entry in entries),
        suspects=Suspects.CUT if cut_suspects else Suspects.ASK,
        rules=() if job is None else job.layers,
    )
    told: dict[str, Any] = {"meant": seen.meant, "names": seen.names}
    page = None if out is None else out / f"{drawing.stem}.inspect.html"
    if page is not None:
        write_files([Output(path=page, text=write_inspection_page(seen.drawing, **told))], force=force)
    if as_json:
        document = lay_inspection_document(seen.drawing, **told)
        print_document({**document, "page": str(page) if page else None})
    else:
        click.echo(write_inspection(seen.drawing, **told))
        if page is not None:
            click.echo(f"  page: {page}")
        if seen.drawing.findings:
            click.echo(write_findings(seen.drawing.findings))
    end(failed=has_errors(seen.drawing.findings))
