"""The command line: arguments in, exit code out.

Exit codes: 0 done and proven, 1 not proven or findings of severity error, 2 refused. stdout carries
the product, stderr the words about it. Whatever is slow to import is imported by the command that
needs it.
"""

from __future__ import annotations

import click

from cam import __version__
from cam.cli.backplotting import backplot
from cam.cli.calibrating import calibrate
from cam.cli.command import Commands
from cam.cli.comparing import compare
from cam.cli.couponing import coupon
from cam.cli.feeding import feeds
from cam.cli.inspecting import inspect
from cam.cli.making import demo, make
from cam.cli.proving import prove
from cam.cli.restarting import restart
from cam.cli.telling import explain, list_


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="castcut", message="%(prog)s %(version)s")
def main() -> None:
    """Turn a drawing of a cast-acrylic panel into a proven RS-274 program for a router.

    Example:  castcut make kitchen/job.toml --out cut
    """


for _command in (demo, make, prove, backplot, inspect, compare, feeds, calibrate, coupon, restart, list_, explain):
    main.add_command(_command)
