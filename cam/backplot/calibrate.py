"""A machine's settings from measured times: what the clock would need to have said them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from cam.backplot.clock import time_trace
from cam.backplot.trace import Trace
from cam.geometry.contour import BoolArray, FloatArray
from cam.tables.rows import Machine

SETTINGS = ("acceleration X and Y", "acceleration Z", "junction deviation", "spindle start", "tool change")
_UNITS = ("mm/s2", "mm/s2", "mm", "s", "s")
LEAST_JUNCTION_MM = 1e-4
LEAST_S = 0.01
"""Where a search for a deviation or a waiting time begins if the row says none."""
NOTICED = 0.02
"""A setting whose doubling moves no time by this share is not excited."""
WELL_KNOWN = 0.05
"""A setting known to within this share, two standard errors, is well determined."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One setting found; ``share`` is its doubt, two standard errors as a share of it, None if not determined."""

    name: str
    unit: str
    before: float
    value: float
    share: float | None

    @property
    def said(self) -> str:
        """How well it is determined, in words."""
        if self.share is None:
            return "not determined by these times: the row's value is kept"
        word = "well determined" if self.share <= WELL_KNOWN else "roughly determined"
        return f"{word}, give or take {self.share:.1%}"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Calibration:
    """A machine row that says the measured times, and how well each setting is known.

    ``predicted_s`` (n,) are the times that the row gives; ``spread`` is the root mean square of the relative errors.
    """

    machine: Machine
    settings: tuple[Setting, ...]
    predicted_s: FloatArray
    spread: float


def calibrate_machine(traces: Sequence[Trace], *, measured_s: FloatArray, machine: Machine) -> Calibration:
    """Return the settings with which the clock says the measured times.

    Parameters
    ----------
    traces
        The programs, one for each time; one program may stand several times.
    measured_s
        (n,) the times that they took, s.
    machine
        The row to begin from; its travel, speeds and block time are kept.

    Raises
    ------
    ValueError
        If there are fewer times than settings that they excite.

    Notes
    -----
    Least squares of the relative errors over the logarithms of the settings, for times are read with errors in
    proportion and settings are positive. X and Y share one acceleration. A setting that no program depends on is
    left as it is.
    The doubt is two standard errors from the residuals and the Jacobian; with as many times as settings there are no
    residuals, and it is infinite.
    """
    start = _read_settings(machine)
    distinct = {id(trace): trace for trace in traces}

    def predict(values: FloatArray) -> FloatArray:
        row = _apply_settings(machine, values)
        seconds = {key: time_trace(trace, machine=row).cycle_s for key, trace in distinct.items()}
        return np.array([seconds[id(trace)] for trace in traces])

    free = _find_excited(predict, start)
    if len(measured_s) < int(free.sum()):
        raise ValueError(f"{len(measured_s)} times cannot tell {int(free.sum())} settings")

    def errors(logs: FloatArray) -> FloatArray:
        values = start.copy()
        values[free] = np.exp(logs)
        return np.asarray(np.log(predict(values)) - np.log(measured_s))

    values, share = start.copy(), np.full(len(start), np.nan)
    if free.any():
        found = least_squares(errors, np.log(start[free]), diff_step=1e-4, x_scale=0.1, xtol=1e-10, ftol=1e-10)
        values[free] = np.exp(found.x)
        spare = len(measured_s) - int(free.sum())
        variance = 2.0 * found.cost / spare if spare > 0 else np.inf
        inverse = np.linalg.pinv(found.jac.T @ found.jac)
        share[free] = 2.0 * np.sqrt(np.maximum(np.diag(inverse), 0.0) * variance)
    predicted = predict(values)
    return Calibration(
        machine=_apply_settings(machine, values),
        settings=tuple(
            Setting(
                name=name,
                unit=unit,
                before=float(before),
                value=float(value),
                share=None if np.isnan(doubt) else float(doubt),
            )
            for name, unit, before, value, doubt in zip(SETTINGS, _UNITS, start, values, share, strict=True)
        ),
        predicted_s=predicted,
        spread=float(np.sqrt(np.mean((predicted / measured_s - 1.0) ** 2))),
    )


def _read_settings(machine: Machine) -> FloatArray:
    x, y, z = machine.acceleration_mm_per_s2
    return np.array(
        [
            min(x, y),
            z,
            max(machine.junction_deviation_mm, LEAST_JUNCTION_MM),
            max(machine.spin_up_s, LEAST_S),
            max(machine.tool_change_s, LEAST_S),
        ]
    )


def _apply_settings(machine: Machine, values: FloatArray) -> Machine:
    level, z, deviation, spin_up, change = (float(value) for value in values)
    return replace(
        machine,
        acceleration_mm_per_s2=(level, level, z),
        junction_deviation_mm=deviation,
        spin_up_s=spin_up,
        tool_change_s=change,
    )


def _find_excited(predict: Callable[[FloatArray], FloatArray], start: FloatArray) -> BoolArray:
    """Return which settings move any time when they are doubled."""
    base = predict(start)
    moved = []
    for i in range(len(start)):
        doubled = start.copy()
        doubled[i] *= 2.0
        moved.append(bool((np.abs(predict(doubled) / base - 1.0) > NOTICED).any()))
    return np.array(moved)
