"""``castcut calibrate``: a machine row of the shop's own, from measured times."""

from __future__ import annotations

from pathlib import Path

import click

from cam.cli.command import PATH, Command, add_options, print_document, read_row_name

_CAUTION = """\
Before you run them: take the cutter out of the collet, clear the table and the travel (300 x 300 mm about X0 Y0,
Z 54 to 60 above Z0), keep a hand on the stop. The machine moves as fast as it can. Write each time into times.csv,
in minutes."""


@click.command(cls=Command)
@click.argument("times", type=PATH, required=False, metavar="[TIMES.csv]")
@click.option("--write", "write", is_flag=True, help="Write programs to time, and a CSV for their times.")
@click.option("--machine", default="workshop-gantry", show_default=True, metavar="NAME", help="The row to begin from.")
@click.option("--controller", default="ngc", show_default=True, metavar="NAME", help="Whose words the programs use.")
@click.option(
    "--name",
    default="our-machine",
    show_default=True,
    metavar="NAME",
    callback=read_row_name,
    help="Name of the new row.",
)
@click.option("--tables", type=PATH, multiple=True, help="File or folder with rows of the shop's own.")
@click.option("--out", type=PATH, default=Path(), show_default=True, help="Folder for the files.")
@add_options("json", "force")
def calibrate(
    *,
    times: Path | None,
    write: bool,
    machine: str,
    controller: str,
    name: str,
    tables: tuple[Path, ...],
    out: Path,
    as_json: bool,
    force: bool,
) -> None:
    """Find a machine's acceleration, corner setting and overheads from measured times.

    First --write the programs, run each in air as often as the CSV lists it, write down the minutes, then give the CSV.
    The new row goes to NAME.toml; a job reads it by  tables = ["NAME.toml"].

    Example:  castcut calibrate --write --machine bench --out timing
    """
    from cam.calibrating import calibrate_from_times, lay_calibration_files  # noqa: PLC0415
    from cam.cli.delivery import write_files  # noqa: PLC0415
    from cam.report.calibration import lay_calibration_document, write_calibration  # noqa: PLC0415
    from cam.report.outputs import Output, check_folder  # noqa: PLC0415
    from cam.tables.read import find_controller, find_machine, read_tables  # noqa: PLC0415
    from cam.tables.timings import read_timings  # noqa: PLC0415
    from cam.tables.write_row import write_machine_row  # noqa: PLC0415

    if write == (times is not None):
        raise click.UsageError("give --write to get the programs, or a CSV with their times")
    check_folder(out)
    rows = read_tables(own=tables)
    begin, spoken = find_machine(rows, name=machine), find_controller(rows, name=controller)
    if times is None:
        files = lay_calibration_files(begin, controller=spoken)
        write_files([Output(path=out / file, text=text) for file, text in files.items()], force=force)
        if as_json:
            print_document({"format": 1, "files": [str(out / file) for file in files]})
        else:
            click.echo("\n".join(str(out / file) for file in files))
            click.echo(
                "Run each program in air, the table bare and the travel clear, and write its minutes into times.csv."
            )
        return
    measured = read_timings(times)
    found = calibrate_from_times(measured, machine=begin, controller=spoken, name=name)
    path = out / f"{name}.toml"
    write_files([Output(path=path, text=write_machine_row(found.machine))], force=force)
    if as_json:
        print_document(lay_calibration_document(found, times=measured, row=str(path)))
    else:
        click.echo(write_calibration(found, times=measured))
        click.echo(f"row: {path}")
