"""``castcut restart``: a program that goes on after a stop."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cam.cli.command import HAND_RPM, PATH, Command, add_options, end, print_document

if TYPE_CHECKING:
    from cam.restarting import Restart


@click.command(cls=Command)
@click.argument("program", type=PATH, metavar="PROGRAM")
@click.option("--line", type=click.IntRange(min=1), required=True, help="The line that was being carried out.")
@click.option(
    "--job",
    "source",
    type=PATH,
    metavar="JOB.toml|PANEL.dxf",
    help="Prove both parts against this job too; not for one of several files.",
)
@click.option("--machine", metavar="NAME", help="The machine, over what the job says.")
@click.option("--controller", metavar="NAME", help="The controller, over what the job says.")
@click.option("--cutter", metavar="NAME", help="Cutter in the spindle, where the controller has no T.")
@click.option("--rpm", type=HAND_RPM, default=0.0, help="Speed set by hand, where there is no S.")
@click.option("--out", type=PATH, default=Path(), show_default=True, help="Folder for NAME.restart-LINE.")
@add_options("units", "json", "force")
def restart(
    *,
    program: Path,
    line: int,
    source: Path | None,
    machine: str | None,
    controller: str | None,
    cutter: str | None,
    rpm: float,
    out: Path,
    units: str | None,
    as_json: bool,
    force: bool,
) -> None:
    """Write the program that goes on after a stop in a line, and prove that both parts cut what the whole does.

    It puts unit, offset, cutter, spindle and air back in force, travels at the program's own height, comes down where
    the cutter has already been, and goes on with the old blocks. Check zero and cutter length before you run it.

    Example:  castcut restart cut/kitchen.ngc --line 8412 --job kitchen/job.toml
    """
    from cam.backplot.read import read_program  # noqa: PLC0415
    from cam.cli.delivery import read_source, write_files  # noqa: PLC0415
    from cam.report.outputs import Output, check_folder  # noqa: PLC0415
    from cam.report.text import write_findings  # noqa: PLC0415
    from cam.restarting import restart_program  # noqa: PLC0415
    from cam.tables.read import find_controller, find_cutter, find_machine, read_tables  # noqa: PLC0415

    check_folder(out)
    rows = {"machine": machine, "controller": controller}
    job = None if source is None else read_source(source, units=units, rows=rows)
    tables = read_tables(own=() if job is None else job.tables)
    made = restart_program(
        read_program(program),
        line=line,
        file=program.name,
        controller=find_controller(tables, name=controller or (job.controller if job else "ngc")),
        machine=find_machine(tables, name=machine or (job.machine if job else "workshop-gantry")),
        tables=tables,
        job=job,
        tool=0 if cutter is None else find_cutter(tables, name=cutter).tool,
        hand_rpm=rpm,
    )
    stem = f"{program.stem}.restart-{line}"
    proven, unproven = out / f"{stem}{program.suffix}", out / f"{stem}.unproven{program.suffix}"
    path, other = (proven, unproven) if made.proven else (unproven, proven)
    write_files([Output(path=path, text=made.text, belied_by=(other,))], force=force)
    if as_json:
        print_document(_lay_document(made, path=path))
    else:
        click.echo(f"{path}: {'PROVEN' if made.proven else 'NOT PROVEN'}")
        click.echo(f"  goes on  from line {made.point.line}: {made.point.reason}")
        click.echo(
            f"  cut      both parts leave at most {made.uncut_mm:.4f} mm of what the whole removes and take at most "
            f"{made.overcut_mm:.4f} mm more"
        )
        findings = [*made.findings, *(made.verdict.findings if made.verdict else ())]
        if findings:
            click.echo(write_findings(findings))
        click.echo("  before   find X, Y and Z zero again, measure the cutter, keep a hand on the stop")
    end(failed=not made.proven)


def _lay_document(made: Restart, *, path: Path) -> dict[str, Any]:
    findings = [*made.findings, *(made.verdict.findings if made.verdict else ())]
    return {
        "format": 1,
        "verdict": "proven" if made.proven else "not proven",
        "path": str(path),
        "line": made.point.line,
        "reason": made.point.reason,
        "down_mm": list(made.point.down_mm),
        "at_mm": list(made.point.at_mm),
        "uncut_mm": made.uncut_mm,
        "overcut_mm": made.overcut_mm,
        "findings": [finding.as_document() for finding in findings],
    }
