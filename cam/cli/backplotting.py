"""``castcut backplot``: look at any RS-274 program."""

from __future__ import annotations

from pathlib import Path

import click

from cam.cli.command import HAND_RPM, PATH, Command, add_options, end, print_document


@click.command(cls=Command)
@click.argument("program", type=PATH, metavar="PROGRAM")
@click.option("--moves", is_flag=True, help="Print the moves instead, one JSON object a line.")
@click.option(
    "--machine", default="workshop-gantry", show_default=True, metavar="NAME", help="The machine it is timed on."
)
@click.option("--controller", default="ngc", show_default=True, metavar="NAME", help="The controller that reads it.")
@click.option("--cutter", metavar="NAME", help="Cutter in the spindle at the start.")
@click.option("--rpm", type=HAND_RPM, default=0.0, help="Speed set by hand, where there is no S.")
@click.option("--tables", type=PATH, multiple=True, help="File or folder with rows of the shop's own.")
@click.option("--out", type=PATH, help="Folder for the page, NAME.backplot.html; without it nothing is written.")
@add_options("json", "force")
def backplot(
    *,
    program: Path,
    moves: bool,
    machine: str,
    controller: str,
    cutter: str | None,
    rpm: float,
    tables: tuple[Path, ...],
    out: Path | None,
    as_json: bool,
    force: bool,
) -> None:
    """Read any program, show and time it, and say what can be judged without a panel.

    Example:  castcut backplot old.ngc --out look
    """
    from cam.backplot.clock import time_program  # noqa: PLC0415
    from cam.backplot.interpret import interpret_program  # noqa: PLC0415
    from cam.backplot.read import read_program  # noqa: PLC0415
    from cam.cli.delivery import write_files  # noqa: PLC0415
    from cam.findings import has_errors  # noqa: PLC0415
    from cam.report.judge_alone import judge_alone  # noqa: PLC0415
    from cam.report.moves import lay_backplot_document, write_moves  # noqa: PLC0415
    from cam.report.outputs import Output, check_folder  # noqa: PLC0415
    from cam.report.page import write_plain_page  # noqa: PLC0415
    from cam.report.quantities import say_length, say_time  # noqa: PLC0415
    from cam.report.text import write_findings  # noqa: PLC0415
    from cam.report.time_split import split_time  # noqa: PLC0415
    from cam.tables.read import find_controller, find_cutter, find_machine, read_tables  # noqa: PLC0415

    if out is not None:
        check_folder(out)
    rows = read_tables(own=tables)
    row, spoken = find_machine(rows, name=machine), find_controller(rows, name=controller)
    trace = interpret_program(
        read_program(program),
        controller=spoken,
        file=program.name,
        tool=0 if cutter is None else find_cutter(rows, name=cutter).tool,
        hand_rpm=rpm,
    )
    timing = time_program(trace, machine=row, controller=spoken)
    if moves:
        for line in write_moves(trace, timing=timing, cutters=rows.cutters):
            click.echo(line)
        end(failed=has_errors(trace.findings))
        return
    findings = judge_alone(trace, cutters=rows.cutters, machine=row, file=program.name)
    split = split_time(trace, timing=timing, machine=row)
    page = None if out is None else out / f"{program.stem}.backplot.html"
    if page is not None:
        text = write_plain_page(
            program=program.name, trace=trace, timing=timing, findings=findings, tables=rows, machine=row
        )
        write_files([Output(path=page, text=text)], force=force)
    if as_json:
        document = lay_backplot_document(
            trace, timing=timing, split=split, findings=findings, page=None if page is None else str(page)
        )
        print_document(document)
    else:
        click.echo(f"{program}: {trace.lines} lines, not judged against a panel (castcut prove does)")
        click.echo(
            f"  time       {say_time(timing.cycle_s)}: cutting {say_time(split.cutting_s)}, "
            f"entry {say_time(split.entry_s)}, corners {say_time(split.corners_s)}, "
            f"rapids {say_time(split.rapid_s)}, waiting {say_time(split.other_s)}"
        )
        click.echo(f"  length     cutting {say_length(timing.cutting_mm)}, rapids {say_length(timing.rapid_mm)}")
        if page is not None:
            click.echo(f"  page       {page}")
        if findings:
            click.echo(write_findings(findings))
    end(failed=has_errors(findings))
