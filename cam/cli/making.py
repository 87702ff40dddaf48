"""``castcut demo`` and ``castcut make``: from drawings to proven programs."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cam.cli.command import PATH, READING, Command, add_options, end, print_document
from cam.findings import Finding, Origin, warning

if TYPE_CHECKING:
    from cam.tables.job import Job

DEMO_MARK = "castcut-demo.txt"


@click.command(cls=Command)
@click.option("--out", type=PATH, default=Path("castcut-demo"), show_default=True, help="The demo's own folder.")
@add_options("json", "force", "quiet")
def demo(*, out: Path, as_json: bool, force: bool, quiet: bool) -> None:
    """Make castcut's own demo parts, each in a folder of its own.

    The demo's folder belongs to the demo: running it again writes its files anew. A folder that
    holds anything else and was not made by the demo is refused.

    Example:  castcut demo --out first-cut
    """
    from cam.cli.delivery import deliver, read_source  # noqa: PLC0415
    from cam.pipeline import make_job  # noqa: PLC0415
    from cam.report.outputs import Output, check_folder, check_overwrite, write_outputs  # noqa: PLC0415
    from cam.report.progress import Progress  # noqa: PLC0415
    from cam.tables.places import find_data_folder  # noqa: PLC0415
    from cam.tables.read import read_tables  # noqa: PLC0415

    check_folder(out)
    mark = Output(path=out / DEMO_MARK, text="castcut demo made this folder and writes its files anew each time.\n")
    if not force and out.exists() and any(out.iterdir()) and not mark.path.exists():
        check_overwrite([Output(path=out, text="")])
    write_outputs([mark])
    documents = []
    for part in sorted(find_data_folder("parts").glob("*/job.toml")):
        job = read_source(part)
        tables = read_tables(own=job.tables)
        with Progress(quiet=quiet) as progress:
            made = make_job(job, tables=tables, progress=progress)
        folder = out / part.parent.name
        documents.append(deliver(made, tables=tables, out=folder, force=True, in_words=not as_json))
    proven = bool(documents) and all(document["verdict"] == "proven" for document in documents)
    if as_json:
        print_document({"format": 1, "verdict": "proven" if proven else "not proven", "parts": documents})
    end(failed=not proven)


@click.command(cls=Command)
@click.argument("source", type=PATH, metavar="JOB.toml|PANEL.dxf")
@click.option("--out", type=PATH, default=Path(), show_default=True, help="Folder for program and page.")
@click.option("--sheet", metavar="NAME", help="The sheet, over what the job says.")
@click.option("--machine", metavar="NAME", help="The machine, over what the job says.")
@click.option(
    "--controller",
    "controllers",
    multiple=True,
    metavar="NAME",
    help="The controller, over what the job says; given several times, a folder for each.",
)
@click.option("--explain", "explained", is_flag=True, help="Print each workingstep, its time, and all reasons.")
@click.option("--stages", "show_stages", is_flag=True, help="Say on stderr how long each stage took.")
@add_options(*READING, "json", "force", "quiet")
def make(
    *,
    source: Path,
    out: Path,
    units: str | None,
    join_tol_mm: float | None,
    fit_tol_mm: float | None,
    fit_arcs_mm: float | None,
    hatches: bool,
    cut_suspects: bool,
    controllers: tuple[str, ...],
    explained: bool,
    show_stages: bool,
    as_json: bool,
    force: bool,
    quiet: bool,
    **rows: str | None,
) -> None:
    """Make the program of a job, or of a single drawing, and prove it.

    Writes NAME.ngc, or NAME.unproven.ngc if the proof fails, and the page NAME.html. A program of
    the other name that an earlier run left is in the way; with --force it is removed.

    Example:  castcut make splashback.dxf --units mm --sheet cast-4-2440x1220
    """
    from cam.cli.delivery import lay_delivery, read_source, tell_delivery, write_files  # noqa: PLC0415
    from cam.pipeline import make_job  # noqa: PLC0415
    from cam.report.documents import join_documents  # noqa: PLC0415
    from cam.report.outputs import check_folder  # noqa: PLC0415
    from cam.report.progress import Progress  # noqa: PLC0415
    from cam.report.text import write_plan  # noqa: PLC0415
    from cam.tables.read import read_tables  # noqa: PLC0415
    from cam.tables.read_job import check_job  # noqa: PLC0415

    check_folder(out)
    tolerances = {"join_mm": join_tol_mm, "fit_mm": fit_tol_mm, "fit_arcs_mm": fit_arcs_mm}
    job = read_source(source, units=units, hatches=hatches, cut_suspects=cut_suspects, tolerances=tolerances, rows=rows)
    tables = read_tables(own=job.tables)
    spoken = tuple(dict.fromkeys(controllers)) or (job.controller,)
    with Progress(quiet=quiet) as progress:
        # all before any is written: a refusal for one leaves no half of the files
        results = [
            make_job(check_job(replace(job, controller=name)), tables=tables, progress=progress) for name in spoken
        ]
    said = (_say_assumed(job),) if job.path is None and rows["sheet"] is None else ()
    deliveries = [
        lay_delivery(
            made,
            tables=tables,
            out=out if len(results) == 1 else out / made.job.controller,
            said=said if number == 0 else (),
        )
        for number, made in enumerate(results)
    ]
    write_files([file for delivery in deliveries for file in delivery.files], force=force)
    documents = [tell_delivery(delivery, in_words=not as_json) for delivery in deliveries]
    document = join_documents(documents)
    if as_json:
        print_document(document)
    elif explained:
        click.echo(write_plan(results[0].plan_rows))
    if show_stages:
        for made in results:
            for name, seconds in made.stages:
                click.echo(f"castcut: {seconds:6.2f} s  {name}", err=True)
    end(failed=document["verdict"] != "proven")


def _say_assumed(job: Job) -> Finding:
    """Return the warning that nobody named the stock: a drawing cannot tell how thick it is."""
    return warning(
        "sheet-assumed",
        f"no sheet was named: {job.sheet} was assumed, on machine {job.machine}",
        remedy="name the sheet that lies on the machine with --sheet (castcut list sheets), or write a job file",
        origin=Origin(file=str(job.panels[0].drawing)),
    )
