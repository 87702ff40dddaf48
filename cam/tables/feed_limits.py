"""The window of permitted speeds and feeds: each limit as a line over the spindle's speeds."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import sqrt

import numpy as np
import numpy.typing as npt

from cam.findings import Finding, Origin, error, warning
from cam.tables.chip_load import find_chip_load, find_chip_thinning, find_chip_window, find_feed
from cam.tables.rows import Cutter, Machine, Material
from cam.tables.spindle_power import find_cutting_power, find_power_available, find_removal_rate

SPEEDS = 49
"""How many speeds a line is drawn through; the power curve's own points come on top."""
FULL_LOAD_SHARE = 0.8
"""A cut that takes more of the spindle's power leaves nothing for a dull edge (common practice, no source)."""


class Limit(StrEnum):
    """What bounds a feed."""

    RUBBING = "lowest chip load"
    OVERLOAD = "highest chip load"
    MACHINE = "the machine's feed"
    RUN = "the length of the run"
    POWER = "the spindle's power"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FeedLimit:
    """One limit: the feed, mm/min, (n,) at each of the window's speeds."""

    limit: Limit
    text: str
    feed_mm_per_min: npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FeedWindow:
    """All limits of one cut over the same speeds, (n,) rpm ascending.

    ``min_rpm`` and ``max_rpm`` bound the speed; ``depth_mm`` is that of one pass, ``radial_mm`` the width of
    the bite, None for a slot.
    """

    cutter: Cutter
    material: Material
    machine: Machine
    depth_mm: float
    radial_mm: float | None
    min_rpm: float
    max_rpm: float
    rpm: npt.NDArray[np.float64]
    limits: tuple[FeedLimit, ...]

    @property
    def origin(self) -> Origin:
        """What is being cut by what, for messages."""
        return Origin(feature=f"{self.cutter.name} in {self.material.name} on {self.machine.name}")


def find_reached_feed(machine: Machine, *, run_mm: float) -> float:
    """Return the feed, mm/min, that a machine reaches in the middle of a run from rest to rest.

    Notes
    -----
    v = sqrt(a L) with a the slower of the X and Y accelerations: half the way to speed up, half to stop.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> find_reached_feed(SimpleNamespace(acceleration_mm_per_s2=(1000.0, 900.0, 500.0)), run_mm=4.0)
    3600.0
    """
    return 60.0 * sqrt(min(machine.acceleration_mm_per_s2[:2]) * run_mm)


def find_feed_window(
    *,
    cutter: Cutter,
    material: Material,
    machine: Machine,
    depth_mm: float,
    radial_mm: float | None = None,
    run_mm: float | None = None,
) -> FeedWindow:
    """Return every limit of the feed over the speeds that cutter, material and machine allow.

    Parameters
    ----------
    depth_mm
        The depth of one pass.
    radial_mm
        The width of the bite, None for a slot.
    run_mm
        The longest way between two stops, None for any length.

    Raises
    ------
    TableRefused
        ``no-chip-load``, ``depth-beyond-table`` or ``chip-too-thin``.

    Notes
    -----
    Chip loads give lines through the origin, F = rpm x flutes x chip load. The spindle's power P(rpm) allows
    F = 60 P / (width x depth x cutting energy).
    """
    window = find_chip_window(cutter=cutter, material=material, depth_mm=depth_mm)
    low, high = max(material.min_rpm, machine.min_rpm), min(material.max_rpm, machine.max_rpm, cutter.max_rpm)
    own = [point.rpm for point in machine.power_curve if machine.min_rpm <= point.rpm <= machine.max_rpm]
    rpm = np.unique(np.concatenate((np.linspace(machine.min_rpm, machine.max_rpm, SPEEDS), own)))
    width_mm = cutter.diameter_mm if radial_mm is None else radial_mm
    power = np.array([find_power_available(machine, rpm=float(each)) for each in rpm])
    energy_j = width_mm * depth_mm * material.cutting_energy_j_per_mm3
    limits = [
        FeedLimit(
            limit=Limit.RUBBING,
            text=f"below a chip load of {window.low_mm:.3f} mm the edge rubs",
            feed_mm_per_min=rpm * find_feed(rpm=1.0, flutes=cutter.flutes, chip_load_mm=window.low_mm),
        ),
        FeedLimit(
            limit=Limit.OVERLOAD,
            text=f"above a chip load of {window.high_mm:.3f} mm the edge chips",
            feed_mm_per_min=rpm * find_feed(rpm=1.0, flutes=cutter.flutes, chip_load_mm=window.high_mm),
        ),
        FeedLimit(
            limit=Limit.MACHINE,
            text=f"{machine.name} feeds at most {machine.max_feed_mm_per_min:.0f} mm/min",
            feed_mm_per_min=np.full(len(rpm), machine.max_feed_mm_per_min),
        ),
        FeedLimit(
            limit=Limit.POWER,
            text=f"{machine.name} gives {power.max():.0f} W at most; a chip takes "
            f"{material.cutting_energy_j_per_mm3:g} J/mm3",
            feed_mm_per_min=60.0 * power / energy_j,
        ),
    ]
    if run_mm is not None:
        reached = find_reached_feed(machine, run_mm=run_mm)
        text = f"on {run_mm:g} mm from stop to stop {machine.name} reaches {reached:.0f} mm/min"
        limits.append(FeedLimit(limit=Limit.RUN, text=text, feed_mm_per_min=np.full(len(rpm), reached)))
    return FeedWindow(
        cutter=cutter,
        material=material,
        machine=machine,
        depth_mm=depth_mm,
        radial_mm=radial_mm,
        min_rpm=low,
        max_rpm=high,
        rpm=rpm,
        limits=tuple(limits),
    )


def check_feed(window: FeedWindow, *, rpm: float, feed_mm_per_min: float) -> tuple[Finding, ...]:
    """Return what is wrong with a speed and a feed: rubbing, overload, or a limit of the machine.

    Notes
    -----
    The chip load is held to the table's window. The chip itself may be thinner still, in a bite narrower than half
    the cutter: below the table's lowest that is a warning, because the table knows only full chips. More than
    `FULL_LOAD_SHARE` of the spindle's power is a warning, more than all of it an error.
    """
    cutter, material, machine = window.cutter, window.material, window.machine
    findings: list[Finding] = []
    if not machine.min_rpm <= rpm <= machine.max_rpm or not window.min_rpm <= rpm <= window.max_rpm:
        findings.append(
            error(
                "speed-outside-window",
                f"{rpm:.0f} rpm is outside {window.min_rpm:.0f} to {window.max_rpm:.0f} rpm, which cutter, material "
                "and machine allow together",
                remedy="choose a speed in the window",
                origin=window.origin,
            )
        )
        return tuple(findings)
    chip = find_chip_window(cutter=cutter, material=material, depth_mm=window.depth_mm)
    chip_mm = find_chip_load(feed_mm_per_min=feed_mm_per_min, rpm=rpm, flutes=cutter.flutes)
    thinning = 1.0
    if window.radial_mm is not None:
        thinning = find_chip_thinning(radial_mm=window.radial_mm, diameter_mm=cutter.diameter_mm)
    if chip_mm < chip.low_mm * (1.0 - 1e-9):
        findings.append(_say_rubbing(window, chip_mm=chip_mm, low_mm=chip.low_mm, severe=True))
    elif chip_mm * thinning < chip.low_mm * (1.0 - 1e-9):
        findings.append(_say_rubbing(window, chip_mm=chip_mm * thinning, low_mm=chip.low_mm, severe=False))
    if chip_mm > chip.high_mm * (1.0 + 1e-9):
        findings.append(
            error(
                "overloading-feed",
                f"a chip load of {chip_mm:.3f} mm is above the table's highest, {chip.high_mm:.3f} mm: the edge chips",
                remedy="lower the feed, raise the speed, or take shallower passes",
                origin=window.origin,
            )
        )
    width_mm = cutter.diameter_mm if window.radial_mm is None else window.radial_mm
    removal = find_removal_rate(width_mm=width_mm, depth_mm=window.depth_mm, feed_mm_per_min=feed_mm_per_min)
    power = find_cutting_power(removal_mm3_per_s=removal, cutting_energy_j_per_mm3=material.cutting_energy_j_per_mm3)
    available = find_power_available(machine, rpm=rpm)
    if power > FULL_LOAD_SHARE * available:
        say = error if power > available else warning
        findings.append(
            say(
                "overloading-feed",
                f"the cut takes {power:.0f} W of the {available:.0f} W that {machine.name} gives at {rpm:.0f} rpm",
                remedy="take shallower passes or a thinner cutter, or choose a stronger machine",
                origin=window.origin,
            )
        )
    for limit in window.limits:
        bound = float(limit.feed_mm_per_min[0])
        if limit.limit in (Limit.MACHINE, Limit.RUN) and feed_mm_per_min > bound * (1.0 + 1e-9):
            code = "feed-beyond-machine" if limit.limit is Limit.MACHINE else "feed-not-reached"
            findings.append(
                error(
                    code,
                    f"{feed_mm_per_min:.0f} mm/min is never reached: {limit.text}",
                    remedy="lower feed and speed together, so that the chip is kept",
                    origin=window.origin,
                )
            )
    return tuple(findings)


def _say_rubbing(window: FeedWindow, *, chip_mm: float, low_mm: float, severe: bool) -> Finding:
    what = "a chip load" if severe else "a bite so narrow takes a chip"
    say = error if severe else warning
    return say(
        "rubbing-feed",
        f"{what} of {chip_mm:.3f} mm, below the table's lowest, {low_mm:.3f} mm: the edge rubs, and acrylic melts",
        remedy="raise the feed, lower the speed, or take a wider bite",
        origin=window.origin,
    )
