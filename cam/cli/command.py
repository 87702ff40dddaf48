"""What all commands share: how they refuse, their common options, their documents, their exit."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from cam.errors import Refusal

Decorated = TypeVar("Decorated", bound=Callable[..., Any])

PATH = click.Path(path_type=Path)


class NumberRange(click.FloatRange):
    """A number between bounds; NaN, which is on neither side of a bound, is none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the number, or fail as click does."""
        number = super().convert(value, param, ctx)
        if number != number:  # noqa: PLR0124
            self.fail(f"{value} is not a number.", param, ctx)
        return number


_TOLERANCE = NumberRange(min=0.0, min_open=True, max=1.0)
HAND_RPM = NumberRange(min=0.0, max=1e6)
ROW_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")


def read_row_name(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """Return the name of a row to write, which names its file as well; fail where it would name another place."""
    if value is not None and ROW_NAME.fullmatch(value) is None:
        raise click.BadParameter("use letters, digits, points, hyphens and underscores only", ctx, param)
    return value


class Command(click.Command):
    """A command that says a refusal in words, and as a document where one was asked for."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; end with the exit code of whatever it refuses."""
        try:
            return super().invoke(ctx)
        except Refusal as refusal:
            from cam.report.text import write_refusal  # noqa: PLC0415

            click.echo(write_refusal(refusal), err=True)
            if ctx.params.get("as_json"):
                from cam.report.documents import lay_refusal_document  # noqa: PLC0415

                print_document(lay_refusal_document(refusal.findings))
            ctx.exit(refusal.exit_code)


class Commands(click.Group):
    """The group of castcut's commands, listed in the order in which a newcomer wants them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order in which they were added."""
        return list(self.commands)


_SHARED = {
    "json": click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of words."),
    "force": click.option("--force", is_flag=True, help="Write over files that exist."),
    "quiet": click.option("--quiet", is_flag=True, help="Say nothing of the progress."),
    "join": click.option("--join-tol-mm", type=_TOLERANCE, help="Widest gap between two ends that is closed (0.01)."),
    "fit": click.option("--fit-tol-mm", type=_TOLERANCE, help="How far arcs stray from splines and ellipses (0.005)."),
    "arcs": click.option("--fit-arcs-mm", type=_TOLERANCE, help="Make arcs of chords within this distance (off)."),
    "hatch": click.option("--hatch", "hatches", is_flag=True, help="Take the boundaries of hatches for contours."),
    "suspects": click.option("--cut-suspects", is_flag=True, help="Cut what looks like a drawing frame or lettering."),
    "units": click.option("--units", metavar="UNIT", help="Unit of the drawing's numbers, such as mm or in."),
}


def add_options(*names: str) -> Callable[[Decorated], Decorated]:
    """Return a decorator that adds options which several commands share."""

    def add(command: Decorated) -> Decorated:
        for name in reversed(names):
            command = _SHARED[name](command)
        return command

    return add


READING = ("units", "join", "fit", "arcs", "hatch", "suspects")
"""How a drawing is read: the options of every command that reads one."""


def print_document(document: dict[str, Any]) -> None:
    """Print a document as JSON."""
    from cam.report.quantities import make_finite  # noqa: PLC0415

    click.echo(json.dumps(make_finite(document), indent=2, allow_nan=False))


def end(*, failed: bool) -> None:
    """End the command with exit code 1 if its result is not one to cut from."""
    if failed:
        click.get_current_context().exit(1)
