"""The chain of reasons of cutting data, in sentences that name the row, rule or limit that bound."""

from __future__ import annotations

from cam.plan.technology import CutSetup, CuttingData, Reason
from cam.tables.chip_load import find_chip_window, find_feed

# Rounding to whole numbers moves a speed or feed by less than this.
_ROUNDING = 1.0


def explain_cutting_data(data: CuttingData, *, setup: CutSetup, fewest_passes: int) -> tuple[Reason, ...]:
    """Return why each number is what it is: pass depth, speed, chip load, feed, entry, power.

    Parameters
    ----------
    data
        The numbers, without reasons.
    setup
        The rows and limits that they came from.
    fewest_passes
        How many passes the depth needs by the material's table alone.
    """
    return (
        _explain_depth(data, setup, fewest_passes),
        _explain_speed(data, setup),
        *_explain_chip(data, setup),
        _explain_feed(data, setup),
        _explain_entry(data, setup),
        Reason(
            quantity="power_w",
            rule="cutting-energy",
            text=f"{data.power_w:.0f} W of {data.power_available_w:.0f} W, at "
            f"{setup.material.cutting_energy_j_per_mm3:g} J/mm3",
            source=setup.material.source,
        ),
    )


def _explain_depth(data: CuttingData, setup: CutSetup, fewest_passes: int) -> Reason:
    material, diameter_mm = setup.material, setup.cutter.diameter_mm
    if data.passes > fewest_passes:
        rule = "spindle-power"
        text = (
            f"{data.passes} passes of {data.pass_depth_mm:.2f} mm: {fewest_passes} would take more power than "
            f"{setup.machine.name} gives at {data.spindle_rpm:.0f} rpm"
        )
    elif setup.radial_mm is not None and setup.radial_mm < diameter_mm / 2.0:
        rule = "side-cut"
        text = f"one pass of {data.pass_depth_mm:.2f} mm: a bite of {setup.radial_mm:g} mm goes the full depth"
    else:
        rule = "material-pass-depth"
        text = (
            f"{data.passes} pass{'es' if data.passes > 1 else ''} of {data.pass_depth_mm:.2f} mm: {material.name} "
            f"allows {material.max_pass_depth_diameters:g} x {diameter_mm:g} mm"
        )
    return Reason(quantity="pass_depth_mm", rule=rule, text=text, source=material.source)


def _explain_speed(data: CuttingData, setup: CutSetup) -> Reason:
    rpm, start = data.spindle_rpm, setup.material.start_rpm
    if rpm == start:
        rule, why = "material-start-rpm", f"{setup.material.name} starts there"
    elif rpm == setup.min_rpm and start < setup.min_rpm:
        rule, why = "min-rpm", f"{setup.min_bound} turns no slower"
    elif rpm == setup.max_rpm and start > setup.max_rpm:
        rule, why = "max-rpm", f"{setup.max_bound} turns no faster"
    else:
        rule = "feed-limit"
        why = (
            f"{setup.feed_bound} feeds at most {setup.max_feed_mm_per_min:.0f} mm/min, so the spindle slows and the "
            "chip is kept"
        )
    return Reason(quantity="spindle_rpm", rule=rule, text=f"{rpm:.0f} rpm: {why}", source=setup.material.source)


def _explain_chip(data: CuttingData, setup: CutSetup) -> tuple[Reason, ...]:
    window = find_chip_window(cutter=setup.cutter, material=setup.material, depth_mm=data.pass_depth_mm)
    reasons = [
        Reason(
            quantity="chip_load_mm",
            rule="chip-load-table",
            text=f"chip load {window.start_mm:.3f} mm, from {window.low_mm:.3f} to {window.high_mm:.3f} mm: "
            f"{setup.material.name}, {setup.cutter.flutes} flute{'s' if setup.cutter.flutes > 1 else ''}, "
            f"{setup.cutter.diameter_mm:g} mm",
            source=window.source,
        )
    ]
    if window.depth_factor != 1.0:
        reasons.append(
            Reason(
                quantity="chip_load_mm",
                rule="depth-factor",
                text=f"times {window.depth_factor:.3f} already, for a pass "
                f"{data.pass_depth_mm / setup.cutter.diameter_mm:.2f} diameters deep",
                source=setup.material.source,
            )
        )
    if setup.thinning < 1.0:
        reasons.append(_explain_thinning(data, setup, start_mm=window.start_mm, high_mm=window.high_mm))
    return tuple(reasons)


def _explain_thinning(data: CuttingData, setup: CutSetup, *, start_mm: float, high_mm: float) -> Reason:
    """Say how far the chip load was raised for a narrow bite, and what stopped it."""
    cap = setup.material.finish_chip_cap
    per_chip = find_feed(rpm=data.spindle_rpm, flutes=setup.cutter.flutes, chip_load_mm=1.0)
    stops = {
        "chip-thinning": (start_mm / setup.thinning, "to keep the chip"),
        "chip-cap": (start_mm * cap, f"by the cap of {cap:g}; the chip stays thinner than the table's"),
        "chip-load-high": (high_mm, "to the table's highest; the chip stays thinner than the table's"),
        "feed-limit": (
            setup.max_feed_mm_per_min / per_chip,
            f"as far as {setup.feed_bound} feeds; the chip stays thinner than the table's",
        ),
    }
    rule = min(stops, key=lambda name: stops[name][0])
    return Reason(
        quantity="chip_load_mm",
        rule=rule,
        text=f"a bite of {setup.radial_mm:g} mm takes a chip of only {setup.thinning:.3f} times the chip load, "
        f"which is raised to {data.chip_load_mm:.3f} mm {stops[rule][1]}",
        source="chord geometry; " + setup.material.source if rule == "chip-thinning" else setup.material.source,
    )


def _explain_feed(data: CuttingData, setup: CutSetup) -> Reason:
    limited = data.feed_mm_per_min > setup.max_feed_mm_per_min - _ROUNDING
    product = (
        f"{data.feed_mm_per_min:.0f} mm/min: {data.spindle_rpm:.0f} rpm x {setup.cutter.flutes} x "
        f"{data.chip_load_mm:.3f} mm"
    )
    return Reason(
        quantity="feed_mm_per_min",
        rule="feed-limit" if limited else "chip-times-speed",
        text=f"{product}, all that {setup.feed_bound} feeds" if limited else product,
        source="feed = rpm x flutes x chip load: tool-maker and cutter-shop charts",
    )


def _explain_entry(data: CuttingData, setup: CutSetup) -> Reason:
    bound = setup.cutter.name if setup.cutter.max_ramp_deg < setup.material.ramp_deg else setup.material.name
    return Reason(
        quantity="ramp_deg",
        rule="entry",
        text=f"ramps of {data.ramp_deg:g} degrees ({bound}) at feed / flutes, {data.ramp_feed_mm_per_min:.0f} mm/min; "
        f"straight down at most {data.plunge_mm_per_min:.0f} mm/min",
        source="ramp feed: tool-maker chart; the rest: common practice, no source",
    )
