"""Cutting data of drills: spindle speed from the rim's surface speed, feed per turn, pecks."""

from __future__ import annotations

from dataclasses import replace
from math import ceil, floor, pi

from cam.errors import PlanRefused
from cam.findings import Origin, error
from cam.plan.means import Means
from cam.plan.technology import CuttingData, Reason
from cam.tables.drill_feed import DrillWindow, find_drill_window
from cam.tables.rows import Cutter
from cam.tables.spindle_power import find_cutting_power, find_power_available

_SLACK = 1e-9


def resolve_drilling(cutter: Cutter, *, depth_mm: float, means: Means) -> CuttingData:
    """Return the cutting data of a drill that goes down so far from the sheet's top, its point included.

    ``chip_load_mm`` and its bounds are those of one flute; ``passes`` counts the pecks.

    Raises
    ------
    TableRefused
        ``no-drill-data``.
    PlanRefused
        ``rpm-out-of-reach``, ``feed-out-of-reach`` or ``too-little-power``.

    Notes
    -----
    The speed is the table's first choice, raised to the machine's lowest if need be, within the surface
    speeds and the drill's own limit. Feed = rpm x feed per turn, whole mm/min rounded down.
    """
    material, machine = means.material, means.machine
    origin = Origin(feature=f"{cutter.name} in {material.name} on {machine.name}")
    window = find_drill_window(cutter=cutter, material=material, origin=origin)
    rpm = _find_rpm(cutter, window=window, means=means, origin=origin)
    feed = _find_feed(window, rpm=rpm, means=means, origin=origin)
    pecks = max(1, ceil(depth_mm / window.peck_mm - _SLACK))
    removal = pi * cutter.radius_mm**2 * feed / 60.0
    data = CuttingData(
        cutter=cutter.name,
        material=material.name,
        machine=machine.name,
        spindle_rpm=rpm,
        feed_mm_per_min=feed,
        max_feed_mm_per_min=feed,
        plunge_mm_per_min=feed,
        ramp_feed_mm_per_min=feed,
        ramp_deg=90.0,
        chip_load_mm=feed / rpm / cutter.flutes,
        chip_thickness_mm=feed / rpm / cutter.flutes,
        chip_low_mm=window.low_mm / cutter.flutes,
        chip_high_mm=window.high_mm / cutter.flutes,
        depth_mm=depth_mm,
        pass_depth_mm=depth_mm / pecks,
        passes=pecks,
        radial_mm=None,
        power_w=find_cutting_power(
            removal_mm3_per_s=removal, cutting_energy_j_per_mm3=material.cutting_energy_j_per_mm3
        ),
        power_available_w=find_power_available(machine, rpm=rpm),
        reasons=(),
    )
    if data.power_w > data.power_available_w:
        raise PlanRefused(
            error(
                "too-little-power",
                f"drilling takes {data.power_w:.0f} W at {feed:.0f} mm/min; the spindle gives "
                f"{data.power_available_w:.0f} W at {rpm:.0f} rpm",
                remedy="choose a thinner drill or a stronger machine",
                origin=origin,
            )
        )
    return replace(data, reasons=_explain(data, window=window, means=means))


def slow_exit(data: CuttingData, *, means: Means) -> CuttingData:
    """Return the drill's cutting data while it breaks through: less feed, but never below the table's lowest.

    Notes
    -----
    A brittle sheet breaks out in flakes where the point pushes the last of it ahead.
    """
    drilling = means.material.drilling
    share = drilling.exit_share if drilling else 1.0
    # the table's lowest feed in a turn, as a feed
    lowest = data.feed_mm_per_min * data.chip_low_mm / data.chip_load_mm
    feed = min(
        data.feed_mm_per_min, max(float(ceil(lowest * (1.0 - _SLACK))), float(floor(data.feed_mm_per_min * share)))
    )
    return replace(
        data,
        feed_mm_per_min=feed,
        max_feed_mm_per_min=feed,
        plunge_mm_per_min=feed,
        ramp_feed_mm_per_min=feed,
        chip_load_mm=data.chip_load_mm * feed / data.feed_mm_per_min,
        chip_thickness_mm=data.chip_load_mm * feed / data.feed_mm_per_min,
        reasons=(),
    )


def _find_rpm(cutter: Cutter, *, window: DrillWindow, means: Means, origin: Origin) -> float:
    machine = means.machine
    slowest = max((window.min_rpm, f"material {means.material.name}"), (machine.min_rpm, f"machine {machine.name}"))
    fastest = min(
        (window.max_rpm, f"cutter {cutter.name} in {means.material.name}"),
        (machine.max_rpm, f"machine {machine.name}"),
        (means.limits.max_rpm, "the controller"),
    )
    if slowest[0] > fastest[0]:
        raise PlanRefused(
            error(
                "rpm-out-of-reach",
                f"{slowest[1]} needs at least {slowest[0]:.0f} rpm, {fastest[1]} allows at most {fastest[0]:.0f} rpm",
                remedy="bore the hole with a smaller flat cutter, or take a machine whose spindle turns slower",
                origin=origin,
            )
        )
    wanted = min(max(window.start_rpm, slowest[0]), fastest[0])
    # down to a whole number, unless that falls below the slowest
    return max(float(floor(wanted + _SLACK)), float(ceil(slowest[0] - _SLACK)))


def _find_feed(window: DrillWindow, *, rpm: float, means: Means, origin: Origin) -> float:
    highest = min(
        means.machine.max_feed_mm_per_min, means.machine.rapid_mm_per_min[2], means.limits.max_feed_mm_per_min
    )
    feed = float(floor(min(rpm * window.start_mm, highest) + _SLACK))
    if feed < rpm * window.low_mm:
        raise PlanRefused(
            error(
                "feed-out-of-reach",
                f"a drill at {rpm:.0f} rpm needs at least {rpm * window.low_mm:.0f} mm/min down; machine "
                f"{means.machine.name} or the controller feeds at most {highest:.0f} mm/min",
                remedy="take a machine with a faster Z, or one whose spindle turns slower",
                origin=origin,
            )
        )
    return feed


def _explain(data: CuttingData, *, window: DrillWindow, means: Means) -> tuple[Reason, ...]:
    drilling = means.material.drilling
    assert drilling is not None
    raised = data.spindle_rpm > window.start_rpm + 1.0
    why = f"machine {means.machine.name} turns no slower" if raised else "the table's first choice of surface speed"
    turn = data.feed_mm_per_min / data.spindle_rpm
    return (
        Reason(
            quantity="spindle_rpm",
            rule="min-rpm" if raised else "surface-speed",
            text=f"{data.spindle_rpm:.0f} rpm: {why} ({window.min_rpm:.0f} to {window.max_rpm:.0f} rpm)",
            source=drilling.source,
        ),
        Reason(
            quantity="feed_mm_per_min",
            rule="feed-per-turn",
            text=f"{data.feed_mm_per_min:.0f} mm/min: {turn:.3f} mm in a turn, from {window.low_mm:.3f} to "
            f"{window.high_mm:.3f} mm",
            source=window.source,
        ),
        Reason(
            quantity="pass_depth_mm",
            rule="peck",
            text=f"{data.passes} peck{'s' if data.passes > 1 else ''} of {data.pass_depth_mm:.2f} mm: out to clear the "
            f"chips after at most {window.peck_mm:g} mm",
            source=drilling.source,
        ),
        Reason(
            quantity="power_w",
            rule="cutting-energy",
            text=f"{data.power_w:.0f} W of {data.power_available_w:.0f} W",
            source=means.material.source,
        ),
    )
