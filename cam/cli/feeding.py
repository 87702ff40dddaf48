"""``castcut feeds``: cutting data with reasons, and the window that they lie in."""

from __future__ import annotations

from pathlib import Path

import click

from cam.cli.command import PATH, Command, NumberRange, add_options, end, print_document

_POSITIVE = NumberRange(min=0.0, min_open=True, max=1e6)


@click.command(cls=Command)
@click.option("--cutter", required=True, metavar="NAME", help="The cutter; castcut list cutters shows them.")
@click.option("--material", default="cast-acrylic", show_default=True, metavar="NAME", help="The material.")
@click.option("--machine", default="workshop-gantry", show_default=True, metavar="NAME", help="The machine.")
@click.option("--depth-mm", type=_POSITIVE, help="Depth of the cut in all; the cutter's diameter if not said.")
@click.option("--bite-mm", type=_POSITIVE, help="Width of the bite; a slot if not said.")
@click.option("--run-mm", type=_POSITIVE, help="Longest way between two stops, which limits the feed reached.")
@click.option("--rpm", type=_POSITIVE, help="Your own spindle speed, held against the window.")
@click.option("--feed", "feed_mm_per_min", type=_POSITIVE, help="Your own feed, mm/min, held against the window.")
@click.option("--tables", type=PATH, multiple=True, help="File or folder with rows of the shop's own.")
@click.option("--out", type=PATH, help="Folder for the picture of the window, feeds.svg; without it none is drawn.")
@add_options("json", "force")
def feeds(
    *,
    cutter: str,
    material: str,
    machine: str,
    depth_mm: float | None,
    bite_mm: float | None,
    run_mm: float | None,
    rpm: float | None,
    feed_mm_per_min: float | None,
    tables: tuple[Path, ...],
    out: Path | None,
    as_json: bool,
    force: bool,
) -> None:
    """Say the speed, feed and depth for a cutter in a material on a machine, and why.

    Example:  castcut feeds --cutter o1-6-up --depth-mm 5 --out look
    """
    from cam.advice import advise_feeds  # noqa: PLC0415
    from cam.cli.delivery import write_files  # noqa: PLC0415
    from cam.findings import has_errors  # noqa: PLC0415
    from cam.report.feed_advice import lay_feed_document, write_feed_advice  # noqa: PLC0415
    from cam.report.feed_picture import draw_feed_window  # noqa: PLC0415
    from cam.report.outputs import Output, check_folder  # noqa: PLC0415
    from cam.report.text import write_findings  # noqa: PLC0415
    from cam.tables.read import find_cutter, find_machine, find_material, read_tables  # noqa: PLC0415

    if out is not None:
        check_folder(out)
    read = read_tables(own=tables)
    row = find_cutter(read, name=cutter)
    advice = advise_feeds(
        cutter=row,
        material=find_material(read, name=material),
        machine=find_machine(read, name=machine),
        depth_mm=row.diameter_mm if depth_mm is None else depth_mm,
        radial_mm=bite_mm,
        run_mm=run_mm,
        rpm=rpm,
        feed_mm_per_min=feed_mm_per_min,
    )
    picture = None if out is None else out / "feeds.svg"
    if picture is not None:
        drawn = draw_feed_window(
            advice.window,
            rpm=advice.spindle_rpm,
            feed_mm_per_min=advice.feed_mm_per_min,
            title=f"Permitted speed and feed: {advice.window.cutter.title}",
        )
        write_files([Output(path=picture, text=drawn)], force=force)
    if as_json:
        print_document(lay_feed_document(advice, picture=None if picture is None else str(picture)))
    else:
        click.echo(write_feed_advice(advice))
        if picture is not None:
            click.echo(f"picture: {picture}")
        if advice.findings:
            click.echo(write_findings(advice.findings))
    end(failed=has_errors(advice.findings))
