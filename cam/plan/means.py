"""What a plan may draw on, and the cutting data that follows from it."""

from __future__ import annotations

from dataclasses import dataclass, field

from cam.errors import PlanRefused, TableRefused
from cam.plan.cutting_data import CuttingData, resolve_cutting_data
from cam.tables.job import Allowances, Heights, Hold, KeepOut
from cam.tables.rows import ControllerLimits, Cutter, CutterKind, Machine, Material


@dataclass(frozen=True, slots=True, kw_only=True)
class Means:
    """What a plan may draw on: rows of the tables, and what the job says of holding and heights.

    ``vees`` are the vee cutters that may take a chamfer.
    """

    cutters: tuple[Cutter, ...]
    cutters_named: bool
    material: Material
    machine: Machine
    hold: Hold
    heights: Heights
    limits: ControllerLimits
    allowances: Allowances = field(default_factory=Allowances)
    keep_outs: tuple[KeepOut, ...] = ()
    vees: tuple[Cutter, ...] = ()


def find_usable_cutters(means: Means) -> tuple[Cutter, ...]:
    """Return the cutters that have cutting data for the material on the machine, named drills and vees as well.

    Raises
    ------
    PlanRefused
        If the job names a cutter that has none; cutters of the table are passed over instead.
    """
    usable = []
    for cutter in means.cutters:
        if means.cutters_named and cutter.kind in (CutterKind.DRILL, CutterKind.VEE):
            # these serve holes and chamfers, whose own planning looks at their data
            usable.append(cutter)
            continue
        if means.cutters_named:
            resolve(cutter, depth_mm=cutter.radius_mm, radial_mm=None, means=means)
            usable.append(cutter)
            continue
        if cutter.kind is CutterKind.FLAT:
            try:
                resolve(cutter, depth_mm=cutter.radius_mm, radial_mm=None, means=means)
            except (PlanRefused, TableRefused):
                continue
            usable.append(cutter)
    return tuple(usable)


def resolve(
    cutter: Cutter,
    *,
    depth_mm: float,
    radial_mm: float | None,
    means: Means,
    rough_rpm: float | None = None,
    run_mm: float | None = None,
) -> CuttingData:
    """Return the cutting data of a cutter at a depth, and at a radial bite where it is less than a slot.

    A finishing pass is resolved at the speed of its roughing pass, ``rough_rpm``: the spindle turns
    at one speed for both. ``run_mm`` is the longest run that the contour lets the machine take.
    """
    return resolve_cutting_data(
        cutter=cutter,
        material=means.material,
        machine=means.machine,
        depth_mm=depth_mm,
        radial_mm=radial_mm,
        controller_limits=means.limits,
        rough_rpm=rough_rpm,
        run_mm=run_mm,
    )
