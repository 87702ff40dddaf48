"""Cutting data: spindle speed, feed and pass depth, resolved together, each with its reason.

The chip load is what is kept. Where a machine cannot feed fast enough the spindle slows; where the
spindle cannot slow the cut is refused, because a cutter that rubs melts acrylic.
"""

from __future__ import annotations

from dataclasses import replace
from math import ceil, floor
from typing import NoReturn

from cam.errors import PlanRefused
from cam.findings import error
from cam.plan.cutting_reasons import explain_cutting_data
from cam.plan.technology import CutSetup, CuttingData, Reason, find_cut_setup
from cam.tables.chip_load import (
    ChipWindow,
    find_chip_load,
    find_chip_window,
    find_feed,
    find_ramp_feed,
)
from cam.tables.rows import ControllerLimits, Cutter, CutterKind, Machine, Material
from cam.tables.spindle_power import find_cutting_power, find_power_available, find_removal_rate

__all__ = ["CuttingData", "Reason", "resolve_cutting_data"]

MIN_PASS_DEPTH_DIAMETERS = 0.1
"""Shop rule: passes are not made shallower than this to save power; the cut is refused."""
# Sums and products of decimal figures are equal if they differ by less than this share.
_SLACK = 1e-9


def resolve_cutting_data(
    *,
    cutter: Cutter,
    material: Material,
    machine: Machine,
    depth_mm: float,
    radial_mm: float | None = None,
    controller_limits: ControllerLimits | None = None,
    rough_rpm: float | None = None,
    run_mm: float | None = None,
) -> CuttingData:
    """Return the cutting data of a slot or side cut.

    Parameters
    ----------
    cutter, material, machine
        Rows of the tables.
    depth_mm
        How deep is to be cut in all.
    radial_mm
        The width of the bite; None for a slot as wide as the cutter. A side cut of less than half
        the diameter goes the full depth in one pass; anything wider goes in equal passes no deeper
        than the material's ``max_pass_depth_diameters``.
    controller_limits
        The largest numbers that the controller takes.
    rough_rpm
        The speed that the spindle turns at already, and is not to pass.
    run_mm
        The longest way between two stops: a feed that the machine does not reach on it is none.

    Raises
    ------
    PlanRefused
        ``wrong-cutter-kind``, ``flutes-too-short``, ``shank-too-large``, ``bite-too-wide``, ``rpm-out-of-reach``,
        ``feed-out-of-reach`` or ``too-little-power``.
    TableRefused
        ``no-chip-load``, ``depth-beyond-table`` or ``chip-too-thin``.

    Notes
    -----
    Feed = rpm x flutes x chip load; the chip load falls with the depth by the material's factors
    and rises in a bite narrower than half the diameter, by at most ``finish_chip_cap``, the table's
    highest chip load, and what the machine can feed: so a cutter that meets more material than
    planned still stays within the table. Speeds and feeds are rounded down to whole numbers.
    Ramps are fed at feed / flutes (tool-maker chart).
    """
    setup = find_cut_setup(
        cutter=cutter,
        material=material,
        machine=machine,
        radial_mm=radial_mm,
        limits=controller_limits,
        rough_rpm=rough_rpm,
        run_mm=run_mm,
    )
    _refuse_what_cannot_enter(setup, depth_mm)
    side_cut = radial_mm is not None and radial_mm < cutter.diameter_mm / 2.0
    max_pass_mm = depth_mm if side_cut else material.max_pass_depth_diameters * cutter.diameter_mm
    fewest = ceil(depth_mm / max_pass_mm * (1.0 - _SLACK))
    passes = fewest
    while True:
        data = _resolve_pass(setup, depth_mm=depth_mm, passes=passes)
        if data.power_w <= data.power_available_w:
            break
        thinner_mm = depth_mm / (passes + 1)
        if side_cut or thinner_mm < MIN_PASS_DEPTH_DIAMETERS * cutter.diameter_mm:
            _refuse_power(setup, data)
        passes += 1
    return replace(data, reasons=explain_cutting_data(data, setup=setup, fewest_passes=fewest))


def _refuse_what_cannot_enter(setup: CutSetup, depth_mm: float) -> None:
    """Refuse a cutter that does not fit, a bite that is none, and speeds that exclude each other."""
    cutter, material, radial_mm = setup.cutter, setup.material, setup.radial_mm
    if depth_mm <= 0.0 or (radial_mm is not None and radial_mm <= 0.0):
        raise ValueError("a cut has a depth and a width")
    if cutter.kind is CutterKind.DRILL:
        raise PlanRefused(
            error(
                "wrong-cutter-kind",
                f"{cutter.name} is a drill: it goes straight down, and cuts neither a slot nor a side",
                remedy="choose a flat cutter; castcut list materials shows what drills are fed at",
                origin=setup.origin,
            )
        )
    faults = []
    if depth_mm > cutter.edge_length_mm:
        faults.append(
            error(
                "flutes-too-short",
                f"the cut is {depth_mm:g} mm deep, but {cutter.name} cuts only {cutter.edge_length_mm:g} mm",
                remedy="choose a cutter with longer flutes, or a thinner sheet",
                origin=setup.origin,
            )
        )
    if cutter.shank_mm > setup.machine.max_collet_mm:
        faults.append(
            error(
                "shank-too-large",
                f"{cutter.name} has a shank of {cutter.shank_mm:g} mm; {setup.machine.name} holds up to "
                f"{setup.machine.max_collet_mm:g} mm",
                remedy="choose a cutter with a thinner shank",
                origin=setup.origin,
            )
        )
    widest_mm = material.max_stepover_diameters * cutter.diameter_mm
    if radial_mm is not None and radial_mm > widest_mm * (1.0 + _SLACK):
        faults.append(
            error(
                "bite-too-wide",
                f"a bite of {radial_mm:g} mm is wider than {material.name} allows {cutter.name}, {widest_mm:g} mm",
                remedy="take a narrower bite, or a slot",
                origin=setup.origin,
            )
        )
    if setup.min_rpm > setup.max_rpm:
        faults.append(
            error(
                "rpm-out-of-reach",
                f"{setup.min_bound} needs at least {setup.min_rpm:.0f} rpm, {setup.max_bound} allows at most "
                f"{setup.max_rpm:.0f} rpm",
                remedy="choose another cutter or machine",
                origin=setup.origin,
            )
        )
    if faults:
        raise PlanRefused(*faults)


def _resolve_pass(setup: CutSetup, *, depth_mm: float, passes: int) -> CuttingData:
    """Return the cutting data for a number of passes, without reasons, whatever power it takes."""
    cutter, material = setup.cutter, setup.material
    pass_depth_mm = depth_mm / passes
    window = find_chip_window(cutter=cutter, material=material, depth_mm=pass_depth_mm, origin=setup.origin)
    rpm = _find_rpm(setup, window)
    feed = _find_rounded_feed(setup, window, rpm=rpm)
    chip_mm = find_chip_load(feed_mm_per_min=feed, rpm=rpm, flutes=cutter.flutes)
    width_mm = cutter.diameter_mm if setup.radial_mm is None else setup.radial_mm
    removal = find_removal_rate(width_mm=width_mm, depth_mm=pass_depth_mm, feed_mm_per_min=feed)
    return CuttingData(
        cutter=cutter.name,
        material=material.name,
        machine=setup.machine.name,
        spindle_rpm=rpm,
        feed_mm_per_min=feed,
        max_feed_mm_per_min=max(feed, _find_max_feed(setup, window, rpm=rpm)),
        plunge_mm_per_min=min(feed * material.plunge_share, setup.machine.rapid_mm_per_min[2]),
        ramp_feed_mm_per_min=find_ramp_feed(feed_mm_per_min=feed, flutes=cutter.flutes),
        ramp_deg=min(material.ramp_deg, cutter.max_ramp_deg),
        chip_load_mm=chip_mm,
        chip_thickness_mm=chip_mm * setup.thinning,
        chip_low_mm=window.low_mm,
        chip_high_mm=window.high_mm,
        depth_mm=depth_mm,
        pass_depth_mm=pass_depth_mm,
        passes=passes,
        radial_mm=setup.radial_mm,
        power_w=find_cutting_power(
            removal_mm3_per_s=removal, cutting_energy_j_per_mm3=material.cutting_energy_j_per_mm3
        ),
        power_available_w=find_power_available(setup.machine, rpm=rpm),
        reasons=(),
    )


def _find_rpm(setup: CutSetup, window: ChipWindow) -> float:
    """Return the speed at which the machine can feed the chip load of the table."""
    wanted = max(min(setup.material.start_rpm, setup.max_rpm), setup.min_rpm)
    reachable = setup.max_feed_mm_per_min / find_feed(rpm=1.0, flutes=setup.cutter.flutes, chip_load_mm=window.start_mm)
    rpm = float(floor(min(wanted, reachable) * (1.0 + _SLACK)))
    if rpm < setup.min_rpm:
        needed = find_feed(rpm=setup.min_rpm, flutes=setup.cutter.flutes, chip_load_mm=window.start_mm)
        raise PlanRefused(
            error(
                "feed-out-of-reach",
                f"a chip of {window.start_mm:.3f} mm needs {needed:.0f} mm/min at the lowest speed, "
                f"{setup.min_rpm:.0f} rpm ({setup.min_bound}); {setup.feed_bound} feeds at most "
                f"{setup.max_feed_mm_per_min:.0f} mm/min",
                remedy="choose a thinner cutter or one with fewer flutes, or a faster machine",
                origin=setup.origin,
            )
        )
    return rpm


def _find_rounded_feed(setup: CutSetup, window: ChipWindow, *, rpm: float) -> float:
    """Return the feed in whole mm/min, raised for a thin chip as far as cap, table and machine allow."""
    per_chip = find_feed(rpm=rpm, flutes=setup.cutter.flutes, chip_load_mm=1.0)
    raised_mm = window.start_mm * min(1.0 / setup.thinning, setup.material.finish_chip_cap)
    highest = per_chip * window.high_mm
    exact = min(per_chip * raised_mm, highest, setup.max_feed_mm_per_min)
    whole = float(floor(exact * (1.0 + _SLACK)))
    if whole >= highest:
        whole -= 1.0  # below the table's highest, not on it, however the text is read back
    # In a window narrower than the rounding the exact feed is the only one that keeps to it.
    return whole if whole >= per_chip * window.low_mm else exact


def _find_max_feed(setup: CutSetup, window: ChipWindow, *, rpm: float) -> float:
    """Return the feed that neither the table's highest chip load nor the machine lets be passed, whole mm/min."""
    highest = find_feed(rpm=rpm, flutes=setup.cutter.flutes, chip_load_mm=window.high_mm)
    return min(ceil(highest * (1.0 - _SLACK)) - 1.0, float(floor(setup.max_feed_mm_per_min)))


def _refuse_power(setup: CutSetup, data: CuttingData) -> NoReturn:
    raise PlanRefused(
        error(
            "too-little-power",
            f"a pass {data.pass_depth_mm:.2f} mm deep takes {data.power_w:.0f} W at {data.feed_mm_per_min:.0f} mm/min; "
            f"the spindle gives {data.power_available_w:.0f} W at {data.spindle_rpm:.0f} rpm",
            remedy="choose a thinner cutter or a stronger machine, or leave less for the finishing pass",
            origin=setup.origin,
        )
    )
