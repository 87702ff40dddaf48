"""``castcut coupon``: a first piece that tells what the cutter really cuts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from cam.cli.command import (
    PATH,
    Command,
    NumberRange,
    add_options,
    end,
    print_document,
    read_row_name,
)

if TYPE_CHECKING:
    from cam.pipeline import Made
    from cam.tables.job import Job
    from cam.tables.rows import Tables

_SIZE = NumberRange(min=0.0, min_open=True, max=1000.0)


@click.command(cls=Command)
@click.argument("source", type=PATH, metavar="JOB.toml|PANEL.dxf")
@click.option("--cutter", metavar="NAME", help="The cutter, if not the job's first.")
@click.option("--sheet", metavar="NAME", help="The sheet, over what the job says.")
@click.option("--machine", metavar="NAME", help="The machine, over what the job says.")
@click.option("--controller", metavar="NAME", help="The controller, over what the job says.")
@click.option(
    "--measured",
    type=(_SIZE, _SIZE, _SIZE, _SIZE),
    metavar="X Y BORE SLOT",
    help="Sizes read off the cut coupon, mm: writes the cutter's row.",
)
@click.option("--name", callback=read_row_name, help="Name of the new row; the cutter's with -ours if not said.")
@click.option("--out", type=PATH, default=Path(), show_default=True, help="Folder for the files.")
@add_options("json", "force", "quiet")
def coupon(
    *,
    source: Path,
    cutter: str | None,
    sheet: str | None,
    machine: str | None,
    controller: str | None,
    measured: tuple[float, float, float, float] | None,
    name: str | None,
    out: Path,
    as_json: bool,
    force: bool,
    quiet: bool,
) -> None:
    """Make a small program that cuts a square, a bore and a slot, and a card for their sizes.

    Cut it in a scrap corner with the job's own cutter and data, measure it, and give the sizes: the row of your own
    that then is written has the diameter that the cutter really cuts.

    Example:  castcut coupon job.toml --out first; castcut coupon job.toml --measured 70.04 70.06 21.95 13.95
    """
    from cam.cli.delivery import deliver, read_source, write_files  # noqa: PLC0415
    from cam.couponing import NAME, find_own_cutter  # noqa: PLC0415
    from cam.report.coupon import MeasuredCoupon, write_coupon_card  # noqa: PLC0415
    from cam.report.outputs import Output, check_folder, check_overwrite  # noqa: PLC0415
    from cam.tables.read import find_cutter, read_tables  # noqa: PLC0415
    from cam.tables.write_row import write_cutter_row  # noqa: PLC0415

    check_folder(out)
    job = read_source(source, rows={"sheet": sheet, "machine": machine, "controller": controller})
    tables = read_tables(own=job.tables)
    if measured is not None:
        if cutter is None and not job.cutters:
            raise click.UsageError("the job names no cutter: say which one was measured with --cutter")
        row = find_cutter(tables, name=cutter or job.cutters[0])
        sizes = dict(zip(("square_x_mm", "square_y_mm", "bore_mm", "slot_width_mm"), measured, strict=True))
        own, found = find_own_cutter(
            MeasuredCoupon(**sizes), cutter=row, name=name or f"{row.name}-ours", tool=_find_free_tool(tables)
        )
        path = out / f"{own.name}.toml"
        write_files([Output(path=path, text=write_cutter_row(own))], force=force)
        if as_json:
            print_document(
                {
                    "format": 1,
                    "cutter": own.name,
                    "diameter_mm": own.diameter_mm,
                    "nominal_mm": row.diameter_mm,
                    "by_feature_mm": dict(found.by_feature),
                    "row": str(path),
                }
            )
        else:
            told = ", ".join(f"{what} {value:.3f}" for what, value in found.by_feature)
            click.echo(f"{row.name} of {row.diameter_mm:g} mm cuts {own.diameter_mm:.3f} mm ({told})")
            click.echo(f"row: {path}; name it in the job: tables = [{str(path.name)!r}], cutters = [{own.name!r}]")
        return
    drawing = out / f"{NAME}.dxf"
    if not force:
        check_overwrite([Output(path=out / file, text="") for file in (f"{NAME}.dxf", f"{NAME}.card.html")])
    made = _make(job, drawing=drawing, cutter=cutter, tables=tables, quiet=quiet)
    document = deliver(made, tables=tables, out=out, force=force, in_words=not as_json)
    used = find_cutter(tables, name=made.plan_rows[0].cutter)
    card = out / f"{NAME}.card.html"
    text = write_coupon_card(
        cutter=used, program=made.programs[0].files[0].name, sheet=made.layout.sheet, machine=made.job.machine
    )
    write_files([Output(path=card, text=text)], force=force)
    if as_json:
        print_document({**document, "card": str(card), "drawing": str(drawing)})
    else:
        click.echo(f"  card       {card}")
    end(failed=document["verdict"] != "proven")


def _make(job: Job, *, drawing: Path, cutter: str | None, tables: Tables, quiet: bool) -> Made:
    """Return the coupon made; what is refused leaves nothing behind that would be in the way of the next try."""
    from cam.couponing import draw_coupon, make_coupon  # noqa: PLC0415
    from cam.errors import Refusal  # noqa: PLC0415
    from cam.report.progress import Progress  # noqa: PLC0415

    folder = drawing.parent
    new_folder, new_drawing = not folder.exists(), not drawing.exists()
    folder.mkdir(exist_ok=True)
    draw_coupon(drawing)
    try:
        with Progress(quiet=quiet) as progress:
            progress("making the coupon")
            return make_coupon(job, drawing=drawing, cutter=cutter, tables=tables)
    except Refusal:
        if new_drawing:
            drawing.unlink()
        if new_folder:
            folder.rmdir()
        raise


def _find_free_tool(tables: Tables) -> int:
    taken = {cutter.tool for cutter in tables.cutters}
    return next(tool for tool in range(1, 100_000) if tool not in taken)
