"""Calibration of a machine: the programs to time, and the row that their times give."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from cam.backplot.calibrate import Calibration, calibrate_machine
from cam.backplot.interpret import interpret_program
from cam.backplot.read import read_program
from cam.backplot.trace import Trace
from cam.errors import ProgramRefused, TableRefused
from cam.findings import Finding, Origin, Severity, error
from cam.program.calibration import write_calibration_programs
from cam.tables.rows import Controller, Machine
from cam.tables.timings import COLUMNS, MeasuredTime

REPEATS = {"swing": 4, "corners": 4, "plunge": 2, "spindle": 1, "tools": 1}
"""How often each program is timed: accelerations and corners move a time by only half their own error."""


MOST_SPREAD = 0.25
"""Times that the best row still misses by more than this, root mean square, are no times of these programs."""


def lay_calibration_files(machine: Machine, *, controller: Controller) -> dict[str, str]:
    """Return the programs to run and the CSV to write their times into, by file name."""
    programs = write_calibration_programs(machine, controller=controller)
    rows = [f"{name}," for name in programs for _ in range(REPEATS[name.split(".", maxsplit=1)[0]])]
    return {**programs, "times.csv": "\n".join([",".join(COLUMNS), *rows]) + "\n"}


def calibrate_from_times(
    times: Sequence[MeasuredTime], *, machine: Machine, controller: Controller, name: str
) -> Calibration:
    """Return a machine's calibration from measured times; its row has a name of its own.

    Raises
    ------
    FileRefused, ProgramRefused
        If a program cannot be read, or its text has errors.
    TableRefused
        ``timings-too-few``, if there are fewer times than settings that they depend on; ``timings-doubtful``, if no
        settings say them within `MOST_SPREAD`.
    """
    traces: dict[str, Trace] = {}
    for time in times:
        key = str(time.program)
        if key not in traces:
            trace = interpret_program(read_program(time.program), controller=controller, file=key)
            faults = [finding for finding in trace.findings if finding.severity is Severity.ERROR]
            if faults:
                raise ProgramRefused(*faults)
            traces[key] = trace
    try:
        if not times:
            raise ValueError("no program has minutes beside it")
        found = calibrate_machine(
            [traces[str(time.program)] for time in times],
            measured_s=np.array([time.seconds for time in times]),
            machine=machine,
        )
    except ValueError as fault:
        raise TableRefused(
            error(
                "timings-too-few",
                f"{fault}",
                remedy="time more programs; castcut calibrate --write makes some that tell every setting",
                origin=Origin(file=str(times[0].program.parent) if times else None),
            )
        ) from fault
    if found.spread > MOST_SPREAD:
        raise TableRefused(_refuse_doubtful(times, found=found))
    known = "; ".join(f"{each.name} {each.said}" for each in found.settings)
    row = replace(
        found.machine,
        name=name,
        title=f"{machine.title}, as timed",
        source=f"calibrated from {len(times)} measured times, errors {found.spread:.1%}: {known}; "
        f"the rest: {machine.name}",
    )
    return replace(found, machine=row)


def _refuse_doubtful(times: Sequence[MeasuredTime], *, found: Calibration) -> Finding:
    seconds = np.array([time.seconds for time in times])
    worst = int(np.abs(np.log(found.predicted_s / seconds)).argmax())
    return error(
        "timings-doubtful",
        f"no machine takes these times: the nearest one misses them by {found.spread:.0%}, and needs "
        f"{found.predicted_s[worst] / 60.0:.3g} min where {seconds[worst] / 60.0:.3g} min were measured",
        remedy="look whether every time is in minutes and beside its own program, run at full override",
        origin=Origin(file=str(times[worst].program)),
    )
