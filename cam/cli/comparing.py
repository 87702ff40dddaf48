"""``castcut compare``: cycle times of combinations, and of programs."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cam.cli.command import PATH, Command, add_options, end, print_document
from cam.tables.job import HoldKind

if TYPE_CHECKING:
    from click._termui_impl import ProgressBar

    from cam.report.comparison import ComparisonRow
    from cam.tables.job import Job
    from cam.tables.rows import Tables

DRAWINGS_AND_JOBS = (".toml", ".dxf")


@click.command(cls=Command)
@click.argument("sources", type=PATH, nargs=-1, required=True, metavar="JOB.toml|PANEL.dxf|PROGRAM...")
@click.option("--cutter", "cutters", multiple=True, metavar="NAME", help="A cutter to compare; give several.")
@click.option("--machine", "machines", multiple=True, metavar="NAME", help="A machine to compare; give several.")
@click.option("--controller", "controllers", multiple=True, metavar="NAME", help="A controller to compare.")
@click.option(
    "--hold",
    "holds",
    multiple=True,
    type=click.Choice([str(kind) for kind in HoldKind]),
    help="A way of holding to compare.",
)
@click.option("--sheet", metavar="NAME", help="The sheet, over what the job says.")
@click.option("--out", type=PATH, help="Folder for compare.html and compare.csv; without it nothing is written.")
@add_options("units", "json", "force", "quiet")
def compare(
    *,
    sources: tuple[Path, ...],
    cutters: tuple[str, ...],
    machines: tuple[str, ...],
    controllers: tuple[str, ...],
    holds: tuple[str, ...],
    sheet: str | None,
    out: Path | None,
    units: str | None,
    as_json: bool,
    force: bool,
    quiet: bool,
) -> None:
    """Make and prove every combination and compare the cycle times; or time programs that exist.

    Example:  castcut compare job.toml --machine light-gantry --machine industrial --hold bridges --hold skin
    """
    from cam.cli.delivery import read_source, write_files  # noqa: PLC0415
    from cam.comparing import Choices, compare_programs, lay_combinations  # noqa: PLC0415
    from cam.report.comparison import (  # noqa: PLC0415
        lay_comparison_document,
        write_comparison,
        write_comparison_csv,
        write_comparison_page,
    )
    from cam.report.outputs import Output, check_folder, check_overwrite  # noqa: PLC0415
    from cam.tables.read import read_tables  # noqa: PLC0415

    page = None if out is None else out / "compare.html"
    sheet_csv = None if out is None else out / "compare.csv"
    if out is not None and page is not None and sheet_csv is not None:
        check_folder(out)
        if not force:
            check_overwrite([Output(path=page, text=""), Output(path=sheet_csv, text="")])
    of_jobs = [source.suffix.lower() in DRAWINGS_AND_JOBS for source in sources]
    if any(of_jobs) and len(sources) > 1:
        raise click.UsageError("compare one job or drawing, or several programs, not both")
    if of_jobs[0]:
        job = read_source(sources[0], units=units, rows={"sheet": sheet})
        choices = Choices(
            cutters=cutters, machines=machines, controllers=controllers, holds=tuple(HoldKind(hold) for hold in holds)
        )
        jobs = lay_combinations(job, choices=choices)
        tables = read_tables(own=job.tables)
        rows = _compare_with_bar(jobs, tables=tables, quiet=quiet)
        title = f"Cycle times of {job.title}"
    else:
        if cutters or holds or sheet is not None or units is not None or len(controllers) > 1:
            raise click.UsageError(
                "programs are compared on machines, read as one controller's: no --cutter, --hold, --sheet or --units"
            )
        rows = compare_programs(
            sources,
            machines=machines or ("workshop-gantry",),
            controller=controllers[0] if controllers else "ngc",
            tables=read_tables(),
        )
        title = "Cycle times of programs"
    if page is not None and sheet_csv is not None:
        files = [
            Output(path=page, text=write_comparison_page(rows, title=title)),
            Output(path=sheet_csv, text=write_comparison_csv(rows)),
        ]
        write_files(files, force=force)
    if as_json:
        document = lay_comparison_document(
            rows, page=None if page is None else str(page), csv_path=None if sheet_csv is None else str(sheet_csv)
        )
        print_document(document)
    else:
        click.echo(write_comparison(rows))
        if page is not None:
            click.echo(f"page: {page}")
    end(failed=any(row.verdict not in ("proven", "not judged") for row in rows))


def _compare_with_bar(jobs: tuple[Job, ...], *, tables: Tables, quiet: bool) -> tuple[ComparisonRow, ...]:
    from cam.comparing import compare_jobs  # noqa: PLC0415

    if quiet:
        return compare_jobs(jobs, tables=tables)
    bar: ProgressBar[int] = click.progressbar(length=len(jobs), label="castcut: combinations", file=sys.stderr)
    with bar:
        return compare_jobs(jobs, tables=tables, done=lambda: bar.update(1))
