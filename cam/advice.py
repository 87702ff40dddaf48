"""Cutting data without a job: what ``castcut feeds`` shows, from the plan's own resolution."""

from __future__ import annotations

from dataclasses import replace

from cam.findings import Finding
from cam.plan.cutting_data import CuttingData, resolve_cutting_data
from cam.report.feed_advice import FeedAdvice, ReasonGiven
from cam.tables.chip_load import find_chip_load, find_chip_thinning
from cam.tables.edge_marks import predict_marks
from cam.tables.feed_limits import check_feed, find_feed_window
from cam.tables.rows import ControllerLimits, Cutter, Machine, Material
from cam.tables.spindle_power import find_cutting_power, find_power_available, find_removal_rate


def advise_feeds(
    *,
    cutter: Cutter,
    material: Material,
    machine: Machine,
    depth_mm: float,
    radial_mm: float | None = None,
    run_mm: float | None = None,
    rpm: float | None = None,
    feed_mm_per_min: float | None = None,
    controller_limits: ControllerLimits | None = None,
) -> FeedAdvice:
    """Return the cutting data of a cut with reasons, window and warnings.

    Parameters
    ----------
    depth_mm
        How deep is cut in all.
    radial_mm
        The width of the bite, None for a slot.
    run_mm
        The longest way between two stops, None for any length.
    rpm, feed_mm_per_min
        The shop's own speed or feed, held against the window instead of castcut's.

    Raises
    ------
    PlanRefused, TableRefused
        The codes of :func:`cam.plan.cutting_data.resolve_cutting_data`.
    """

    def resolve(bite_mm: float | None, *, rough_rpm: float | None = None) -> CuttingData:
        return resolve_cutting_data(
            cutter=cutter,
            material=material,
            machine=machine,
            depth_mm=depth_mm,
            radial_mm=bite_mm,
            controller_limits=controller_limits,
            rough_rpm=rough_rpm,
            run_mm=run_mm,
        )

    data = resolve(radial_mm)
    finish = resolve(material.finish_allowance_mm, rough_rpm=data.spindle_rpm) if material.finish_allowance_mm else data
    window = find_feed_window(
        cutter=cutter,
        material=material,
        machine=machine,
        depth_mm=data.pass_depth_mm,
        radial_mm=radial_mm,
        run_mm=run_mm,
    )
    own = rpm is not None or feed_mm_per_min is not None
    used_rpm = data.spindle_rpm if rpm is None else rpm
    used_feed = data.feed_mm_per_min if feed_mm_per_min is None else feed_mm_per_min
    findings: tuple[Finding, ...] = check_feed(window, rpm=used_rpm, feed_mm_per_min=used_feed)
    if own:
        data = _replace_choice(
            data, used_rpm=used_rpm, feed=used_feed, cutter=cutter, material=material, machine=machine
        )
    return FeedAdvice(
        window=window,
        spindle_rpm=used_rpm,
        feed_mm_per_min=used_feed,
        chip_load_mm=data.chip_load_mm,
        chip_thickness_mm=data.chip_thickness_mm,
        chip_low_mm=data.chip_low_mm,
        chip_high_mm=data.chip_high_mm,
        plunge_mm_per_min=data.plunge_mm_per_min,
        ramp_feed_mm_per_min=data.ramp_feed_mm_per_min,
        ramp_deg=data.ramp_deg,
        depth_mm=depth_mm,
        pass_depth_mm=data.pass_depth_mm,
        passes=data.passes,
        stepover_mm=min(material.max_stepover_diameters * cutter.diameter_mm, cutter.radius_mm),
        power_w=data.power_w,
        power_available_w=data.power_available_w,
        finish_allowance_mm=material.finish_allowance_mm,
        finish_feed_mm_per_min=finish.feed_mm_per_min,
        marks=predict_marks(
            feed_mm_per_min=finish.feed_mm_per_min,
            rpm=finish.spindle_rpm,
            flutes=cutter.flutes,
            radius_mm=cutter.radius_mm,
        ),
        reasons=tuple(
            ReasonGiven(quantity=reason.quantity, rule=reason.rule, text=reason.text, source=reason.source)
            for reason in data.reasons
        ),
        findings=findings,
    )


def _replace_choice(
    data: CuttingData, *, used_rpm: float, feed: float, cutter: Cutter, material: Material, machine: Machine
) -> CuttingData:
    """Return the cutting data at the shop's own speed and feed; castcut's reasons do not hold for them.

    At a speed that the spindle does not run at, no power is available.
    """
    chip = find_chip_load(feed_mm_per_min=feed, rpm=used_rpm, flutes=cutter.flutes)
    thinning = 1.0
    if data.radial_mm is not None:
        thinning = find_chip_thinning(radial_mm=data.radial_mm, diameter_mm=cutter.diameter_mm)
    width = cutter.diameter_mm if data.radial_mm is None else data.radial_mm
    removal = find_removal_rate(width_mm=width, depth_mm=data.pass_depth_mm, feed_mm_per_min=feed)
    return replace(
        data,
        spindle_rpm=used_rpm,
        feed_mm_per_min=feed,
        chip_load_mm=chip,
        chip_thickness_mm=chip * thinning,
        plunge_mm_per_min=min(feed * material.plunge_share, machine.rapid_mm_per_min[2]),
        ramp_feed_mm_per_min=feed / cutter.flutes,
        power_w=find_cutting_power(
            removal_mm3_per_s=removal, cutting_energy_j_per_mm3=material.cutting_energy_j_per_mm3
        ),
        power_available_w=(
            find_power_available(machine, rpm=used_rpm) if machine.min_rpm <= used_rpm <= machine.max_rpm else 0.0
        ),
        reasons=tuple(
            reason
            for reason in data.reasons
            if reason.quantity not in ("spindle_rpm", "chip_load_mm", "feed_mm_per_min", "power_w", "ramp_deg")
        ),
    )
