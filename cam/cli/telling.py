"""``castcut list`` and ``castcut explain``: what castcut knows."""

from __future__ import annotations

import click

from cam.cli.command import Command, add_options, print_document
from cam.tables.listing import RowKind

LAYERS = "layers"


@click.command("list", cls=Command)
@click.argument("kind", type=click.Choice([*(str(kind) for kind in RowKind), LAYERS]), metavar="KIND")
@add_options("json")
def list_(*, kind: str, as_json: bool) -> None:
    """List the rows of a KIND: cutters, materials, machines, controllers or sheets; or the names of layers.

    Example:  castcut list cutters
    """
    if kind == LAYERS:
        _list_layers(as_json=as_json)
        return
    from cam.tables.listing import list_rows, write_listing  # noqa: PLC0415
    from cam.tables.read import read_tables  # noqa: PLC0415

    tables = read_tables()
    if as_json:
        print_document(list_rows(tables, kind=RowKind(kind)))
    else:
        click.echo(write_listing(tables, kind=RowKind(kind)))


def _list_layers(*, as_json: bool) -> None:
    from cam.panel.layers import CONVENTION, write_convention  # noqa: PLC0415

    if as_json:
        rows = [{"name": name, "means": meaning} for name, meaning in CONVENTION]
        print_document({"format": 1, "kind": LAYERS, "rows": rows})
    else:
        click.echo(write_convention())


@click.command(cls=Command)
@click.argument("code", required=False)
def explain(*, code: str | None) -> None:
    """Explain the CODE of a finding or a refusal; without one, list all codes.

    Example:  castcut explain rapid-in-material
    """
    from cam.report.explain import find_codes, read_explanation  # noqa: PLC0415

    click.echo("\n".join(find_codes()) if code is None else read_explanation(code))
